"""The minutes of a study day: what comes next, in which order, and when the day is over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from math import inf
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_showings import DAY, a_showing

from decks.memory.answers import EVERY_MOTIF, Strand
from decks.memory.day import DayAhead
from decks.memory.minutes import (
    WORKED_SECONDS,
    CardStep,
    FixedCard,
    Step,
    StrandStep,
    Today,
    clear_again,
    done,
    due_cards,
    most_forgotten,
    next_step,
    plan_day,
)
from decks.memory.model import Memory, recall
from decks.memory.pool import Position, asks_lookalike, needed_for_sure
from decks.memory.strands import Showing, Sight, StrandState
from decks.tasks.card import GRADES, Grade

TODAY = DAY + timedelta(days=100)
ASSESS = Strand(EVERY_MOTIF, "assess")
SECONDS = {"play": 60.0, "spot": 40.0, "assess": 90.0}


def play(motif: str) -> Strand:
    return Strand(motif, "play")


def met(waits: int = 1, asked_ago: int = 10, right: bool = True) -> StrandState:
    """A strand that was asked so many days ago and has been due for `waits` days (below 0: is not due)."""
    return StrandState(
        returns=TODAY - timedelta(days=waits),
        last=TODAY - timedelta(days=asked_ago),
        asked=5,
        worked=1,
        row=int(right),
        sights=(Sight(1, False, right),) * 5,
    )


def a_card(name: str, recalled_at: int | None = None, motif: str = "", stability: float = 10.0) -> FixedCard:
    """A fixed card of 30 seconds: unmet, or due since `recalled_at` days."""
    if recalled_at is None:
        return FixedCard(name, f"{name}-position", motif or name, 30.0)
    due = TODAY - timedelta(days=recalled_at)
    memory = Memory(stability, 5.0, due - timedelta(days=round(stability)), due)
    return FixedCard(name, f"{name}-position", motif or name, 30.0, memory)


def a_day(
    states: dict[Strand, StrandState],
    *,
    minutes: float = 15,
    meetings: float = 0,
    pool: int = 8,
    **more: object,
) -> Today:
    """TODAY with these strands, each with a pool of unseen positions."""
    pools = {
        strand: [Position(f"{strand.motif}-{strand.ask}-{number}", (strand,)) for number in range(pool)]
        for strand in states
    }
    ahead = DayAhead(TODAY, 60 * minutes, 30 * minutes, meetings)
    today = Today(ahead, states, pools, {}, fresh_left=100, seconds_of=SECONDS)
    return replace(today, **more)  # type: ignore[arg-type]


def names(steps: Sequence[Step]) -> str:
    """Steps in short: a card, a motif, or a motif in capitals if its position is shown worked."""
    return " ".join(
        step.card.card
        if isinstance(step, CardStep)
        else step.strand.motif
        if step.strands
        else step.strand.motif.upper()
        for step in steps
    )


def run(today: Today, grade: Grade, seconds: float | None = None) -> tuple[list[Step], Today]:
    """The steps of a day on which every answer gets this grade, and its end."""
    steps: list[Step] = []
    while step := next_step(today):
        steps.append(step)
        showings = {}
        if isinstance(step, StrandStep):
            showing = replace(a_showing(100, grade if step.strands else None), fresh=step.fresh)
            showings = dict.fromkeys(step.strands or (step.strand,), showing)
        today = done(today, step, seconds or step.seconds, showings)
    return steps, today


def test_due_cards_and_due_strands_alternate_least_recall_and_longest_waiting_first() -> None:
    cards = [a_card("new"), a_card("b", 1), a_card("c", 30), a_card("a", -1)]
    states = {play("pin"): met(1), play("fork"): met(5), play("skewer"): met(3), play("mate"): met(-1)}
    today = a_day(states, due_cards=due_cards(cards, TODAY), unmet_cards=(cards[0],))
    steps = plan_day(today)
    due = [step for step in steps if step.why == "due"]
    assert names(due) == "c fork b skewer pin"
    assert [step.why for step in steps[:5]] == ["due"] * 5
    assert recall(cards[2].memory, TODAY) < recall(cards[1].memory, TODAY)  # type: ignore[arg-type]


def test_a_card_is_due_after_ninety_days_at_the_latest_and_not_while_it_rests() -> None:
    firm = a_card("firm", stability=500, recalled_at=-400)
    assert firm.memory is not None
    last = firm.memory.last
    assert [firm.is_due(last + timedelta(days=days)) for days in (89, 90)] == [False, True]
    due = a_card("a", 3).memory
    assert due is not None
    resting = replace(a_card("a", 3), memory=replace(due, worked=TODAY - timedelta(days=6)))
    assert [resting.is_due(TODAY + timedelta(days=days)) for days in (0, 1)] == [False, True]
    assert not a_card("new").is_due(TODAY)


def test_what_rests_is_not_among_the_most_forgotten_until_its_week_is_over() -> None:
    memory = a_card("a", 3).memory
    assert memory is not None
    found = {
        days: most_forgotten({"a": replace(memory, worked=TODAY - timedelta(days=days))}, TODAY)
        for days in (0, 6, 7)
    }
    assert [bool(each) for each in found.values()] == [False, False, True]


def test_neighbours_differ_in_motif_where_they_can() -> None:
    cards = (a_card("a", 9, "fork"), a_card("b", 5, "fork"), a_card("c", 1, "pin"))
    assert names(plan_day(a_day({}, due_cards=due_cards(cards, TODAY)))) == "a c b"
    states = {play("fork"): met(5), Strand("fork", "spot"): met(4), play("pin"): met(1)}
    steps = plan_day(a_day(states, minutes=3))
    assert names(steps[:3]) == "fork pin fork"


@pytest.mark.parametrize(
    ("change", "kinds"),
    [
        ({}, {"first meeting", "due", "turn"}),
        ({"meetings": 0}, {"due", "turn"}),
        ({"may_meet": False}, {"due", "turn"}),
        ({"minutes": 3.9}, {"due", "turn"}),  # due work took more than half
        ({"minutes": 4}, {"first meeting", "due", "turn"}),
        ({"minutes": 1.5}, {"due"}),
    ],
)
def test_first_meetings_follow_if_nothing_due_is_left_and_it_took_at_most_half(
    change: dict[str, object], kinds: set[str]
) -> None:
    states = {play("fork"): met(5), play("pin"): met(4), play("mate"): StrandState(), play("net"): met(-5)}
    steps = plan_day(a_day(states, **{"meetings": 3, **change}))  # type: ignore[arg-type]
    assert {step.why for step in steps} == kinds
    order = [{"due": 0, "first meeting": 1, "turn": 2}[step.why] for step in steps]
    assert order == sorted(order)


def test_strands_are_met_before_cards_and_weighty_ones_first() -> None:
    states = {play("fork"): StrandState(), play("pin"): StrandState()}
    today = a_day(states, meetings=3, unmet_cards=(a_card("x"), a_card("y")), weights={"pin": 1.5})
    first = [step for step in plan_day(today) if step.why == "first meeting"]
    assert names(first) == "PIN pin FORK fork x"


@pytest.mark.parametrize(
    ("pool", "fresh_left", "grade", "steps"),
    [
        (8, 100, "found", "FORK fork"),
        (8, 100, "partly", "FORK fork"),
        (8, 100, "missed", "FORK fork FORK"),
        (2, 100, "missed", "FORK fork"),  # no second one to show
        (1, 100, "missed", "fork"),  # none to show worked
        (8, 3, "missed", "FORK fork FORK"),
        (8, 2, "missed", "FORK fork"),
        (8, 1, "missed", ""),  # half a meeting would waste it
    ],
)
def test_a_first_meeting_shows_one_worked_asks_one_and_after_a_miss_shows_another(
    pool: int, fresh_left: int, grade: Grade, steps: str
) -> None:
    today = a_day({play("fork"): StrandState()}, meetings=1, pool=pool, fresh_left=fresh_left)
    taken = [step for step in run(today, grade)[0] if step.why == "first meeting"]
    assert names(taken) == steps
    assert all(
        step.seconds == (60 if isinstance(step, StrandStep) and step.strands else WORKED_SECONDS)
        for step in taken
    )


def test_a_first_meeting_that_was_broken_off_goes_on_with_its_question() -> None:
    half = StrandState(worked=1)
    today = a_day({play("fork"): half}, meetings=1, fresh_left=1, minutes=1)
    assert names(run(today, "missed")[0]) == "fork"


def test_the_turn_comes_by_its_value_and_no_motif_comes_twice_before_every_other_came() -> None:
    states = {
        play("fork"): met(-1, asked_ago=9),
        Strand("fork", "spot"): met(-1, asked_ago=8),
        play("pin"): met(-1, asked_ago=2),
        play("mate"): met(-1, asked_ago=5, right=False),
        play("net"): met(-1, asked_ago=5),
    }
    assert names(plan_day(a_day(states, minutes=3.9))) == "mate fork net pin"
    steps = plan_day(a_day(states, minutes=6.5))
    assert names(steps) == "mate fork net pin fork mate net"[: len(names(steps))]
    assert [step.strand.ask for step in steps if isinstance(step, StrandStep)][4] == "spot"
    weighted = a_day(states, minutes=1, weights={"pin": 99.0})
    assert names(plan_day(weighted)) == "pin"


@pytest.mark.parametrize(
    ("states", "shown", "meetings", "needed"),
    [
        ([met(0)], "", 3, 1),
        ([met(-1)], "", 3, 0),  # not due yet
        ([met(0), met(5), met(-1)], "", 3, 2),
        ([met(0)], "0a 0b", 3, 0),  # nothing new is left
        ([met(0), met(0)], "0a 0b 1a", 3, 1),
        ([StrandState()] * 2, "", 3, 4),
        ([StrandState()] * 2, "", 1, 2),
        ([StrandState()] * 2, "", 0, 0),
        ([StrandState()] * 2, "", -1, 0),  # more than usual were met today
        ([StrandState()] * 9, "", inf, 18),
        ([met(0), StrandState()], "", 3, 3),
    ],
)
def test_returns_and_first_meetings_need_new_positions_for_sure(
    states: Sequence[StrandState], shown: str, meetings: float, needed: int
) -> None:
    strands = {play(str(place)): state for place, state in enumerate(states)}
    ahead = DayAhead(TODAY, first_meetings=meetings)
    new = {strand for strand in strands if not {f"{strand.motif}a", f"{strand.motif}b"} <= {*shown.split()}}
    assert needed_for_sure(ahead, strands, new.__contains__) == needed


def test_what_rests_or_was_never_met_has_no_turn() -> None:
    resting = replace(met(-1), stuck_since=TODAY, rests_until=TODAY + timedelta(days=3))
    assert plan_day(a_day({play("fork"): resting, play("pin"): StrandState()})) == []


def test_a_stuck_strand_is_shown_worked_when_it_is_due() -> None:
    stuck = replace(met(0), stuck_since=TODAY)
    steps, _ = run(a_day({play("fork"): stuck}), "missed")
    assert names(steps) == "FORK"
    steps, _ = run(a_day({play("fork"): stuck}, pool=1), "missed")
    assert names(steps) == "FORK"


@pytest.mark.parametrize(("minutes", "steps"), [(0, 0), (-1, 0), (0.1, 1), (1, 1), (1.01, 2), (2, 2)])
def test_nothing_begins_once_the_minutes_are_used(minutes: float, steps: int) -> None:
    states = {play(motif): met(3) for motif in ("fork", "pin", "skewer")}
    assert len(plan_day(a_day(states, minutes=minutes))) == steps


def test_a_day_ends_early_for_want_of_positions() -> None:
    states = {play("fork"): met(3), play("pin"): met(2)}
    steps, end = run(a_day(states, fresh_left=3), "found")
    assert names(steps) == "fork pin fork"
    assert end.ahead.seconds == 12 * 60 and end.fresh_left == 0


def test_no_position_is_asked_twice_a_day_though_a_card_and_a_pool_have_it() -> None:
    card = replace(a_card("a", 5), position="fork-play-0")
    copy = replace(a_card("b", 4), position="fork-play-0")
    states = {play("fork"): met(3)}
    steps, _ = run(a_day(states, due_cards=due_cards([card, copy], TODAY), pool=1), "found")
    assert names(steps) == "a"
    later = a_day(states, due_cards=(card,), pool=1, strand_came_last=False)
    assert names(run(later, "found")[0]) == "fork"


def test_all_asks_of_a_card_that_were_met_are_steps_of_one_sitting() -> None:
    spot, unmet = Strand("fork", "spot"), Strand("fork", "other")
    shared = Position("x", (ASSESS, spot, play("fork"), unmet))
    states = {
        play("fork"): met(3),
        ASSESS: met(2),
        spot: replace(met(1), rests_until=TODAY + timedelta(days=1)),
        unmet: StrandState(),
    }
    today = replace(a_day(states), pools={strand: [shared] for strand in states})
    step = next_step(today)
    assert isinstance(step, StrandStep)
    assert (step.strand, step.strands, step.seconds) == (play("fork"), (ASSESS, play("fork")), 150)
    steps, end = run(today, "found")
    assert len(steps) == 1
    assert end.states[ASSESS].returns == end.states[play("fork")].returns == TODAY + timedelta(days=14)


def test_asks_that_are_one_strand_each_do_not_stand_for_one_motif() -> None:
    states = {ASSESS: met(-1, 9), Strand(EVERY_MOTIF, "count"): met(-1, 8), play("fork"): met(-1, 1)}
    today = a_day(states, minutes=2.4, seconds_of={**SECONDS, "count": 50.0})
    assert [step.strand.ask for step in plan_day(today) if isinstance(step, StrandStep)] == [
        "assess",
        "count",
        "play",
    ]


@pytest.mark.parametrize(
    ("days", "due", "allowed"),
    [([], {}, True), ([1], {1: True}, False), ([1], {1: False}, True), ([2, 1], {2: True, 1: False}, True)],
)
def test_after_a_long_absence_one_day_must_end_with_nothing_due(
    days: list[int], due: dict[int, bool], allowed: bool
) -> None:
    before = {day: TODAY - timedelta(days=day) for day in days}
    ahead = DayAhead(TODAY, clear_one_of=tuple(before.values()))
    assert clear_again(ahead, {before[day]: was for day, was in due.items()}) == allowed


strand_states = st.builds(
    lambda asked, waits, ago, right: met(waits, ago, right) if asked else StrandState(),
    st.booleans(),
    st.integers(-10, 10),
    st.integers(0, 30),
    st.booleans(),
)


@given(
    st.dictionaries(st.sampled_from([play(name) for name in "abcdef"]), strand_states, max_size=6),
    st.lists(st.tuples(st.integers(-5, 40), st.sampled_from("abcd")), max_size=6),
    st.lists(st.sampled_from("abcd"), max_size=4),
    st.integers(0, 30),
    st.integers(0, 8),
    st.integers(0, 3),
    st.integers(1, 9),
    st.integers(0, 2**16),
)
def test_a_day_keeps_to_its_minutes_its_fresh_positions_and_its_first_meetings(
    states: dict[Strand, StrandState],
    due: list[tuple[int, str]],
    unmet: list[str],
    minutes: int,
    fresh_left: int,
    meetings: int,
    pool: int,
    seed: int,
) -> None:
    dice = Random(seed)
    cards = [
        replace(a_card(f"due-{n}", days), position=f"{name}-play-0") for n, (days, name) in enumerate(due)
    ]
    new = tuple(replace(a_card(f"new-{n}"), position=f"{name}-play-1") for n, name in enumerate(unmet))
    today = a_day(
        states,
        minutes=minutes,
        meetings=meetings,
        pool=pool,
        fresh_left=fresh_left,
        due_cards=due_cards(cards, TODAY),
        unmet_cards=new,
        seed=seed,
        shown={f"{name}-play-2": TODAY - timedelta(days=dice.randint(0, 60)) for name in "abc"},
    )
    steps: list[Step] = []
    begun = 0
    before = dict(today.shown)
    while step := next_step(today):
        assert today.ahead.seconds > 0
        begun += step.why == "first meeting" and today.meeting is None
        steps.append(step)
        showings = {}
        if isinstance(step, StrandStep):
            grade = dice.choice(GRADES) if step.strands else None
            showing = replace(a_showing(100, grade), fresh=step.fresh)
            showings = dict.fromkeys(step.strands or (step.strand,), showing)
            assert step.fresh == (step.position not in today.shown)
        today = done(today, step, step.seconds, showings)
    assert len({step.position for step in steps}) == len(steps)
    assert sum(isinstance(step, StrandStep) and step.fresh for step in steps) <= fresh_left
    assert begun <= meetings
    assert sum(step.seconds for step in steps[:-1]) < 60 * minutes or not steps
    assert all(before.get(step.position) != TODAY for step in steps)


def test_showings_of_a_step_reach_only_their_strands() -> None:
    states = {play("fork"): met(3), play("pin"): met(2)}
    today = a_day(states)
    step = next_step(today)
    assert step is not None
    showing: Showing = a_showing(100, "missed")
    after = done(today, step, 75.0, {play("fork"): showing})
    assert after.states[play("pin")] == states[play("pin")]
    assert after.states[play("fork")].missed
    assert (after.ahead.seconds, after.ahead.due_seconds) == (900 - 75, 450 - 75)
    assert after.shown == {step.position: TODAY}


def test_only_what_is_due_takes_of_the_time_for_due_work() -> None:
    today = a_day({play("fork"): met(-1)})
    step = next_step(today)
    assert step is not None and step.why == "turn"
    assert done(today, step, 60.0).ahead.due_seconds == today.ahead.due_seconds


def test_a_lookalike_comes_when_one_is_wanted_and_is_never_shown_worked() -> None:
    fork = play("fork")
    asked = next(number for number in range(3, 7) if asks_lookalike(fork, number))
    pool = [Position(name, (fork,), lookalike=name == "like") for name in ("like", "real")]
    for state, name in (
        (replace(met(3), asked=asked), "like"),
        (replace(met(3), asked=asked, stuck_since=TODAY), "real"),
        (replace(met(3), asked=2), "real"),
    ):
        step = next_step(replace(a_day({fork: state}), pools={fork: pool}))
        assert step is not None and step.position == name
