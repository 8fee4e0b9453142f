"""A deck at hand: its index, and each card with its verdicts when it is asked for."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from itertools import accumulate, chain
from pathlib import Path
from typing import NamedTuple

from decks.asks.catalogue import moves_judged
from decks.cards.cards_file import CARDS_FILE, read_cards
from decks.cards.deck import Deck, DeckContents, read_deck
from decks.cards.faults import DeckError, Fault
from decks.cards.folder import read_file
from decks.cards.settings import DeckSettings
from decks.cards.verdicts_file import VERDICTS_FILE, read_verdicts
from decks.memory.askable import Askable
from decks.shelf.index import DeckIndex
from decks.shelf.kept import KeptIndex, file_stamp, keep, kept_index, stamp_of
from decks.tasks.card import Card
from patterns.engines.scores import PositionVerdicts


class JudgedCard(NamedTuple):
    """A card, and the verdicts on the positions in which the student moves, by EPD."""

    card: Card
    verdicts: Mapping[str, PositionVerdicts]


@dataclass(frozen=True)
class ShelvedDeck:
    """A deck at hand. `read`: gives one of the cards in the index, by its row."""

    folder: Path
    index: DeckIndex
    read: Callable[[int], JudgedCard]

    @classmethod
    def of(cls, deck: Deck) -> ShelvedDeck:
        """A deck that has been read."""
        index = DeckIndex.of(deck)
        cards = {card.card_id: card for card in deck.cards}
        return cls(deck.folder, index, lambda row: judged(cards[index.card_ids[row]], deck.verdicts))

    @property
    def settings(self) -> DeckSettings:
        """The deck's settings."""
        return self.index.settings

    def card(self, card_id: str) -> JudgedCard | None:
        """One of its cards; None if it has no such card. DeckError if that can't be read any more."""
        row = self.index.row_of.get(card_id)
        if row is not None:
            return self.read(row)
        if card_id not in self.index.unjudged:
            return None
        deck = Deck.open(self.folder)
        return next((judged(card, deck.verdicts) for card in deck.cards if card.card_id == card_id), None)


def judged(card: Card, verdicts: Mapping[str, PositionVerdicts]) -> JudgedCard:
    """A card with those of these verdicts that its asks need."""
    epds = (move.board.epd() for move in moves_judged(card))
    return JudgedCard(card, {epd: verdicts[epd] for epd in epds if epd in verdicts})


def take(folder: Path) -> ShelvedDeck:
    """The deck in a folder. It is read only if no index of it is kept. DeckError with all its faults."""
    kept = kept_index(folder)
    if kept is not None:
        return ShelvedDeck(folder, kept.index, _OnDisk(folder, kept))
    stamp = stamp_of(folder)
    found = read_deck(folder)
    deck = ShelvedDeck.of(Deck.of(folder, found))
    keep(folder, KeptIndex(deck.index, list(_places(folder, deck.index, found)), stamp))
    return deck


class _OnDisk:
    """Reads the cards of a deck whose index is kept: one alone, as long as the files stay as they were."""

    def __init__(self, folder: Path, kept: KeptIndex) -> None:
        self._folder, self._kept = folder, kept
        self._whole: ShelvedDeck | None = None

    def __call__(self, row: int) -> JudgedCard:
        """The card of a row. DeckError if the deck has changed since, and the card with it."""
        found = None if self._whole else self._alone(row)
        if found is not None:
            return found
        self._whole = self._whole or ShelvedDeck.of(Deck.open(self._folder))
        wanted, index = self._kept.index.askable(row), self._whole.index
        now = index.row_of.get(wanted.card_id)
        if now is None or index.askable(now) != wanted:
            raise DeckError([Fault(CARDS_FILE, None, wanted.card_id, "the card was changed just now")])
        return self._whole.read(now)

    def _alone(self, row: int) -> JudgedCard | None:
        wanted, settings = self._kept.index.askable(row), self._kept.index.settings
        offsets = list(map(int, self._kept.places[row].split()))
        card_at, *verdicts_at = zip(offsets[::2], offsets[1::2], strict=True)
        _, cards_stamp, verdicts_stamp = self._kept.stamp
        text = _part(self._folder / CARDS_FILE, cards_stamp, *card_at)
        lines = [_part(self._folder / VERDICTS_FILE, verdicts_stamp, *place) for place in verdicts_at]
        games, _ = read_cards(text, settings.asks, None)
        verdicts = read_verdicts("\n".join(lines)).by_epd
        if len(games) == 1 and len(verdicts) == len(verdicts_at):
            card = games[0].entry.card
            if Askable.of(settings.deck, card, wanted.kind.asks, settings.by_heart) == wanted:
                return judged(card, verdicts)
        return None


def _part(file: Path, stamp: list[int] | None, start: int, end: int) -> str:
    """The text between two offsets of a file; empty if the file has another stamp or can't be read."""
    with suppress(OSError, UnicodeDecodeError), file.open("rb") as opened:
        opened.seek(start)
        text = opened.read(end - start).decode()
        if file_stamp(opened.fileno()) == stamp:
            return text
    return ""


def _places(folder: Path, index: DeckIndex, found: DeckContents) -> Iterator[str]:
    """Where each row's card and its verdicts stand, as an index is kept with."""
    lines = (read_file(folder, VERDICTS_FILE) or b"").split(b"\n")
    line_at = [0, *accumulate(len(line) + 1 for line in lines)]
    done = bytes_done = 0
    for game, card in ((each.game, each.entry.card) for each in found.cards):
        start = bytes_done + len(found.text[done : game.start].encode())
        done, bytes_done = game.end, start + len(found.text[game.start : game.end].encode())
        if card.card_id in index.row_of:
            numbers = map(found.verdicts.text_lines.get, (move.board.epd() for move in moves_judged(card)))
            offsets = (line_at[number - 1 : number + 1] for number in numbers if number)
            yield " ".join(map(str, (start, bytes_done, *chain.from_iterable(offsets))))
