"""What each card is to a student: a position in the pools of its strands, or a fixed card.

A card whose asks all belong to a strand is in their pools: its first motif is the one that it practises. The
others, such as those of a deck that is learned by heart, are fixed cards.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import NamedTuple

from decks.asks.catalogue import in_order
from decks.memory.answers import Strand, card_item
from decks.memory.minutes import WORKED_SECONDS, FixedCard, forgotten
from decks.memory.model import Memory
from decks.memory.pool import position_key
from decks.memory.strands import strand_of
from decks.tasks.card import Card, MotifTag

MIDDLE_TIER = 2
"""The tier of a card that doesn't say how hard it is."""


def tier_of(card: Card) -> int:
    """How hard a card is, 1 to 3."""
    return card.tier or MIDDLE_TIER


def practised(card: Card) -> MotifTag | None:
    """The motif that a card practises: the one that only seems to be there, or its first."""
    return card.lookalike or next(iter(card.motifs), None)


class Kind(NamedTuple):
    """What many cards have in common.

    `asks`: those that can be asked, in the order of a sitting. `motif`: the one that is practised. `side`:
    the one that profits from it. `lookalike`, `tier`: as in `Position`. `by_heart`: as their deck says.
    """

    asks: tuple[str, ...]
    motif: str | None
    side: str
    lookalike: bool
    tier: int
    by_heart: bool

    @property
    def strands(self) -> tuple[Strand, ...]:
        """The strands of the asks, in the order of a sitting; empty for fixed cards."""
        return _strands(self.motif, self.asks) if not self.by_heart else ()


@cache
def _strands(motif: str | None, asks: tuple[str, ...]) -> tuple[Strand, ...]:
    found = [strand_of(motif, ask) for ask in asks]
    strands = tuple(strand for strand in found if strand is not None)
    return strands if len(strands) == len(found) else ()


@dataclass(frozen=True)
class Askable:
    """A card as planning sees it. `deck`: its uuid. `key`: its position. `squares`: those of its motif."""

    deck: str
    card_id: str
    key: str
    kind: Kind
    squares: tuple[str, ...] = ()

    @classmethod
    def of(cls, deck: str, card: Card, asks: tuple[str, ...], by_heart: bool = False) -> Askable:
        """A card of which these asks can be asked."""
        tag = practised(card)
        motif, side = (tag.motif, tag.side) if tag else (None, "white")
        kind = Kind(asks, motif, side, card.lookalike is not None, tier_of(card), by_heart)
        squares = card.evidence.get(motif, ()) if motif else ()
        return cls(deck, card.card_id, position_key(card.fen), kind, squares)

    @property
    def name(self) -> str:
        """What tells it apart from all other cards."""
        return f"{self.deck}/{self.card_id}"

    @property
    def items(self) -> dict[str, str]:
        """The items of its asks, if it is a fixed card."""
        return {ask: card_item(self.deck, self.card_id, ask) for ask in self.kind.asks}


@dataclass(frozen=True)
class Fixed:
    """A fixed card as it stands on a day. `asks`: those that come in its next sitting, in order.

    `worked`: they are shown worked, because the student is stuck on them.
    """

    card: Askable
    asks: tuple[str, ...]
    memory: Memory | None
    worked: bool = False

    def as_card(self, seconds_of: Mapping[str, float]) -> FixedCard:
        """The same for the minutes of a day."""
        return FixedCard(
            self.card.name,
            self.card.key,
            self.card.kind.motif or self.card.name,
            WORKED_SECONDS if self.worked else sum(seconds_of[ask] for ask in self.asks),
            self.memory,
            self.worked,
        )


def returns_on(memories: Iterable[Memory]) -> date:
    """The study day on which a fixed card returns. `memories`: of its asks that were met.

    It is that of the first ask to return, but the whole card rests while one of them does.
    """
    memories = list(memories)
    first = min(memory.returns for memory in memories)
    return max([first, *(memory.returns for memory in memories if memory.worked is not None)])


def fixed(card: Askable, memories: Mapping[str, Memory], day: date, early: bool = False) -> Fixed | None:
    """A fixed card on a study day: unmet, or due. None if it isn't asked yet, unless all are asked `early`.

    An ask that has not been met joins a sitting in which the card is due. Asks on which the student is stuck
    are shown worked first, alone. A card that rests isn't asked early either.
    """
    met = {ask: memories[item] for ask, item in card.items.items() if item in memories}
    if not met:
        return Fixed(card, card.kind.asks, None)
    rests = any(memory.worked is not None and memory.returns > day for memory in met.values())
    if rests or not (early or returns_on(met.values()) <= day):
        return None
    due = {ask: memory for ask, memory in met.items() if early or memory.returns <= day}
    stuck = {ask: memory for ask, memory in due.items() if memory.wants_worked}
    unmet = () if stuck else set(card.kind.asks) - met.keys()
    next_ = stuck or due
    least = max(next_.values(), key=lambda memory: forgotten(memory, day))
    return Fixed(card, in_order([*next_, *unmet]), least, bool(stuck))
