"""`deck.toml`: the settings of a deck."""

from __future__ import annotations

import contextlib
import json
import re
import tomllib
import uuid
from dataclasses import dataclass
from typing import Any

from decks.asks.catalogue import DEFAULT_ASKS
from decks.cards.faults import DeckError, Fault, quoted
from decks.cards.pgn_spans import newline_of
from decks.cards.tags import read_asks
from decks.tasks.card import RECALL_STEPS, RecallStep

SETTINGS_FILE = "deck.toml"

_OLD_RECALL_RANGE = (0.7, 0.97)
"""The numbers allowed for `recall` in decks of the first version, which are still read."""

_LONG_KEY = re.compile(r"""(?<![\w-])(?:(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+){20}""")
"""A dotted key of more than twenty parts. None of our keys contains a dot."""

_KEYS = ("deck", "title", "author", "licence", "language", "asks", "recall", "by-heart")


@dataclass(frozen=True)
class DeckSettings:
    """A deck's settings. `deck`: its uuid, which never changes. `asks`: the asks of cards without their own.

    `recall`: how firmly its cards must be remembered; None: as the student wants. `by_heart`: they are facts
    to remember as they stand, not positions that a motif is practised in.
    """

    deck: str
    title: str
    author: str = ""
    licence: str = ""
    language: str = "en"
    asks: tuple[str, ...] = DEFAULT_ASKS
    recall: RecallStep | None = None
    by_heart: bool = False

    @property
    def target_recall(self) -> float | None:
        """The recall (0..1) at which its items fall due; None if the deck doesn't say."""
        return None if self.recall is None else RECALL_STEPS[self.recall]


def new_deck_id() -> str:
    """A uuid for a new deck."""
    return str(uuid.uuid4())


def read_settings(text: str) -> DeckSettings:
    """Read `deck.toml`. DeckError with all its faults."""
    text = text.removeprefix("\ufeff")
    found = _parsed(text)
    faults: list[Fault] = []

    def fault(key: str | None, message: str) -> None:
        line = _line_of(text, key) if key else None
        faults.append(Fault(SETTINGS_FILE, line, None, message))

    unknown = [key for key in found if key not in _KEYS]
    if unknown:
        names, known = ", ".join(map(quoted, unknown)), ", ".join(_KEYS)
        fault(unknown[0], f"unknown keys {names}: the keys are {known}")
    for key in ("title", "author", "licence", "language"):
        if not isinstance(found.get(key, ""), str):
            fault(key, f"{key} must be text in quotes")
    if not found.get("title"):
        fault("title", "the deck has no title")
    deck = found.get("deck")
    if not _is_uuid(deck):
        right = f'such as "{_EXAMPLE_UUID}": `rondeau check --new-identity` writes one'
        fault("deck", f"deck must be a uuid that never changes, {right}")
    recall = _recall_step(found["recall"]) if "recall" in found else None
    if recall is None and "recall" in found:
        fault("recall", f"recall must be {_STEPS_IN_WORDS}")
    asks = DeckSettings.asks
    if "asks" in found:
        try:
            asks = read_asks(_words(found["asks"]))
        except ValueError as error:
            fault("asks", str(error))
    by_heart = found.get("by-heart", False)
    if not isinstance(by_heart, bool):
        fault("by-heart", "by-heart must be true or false")
    if faults:
        raise DeckError(faults)
    texts = {key: found[key] for key in ("title", "author", "licence", "language") if key in found}
    return DeckSettings(deck=str(deck).lower(), asks=asks, recall=recall, by_heart=by_heart, **texts)


def _parsed(text: str) -> dict[str, Any]:
    """What a `deck.toml` says. DeckError if it is not TOML."""
    long_key = _LONG_KEY.search(text)
    if long_key:  # for a key of thousands of parts the library needs seconds and gigabytes
        at = text.count("\n", 0, long_key.start()) + 1
        raise DeckError([Fault(SETTINGS_FILE, at, None, "a key has too many parts")])
    try:
        return tomllib.loads(text)
    except ValueError as error:  # the library's own, or Python's for a number with thousands of digits
        place = re.search(r"at line (\d+)", str(error))
        line = int(place.group(1)) if place else None
        raise DeckError([Fault(SETTINGS_FILE, line, None, f"not TOML: {error}")]) from error
    except RecursionError as error:
        raise DeckError([Fault(SETTINGS_FILE, None, None, "not TOML: nested too deep")]) from error


def settings_notes(text: str) -> list[Fault]:
    """Doubtful points of a `deck.toml` that has no faults."""
    recall = tomllib.loads(text.removeprefix("\ufeff")).get("recall")
    if recall is None or isinstance(recall, str):
        return []
    message = f'recall {recall} is read as "{_recall_step(recall)}": write {_STEPS_IN_WORDS}'
    return [Fault(SETTINGS_FILE, _line_of(text, "recall"), None, message)]


def with_deck_id(text: str, deck: str) -> str:
    """A `deck.toml` with another uuid and no other change; where it has none, with a first line for it.

    DeckError if the text has other faults.
    """
    start = len(text) - len(text.removeprefix("\ufeff"))
    values = _parsed(text[start:])
    places = [found.span("value") for found in _DECK_VALUE.finditer(text)]
    written = [f'{text[:begin]}"{deck}"{text[end:]}' for begin, end in places]
    if "deck" not in values:
        written.append(f'{text[:start]}deck = "{deck}"{newline_of(text)}{text[start:]}')
    for changed in written:
        with contextlib.suppress(DeckError):  # the match may be inside the text of another key
            if _parsed(changed[start:]) == {**values, "deck": deck}:
                break
    else:
        message = "write the uuid on the line of its key, in quotes"
        raise DeckError([Fault(SETTINGS_FILE, _line_of(text, "deck"), None, message)])
    read_settings(changed)
    return changed


def write_settings(settings: DeckSettings) -> str:
    """The text of `deck.toml` for `settings`. `read_settings` gives the same settings back."""
    values = {key: getattr(settings, key.replace("-", "_")) for key in _KEYS}
    values["asks"] = list(settings.asks)
    return "".join(
        f"{key} = {_toml(value)}\n" for key, value in values.items() if value not in (None, "", False)
    )


_DECK_VALUE = re.compile(
    r"""^\ufeff?[ \t]*(?:deck|"deck"|'deck')[ \t]*=[ \t]*"""
    r"""(?P<value>\"{3}.*?\"{3}|'{3}.*?'{3}|"(?:[^"\\\n]|\\.)*"|'[^'\n]*')""",
    re.MULTILINE | re.DOTALL,
)

_STEPS_IN_WORDS = '"light", "usual" or "firm"'

_EXAMPLE_UUID = "0d9c1a52-6f0e-4a53-9c0a-5f3b1e7d2c84"


def _recall_step(value: object) -> RecallStep | None:
    """The step for a value of `recall`. A number gets the nearest step, halfway `usual`. None for others."""
    if isinstance(value, str):
        return next((step for step in RECALL_STEPS if step == value), None)
    lowest, highest = _OLD_RECALL_RANGE
    if not isinstance(value, int | float) or not lowest <= value <= highest:
        return None
    apart = {step: round(abs(value - recall), 9) for step, recall in RECALL_STEPS.items()}
    return min(RECALL_STEPS, key=lambda step: (apart[step], step != "usual"))


def _is_uuid(value: object) -> bool:
    try:
        return isinstance(value, str) and str(uuid.UUID(value)) == value.lower()
    except ValueError:
        return False


def _words(value: Any) -> list[str]:
    if not isinstance(value, list) or not all(isinstance(word, str) for word in value):
        raise ValueError('asks must be a list, such as ["assess", "play"]')
    return value


def _toml(value: str | bool | list[str]) -> str:
    """A value as TOML. It has the same escapes as JSON, but must also escape DEL."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _line_of(text: str, key: str) -> int | None:
    found = re.search(rf"""^[ \t]*["']?{re.escape(key)}["']?[ \t]*=""", text, re.MULTILINE)
    return text.count("\n", 0, found.start()) + 1 if found else None
