"""`deck.toml`: what holds for a whole deck."""

from __future__ import annotations

import json
import re
import tomllib
import uuid
from dataclasses import dataclass
from typing import Any

from decks.cards.card import Ask
from decks.cards.faults import DeckError, Fault, quoted
from decks.cards.tags import read_asks

SETTINGS_FILE = "deck.toml"
TARGET_RECALL = 0.9
"""Recall at which an item falls due unless its deck says otherwise; stability is defined at this value."""
RECALL_RANGE = (0.7, 0.97)
"""Below, most reviews would fail; above, a card returns nearly every day. Common practice, no source."""

_LONG_KEY = re.compile(r"""(?<![\w-])(?:(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+){20}""")
"""A dotted key of more than twenty parts; no key of ours has a dot at all."""

_KEYS = ("deck", "title", "author", "licence", "language", "asks", "recall")


@dataclass(frozen=True)
class DeckSettings:
    """A deck's settings. `deck`: its uuid, made once and kept. `asks`: of cards that name none."""

    deck: str
    title: str
    author: str = ""
    licence: str = ""
    language: str = "en"
    asks: tuple[Ask, ...] = ("play",)
    recall: float = TARGET_RECALL


def new_deck_id() -> str:
    """A uuid for a new deck."""
    return str(uuid.uuid4())


def read_settings(text: str) -> DeckSettings:
    """Read `deck.toml`; DeckError names everything wrong with it."""
    text = text.removeprefix("\ufeff")
    long_key = _LONG_KEY.search(text)
    if long_key:  # the library would take seconds and gigabytes over a key of thousands of parts
        at = text.count("\n", 0, long_key.start()) + 1
        raise DeckError([Fault(SETTINGS_FILE, at, None, "a key of too many parts")])
    try:
        found = tomllib.loads(text)
    except ValueError as error:  # the library's own error, or Python's of a number with thousands of digits
        place = re.search(r"at line (\d+)", str(error))
        line = int(place.group(1)) if place else None
        raise DeckError([Fault(SETTINGS_FILE, line, None, f"not TOML: {error}")]) from error
    except RecursionError as error:
        raise DeckError([Fault(SETTINGS_FILE, None, None, "not TOML: nested too deep")]) from error
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
        fault("deck", f'deck must be a uuid, made once and kept, such as "{_EXAMPLE_UUID}"')
    recall = found.get("recall", TARGET_RECALL)
    lowest, highest = RECALL_RANGE
    if not isinstance(recall, int | float) or isinstance(recall, bool) or not lowest <= recall <= highest:
        fault("recall", f"recall must be a number from {lowest} to {highest}")
    asks: tuple[Ask, ...] = DeckSettings.asks
    if "asks" in found:
        try:
            asks = read_asks(_words(found["asks"]))
        except ValueError as error:
            fault("asks", str(error))
    if faults:
        raise DeckError(faults)
    texts = {key: found[key] for key in ("title", "author", "licence", "language") if key in found}
    return DeckSettings(deck=str(deck).lower(), asks=asks, recall=float(recall), **texts)


def write_settings(settings: DeckSettings) -> str:
    """`deck.toml` for `settings`; what `read_settings` reads back the same."""
    values = {key: getattr(settings, key) for key in _KEYS}
    values["asks"] = list(settings.asks)
    return "".join(f"{key} = {_toml(value)}\n" for key, value in values.items() if value != "")


_EXAMPLE_UUID = "0d9c1a52-6f0e-4a53-9c0a-5f3b1e7d2c84"


def _is_uuid(value: object) -> bool:
    try:
        return isinstance(value, str) and str(uuid.UUID(value)) == value.lower()
    except ValueError:
        return False


def _words(value: Any) -> list[str]:
    if not isinstance(value, list) or not all(isinstance(word, str) for word in value):
        raise ValueError('asks must be a list, such as ["assess", "play"]')
    return value


def _toml(value: str | float | list[str]) -> str:
    """A value as TOML; JSON's escapes are TOML's, but TOML escapes DEL too."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _line_of(text: str, key: str) -> int | None:
    found = re.search(rf"""^[ \t]*["']?{re.escape(key)}["']?[ \t]*=""", text, re.MULTILINE)
    return text.count("\n", 0, found.start()) + 1 if found else None
