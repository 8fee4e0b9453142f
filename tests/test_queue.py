"""Today's queue: what is due comes first, nothing is lost or doubled, kinds of problem are mixed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from itertools import pairwise, permutations
from math import inf
from typing import Any

import chess
import pytest
from hypothesis import given
from hypothesis import strategies as st

from decks.asks.catalogue import ASKS
from decks.memory.answers import CardItem
from decks.memory.day import DayAhead
from decks.memory.model import Memory, recall
from decks.memory.queue import Return, Sitting, next_return, todays_sittings, unmet_sittings
from decks.tasks.card import Card, MotifTag

DECK = "5a17aa25-0000-4000-8000-000000000001"
TODAY = date(2031, 5, 5)
PIN, FORK, RANK = "pin-on-file", "knight-fork", "back-rank"


def a_card(card_id: str, *motifs: str, asks: tuple[str, ...] = ("play",)) -> Card:
    return Card(card_id, chess.STARTING_FEN, asks, tuple(MotifTag(motif, "white") for motif in motifs))


def a_memory(stability: float, days_since: int, due_in: int) -> Memory:
    return Memory(stability, 5.0, TODAY - timedelta(days=days_since), TODAY + timedelta(days=due_in))


def item(card_id: str, ask: str = "play") -> str:
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


def an_ahead(minutes: float = inf, due_minutes: float = inf, first_meetings: float = inf) -> DayAhead:
    """What is left of today, in minutes."""
    return DayAhead(TODAY, 60 * minutes, 60 * due_minutes, first_meetings)


ALL_DAY = an_ahead()


def due_memory(days_over: int = 2) -> Memory:
    return a_memory(5, 5 + days_over, -days_over)


def test_what_cannot_be_asked_takes_no_place_and_no_time() -> None:
    cards = in_deck(a_card("a"), a_card("b", asks=("assess", "play")), a_card("c"))
    memories, unaskable = {item("a"): a_memory(2, 9, -7)}, {item("a"), item("b")}
    asked = [item("b", "assess"), item("c")]
    two_of_them = an_ahead(first_meetings=2)
    assert todays_items(cards, {}, two_of_them, unaskable=unaskable) == asked
    assert todays_items(cards, memories, an_ahead(2.5), unaskable=unaskable) == asked


def test_the_least_recalled_comes_first_then_what_is_unmet_and_nothing_that_is_not_due() -> None:
    memories = {
        item("faint"): a_memory(2, 9, -7),
        item("firm"): a_memory(50, 60, -10),
        item("later"): a_memory(20, 3, 17),
        item("today"): a_memory(20, 20, 0),
    }
    cards = in_deck(*map(a_card, ("unmet-b", "later", "firm", "today", "unmet-a", "faint")))
    assert recall(memories[item("faint")], TODAY) < recall(memories[item("firm")], TODAY)
    sittings = todays_sittings(cards, memories, ALL_DAY)
    assert card_ids(sittings) == ["faint", "firm", "today", "unmet-b", "unmet-a"]
    assert [sitting.first_meeting for sitting in sittings] == [False, False, False, True, True]


def test_the_asks_of_one_card_are_one_sitting_that_takes_stock_first() -> None:
    cards = in_deck(a_card("both", PIN, asks=("play", "assess")), a_card("other", FORK))
    (both, _) = todays_sittings(cards, {}, ALL_DAY)
    assert both.asks == ("assess", "play")
    assert todays_items(cards, {}, ALL_DAY) == [item("both", "assess"), item("both"), item("other")]


@pytest.mark.parametrize(
    ("memory", "asked"),
    [
        (due_memory(), [item("both", "assess"), item("both")]),
        (a_memory(5, 0, 5), [item("both")]),  # broken off today, so it goes on
        (a_memory(5, 2, 3), []),  # it waits until the ballot is due
    ],
)
def test_an_unmet_ask_of_a_card_met_before_comes_with_that_card_and_is_no_first_meeting(
    memory: Memory, asked: list[str]
) -> None:
    cards = in_deck(a_card("both", asks=("play", "assess")), a_card("unmet"))
    sittings = todays_sittings(cards, {item("both", "assess"): memory}, an_ahead(first_meetings=0))
    assert [name for sitting in sittings for name in items_of(sitting)] == asked
    assert not any(sitting.first_meeting for sitting in sittings)


def test_what_was_broken_off_goes_on_after_what_is_due() -> None:
    cards = in_deck(a_card("both", asks=("play", "assess")), a_card("due"))
    memories = {item("both", "assess"): a_memory(5, 0, 5), item("due"): due_memory()}
    assert todays_items(cards, memories, ALL_DAY) == [item("due"), item("both")]


def test_a_card_met_by_an_ask_that_cannot_be_asked_now_is_not_a_first_meeting() -> None:
    cards, play = in_deck(a_card("both", asks=("assess", "play"))), item("both")
    assert todays_items(cards, {play: a_memory(5, 2, 3)}, ALL_DAY, unaskable={play}) == []


@pytest.mark.parametrize(
    ("minutes", "seconds_by_ask", "asked"),
    [
        (5, {}, 5 * 60 // ASKS["play"].size.seconds),
        (5, {"play": 20.0}, 15),
        (5, {"spot": 1.0}, 5),
        (0.1, {}, 1),  # while there is time, one is asked however long it takes
        (0, {}, 0),  # and none begins when it is over
        (-2, {}, 0),
    ],
)
@pytest.mark.parametrize("met", [True, False])
def test_the_minutes_left_cap_the_queue_by_usual_seconds(
    minutes: float, seconds_by_ask: Mapping[str, float], asked: int, met: bool
) -> None:
    cards = in_deck(*(a_card(f"c{number}") for number in range(20)))
    memories = {item(card.card_id): due_memory() for _, card in cards if met}
    assert len(todays_items(cards, memories, an_ahead(minutes), seconds_by_ask=seconds_by_ask)) == asked
    assert todays_items([], {}, an_ahead(minutes)) == []


@pytest.mark.parametrize(
    ("ahead", "due", "first_meetings"),
    [
        (an_ahead(15, 7.5, 3), 7, 3),
        (an_ahead(15, 7.5, 2), 7, 2),
        (an_ahead(15, 7.5, 0), 7, 0),
        (an_ahead(15, 7.5, -1), 7, 0),  # more of them today than this allows
        (an_ahead(15, 7.5, 3), 8, 0),  # due work takes more than half
        (an_ahead(15, 0, 3), 0, 3),
        (an_ahead(15, -1, 3), 0, 0),  # it took more than half already
        (an_ahead(15, 20, inf), 7, 8),  # no cap but time
        (an_ahead(3, 7.5, 3), 4, 0),  # one that is due is left
        (an_ahead(3, 7.5, 3), 3, 0),  # no time is left
        (an_ahead(3.5, 7.5, 3), 3, 0),  # not time enough
        (an_ahead(0.5, 7.5, 3), 0, 1),
    ],
)
def test_first_meetings_follow_only_when_nothing_due_is_left_and_it_leaves_them_room(
    ahead: DayAhead, due: int, first_meetings: int
) -> None:
    cards = in_deck(*map(a_card, [f"unmet-{number}" for number in range(20)]), *map(a_card, "abcdefgh"[:due]))
    sittings = todays_sittings(cards, {item(name): due_memory() for name in "abcdefgh"[:due]}, ahead)
    firsts = [sitting.first_meeting for sitting in sittings]
    assert sum(firsts) == first_meetings
    assert firsts == sorted(firsts), "a first meeting came before one that is due"
    assert firsts.count(False) == min(due, ahead.seconds // 60)


def test_the_first_meetings_differ_in_motif_from_each_other_and_from_what_comes_before() -> None:
    cards = in_deck(a_card("met", PIN), a_card("a", PIN), a_card("b", FORK), a_card("c", RANK))
    assert card_ids(todays_sittings(cards, {item("met"): due_memory()}, ALL_DAY)) == ["met", "b", "a", "c"]
    cards = in_deck(a_card("a", PIN), a_card("b", PIN), a_card("c", FORK))
    assert card_ids(todays_sittings(cards, {}, ALL_DAY)) == ["a", "c", "b"]
    both_due = {item("met"): due_memory(), item("a"): due_memory()}
    cards = in_deck(a_card("met", PIN), a_card("a", PIN), a_card("b", FORK))
    assert card_ids(todays_sittings(cards, both_due, ALL_DAY)) == ["met", "a", "b"], "due work comes first"


@pytest.mark.parametrize(
    ("memories", "unaskable", "returns"),
    [
        ({}, (), None),
        ({"a": a_memory(5, 2, 3)}, (), (3, 1)),
        ({"a": a_memory(5, 2, 3), "b": a_memory(5, 2, 2)}, (), (2, 1)),
        ({"a": a_memory(5, 2, 2), "b": a_memory(5, 2, 2), "c": a_memory(5, 2, 3)}, (), (2, 2)),
        ({"a": a_memory(5, 2, 3), "b": a_memory(5, 2, 2)}, ("b",), (3, 1)),
        ({"a": due_memory(), "b": a_memory(5, 2, 1)}, (), (1, 2)),  # what waits returns on the next study day
        ({"a": a_memory(5, 5, 0)}, (), (1, 1)),
        ({"of another deck": a_memory(5, 2, 1)}, (), None),
    ],
)
def test_the_next_return_is_the_earliest_of_these_cards_and_after_today(
    memories: Mapping[str, Memory], unaskable: Sequence[str], returns: tuple[int, int] | None
) -> None:
    by_item = {item(name): memory for name, memory in memories.items()}
    cards = in_deck(*map(a_card, "abc"))
    expected = None if returns is None else Return(TODAY + timedelta(days=returns[0]), cards=returns[1])
    assert next_return(cards, by_item, TODAY, set(map(item, unaskable))) == expected


def test_a_card_returns_once_however_many_of_its_asks_are_due() -> None:
    cards = in_deck(a_card("a", asks=("assess", "play")))
    memories = {item("a", "assess"): a_memory(5, 2, 4), item("a", "play"): a_memory(5, 2, 4)}
    assert next_return(cards, memories, TODAY) == Return(TODAY + timedelta(days=4), cards=1)


@pytest.mark.parametrize(
    ("met", "unaskable", "unmet"),
    [((), (), "abc"), (("b",), (), "ac"), ((), ("a",), "bc"), (("a", "c"), ("b",), "")],
)
def test_unmet_are_the_cards_without_an_answer_that_can_be_asked(
    met: Sequence[str], unaskable: Sequence[str], unmet: str
) -> None:
    memories = {item(name): a_memory(5, 2, 3) for name in met}
    sittings = unmet_sittings(in_deck(*map(a_card, "abc")), memories, set(map(item, unaskable)))
    assert "".join(card_ids(sittings)) == unmet


@pytest.mark.parametrize(("ask", "seconds"), [("assess", 90), ("spot", 40), ("play", 60), ("root", 60)])
def test_the_usual_time_of_an_ask(ask: str, seconds: int) -> None:
    cards = in_deck(*(a_card(f"c{number}", asks=(ask,)) for number in range(4)))
    assert len(todays_items(cards, {}, an_ahead(2 * seconds / 60))) == 2
    assert len(todays_items(cards, {}, an_ahead((2 * seconds - 1) / 60))) == 1


def test_cards_of_the_same_name_in_two_decks_are_two_items() -> None:
    other = DECK.replace("1", "2")
    assert len(set(todays_items([(DECK, a_card("a")), (other, a_card("a"))], {}, ALL_DAY))) == 2


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
    assert "".join(card_ids(todays_sittings(cards, {}, ALL_DAY))) == expected


def clashes(motifs: Sequence[frozenset[str]]) -> int:
    return sum(bool(one & other) for one, other in pairwise(motifs))


@given(st.lists(st.sampled_from((None, PIN, FORK, RANK)), max_size=7))
def test_with_one_motif_a_card_no_order_at_all_does_better(motifs: list[str | None]) -> None:
    sets = [frozenset({motif} if motif else ()) for motif in motifs]
    cards = in_deck(*(a_card(str(index), *motifs) for index, motifs in enumerate(sets)))
    ordered = [sets[int(card_id)] for card_id in card_ids(todays_sittings(cards, {}, ALL_DAY))]
    assert clashes(ordered) == min(map(clashes, permutations(sets)))


CARDS = st.lists(
    st.tuples(
        st.sets(st.sampled_from((PIN, FORK, RANK, "overload")), max_size=3),
        st.sets(st.sampled_from(tuple(ASKS)), min_size=1),
    ),
    max_size=25,
).map(
    lambda rows: [
        a_card(f"c{index}", *sorted(motifs), asks=tuple(sorted(asks)))
        for index, (motifs, asks) in enumerate(rows)
    ]
)
MEMORY = st.none() | st.builds(a_memory, st.floats(0.1, 400), st.integers(0, 400), st.integers(-100, 100))


@st.composite
def cards_and_memories(draw: st.DrawFn) -> tuple[list[Card], dict[str, Memory]]:
    cards = draw(CARDS)
    drawn = {item(card.card_id, ask): draw(MEMORY) for card in cards for ask in card.asks}
    return cards, {name: memory for name, memory in drawn.items() if memory is not None}


def items_by_card(cards: Sequence[Card]) -> dict[str, list[str]]:
    return {card.card_id: [item(card.card_id, ask) for ask in card.asks] for card in cards}


def wanted_today(cards: Sequence[Card], memories: Mapping[str, Memory]) -> set[str]:
    """What a day without limits asks: what is due, with what is unmet of the same card, and unmet cards."""
    wanted = set()
    for names in items_by_card(cards).values():
        due = {name for name in names if name in memories and memories[name].due <= TODAY}
        unmet = {name for name in names if name not in memories}
        broken_off = any(name in memories and memories[name].last == TODAY for name in names)
        wanted |= due | (unmet if due or broken_off or len(unmet) == len(names) else set())
    return wanted


@given(cards_and_memories())
def test_without_limits_every_item_due_or_unmet_is_asked_exactly_once(
    drawn: tuple[list[Card], dict[str, Memory]],
) -> None:
    cards, memories = drawn
    items = todays_items(in_deck(*cards), memories, ALL_DAY)
    assert len(items) == len(set(items))
    assert set(items) == wanted_today(cards, memories)
    assert items == todays_items(in_deck(*cards), dict(reversed(memories.items())), ALL_DAY)


@given(cards_and_memories(), st.integers(1, 60), st.integers(0, 30), st.integers(0, 10))
def test_limits_hold_and_what_they_leave_out_is_less_urgent(
    drawn: tuple[list[Card], dict[str, Memory]], minutes: int, due_minutes: int, first_meetings: int
) -> None:
    cards, memories = drawn
    ahead = an_ahead(minutes, due_minutes, first_meetings)
    sittings = todays_sittings(in_deck(*cards), memories, ahead)
    items = [name for sitting in sittings for name in items_of(sitting)]
    assert set(items) <= wanted_today(cards, memories)
    assert len(set(items)) == len(items)
    assert len({sitting.card.card_id for sitting in sittings}) == len(sittings)
    needed = [sum(ASKS[ask].size.seconds for ask in sitting.asks) for sitting in sittings]
    assert len(sittings) <= 1 or sum(needed) <= minutes * 60

    by_card = items_by_card(cards)
    firsts = [not any(name in memories for name in by_card[sitting.card.card_id]) for sitting in sittings]
    assert firsts == [sitting.first_meeting for sitting in sittings] == sorted(firsts)
    assert sum(firsts) <= first_meetings
    due = {name: recall(memories[name], TODAY) for name in memories if memories[name].due <= TODAY}
    urgency = {
        card_id: min(due[name] for name in names if name in due)
        for card_id, names in by_card.items()
        if due.keys() & set(names)
    }
    taken = {sitting.card.card_id for sitting in sittings}
    left_out = [value for card_id, value in urgency.items() if card_id not in taken]
    chosen = [value for card_id, value in urgency.items() if card_id in taken]
    assert not left_out or not chosen or max(chosen) <= min(left_out)
    if any(firsts):
        assert not left_out, "an unmet card was chosen before one that is due"
        assert sum(seconds for seconds, first in zip(needed, firsts, strict=True) if not first) <= (
            due_minutes * 60
        )


def test_a_thousand_cards_take_a_moment() -> None:
    cards = in_deck(*(a_card(f"c{index}", (PIN, FORK, RANK)[index % 7 % 3]) for index in range(1000)))
    assert len(todays_items(cards, {}, ALL_DAY)) == 1000
