"""Which cards to ask today, and in what order. Pure: cards and memories in, a list out.

Items that are due come first, the least likely to be recalled leading; then items not met before, in the
deck's order. The asks of one card that fall on the same day make one sitting. Sittings next to each
other differ in motif wherever the chosen ones allow it, since mixing kinds of problem makes them easier
to tell apart later (interleaving: Kornell & Bjork 2008; Rohrer 2014).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from math import inf
from types import MappingProxyType

from decks.asks.catalogue import ASKS, in_order
from decks.memory.answers import CardItem
from decks.memory.model import Memory, recall
from decks.tasks.card import Card


@dataclass(frozen=True)
class Sitting:
    """One card of today, with the asks to go through in order (taking stock before deciding)."""

    deck: str
    card: Card
    asks: tuple[str, ...]


def todays_sittings(
    cards: Iterable[tuple[str, Card]],
    memory_by_item: Mapping[str, Memory],
    day: date,
    minutes: float | None = None,
    seconds_by_ask: Mapping[str, float] = MappingProxyType({}),
    new_limit: int | None = None,
    unaskable: Collection[str] = (),
) -> list[Sitting]:
    """Today's sittings in order, from `cards` (deck uuid, card) in the order of their decks.

    `memory_by_item` is one student's. `minutes` caps what is chosen by the usual seconds of its asks, an
    ask that `seconds_by_ask` lacks counting as it declares itself; the first sitting is always chosen.
    `new_limit` caps the sittings that hold an item not met before; None is no cap. An unmet ask of a card
    that has another ask due joins that sitting if the limit allows, else it waits for another day.
    `unaskable`: ids of items that can't be asked now; they take no place and no time.
    """
    seconds_left = inf if minutes is None else minutes * 60
    new_left = inf if new_limit is None else new_limit
    chosen: list[Sitting] = []
    for deck, card, due, unmet in _by_urgency(cards, memory_by_item, day, unaskable):
        wanted = due | unmet if new_left > 0 else due
        if not wanted:
            continue
        needed = sum(seconds_by_ask.get(ask, ASKS[ask].size.seconds) for ask in wanted)
        if chosen and needed > seconds_left:
            break
        seconds_left -= needed
        new_left -= bool(wanted & unmet)
        chosen.append(Sitting(deck, card, in_order(wanted)))
    return _interleaved(chosen)


def _by_urgency(
    cards: Iterable[tuple[str, Card]],
    memory_by_item: Mapping[str, Memory],
    day: date,
    unaskable: Collection[str],
) -> list[tuple[str, Card, frozenset[str], frozenset[str]]]:
    """Deck, card, due asks and unmet asks of each card that has any, the lowest recall first."""
    ranked = []
    for deck, card in cards:
        items = {ask: str(CardItem(deck, card.card_id, ask)) for ask in card.asks}
        memories = {ask: memory_by_item.get(item) for ask, item in items.items() if item not in unaskable}
        unmet = frozenset(ask for ask, memory in memories.items() if memory is None)
        recalls = {
            ask: recall(memory, day) for ask, memory in memories.items() if memory and memory.due <= day
        }
        if recalls or unmet:
            ranked.append((min(recalls.values(), default=inf), (deck, card, frozenset(recalls), unmet)))
    ranked.sort(key=lambda pair: pair[0])
    return [row for _, row in ranked]


def _interleaved(sittings: list[Sitting]) -> list[Sitting]:
    """The same sittings, moved from their order only as far as keeps neighbours from sharing a motif.

    Each place takes the first that shares no motif with the one before. But a motif carried by more than
    half of those left is placed at once, or it would end in a row of its own. Where every card has at
    most one motif, this finds an order without equal neighbours whenever there is one.
    """
    left = [(frozenset(tag.motif for tag in sitting.card.motifs), sitting) for sitting in sittings]
    carried = Counter(motif for motifs, _ in left for motif in motifs)
    before: frozenset[str] = frozenset()
    placed: list[Sitting] = []
    while left:
        crowding = {motif for motif, count in carried.items() if 2 * count > len(left)}
        before, sitting = left.pop(_next_place([motifs for motifs, _ in left], before, crowding))
        carried.subtract(before)
        placed.append(sitting)
    return placed


def _next_place(left: list[frozenset[str]], before: frozenset[str], crowding: set[str]) -> int:
    """Index of the first that differs from `before` and relieves the crowding, else does one of the two."""
    differing = [index for index, motifs in enumerate(left) if not motifs & before]
    choice = differing or range(len(left))
    return next((index for index in choice if left[index] & crowding), choice[0])
