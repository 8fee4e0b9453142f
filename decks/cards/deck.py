"""A deck: a folder with `deck.toml`, `cards.pgn` and `verdicts.jsonl`. Opening, starting, adding cards."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TypeVar

from decks.cards.cards_file import CARDS_FILE, CardEntry, CardGame, read_cards, write_card
from decks.cards.faults import DeckError, Fault
from decks.cards.folder import decode, is_stray, read_file, replace_file
from decks.cards.movetext import Variation
from decks.cards.pgn_spans import append_games
from decks.cards.settings import (
    SETTINGS_FILE,
    DeckSettings,
    new_deck_id,
    read_settings,
    settings_notes,
    with_deck_id,
    write_settings,
)
from decks.cards.verdicts_file import VERDICTS_FILE, StoredVerdicts, read_verdicts, write_verdicts
from decks.tasks.card import Card
from patterns.engines.scores import PositionVerdicts


@dataclass(frozen=True)
class Deck:
    """A deck without faults. `verdicts`: by EPD, also stale ones. `variations`: the coach's, by CardId."""

    folder: Path
    settings: DeckSettings
    cards: tuple[Card, ...]
    verdicts: Mapping[str, PositionVerdicts]
    variations: Mapping[str, tuple[Variation, ...]]

    @classmethod
    def open(cls, folder: Path, known_motifs: Collection[str] | None = None) -> Deck:
        """Open a deck. DeckError with all its faults. `known_motifs`: the valid motif ids (None: any id).

        `decks.cards.deck_check` finds stale and missing verdicts, and keys that do not hold.
        """
        return cls.of(folder, read_deck(folder, known_motifs))

    @classmethod
    def of(cls, folder: Path, found: DeckContents) -> Deck:
        """The deck that was read from a folder. DeckError with all its faults."""
        unnamed = [card.game.line for card in found.cards if not card.entry.card.card_id]
        remedy = "the card has no CardId: `rondeau check` adds one"
        faults = [*found.faults, *(Fault(CARDS_FILE, line, None, remedy) for line in unnamed)]
        if faults or found.settings is None:
            raise DeckError(faults)
        return cls(
            folder=folder,
            settings=found.settings,
            cards=tuple(card.entry.card for card in found.cards),
            verdicts=found.verdicts.by_epd,
            variations={card.entry.card.card_id: card.entry.variations for card in found.cards},
        )


@dataclass(frozen=True)
class DeckContents:
    """What a deck folder holds, and its faults. `settings`: None if they could not be read.

    `text`: that of `cards.pgn`. `notes`: doubtful points of the settings.
    """

    settings: DeckSettings | None = None
    text: str = ""
    cards: tuple[CardGame, ...] = ()
    verdicts: StoredVerdicts = field(default_factory=lambda: StoredVerdicts({}, {}, ()))
    faults: tuple[Fault, ...] = ()
    notes: tuple[Fault, ...] = ()


def read_deck(folder: Path, known_motifs: Collection[str] | None = None) -> DeckContents:
    """Read a deck folder and collect all faults. A card without a CardId does not count as one here."""
    if not folder.is_dir():
        wrong = "this is a file, not a folder" if folder.exists() else "no such folder"
        return DeckContents(faults=(Fault(str(folder), None, None, wrong),))
    faults: list[Fault] = []
    toml = _collect(faults, lambda: _text(folder, SETTINGS_FILE))
    settings = _collect(faults, lambda: read_settings(toml)) if toml is not None else None
    text = _collect(faults, lambda: _text(folder, CARDS_FILE))
    notes = tuple(settings_notes(toml)) if settings and toml is not None else ()
    asks = settings.asks if settings else DeckSettings.asks
    cards, card_faults = read_cards(text, asks, known_motifs) if text is not None else ((), ())
    faults += card_faults
    verdicts = _collect(faults, lambda: read_verdicts(_text(folder, VERDICTS_FILE, "")))
    verdicts = verdicts or DeckContents().verdicts
    return DeckContents(settings, text or "", cards, verdicts, (*faults, *verdicts.faults), notes)


def is_deck(folder: Path) -> bool:
    """Whether the folder is a deck: whether it has a `deck.toml`."""
    return (folder / SETTINGS_FILE).is_file()


def deck_id(folder: Path) -> str | None:
    """The uuid of the deck in a folder. None if there is no deck, or it can't be read."""
    try:
        return read_settings(_text(folder, SETTINGS_FILE)).deck
    except DeckError:
        return None


def give_new_identity(folder: Path) -> str:
    """Make a copied deck independent of the first one: put a new uuid into its `deck.toml`, and return it.

    Nothing else changes. DeckError if the settings have faults or can't be written.
    """
    made = new_deck_id()
    replace_file(folder, SETTINGS_FILE, with_deck_id(_text(folder, SETTINGS_FILE), made).encode())
    return made


def check_free(folder: Path) -> None:
    """DeckError unless a deck can be started in `folder`: it is missing, or empty but for stray files."""
    if folder.exists() and not folder.is_dir():
        raise DeckError([Fault(str(folder), None, None, "this is a file, not a folder")])
    if folder.exists() and not all(map(is_stray, folder.iterdir())):
        held = "this is a deck already" if is_deck(folder) else "the folder is not empty: choose another"
        raise DeckError([Fault(str(folder), None, None, held)])


def new_deck(folder: Path, settings: DeckSettings) -> None:
    """Start a deck without cards. DeckError if the folder is not empty.

    The settings are written last. So the folder becomes a deck only when it is complete, and this can be
    repeated after an interruption.
    """
    check_free(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise DeckError([Fault(str(folder), None, None, f"can't be made: {error.strerror}")]) from error
    replace_file(folder, CARDS_FILE, b"")
    replace_file(folder, VERDICTS_FILE, b"")
    replace_file(folder, SETTINGS_FILE, write_settings(settings).encode(errors="replace"))


def add_cards(
    folder: Path,
    entries: Sequence[CardEntry],
    verdicts: Iterable[PositionVerdicts] = (),
    known_motifs: Collection[str] | None = None,
) -> tuple[str, ...]:
    """Append cards to a deck and return their CardIds. A card without a CardId gets one.

    The text already in `cards.pgn` does not change. `verdicts` are added to the stored ones. DeckError if the
    deck has faults, or would have some with the new cards; then nothing is written.
    """
    found = read_deck(folder, known_motifs)
    if found.faults:
        raise DeckError(found.faults)
    taken = {card.entry.card.card_id for card in found.cards}
    named = []
    for entry in entries:
        card = entry.card if entry.card.card_id else replace(entry.card, card_id=made_id(entry.card, taken))
        taken.add(card.card_id)
        named.append(replace(entry, card=card))
    try:
        text = append_games(found.text, map(write_card, named))
    except ValueError as error:
        raise DeckError([Fault(CARDS_FILE, None, None, f"a new card can't be written: {error}")]) from error
    assert found.settings is not None
    read, faults = read_cards(text, found.settings.asks, known_motifs)
    if faults or len(read) != len(found.cards) + len(named):
        raise DeckError(faults or [Fault(CARDS_FILE, None, None, "a new card would run into another one")])
    joined = {**found.verdicts.by_epd, **{one.epd: one for one in verdicts}}
    replace_file(folder, CARDS_FILE, text.encode())
    if joined != found.verdicts.by_epd:
        replace_file(folder, VERDICTS_FILE, write_verdicts(joined.values()).encode())
    return tuple(entry.card.card_id for entry in named)


def made_id(card: Card, taken: Collection[str]) -> str:
    """A CardId made from the card's position and line, so that the same card gets the same id everywhere."""
    digest = hashlib.sha256("\n".join([card.fen, *card.line]).encode()).hexdigest()
    plain = f"card-{digest[:8]}"
    numbered = (f"{plain}-{number}" for number in range(2, len(taken) + 3))
    return next(one for one in (plain, *numbered) if one not in taken)


_Read = TypeVar("_Read")


def _collect(faults: list[Fault], read: Callable[[], _Read]) -> _Read | None:
    """The result of `read`. If it raises DeckError, its faults go into `faults`, and the result is None."""
    try:
        return read()
    except DeckError as error:
        faults += error.faults
        return None


def _text(folder: Path, name: str, default: str | None = None) -> str:
    data = read_file(folder, name)
    if data is not None:
        return decode(name, data)
    if default is None:
        raise DeckError([Fault(name, None, None, "the file is missing")])
    return default
