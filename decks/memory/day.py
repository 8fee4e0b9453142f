"""The study day: which day an answer belongs to, and what is left of that day's minutes.

A day's minutes are aim and limit, and they are the day's, not the sitting's: a second sitting goes on where
the first one ended. First meetings are rationed, because each card met comes back within days.

Pure: what the log holds and the moment come in, nothing here reads a clock.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise
from math import inf
from typing import Literal

from decks.memory.answers import Answer
from decks.memory.model import Memory, review

USUAL_MINUTES = 15.0
"""A student's minutes a day unless said otherwise. Our choice."""

MINUTES_A_FIRST_MEETING = 5
"""One first meeting for each so many of the day's minutes. Our choice: three in the usual fifteen."""

LONG_AWAY = timedelta(days=14)
"""From so long after the last study day on, what has fallen due comes before any first meeting."""

LEAP = timedelta(days=365)
"""After more than this a wrong clock is likelier than a student who was away. Our choice."""

_A_DAY = timedelta(days=1)


@dataclass(frozen=True)
class DaySoFar:
    """What the log holds of one study day of a student.

    `seconds`: those of all its answers, `due_seconds` without the first meetings; both are the time up to
    each answer, so reading the results is not in them. `first_meetings`: cards answered at first sight.
    """

    day: date
    seconds: float = 0.0
    due_seconds: float = 0.0
    first_meetings: int = 0


@dataclass(frozen=True)
class DayAhead:
    """What a study day still has room for.

    `seconds`: left of the day's minutes, 0 or less once they are used. `due_seconds`: what due work may still
    take if first meetings are to follow. `first_meetings`: how many may follow, inf for as many as there is
    time for. `clear_one_of`: empty, or else after a long absence the days of which one must have ended with
    nothing due before there are first meetings again (`ended_clear` tells).
    """

    day: date
    seconds: float = inf
    due_seconds: float = inf
    first_meetings: float = inf
    clear_one_of: tuple[date, ...] = ()


def study_day(began: datetime, kept: date | None = None) -> date:
    """The study day of a sitting that began at `began`, local time; `kept`: the last day in the log, or None.

    It is the date on which the sitting began, for every answer of the sitting, also for one after midnight.
    It is never before `kept`, so that a clock set back or a journey west leaves the log in order.

    >>> study_day(datetime(2031, 5, 2, 23, 50)), study_day(datetime(2031, 5, 2, 23, 50), date(2031, 5, 3))
    (datetime.date(2031, 5, 2), datetime.date(2031, 5, 3))
    """
    return max(began.date(), kept or date.min)


def clock_doubt(began: datetime, last: Answer | None) -> Literal["behind", "leap"] | None:
    """What speaks against the clock by which a sitting begins at `began`, given the last answer of the log.

    `behind`: it shows an earlier date than the last answer's, and that isn't a journey west, which takes one
    day at most off the date and nothing off the moment. `leap`: more than LEAP after it.
    """
    if last is None:
        return None
    since = began.date() - last.study_day
    if since < -_A_DAY or (since < timedelta(0) and began < last.time):
        return "behind"
    return "leap" if since > LEAP else None


def day_ahead(days: Sequence[DaySoFar], began: datetime, minutes: float | None = None) -> DayAhead:
    """What is left of the study day of a sitting that begins now; `days`: the student's, in order.

    Without `minutes` that is what earlier sittings have left of USUAL_MINUTES, of the half of them that due
    work may take, and of the first meetings, one for each MINUTES_A_FIRST_MEETING. With `minutes`, all of
    this is counted from now: on a day not begun they are the day's, and later in the day they are added.
    On a student's very first day nothing can be due, so first meetings may fill the time.
    """
    day = study_day(began, days[-1].day if days else None)
    earlier = [each for each in days if each.day < day]
    so_far = days[-1] if len(earlier) < len(days) else DaySoFar(day)
    whole = 60 * (USUAL_MINUTES if minutes is None else minutes)
    used = so_far if minutes is None else DaySoFar(day)
    return DayAhead(
        day,
        seconds=whole - used.seconds,
        due_seconds=whole / 2 - used.due_seconds,
        first_meetings=whole // (60 * MINUTES_A_FIRST_MEETING) - used.first_meetings if earlier else inf,
        clear_one_of=_days_to_be_clear([*earlier, so_far]),
    )


def _days_to_be_clear(days: Sequence[DaySoFar]) -> tuple[date, ...]:
    """The day before the last return from a long absence, and the study days from then on but the last.

    None if there was no such absence, or if there were first meetings again since.
    """
    returns = [
        place for place, (one, next_) in enumerate(pairwise(days), 1) if next_.day - one.day >= LONG_AWAY
    ]
    since = days[returns[-1] :] if returns else ()
    if not since or any(each.first_meetings for each in since):
        return ()
    return (since[0].day - _A_DAY, *(each.day for each in since[:-1]))


def ended_clear(answers: Iterable[Answer], items: Collection[str], days: Iterable[date]) -> bool:
    """Whether one of `days` ended with none of `items` due, by all of a student's `answers`, oldest first."""
    clear = set(days)
    memories: dict[str, Memory] = {}
    for answer in answers:
        if answer.item in items:
            before = memories.get(answer.item)
            after = review(before, answer.grade, answer.study_day, answer.target_recall)
            if before:
                clear -= {day for day in clear if before.due <= day < after.last}
            memories[answer.item] = after
    return any(all(memory.due > day for memory in memories.values()) for day in clear)
