"""Memory compared with a compiled FSRS-6, with the published curve, and with common sense."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from datetime import date, timedelta
from types import ModuleType

import pytest
from conftest import missing
from hypothesis import given
from hypothesis import strategies as st

from decks.memory.model import Memory, Reviewed, recall, replay_log, review
from decks.tasks.card import GRADES, Grade

START = date(2031, 1, 6)
TOLERANCE = 1e-5
"""A relative tolerance, because the reference computes with 32-bit numbers and we with 64-bit numbers."""

RATING_NAMES = {"missed": "again", "helped": "again", "partly": "hard", "found": "good", "fluent": "easy"}

grades = st.sampled_from(GRADES)
histories = st.lists(st.tuples(grades, st.integers(1, 400)), min_size=1, max_size=12)
targets = st.floats(0.7, 0.97)


@pytest.fixture(scope="module")
def reference() -> ModuleType:
    """The compiled implementation of FSRS-6, a dependency of the tests only."""
    try:
        import fsrs_rs_python
    except ImportError:
        missing("fsrs-rs-python, the compiled reference, is not installed (pip install fsrs-rs-python)")
    return fsrs_rs_python


def remembered(history: list[tuple[Grade, int]], target_recall: float = 0.9) -> Memory:
    day, memory = START, None
    for grade, gap in history:
        memory = review(memory, grade, day, target_recall)
        day += timedelta(days=gap)
    assert memory is not None
    return memory


def test_stability_recall_and_intervals_agree_with_the_compiled_reference(reference: ModuleType) -> None:
    dice = random.Random(20310106)
    model = reference.FSRS(reference.DEFAULT_PARAMETERS)
    card = reference.Card()
    card.parameters = reference.DEFAULT_PARAMETERS
    compared, intervals_apart = 0, 0
    for _ in range(500):
        target = dice.choice((0.8, 0.85, 0.9, 0.95))
        ours, theirs, day = None, None, START
        for _ in range(dice.randint(1, 14)):
            grade = dice.choice(GRADES)
            ours, before = review(ours, grade, day, target), ours
            states = model.next_states(theirs, target, (day - before.last).days if before else 0)
            state = getattr(states, RATING_NAMES[grade])
            theirs = state.memory
            assert ours.stability == pytest.approx(theirs.stability, rel=TOLERANCE)
            assert ours.difficulty == pytest.approx(theirs.difficulty, rel=TOLERANCE)
            apart = abs((ours.due - ours.last).days - max(1, round(state.interval)))
            assert apart <= 1
            intervals_apart += apart
            elapsed = dice.choice((1, 2, 5, (ours.due - ours.last).days, dice.randint(1, 1000)))
            card.stability, card.last_date = theirs.stability, 0.0
            assert recall(ours, day + timedelta(elapsed)) == pytest.approx(
                card.retention_on(float(elapsed)), rel=TOLERANCE
            )
            day += timedelta(days=elapsed)
            compared += 1
    assert compared > 3000
    assert intervals_apart <= compared // 1000


@given(st.floats(0.01, 3000), st.integers(0, 5000))
def test_recall_follows_the_published_curve(stability: float, elapsed: int) -> None:
    """FSRS-6: R(t) = (1 + factor t / S) ^ -w20 with factor = .9 ^ (-1 / w20) - 1, w20 = .1542 by default."""
    w20 = 0.1542
    factor = 0.9 ** (-1 / w20) - 1
    expected = (1 + factor * elapsed / stability) ** -w20
    memory = Memory(stability, 5.0, START, START + timedelta(days=1))
    assert recall(memory, START + timedelta(days=elapsed)) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("stability", [1, 7, 30, 365])
def test_recall_is_nine_tenths_after_as_many_days_as_the_stability(stability: int) -> None:
    memory = Memory(float(stability), 5.0, START, START + timedelta(days=1))
    assert recall(memory, START) == 1
    assert recall(memory, START + timedelta(days=stability)) == pytest.approx(0.9, abs=1e-12)


@given(histories, targets)
def test_an_item_falls_due_on_the_day_its_recall_reaches_the_target(
    history: list[tuple[Grade, int]], target: float
) -> None:
    memory = remembered(history, target)
    assert memory.due > memory.last
    if memory.due > memory.last + timedelta(days=1):
        assert recall(memory, memory.due - timedelta(days=1)) >= target
        assert recall(memory, memory.due + timedelta(days=1)) <= target


@given(histories, st.integers(1, 1000))
def test_a_better_grade_never_falls_due_earlier(history: list[tuple[Grade, int]], gap: int) -> None:
    before = remembered(history)
    for start in (before, None):
        dues = [review(start, grade, before.last + timedelta(days=gap)).due for grade in GRADES]
        assert dues == sorted(dues)


def test_a_hinted_answer_counts_as_not_recalled_and_the_other_grades_differ() -> None:
    first = review(None, "found", START)
    later = {grade: review(first, grade, START + timedelta(days=5)) for grade in GRADES}
    assert later["helped"] == replace(later["missed"], misses=0)
    stabilities = [later[grade].stability for grade in ("missed", "partly", "found", "fluent")]
    assert stabilities == sorted(set(stabilities))


@given(histories, grades)
def test_only_the_first_answer_of_a_study_day_counts(history: list[tuple[Grade, int]], again: Grade) -> None:
    memory = remembered(history)
    assert review(memory, again, memory.last) == memory


def test_an_answer_before_the_last_one_is_refused() -> None:
    with pytest.raises(ValueError, match="can't follow"):
        review(review(None, "found", START), "found", START - timedelta(days=1))


@pytest.mark.parametrize("target", [0.0, 1.0, -1.0, 1.5])
def test_a_target_recall_outside_0_to_1_is_refused(target: float) -> None:
    with pytest.raises(ValueError, match="target recall"):
        review(None, "found", START, target)


@given(histories)
def test_replaying_a_log_rebuilds_the_same_memory(history: list[tuple[Grade, int]]) -> None:
    day, log = START, []
    for grade, gap in history:
        log.append((grade, day, 0.9))
        day += timedelta(days=gap)
    assert replay_log(log) == replay_log(log) == remembered(history)
    assert replay_log([]) is None


@pytest.mark.parametrize("days", [1, 2, 30])
def test_elapsed_days_are_those_between_study_days(days: int) -> None:
    """Two study days are whole days apart, whatever the hours: 20:00 and 08:00 the next day are one."""
    memory = review(None, "found", START)
    day = START + timedelta(days=days)
    after = review(memory, "found", day)
    assert (after.last, recall(after, day)) == (day, 1)
    assert after.stability > memory.stability
    assert recall(memory, day) < recall(memory, day - timedelta(days=1))


def test_memory_stays_finite_over_a_lifetime_of_the_same_grade() -> None:
    for grade in GRADES:
        memory = remembered([(grade, 300)] * 100)
        assert math.isfinite(memory.stability)
        assert 1 <= memory.difficulty <= 10


@pytest.mark.parametrize(
    ("log", "stuck", "worked", "returns"),
    [
        ("mmm", False, False, None),
        ("mmmm", True, True, None),  # it is shown worked as soon as it is due
        ("mmmmw", True, False, 11),  # and rests for a week after that
        ("mmmw", False, False, None),  # looking at it once more gives no rest
        ("mmmmwm", True, False, None),
        ("mmmmwmmmm", True, True, None),
        ("mmmmwmmmmw", True, False, 16),
        ("mmmmwf", False, False, None),
        ("mmpmm", False, False, None),
        ("hhhh", False, False, None),
    ],
)
def test_a_card_missed_four_times_running_is_shown_worked_and_rests_a_week(
    log: str, stuck: bool, worked: bool, returns: int | None
) -> None:
    by_letter: dict[str, Grade] = {"m": "missed", "h": "helped", "p": "partly", "f": "found"}
    reviews: list[Reviewed] = [
        (None, START + timedelta(days=day), None)
        if letter == "w"
        else (by_letter[letter], START + timedelta(days=day), 0.9)
        for day, letter in enumerate(log)
    ]
    memory = replay_log(reviews)
    assert memory is not None
    assert (memory.is_stuck, memory.wants_worked) == (stuck, worked)
    assert memory.returns == (memory.due if returns is None else START + timedelta(days=returns))
