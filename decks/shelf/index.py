"""The index of a deck: what planning needs to know of every card, without the cards."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from decks.asks.catalogue import ASKS
from decks.cards.deck import Deck
from decks.cards.settings import DeckSettings
from decks.memory.askable import Askable, Kind
from decks.memory.pool import Position, position_key
from decks.tasks.card import Card


@dataclass(frozen=True)
class DeckIndex:
    """The cards of which something can be asked, in the order of the deck, as columns of one length.

    `kind_of`: a place in `kinds`. `keys`: of their positions. `squares`: of their motifs, with spaces
    between. `unjudged`: the CardIds of all cards that lack verdicts for one of their asks.
    """

    settings: DeckSettings
    kinds: Sequence[Kind]
    kind_of: Sequence[int]
    card_ids: Sequence[str]
    keys: Sequence[str]
    squares: Sequence[str]
    unjudged: Sequence[str]

    @classmethod
    def of(cls, deck: Deck) -> DeckIndex:
        """The index of a deck."""
        cards, unjudged = [], []
        for card in deck.cards:
            asks = tuple(ask for ask in card.asks if _is_judged(card, ask, deck.verdicts))
            if len(asks) < len(card.asks):
                unjudged.append(card.card_id)
            if asks:
                cards.append(Askable.of(deck.settings.deck, card, asks, deck.settings.by_heart))
        kinds = {kind: place for place, kind in enumerate(dict.fromkeys(card.kind for card in cards))}
        return cls(
            deck.settings,
            tuple(kinds),
            [kinds[card.kind] for card in cards],
            [card.card_id for card in cards],
            [card.key for card in cards],
            [" ".join(card.squares) for card in cards],
            unjudged,
        )

    @cached_property
    def rows(self) -> Mapping[Kind, Sequence[int]]:
        """The rows of each kind, in order."""
        found: list[list[int]] = [[] for _ in self.kinds]
        for row, kind in enumerate(self.kind_of):
            found[kind].append(row)
        return dict(zip(self.kinds, found, strict=True))

    @cached_property
    def row_of(self) -> Mapping[str, int]:
        """The row of each card, by CardId."""
        return dict(zip(self.card_ids, range(len(self.card_ids)), strict=True))

    def askable(self, row: int) -> Askable:
        """The card of a row."""
        kind, squares = self.kinds[self.kind_of[row]], tuple(self.squares[row].split())
        return Askable(self.settings.deck, self.card_ids[row], self.keys[row], kind, squares)

    def position(self, row: int) -> Position:
        """The position of a row's card in the pools of its strands."""
        kind, squares = self.kinds[self.kind_of[row]], frozenset(self.squares[row].split())
        return Position(self.keys[row], kind.strands, kind.tier, kind.lookalike, kind.side, squares)


def _is_judged(card: Card, ask: str, verdicts: Container[str]) -> bool:
    """Whether there are verdicts for all positions in which an ask of a card has the student move.

    A line of one move without defences needs only the first position. Whether that is there shows without
    setting it up, which takes most of the time of making an index.
    """
    if len(card.asked_line) <= 2 and not card.defences and position_key(card.fen) in verdicts:
        return True
    return all(move.board.epd() in verdicts for move in ASKS[ask].moves_judged(card))
