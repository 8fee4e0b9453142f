"""Today's queue: what is due comes first, nothing is lost or doubled, kinds of problem are mixed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from itertools import pairwise, permutations
from typing import Any

import chess
import pytest
from hypothesis import given
from hypothesis import strategies as st

from decks.cards.card import ASKS, Ask, Card, MotifTag
from decks.memory.answers import CardItem
from decks.memory.model import Memory, recall
from decks.memory.queue import USUAL_SECONDS, Sitting, todays_sittings

DECK = "5a17aa25-0000-4000-8000-000000000001"
TODAY = date(2031, 5, 5)
PIN, FORK, RANK = "pin-on-file", "knight-fork", "back-rank"


def a_card(card_id: str, *motifs: str, asks: tuple[Ask, ...] = ("play",)) -> Card:
    return Card(card_id, chess.STARTING_FEN, asks, tuple(MotifTag(motif, "white") for motif in motifs))


def a_memory(stability: float, days_since: int, due_in: int) -> Memory:
    return Memory(stability, 5.0, TODAY - timedelta(days=days_since), TODAY + timedelta(days=due_in))


def item(card_id: str, ask: Ask = "play") -> str:
    return str(CardItem(DECK, card_id, ask))


def in_deck(*cards: Card) -> list[tuple[str, Card]]:
    return [(DECK, card) for card in cards]


def card_ids(sittings: Sequence[Sitting]) -> list[str]:
    return [sitting.card.card_id for sitting in sittings]


def items_of(sitting: Sitting) -> list[str]:
    return [str(CardItem(sitting.deck, sitting.card.card_id, ask)) for ask in sitting.asks]


def todays_items(*arguments: Any, **options: Any) -> list[str]:
    """The ids of today's items, sitting after sitting."""
    return [name for sitting in todays_sittings(*arguments, **options) for name in items_of(sitting)]


def test_what_can_not_be_asked_takes_no_place_and_no_time() -> None:
    cards = in_deck(a_card("a"), a_card("b", asks=("assess", "play")), a_card("c"))
    memories, unaskable = {item("a"): a_memory(2, 9, -7)}, {item("a"), item("b")}
    asked = [item("b", "assess"), item("c")]
    assert todays_items(cards, {}, TODAY, new_limit=2, unaskable=unaskable) == asked
    assert todays_items(cards, memories, TODAY, minutes=2.5, unaskable=unaskable) == asked


def test_the_least_recalled_comes_first_then_what_is_unmet_and_nothing_that_is_not_due() -> None:
    memories = {
        item("faint"): a_memory(2, 9, -7),
        item("firm"): a_memory(50, 60, -10),
        item("later"): a_memory(20, 3, 17),
        item("today"): a_memory(20, 20, 0),
    }
    cards = in_deck(*map(a_card, ("new-b", "later", "firm", "today", "new-a", "faint")))
    assert recall(memories[item("faint")], TODAY) < recall(memories[item("firm")], TODAY)
    assert card_ids(todays_sittings(cards, memories, TODAY)) == ["faint", "firm", "today", "new-b", "new-a"]


def test_the_asks_of_one_card_are_one_sitting_that_takes_stock_first() -> None:
    cards = in_deck(a_card("both", PIN, asks=("play", "assess")), a_card("other", FORK))
    (both, _) = todays_sittings(cards, {}, TODAY)
    assert both.asks == ("assess", "play")
    assert todays_items(cards, {}, TODAY) == [item("both", "assess"), item("both"), item("other")]


def test_an_unmet_ask_joins_the_due_sitting_of_its_card_only_within_the_limit_on_new_ones() -> None:
    cards = in_deck(a_card("both", asks=("play", "assess")), a_card("new"))
    memories = {item("both", "assess"): a_memory(3, 5, -2)}
    assert todays_items(cards, memories, TODAY, new_limit=1) == [item("both", "assess"), item("both")]
    assert todays_items(cards, memories, TODAY, new_limit=0) == [item("both", "assess")]


def test_minutes_cap_the_queue_by_usual_seconds_but_never_to_nothing() -> None:
    cards = in_deck(*(a_card(f"c{number}") for number in range(20)))
    assert len(todays_items(cards, {}, TODAY, minutes=5)) == 5 * 60 // USUAL_SECONDS["play"]
    assert len(todays_items(cards, {}, TODAY, minutes=5, seconds_by_ask={"play": 20.0})) == 15
    assert len(todays_items(cards, {}, TODAY, minutes=5, seconds_by_ask={"spot": 1.0})) == 5
    assert todays_items(cards, {}, TODAY, minutes=0) == [item("c0")]
    assert todays_items([], {}, TODAY, minutes=5) == []


@pytest.mark.parametrize(("ask", "seconds"), [("assess", 90), ("spot", 40), ("play", 60), ("root", 60)])
def test_the_usual_time_of_an_ask(ask: Ask, seconds: int) -> None:
    cards = in_deck(*(a_card(f"c{number}", asks=(ask,)) for number in range(4)))
    assert len(todays_items(cards, {}, TODAY, minutes=2 * seconds / 60)) == 2
    assert len(todays_items(cards, {}, TODAY, minutes=(2 * seconds - 1) / 60)) == 1


def test_what_is_due_already_takes_no_place_of_a_new_one() -> None:
    cards = in_deck(a_card("due"), a_card("new"), a_card("newer"))
    memories = {item("due"): a_memory(3, 5, -2)}
    assert todays_items(cards, memories, TODAY, new_limit=1) == [item("due"), item("new")]
    assert todays_items(cards, memories, TODAY, new_limit=0) == [item("due")]


def test_cards_of_the_same_name_in_two_decks_are_two_items() -> None:
    other = DECK.replace("1", "2")
    assert len(set(todays_items([(DECK, a_card("a")), (other, a_card("a"))], {}, TODAY))) == 2


@pytest.mark.parametrize(
    ("motifs", "expected"),
    [
        ([PIN, PIN, FORK, FORK], "0213"),
        ([PIN, PIN, PIN, FORK, RANK], "03142"),
        ([FORK, PIN, PIN, PIN, FORK], "10243"),  # pins are in the majority, so one must lead
        ([PIN, FORK, RANK], "012"),
        ([PIN, PIN, PIN], "012"),
        ([None, PIN, PIN, None], "0132"),  # a card without a motif is unlike any other
    ],
)
def test_neighbours_differ_in_motif_and_otherwise_keep_their_order(
    motifs: list[str | None], expected: str
) -> None:
    cards = in_deck(*(a_card(str(index), *([motif] if motif else [])) for index, motif in enumerate(motifs)))
    assert "".join(card_ids(todays_sittings(cards, {}, TODAY))) == expected


def clashes(motifs: Sequence[frozenset[str]]) -> int:
    return sum(bool(one & other) for one, other in pairwise(motifs))


@given(st.lists(st.sampled_from((None, PIN, FORK, RANK)), max_size=7))
def test_with_one_motif_a_card_no_order_at_all_does_better(motifs: list[str | None]) -> None:
    sets = [frozenset({motif} if motif else ()) for motif in motifs]
    cards = in_deck(*(a_card(str(index), *motifs) for index, motifs in enumerate(sets)))
    ordered = [sets[int(card_id)] for card_id in card_ids(todays_sittings(cards, {}, TODAY))]
    assert clashes(ordered) == min(map(clashes, permutations(sets)))


CARDS = st.lists(
    st.tuples(
        st.sets(st.sampled_from((PIN, FORK, RANK, "overload")), max_size=3),
        st.sets(st.sampled_from(ASKS), min_size=1),
    ),
    max_size=25,
).map(
    lambda rows: [
        a_card(f"c{index}", *sorted(motifs), asks=tuple(sorted(asks)))
        for index, (motifs, asks) in enumerate(rows)
    ]
)
MEMORY = st.none() | st.builds(a_memory, st.floats(0.1, 400), st.integers(1, 400), st.integers(-100, 100))


@st.composite
def cards_and_memories(draw: st.DrawFn) -> tuple[list[Card], dict[str, Memory]]:
    cards = draw(CARDS)
    drawn = {item(card.card_id, ask): draw(MEMORY) for card in cards for ask in card.asks}
    return cards, {name: memory for name, memory in drawn.items() if memory is not None}


def wanted_today(cards: Sequence[Card], memories: Mapping[str, Memory]) -> list[str]:
    names = [item(card.card_id, ask) for card in cards for ask in card.asks]
    return [name for name in names if name not in memories or memories[name].due <= TODAY]


@given(cards_and_memories())
def test_without_limits_every_item_due_or_unmet_is_asked_exactly_once(
    drawn: tuple[list[Card], dict[str, Memory]],
) -> None:
    cards, memories = drawn
    items = todays_items(in_deck(*cards), memories, TODAY)
    assert sorted(items) == sorted(wanted_today(cards, memories))
    assert items == todays_items(in_deck(*cards), dict(reversed(memories.items())), TODAY)


@given(cards_and_memories(), st.integers(0, 60), st.integers(0, 10))
def test_limits_hold_and_what_they_leave_out_is_less_urgent(
    drawn: tuple[list[Card], dict[str, Memory]], minutes: int, new_limit: int
) -> None:
    cards, memories = drawn
    sittings = todays_sittings(in_deck(*cards), memories, TODAY, minutes, new_limit=new_limit)
    items = [name for sitting in sittings for name in items_of(sitting)]
    assert set(items) <= set(wanted_today(cards, memories))
    assert len(set(items)) == len(items)
    assert len({sitting.card.card_id for sitting in sittings}) == len(sittings)
    assert sum(any(name not in memories for name in items_of(sitting)) for sitting in sittings) <= new_limit
    assert len(sittings) <= 1 or sum(USUAL_SECONDS[ask] for s in sittings for ask in s.asks) <= minutes * 60

    due = {name: recall(memories[name], TODAY) for name in wanted_today(cards, memories) if name in memories}
    taken = {sitting.card.card_id for sitting in sittings}
    urgency = {
        card.card_id: min(due[item(card.card_id, ask)] for ask in card.asks if item(card.card_id, ask) in due)
        for card in cards
        if any(item(card.card_id, ask) in due for ask in card.asks)
    }
    left_out = [value for card_id, value in urgency.items() if card_id not in taken]
    chosen = [value for card_id, value in urgency.items() if card_id in taken]
    assert not left_out or not chosen or max(chosen) <= min(left_out)
    if left_out:
        assert taken <= urgency.keys(), "an unmet card was chosen before one that is due"


def test_a_thousand_cards_take_a_moment() -> None:
    cards = in_deck(*(a_card(f"c{index}", (PIN, FORK, RANK)[index % 7 % 3]) for index in range(1000)))
    assert len(todays_items(cards, {}, TODAY)) == 1000
