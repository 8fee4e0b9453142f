"""Preparation: the weights of motifs, the ways to choose cards, and the day before an event."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from statistics import mean

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_showings import DAY

from decks.memory.answers import Strand
from decks.memory.day import DayAhead
from decks.memory.many import Memories, after_first, recalls
from decks.memory.minutes import CardStep, FixedCard, StrandStep, Today, plan_day
from decks.memory.model import Memory, recall
from decks.memory.motif_weights import weights
from decks.memory.new_positions import positions_lacking, positions_needed
from decks.memory.pool import Position
from decks.memory.preparation import (
    AIMS,
    FIRST_MEETINGS_END,
    PLAIN,
    PRICES,
    WAYS,
    Facts,
    Way,
    before_event,
    expected_at_the_end,
    facts_of,
    plan_cards,
    seconds_for_cards,
    todays_cards,
)
from decks.memory.strands import StrandState

GREEDY = Way()


def a_card(
    name: str, stability: float | None = None, ago: int = 5, *, seconds: float = 20, motif: str = "fork"
) -> FixedCard:
    """A fixed card, last answered so many days ago with this stability; unmet without one."""
    if stability is None:
        return FixedCard(name, name, motif, seconds)
    last = DAY - timedelta(days=ago)
    return FixedCard(name, name, motif, seconds, Memory(stability, 5.0, last, last + timedelta(days=1)))


def cards_today(cards: Sequence[FixedCard], way: Way, left: int, seconds: float) -> str:
    indices = todays_cards(facts_of(cards, DAY, {"pin": 2.0}), left, seconds, 0.5, way)
    return " ".join(cards[index].card for index in indices)


@pytest.mark.parametrize(
    ("lost", "games", "expected"),
    [
        ({}, 10, {}),
        ({"fork": 0, "pin": 0}, 10, {"fork": 1, "pin": 1}),
        ({"fork": 3, "pin": 3}, 10, {"fork": 1, "pin": 1}),
        ({"fork": 3, "pin": 1}, 0, {"fork": 1, "pin": 1}),  # nothing was played
    ],
)
def test_motifs_weigh_the_same_without_a_reason(
    lost: Mapping[str, float], games: int, expected: Mapping[str, float]
) -> None:
    assert weights(lost, games) == pytest.approx(expected)


def test_a_weight_is_the_root_of_what_a_game_cost_as_if_five_average_games_were_added() -> None:
    found = weights({"fork": 6, "pin": 2}, 20)
    usual = 4 / 20
    assert found["fork"] / found["pin"] == pytest.approx(
        (((6 + 5 * usual) / 25) / ((2 + 5 * usual) / 25)) ** 0.5
    )
    few, many = weights({"fork": 0.3, "pin": 0.1}, 1), weights({"fork": 30, "pin": 10}, 100)
    assert 1 < few["fork"] < many["fork"]


@given(
    st.dictionaries(st.text("abcdef", min_size=1), st.floats(0, 50), min_size=1, max_size=12),
    st.integers(1, 200),
)
def test_weights_have_mean_one_and_keep_within_a_half_and_two(lost: dict[str, float], games: int) -> None:
    found = weights(lost, games)
    assert mean(found.values()) == pytest.approx(1, abs=1e-6)
    assert all(0.5 <= weight <= 2 for weight in found.values())
    ranked = sorted(lost, key=lambda motif: lost[motif])
    assert all(found[one] <= found[other] + 1e-9 for one, other in pairwise(ranked))


def test_facts_are_the_cards_as_arrays() -> None:
    facts = facts_of([a_card("a", 10, 3), a_card("b", seconds=45, motif="pin")], DAY, {"pin": 1.5})
    assert facts.weights.tolist() == [1, 1.5] and facts.seconds.tolist() == [20, 45]
    assert facts.met.tolist() == [True, False]
    assert (facts.elapsed[0], *(part[0] for part in facts.memories)) == (3, 10, 5)


def test_due_order_asks_what_fell_to_the_aim_least_recall_first_and_then_unmet_cards() -> None:
    cards = [a_card("new"), a_card("firm", 500), a_card("a", 2), a_card("b", 1), a_card("newer")]
    assert recall(cards[1].memory, DAY) > 0.97  # type: ignore[arg-type]
    assert cards_today(cards, PLAIN, 20, 100) == "b a new newer"
    assert cards_today(cards, Way(aim=0.7), 20, 100) == "new newer"
    assert cards_today(cards, Way(aim=0.9, end=7), 8, 100) == "b a new newer"
    assert cards_today(cards, Way(aim=0.9, end=7), 7, 100) == "b a"
    assert cards_today(cards, PLAIN, 20, 41) == "b a new"  # one may begin in what is left
    assert cards_today(cards, PLAIN, 20, 40) == "b a"
    assert cards_today([a_card("today", 1, ago=0)], Way(aim=1.0), 20, 100) == ""


def test_greedy_asks_what_gains_most_recall_on_the_date_for_each_second() -> None:
    assert cards_today([a_card("firm", 300), a_card("weak", 3)], GREEDY, 20, 20) == "weak"
    assert cards_today([a_card("long", 3, seconds=60), a_card("short", 3)], GREEDY, 20, 20) == "short"
    assert cards_today([a_card("light", 3), a_card("heavy", 3, motif="pin")], GREEDY, 20, 20) == "heavy"
    assert cards_today([a_card("met", 3), a_card("new")], GREEDY, 20, 20) == "new"
    assert cards_today([a_card("today", 3, ago=0)], GREEDY, 20, 20) == ""
    assert cards_today([], GREEDY, 20, 20) == ""


def test_look_ahead_leaves_what_is_better_asked_later() -> None:
    cards, ahead = [a_card("new"), a_card("met", 10, ago=10)], Way(price=0.2)
    assert [cards_today(cards, way, 10, 20) for way in (GREEDY, ahead)] == ["new", "met"]
    assert [cards_today(cards, way, 1, 20) for way in (GREEDY, ahead)] == ["new", "new"]  # there is no later
    assert cards_today([a_card("today", 3, ago=0)], ahead, 30, 20) == ""


def test_the_end_is_what_a_day_by_day_sum_gives() -> None:
    """One card, one stretch a day: by hand with the chance and the two outcomes of each answer mixed."""
    facts = facts_of([a_card("new")], DAY, {})
    found, missed = after_first("found")[0], after_first("missed")[0]
    stability = found**0.25 * missed**0.75
    ends = expected_at_the_end(facts, 1, 20, 0.25, [GREEDY])
    assert ends.tolist() == pytest.approx([float(recalls(np.array([stability]), 1.0)[0])], rel=1e-4)
    assert expected_at_the_end(facts, 5, 0, 0.25, [GREEDY]).tolist() == [0]


def test_the_end_is_weighted() -> None:
    cards = [a_card("a", 1000, motif="pin"), a_card("new")]
    one, two = (
        expected_at_the_end(facts_of(cards, DAY, {"pin": weight}), 3, 0, 0.5, [GREEDY])[0]
        for weight in (1, 2)
    )
    known = recall(cards[0].memory, DAY + timedelta(days=3))  # type: ignore[arg-type]
    assert (one, two) == pytest.approx((known / 2, known * 2 / 3), rel=1e-4)


def many_cards(met: int, unmet: int, seed: int = 1) -> Facts:
    dice = np.random.default_rng(seed)
    count = met + unmet
    stability = np.exp(dice.normal(2, 1, count))
    return Facts(
        np.ones(count),
        np.full(count, 20.0),
        np.arange(count) < met,
        Memories(stability, dice.uniform(2, 9, count)),
        np.ceil(stability * dice.uniform(0, 2, count)),
    )


@pytest.mark.parametrize(("met", "unmet", "left"), [(0, 60, 14), (30, 30, 14), (60, 0, 14), (30, 30, 90)])
def test_the_plan_is_that_of_the_way_that_ends_best(met: int, unmet: int, left: int) -> None:
    facts = many_cards(met, unmet)
    plan = plan_cards(facts, left, 80)
    ends = expected_at_the_end(facts, left, 80, 0.2, WAYS)
    assert plan.expected == max(ends) > ends[WAYS.index(PLAIN)]
    assert plan.way == WAYS[int(np.argmax(ends))]
    assert plan.today == todays_cards(facts, left, 80, 0.2, plan.way)
    assert plan == plan_cards(facts, left, 80)


def test_no_way_is_best_everywhere() -> None:
    cases = [many_cards(0, 60), many_cards(60, 0), many_cards(30, 30)]
    assert len({plan_cards(facts, left, 80).way for facts in cases for left in (1, 14, 90)}) > 1


def test_all_ways_of_the_table_are_tried() -> None:
    assert GREEDY in WAYS and PLAIN in WAYS
    assert len(WAYS) == len(set(WAYS)) == 1 + len(PRICES) + len(AIMS) * len(FIRST_MEETINGS_END)


@given(st.integers(0, 12), st.integers(0, 12), st.integers(1, 40), st.integers(0, 300))
def test_a_plan_keeps_to_its_seconds_and_asks_no_card_twice(
    met: int, unmet: int, left: int, seconds: int
) -> None:
    today = plan_cards(many_cards(met, unmet), left, seconds).today
    assert len(set(today)) == len(today) and set(today) <= set(range(met + unmet))
    assert 20 * (len(today) - 1) < seconds or not today


def test_before_an_event_planned_cards_take_a_third_at_most_and_then_strands_come_by_their_turn() -> None:
    fork, pin = Strand("fork", "play"), Strand("pin", "play")
    due = StrandState(returns=DAY - timedelta(days=9), last=DAY - timedelta(days=12), asked=4, worked=1)
    waiting = replace(due, returns=DAY, last=DAY - timedelta(days=10))
    pools = {strand: [Position(f"{strand.motif}{n}", (strand,)) for n in range(9)] for strand in (fork, pin)}
    ahead = DayAhead(DAY, 900, 450, 3)
    today = Today(ahead, {fork: due, pin: waiting}, pools, {}, 20, {"play": 60.0})
    cards = [a_card(str(number), 3, motif=f"m{number}") for number in range(40)]
    assert seconds_for_cards(ahead.seconds) == 300
    plan = plan_cards(facts_of(cards, DAY, {}), 14, seconds_for_cards(ahead.seconds))
    steps = plan_day(before_event(today, cards, plan, {"pin": 2.0}))
    asked = [step.card.card for step in steps if isinstance(step, CardStep)]
    assert asked == [cards[index].card for index in plan.today] and len(asked) == 15
    after = [step for step in steps if isinstance(step, StrandStep)]
    assert steps == [*steps[:15], *after] and {step.why for step in after} == {"turn"}
    assert [step.strand for step in after[:2]] == [pin, fork]  # fork waits longer, pin weighs more


def test_positions_needed_are_those_the_days_would_show_and_lacking_are_those_not_there() -> None:
    fork, pin = Strand("fork", "play"), Strand("pin", "play")
    states = {fork: StrandState(), pin: StrandState(last=DAY - timedelta(days=3), asked=4, worked=1)}
    pools = {strand: [Position(f"{strand.motif}{n}", (strand,)) for n in range(6)] for strand in (fork, pin)}
    ahead = DayAhead(DAY, 310, 155, 1)
    today = Today(ahead, states, pools, {"pin0": DAY}, 3, {"play": 60.0}, due_strands_first=False)
    needed = positions_needed(replace(today, due_cards=(a_card("a", 3, seconds=10),)), 4)
    # Six on the first day, one of them worked and so half as long, then five a day, three of them forks.
    assert needed == {fork: 4 + 9, pin: 2 + 6}
    assert positions_lacking(needed, pools, {"pin0"}) == {fork: 7, pin: 3}
    assert positions_lacking({fork: 6, pin: 5}, pools, {"pin0"}) == {}
    heavy = positions_needed(replace(today, weights={"pin": 5.0}, ahead=DayAhead(DAY, 60, 30, 1)), 40)
    assert heavy[pin] > heavy[fork] > 0
