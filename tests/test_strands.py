"""The state of a strand: when it returns, how hard its positions are, and when the student is stuck."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_showings import DAY, a_showing, after_all

from decks.asks.catalogue import ASKS
from decks.memory.answers import EVERY_MOTIF, Strand
from decks.memory.strands import Showing, Sight, StrandState, after, fluent_within, state_of, strand_of
from decks.tasks.card import GRADES, Grade
from patterns.catalogue import MOTIFS

showings = st.builds(
    Showing,
    st.uuids().map(str),
    st.integers(0, 60).map(lambda days: DAY + timedelta(days=days)),
    st.integers(0, 3).map(lambda hour: datetime.combine(DAY, time(hour), tzinfo=UTC)),
    st.sampled_from([*GRADES, None]),
    st.integers(1, 3),
    st.booleans(),
    st.booleans(),
    st.booleans(),
)
logs = st.lists(showings, max_size=30, unique_by=lambda showing: showing.showing_id)


@pytest.mark.parametrize(
    ("motif", "ask", "strand"),
    [
        ("fork", "play", Strand("fork", "play")),
        ("fork", "spot", Strand("fork", "spot")),
        ("fork", "assess", Strand(EVERY_MOTIF, "assess")),
        ("fork", "root", Strand(EVERY_MOTIF, "root")),
        (None, "assess", Strand(EVERY_MOTIF, "assess")),
        (None, "play", None),
    ],
)
def test_moves_and_motifs_are_learned_motif_by_motif_and_the_other_asks_once(
    motif: str | None, ask: str, strand: Strand | None
) -> None:
    assert strand_of(motif, ask) == strand


def test_no_motif_is_called_like_every_motif() -> None:
    assert EVERY_MOTIF not in MOTIFS
    assert {ask.id for ask in ASKS.values() if ask.by_motif} == {"play", "spot"}


@pytest.mark.parametrize(
    ("grades", "days"),
    [
        (["found"], 7),
        (["fluent"], 7),
        (["partly"], 3),
        (["helped"], 3),
        (["missed"], 3),
        (["found", "found"], 14),
        (["found", "fluent", "found"], 14),
        (["found", "found", "partly"], 3),
        (["found", "found", "missed", "found"], 7),
    ],
)
def test_a_strand_returns_after_three_seven_or_fourteen_days(grades: Sequence[Grade], days: int) -> None:
    state = after_all(grades)
    assert state.returns is not None and state.last is not None
    assert (state.returns - state.last).days == days
    assert [state.is_due(state.returns - timedelta(days=1)), state.is_due(state.returns)] == [False, True]


def test_an_answer_under_an_open_contest_is_not_right() -> None:
    contested = replace(a_showing(0, "found"), open_contest=True)
    assert state_of([contested]) == state_of([a_showing(0, "partly")])
    assert state_of([contested]).first_sight == (False,)


def test_a_seen_position_moves_the_date_but_counts_for_no_rate_and_no_tier() -> None:
    state = after_all(["found"] * 3)
    seen = after(state, replace(a_showing(9, "found"), fresh=False))
    assert seen.returns == DAY + timedelta(days=9 + 14)
    assert (seen.first_sight, seen.in_tier, seen.tier) == (state.first_sight, state.in_tier, 1)
    assert seen.asked == 4
    forgotten = after(seen, replace(a_showing(10, "missed"), fresh=False))
    assert forgotten.returns == DAY + timedelta(days=13)


R: Grade = "found"
W: Grade = "missed"


@pytest.mark.parametrize(
    ("answers", "tier"),
    [
        ([(R, 1)] * 3, 1),
        ([(R, 1)] * 4, 2),
        ([(R, 1), (R, 1), (W, 1), (R, 1), (R, 1)], 2),  # four of five
        ([(W, 1), (R, 1), (R, 1), (R, 1), (W, 1)], 1),
        ([(R, 1), (W, 1), (W, 1), (R, 1), (R, 1), (R, 1)], 1),  # the first is no longer one of five
        ([("fluent", 1), ("helped", 1), ("partly", 1), (R, 1), (R, 1)], 1),
        ([(R, 1)] * 4 + [(R, 2)] * 3, 2),  # those before it entered the tier don't count
        ([(R, 1)] * 4 + [(R, 2)] * 4, 3),
        ([(R, 1)] * 4 + [(R, 2)] * 4 + [(R, 3)] * 9, 3),
        ([(R, 1)] * 4 + [(W, 2)] * 3, 2),
        ([(R, 1)] * 4 + [(W, 2)] * 4, 1),
        ([(R, 1)] * 4 + [(W, 2), (R, 2), (W, 2), (W, 2), (W, 2)], 1),  # one of five
        ([(R, 1)] * 4 + [(W, 2), (R, 2), (W, 2), (W, 2), (R, 2)], 2),
        ([(R, 1)] * 4 + [("partly", 2)] * 4, 1),
        ([(W, 1)] * 5, 1),
        ([(R, 2)] * 4, 2),  # right in a harder tier counts
        ([(W, 2)] * 3 + [(R, 1)] * 4, 2),  # wrong in a harder one doesn't
        ([(R, 1)] * 4 + [(R, 1)] * 9, 2),  # right in an easier one doesn't
        ([(R, 1)] * 4 + [(W, 1)] * 4, 1),  # wrong in an easier one counts
    ],
)
def test_four_right_of_five_lead_up_and_four_wrong_lead_down(
    answers: Sequence[tuple[Grade, int]], tier: int
) -> None:
    log = [replace(a_showing(day, grade), tier=each) for day, (grade, each) in enumerate(answers)]
    assert state_of(log).tier == tier


STUCK: list[Grade] = [W, W, W, R, W, W, W, W]


def test_a_strand_is_stuck_with_one_right_of_eight_in_the_lowest_tier() -> None:
    assert after_all(STUCK[:-1]).stuck_since is None
    stuck = after_all(STUCK)
    assert stuck.stuck_since == DAY + timedelta(days=7)
    assert after_all([*STUCK[:-1], "found"]).stuck_since is None
    harder = [replace(a_showing(day, grade), tier=2) for day, grade in enumerate(STUCK)]
    assert state_of(harder).stuck_since is None


def test_a_stuck_strand_is_shown_worked_and_then_rests_a_week() -> None:
    stuck, day = after_all(STUCK), DAY + timedelta(days=8)
    assert stuck.wants_worked and stuck.is_due(day) and not stuck.rests(day)
    resting = after(stuck, a_showing(8, None))
    assert not resting.wants_worked
    assert resting.returns == day + timedelta(days=7)
    assert [resting.rests(day + timedelta(days=days)) for days in (0, 6, 7)] == [True, True, False]
    assert resting.stuck_since == stuck.stuck_since  # the coach sees it until an answer is right
    assert after(resting, a_showing(15, "missed")).stuck_since == stuck.stuck_since
    free = after(resting, a_showing(15, "found"))
    assert (free.stuck_since, free.rests_until) == (None, None)
    again = resting
    for number in range(8):
        again = after(again, a_showing(15 + number, "missed"))
    assert again.stuck_since == DAY + timedelta(days=22) and again.wants_worked


@pytest.mark.parametrize(
    ("log", "worked_next", "in_first_meeting"),
    [
        ([], True, False),
        ([None], False, True),
        ([None, "found"], False, False),
        ([None, "partly"], False, False),
        ([None, "missed"], True, True),
        ([None, "missed", None], False, False),
        ([None, "found", "missed"], False, False),
        (["missed"], False, False),  # there was nothing to show worked
    ],
)
def test_a_first_meeting_is_one_worked_and_one_asked_and_after_a_miss_another_worked(
    log: Sequence[Grade | None], worked_next: bool, in_first_meeting: bool
) -> None:
    state = state_of(a_showing(day, grade) for day, grade in enumerate(log))
    assert (state.wants_worked, state.in_first_meeting) == (worked_next, in_first_meeting)


@pytest.mark.parametrize(
    ("grades", "days", "weight", "turn"),
    [
        (["missed"], 10, 1, 10 * (1.3 - 1.2 / 3)),
        (["found"], 10, 1, 10 * (1.3 - 2.2 / 3)),
        (["found"], 20, 2, 2 * 20 * (1.3 - 2.2 / 3)),
        (["found", "missed"], 10, 1, 10 * (1.3 - 2.2 / 4)),
        (["missed", *["found"] * 6], 10, 1, 10 * (1.3 - 7.2 / 8)),  # of the last six
        (["found"], 0, 1, 0),
    ],
)
def test_it_is_the_turn_of_what_was_asked_long_ago_and_is_not_mastered(
    grades: Sequence[Grade], days: int, weight: float, turn: float
) -> None:
    state = after_all(grades)
    assert state.last is not None
    assert state.turn(state.last + timedelta(days=days), weight) == pytest.approx(turn)
    assert state.turn(DAY + timedelta(days=99)) == state.turn(DAY + timedelta(days=99), 1)
    assert StrandState().turn(DAY) == 0


@pytest.mark.parametrize(
    ("times", "seconds"),
    [([10.0] * 9, None), ([10.0] * 10, 5), ([20.0] * 6 + [1000.0] * 5, 10), ([], None)],
)
def test_fluent_is_half_the_usual_time_once_there_are_ten_of_the_students_own(
    times: Sequence[float], seconds: float | None
) -> None:
    assert fluent_within(times) == seconds


def test_a_showing_of_an_earlier_day_is_refused() -> None:
    with pytest.raises(ValueError, match="can't follow"):
        after(after_all(["found", "found"]), a_showing(0, "found"))


@given(logs)
def test_the_order_in_which_a_log_is_given_does_not_matter(log: list[Showing]) -> None:
    mixed = sorted(log, key=lambda showing: showing.showing_id)
    assert state_of(log) == state_of(mixed) == state_of(reversed(log))


@given(logs, st.sampled_from(range(len(GRADES))), st.sampled_from(range(len(GRADES))))
def test_a_better_grade_never_brings_an_earlier_return_in_the_same_tier(
    log: list[Showing], one: int, other: int
) -> None:
    worse, better = (after(state_of(log), a_showing(61, GRADES[place])) for place in sorted((one, other)))
    assert worse.returns is not None and better.returns is not None
    assert worse.returns <= better.returns


def test_the_last_ten_first_sights_of_each_tier_and_of_lookalikes_are_kept_in_order() -> None:
    log = [
        replace(
            a_showing(day, "found" if day % 3 else "missed"),
            tier=2 if day % 5 == 0 else 1,
            lookalike=day % 4 == 0,
            fresh=day % 7 > 0,
        )
        for day in range(48)
    ]
    fresh = [Sight(each.tier, each.lookalike, each.right) for each in log if each.fresh]
    state = state_of([*log, a_showing(48, None)])
    for kind, number in {(1, False): 10, (1, True): 8, (2, False): 7, (2, True): 2}.items():
        alike = [sight for sight in fresh if sight[:2] == kind]
        assert [sight for sight in state.sights if sight[:2] == kind] == alike[-10:]
        assert len(alike[-10:]) == number
    assert state.first_sight == tuple(sight.right for sight in fresh[-6:])


@given(logs)
def test_a_state_keeps_to_its_limits(log: list[Showing]) -> None:
    state = state_of(log)
    assert 1 <= state.tier <= 3
    assert state.asked + state.worked == len(log)
    assert len(state.first_sight) <= 6 and len(state.in_tier) <= 8
    assert [tier for _, tier in state.tiers[-1:]] == [state.tier] * bool(log)
    assert (state.returns is None) == (state.asked == 0)
    assert date.min < (state.returns or DAY)
