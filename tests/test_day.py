"""The study day: which one an answer belongs to, and what is left of its minutes and first meetings."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from math import inf

import pytest
from made_answers import DAY, an_answer

from decks.memory.day import LEAP, DaySoFar, clock_doubt, day_ahead, study_day
from decks.memory.model import replay_log
from decks.tasks.card import Grade

TODAY = date(2031, 5, 5)
EVENING = datetime(2031, 5, 5, 19, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    ("began", "kept", "day"),
    [
        (datetime(2031, 5, 2, 0, 0), None, date(2031, 5, 2)),
        (datetime(2031, 5, 2, 3, 59), None, date(2031, 5, 2)),  # no hour of the night is the evening before
        (datetime(2031, 5, 2, 23, 59, 59), None, date(2031, 5, 2)),
        (datetime(2031, 5, 2, 23, 0, tzinfo=timezone(timedelta(hours=-9))), None, date(2031, 5, 2)),
        (datetime(2031, 5, 2, 1, 0), date(2031, 5, 1), date(2031, 5, 2)),
        (datetime(2031, 5, 2, 1, 0), date(2031, 5, 2), date(2031, 5, 2)),
        (datetime(2031, 5, 2, 1, 0), date(2031, 5, 3), date(2031, 5, 3)),  # never back
    ],
)
def test_a_study_day_is_the_local_date_the_sitting_began_but_never_before_the_last(
    began: datetime, kept: date | None, day: date
) -> None:
    assert study_day(began, kept) == day


@pytest.mark.parametrize(
    ("began", "doubt"),
    [
        (EVENING, None),
        (EVENING.replace(hour=0), None),  # earlier on the same day: no day is counted wrongly
        (EVENING - timedelta(days=1), "behind"),
        (datetime(2031, 5, 4, 20, 0, tzinfo=timezone(timedelta(hours=-9))), None),  # a journey west
        (datetime(2031, 5, 3, 23, 0, tzinfo=timezone(timedelta(hours=-9))), "behind"),
        (datetime(1970, 1, 1, tzinfo=UTC), "behind"),
        (EVENING + LEAP, None),
        (EVENING + LEAP + timedelta(days=1), "leap"),
        (datetime(2099, 1, 1, tzinfo=UTC), "leap"),
    ],
)
def test_a_clock_is_doubted_if_it_is_behind_the_last_answer_or_far_ahead_of_it(
    began: datetime, doubt: str | None
) -> None:
    in_the_east = datetime(2031, 5, 5, 10, 0, tzinfo=timezone(timedelta(hours=9)))
    last = replace(an_answer(0), study_day=TODAY, time=in_the_east)
    assert clock_doubt(began, last) == doubt
    assert clock_doubt(began, None) is None


def test_a_clock_is_doubted_as_long_as_later_days_count_though_answers_followed() -> None:
    went_on = replace(an_answer(0), study_day=date(2099, 1, 1), time=EVENING)
    assert clock_doubt(EVENING + timedelta(days=1), went_on) == "behind"


def ago(days: int, minutes: float = 10, due_minutes: float = 10, first_meetings: int = 0) -> DaySoFar:
    """What the log holds of a day so long before today."""
    return DaySoFar(TODAY - timedelta(days=days), 60 * minutes, 60 * due_minutes, first_meetings)


@pytest.mark.parametrize(
    ("days", "minutes", "left", "due_left", "first_meetings"),
    [
        ([], None, 15, 7.5, inf),  # the first day of all: nothing can be due
        ([ago(0, 4, 0, 6)], None, 11, 7.5, inf),  # and the rest of that day
        ([], 40, 40, 20, inf),
        ([ago(1)], None, 15, 7.5, 3),
        ([ago(1, 30, 30, 9)], None, 15, 7.5, 3),  # another day's minutes are another day's
        ([ago(1), ago(0, 4, 3, 1)], None, 11, 4.5, 2),  # the day goes on
        ([ago(1), ago(0, 9, 9, 0)], None, 6, -1.5, 3),
        ([ago(1), ago(0, 16, 5, 3)], None, -1, 2.5, 0),
        ([ago(1), ago(0, 40, 5, 8)], None, -25, 2.5, -5),
        ([ago(1)], 40, 40, 20, 8),
        ([ago(1)], 4.9, 4.9, 2.45, 0),
        ([ago(1)], 5, 5, 2.5, 1),
        ([ago(1), ago(0, 16, 12, 3)], 10, 10, 5, 2),  # minutes given are added to the day
        ([ago(1), ago(-1, 4, 3, 1)], None, 11, 4.5, 2),  # the clock was set back: the last day goes on
    ],
)
def test_what_is_left_of_a_day(
    days: list[DaySoFar], minutes: float | None, left: float, due_left: float, first_meetings: float
) -> None:
    day = max([TODAY, *(each.day for each in days)])
    ahead = day_ahead(days, EVENING, minutes)
    assert (ahead.day, ahead.first_meetings) == (day, first_meetings)
    assert [ahead.seconds, ahead.due_seconds] == pytest.approx([60 * left, 60 * due_left])


@pytest.mark.parametrize(
    ("days", "clear_one_of"),
    [
        ([], []),
        ([ago(13)], []),
        ([ago(14)], [1]),  # the day before counts: perhaps nothing had fallen due
        ([ago(14), ago(0)], [1]),
        ([ago(14), ago(0, first_meetings=1)], []),
        ([ago(20), ago(3), ago(1)], [4, 3, 1]),
        ([ago(20), ago(3), ago(1), ago(0)], [4, 3, 1]),
        ([ago(20), ago(3), ago(1, first_meetings=2)], []),
        ([ago(20, first_meetings=2), ago(3), ago(1)], [4, 3, 1]),
        ([ago(60), ago(40), ago(38), ago(20), ago(3)], [4, 3]),  # the last absence
        ([ago(60), ago(40, first_meetings=1), ago(38), ago(30)], [1]),
    ],
)
def test_a_long_absence_asks_for_a_day_that_ends_clear_until_first_meetings_go_on(
    days: list[DaySoFar], clear_one_of: list[int]
) -> None:
    assert day_ahead(days, EVENING).clear_one_of == tuple(
        TODAY - timedelta(days=days_ago) for days_ago in clear_one_of
    )


def due_after(*answers: tuple[int, Grade]) -> int:
    """How many days after DAY the item of these answers (days after DAY, grade) is due."""
    memory = replay_log((grade, DAY + timedelta(days=day), 0.9) for day, grade in answers)
    assert memory is not None
    return (memory.due - DAY).days


FOUND_DUE = due_after((0, "found"))
MISSED_DUE = due_after((0, "missed"))
AGAIN_DUE = due_after((0, "missed"), (20, "found"))
