"""Which cards to ask today, and in what order.

Cards that are due come first, beginning with the one that is least likely to be recalled. Then come first
meetings: unmet cards, in the order of the deck. All asks of one card on the same day are one sitting. If a
card has been met but one of its asks has not, this ask joins the next sitting in which the card is due, or
continues a sitting that was broken off today. So no position is used for a first meeting twice.

Neighbours among the due sittings, and among the first meetings, have different motifs where possible. Mixing
kinds of problems makes them easier to tell apart later (interleaving: Kornell & Bjork 2008; Rohrer 2014).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from types import MappingProxyType

from decks.asks.catalogue import ASKS, in_order
from decks.memory.answers import CardItem
from decks.memory.day import DayAhead
from decks.memory.model import Memory, recall
from decks.tasks.card import Card


@dataclass(frozen=True)
class Sitting:
    """One of today's cards, with its asks in order (taking stock before deciding).

    `first_meeting`: whether no ask of the card has been answered before.
    """

    deck: str
    card: Card
    asks: tuple[str, ...]
    first_meeting: bool = False


@dataclass(frozen=True)
class Return:
    """A study day, and how many cards return on it."""

    day: date
    cards: int


def todays_sittings(
    cards: Collection[tuple[str, Card]],
    memory_by_item: Mapping[str, Memory],
    ahead: DayAhead,
    seconds_by_ask: Mapping[str, float] = MappingProxyType({}),
    unaskable: Collection[str] = (),
) -> list[Sitting]:
    """Today's sittings in order. `cards`: (deck uuid, card), in the order of their decks.

    `memory_by_item`: one student's. `ahead`: the time and the first meetings left of the day. Sittings are
    chosen as long as they fit into this time. A sitting takes the usual seconds of its asks: those in
    `seconds_by_ask`, or else those that the ask declares. If there is any time left, at least one sitting is
    chosen, however long it takes. First meetings follow only if all due sittings are chosen and take no more
    than `ahead.due_seconds`. `unaskable`: ids of items that can't be asked now; they are left out.
    """
    if ahead.seconds <= 0:
        return []
    usual = {ask.id: ask.size.seconds for ask in ASKS.values()} | dict(seconds_by_ask)
    due = _due_sittings(cards, memory_by_item, ahead.day, unaskable)
    chosen, needed = _fitting(due, ahead.seconds, usual)
    sittings = _interleaved(chosen)
    if len(chosen) < len(due) or needed > ahead.due_seconds:
        return sittings
    unmet = unmet_sittings(cards, memory_by_item, unaskable)
    allowed = [sitting for place, sitting in enumerate(unmet) if place < ahead.first_meetings]
    first, _ = _fitting(allowed, ahead.seconds - needed, usual, at_least=0 if chosen else 1)
    return sittings + _interleaved(first, after=sittings[-1:])


def next_return(
    cards: Collection[tuple[str, Card]],
    memory_by_item: Mapping[str, Memory],
    day: date,
    unaskable: Collection[str] = (),
) -> Return | None:
    """The first study day after `day` on which cards return, and how many. None if no card has been met."""
    returns: list[date] = []
    for deck, card in cards:
        items = {str(CardItem(deck, card.card_id, ask)) for ask in card.asks}
        dues = [
            memory_by_item[item].due for item in items if item in memory_by_item and item not in unaskable
        ]
        if dues:
            returns.append(max(min(dues), day + timedelta(days=1)))
    return Return(min(returns), returns.count(min(returns))) if returns else None


def unmet_sittings(
    cards: Collection[tuple[str, Card]], memory_by_item: Mapping[str, Memory], unaskable: Collection[str] = ()
) -> list[Sitting]:
    """All possible first meetings, in the order of the cards, without regard to the time left."""
    sittings = []
    for deck, card in cards:
        items = {ask: str(CardItem(deck, card.card_id, ask)) for ask in card.asks}
        askable = {ask for ask, item in items.items() if item not in unaskable}
        if askable and not any(item in memory_by_item for item in items.values()):
            sittings.append(Sitting(deck, card, in_order(askable), first_meeting=True))
    return sittings


def _due_sittings(
    cards: Collection[tuple[str, Card]],
    memory_by_item: Mapping[str, Memory],
    day: date,
    unaskable: Collection[str],
) -> list[Sitting]:
    """The due sittings of cards met before, lowest recall first."""
    ranked: list[tuple[float, Sitting]] = []
    for deck, card in cards:
        items = {ask: str(CardItem(deck, card.card_id, ask)) for ask in card.asks}
        memories = {ask: memory_by_item[item] for ask, item in items.items() if item in memory_by_item}
        askable = {ask for ask, item in items.items() if item not in unaskable}
        recalls = {
            ask: recall(memory, day)
            for ask, memory in memories.items()
            if ask in askable and memory.due <= day
        }
        left_over = askable - memories.keys()
        broken_off = any(memory.last == day for memory in memories.values())
        if recalls or (left_over and broken_off):
            sitting = Sitting(deck, card, in_order(recalls.keys() | left_over))
            ranked.append((min(recalls.values(), default=1.0), sitting))
    ranked.sort(key=lambda pair: pair[0])
    return [sitting for _, sitting in ranked]


def _fitting(
    sittings: list[Sitting], seconds: float, usual: Mapping[str, float], at_least: int = 1
) -> tuple[list[Sitting], float]:
    """The first sittings that fit into `seconds` (at least `at_least` of them), and the seconds they need."""
    chosen: list[Sitting] = []
    needed = 0.0
    for sitting in sittings:
        with_this = needed + sum(usual[ask] for ask in sitting.asks)
        if len(chosen) >= at_least and with_this > seconds:
            break
        chosen.append(sitting)
        needed = with_this
    return chosen, needed


def _interleaved(sittings: list[Sitting], after: Sequence[Sitting] = ()) -> list[Sitting]:
    """The same sittings, reordered as little as possible so that neighbours share no motif.

    `after`: the sittings before them, if any. The next sitting is always the first that shares no motif with
    the one before. But a motif of more than half of the remaining sittings is placed at once, because they
    would otherwise be left over side by side. If every card has at most one motif, this finds an order
    without equal neighbours whenever there is one.
    """
    left = [(_motifs(sitting), sitting) for sitting in sittings]
    carried = Counter(motif for motifs, _ in left for motif in motifs)
    before = _motifs(after[-1]) if after else frozenset()
    placed: list[Sitting] = []
    while left:
        crowding = {motif for motif, count in carried.items() if 2 * count > len(left)}
        before, sitting = left.pop(_next_place([motifs for motifs, _ in left], before, crowding))
        carried.subtract(before)
        placed.append(sitting)
    return placed


def _motifs(sitting: Sitting) -> frozenset[str]:
    return frozenset(tag.motif for tag in sitting.card.motifs)


def _next_place(left: list[frozenset[str]], before: frozenset[str], crowding: set[str]) -> int:
    """Index of the first that differs from `before` and has a crowding motif, or else does one of the two."""
    differing = [index for index, motifs in enumerate(left) if not motifs & before]
    choice = differing or range(len(left))
    return next((index for index in choice if left[index] & crowding), choice[0])
