"""What each card is to a student: a position in the pools of its strands, or a fixed card.

A card whose asks all belong to a strand is in their pools: its first motif is the one that it practises. The
others, such as those of a deck that is learned by heart, are fixed cards.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from decks.asks.catalogue import in_order
from decks.memory.answers import CardItem, Strand
from decks.memory.minutes import FixedCard, returns
from decks.memory.model import Memory, recall
from decks.memory.pool import Position, position_key
from decks.memory.strands import strand_of
from decks.tasks.card import Card

MIDDLE_TIER = 2
"""The tier of a card that doesn't say how hard it is."""


def tier_of(card: Card) -> int:
    """How hard a card is, 1 to 3."""
    return card.tier or MIDDLE_TIER


@dataclass(frozen=True)
class Askable:
    """A card, and those of its asks that can be asked. `deck`: its uuid."""

    deck: str
    card: Card
    asks: tuple[str, ...]
    by_heart: bool = False

    @property
    def name(self) -> str:
        """What tells it apart from all other cards."""
        return f"{self.deck}/{self.card.card_id}"

    @property
    def motif(self) -> str | None:
        """The motif that it practises."""
        return self.card.motifs[0].motif if self.card.motifs else None

    @property
    def strands(self) -> tuple[Strand, ...]:
        """The strands of its asks, in the order of a sitting; empty for a fixed card."""
        found = [strand_of(self.motif, ask) for ask in in_order(self.asks)]
        strands = tuple(strand for strand in found if strand is not None)
        return strands if len(strands) == len(found) and not self.by_heart else ()


class Pools(Mapping[Strand, Sequence[Position]]):
    """The pool of every strand. Each is made when it is first looked at, because most are not, on a day.

    `by_key`: a card for each position that is in any of them.
    """

    def __init__(self, cards: Iterable[Askable]) -> None:
        self._cards: dict[Strand, list[Askable]] = {}
        self.by_key: dict[str, Askable] = {}
        for card in cards:
            self.by_key[position_key(card.card.fen)] = card
            for strand in card.strands:
                self._cards.setdefault(strand, []).append(card)
        self._pools: dict[Strand, tuple[Position, ...]] = {}
        self._card_of: dict[Position, Askable] = {}

    def __getitem__(self, strand: Strand) -> Sequence[Position]:
        if strand not in self._pools:
            made = {position_of(card): card for card in self._cards[strand]}
            self._pools[strand] = tuple(made)
            self._card_of |= made
        return self._pools[strand]

    def __iter__(self) -> Iterator[Strand]:
        return iter(self._cards)

    def __len__(self) -> int:
        return len(self._cards)

    def cards(self, strand: Strand) -> Sequence[Askable]:
        """The cards in the pool of a strand."""
        return self._cards[strand]

    def card_of(self, position: Position) -> Askable:
        """The card of a position that came from one of the pools."""
        return self._card_of[position]


def position_of(card: Askable) -> Position:
    """The position of a card in the pools of its strands."""
    motif = card.card.motifs[0] if card.card.motifs else None
    return Position(
        position_key(card.card.fen),
        card.strands,
        tier_of(card.card),
        side=motif.side if motif else "white",
        squares=frozenset(card.card.evidence.get(motif.motif, ()) if motif else ()),
        pawns=_pawns(card.card.fen),
    )


def _pawns(fen: str) -> frozenset[str]:
    pawns = []
    for rank, row in zip("87654321", fen.partition(" ")[0].split("/"), strict=False):
        file = 0
        for man in row:
            if man in "Pp":
                pawns.append(f"{'white' if man == 'P' else 'black'} {'abcdefgh'[file]}{rank}")
            file += int(man) if man.isdigit() else 1
    return frozenset(pawns)


@dataclass(frozen=True)
class Fixed:
    """A fixed card as it stands on a day. `asks`: those that come in its next sitting, in order."""

    card: Askable
    asks: tuple[str, ...]
    memory: Memory | None

    def as_card(self, seconds_of: Mapping[str, float]) -> FixedCard:
        """The same for the minutes of a day."""
        return FixedCard(
            self.card.name,
            position_key(self.card.card.fen),
            self.card.motif or self.card.name,
            sum(seconds_of[ask] for ask in self.asks),
            self.memory,
        )


def fixed(card: Askable, memories: Mapping[str, Memory], day: date) -> Fixed | None:
    """A fixed card on a study day: unmet, or due. None if it isn't asked yet.

    An ask that has not been met joins a sitting in which the card is due.
    """
    items = {ask: str(CardItem(card.deck, card.card.card_id, ask)) for ask in card.asks}
    met = {ask: memories[item] for ask, item in items.items() if item in memories}
    if not met:
        return Fixed(card, in_order(card.asks), None)
    due = {ask: memory for ask, memory in met.items() if returns(memory) <= day}
    if not due:
        return None
    unmet = items.keys() - met.keys()
    least = min(due.values(), key=lambda memory: recall(memory, day))
    return Fixed(card, in_order([*due, *unmet]), least)
