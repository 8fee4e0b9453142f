"""The study day: which day an answer belongs to, and what is left of that day's minutes.

The minutes are both a goal and a limit. They belong to the day, not to the sitting, so a second sitting
continues where the first one ended. First meetings are limited, because each of these cards returns in days.

Nothing here reads a clock: the log and the time are arguments.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise
from math import inf
from typing import Literal

from decks.memory.answers import Answer

USUAL_MINUTES = 15.0
"""A student's minutes per day, unless others are given. Our choice."""

MINUTES_A_FIRST_MEETING = 5
"""Minutes of the day for each first meeting. Our choice: three meetings in the usual fifteen minutes."""

LONG_AWAY = timedelta(days=14)
"""After such a long absence, everything due must be done before there are first meetings again."""

LEAP = timedelta(days=365)
"""After a longer time a wrong clock is more likely than an absence. Our choice."""

_A_DAY = timedelta(days=1)


@dataclass(frozen=True)
class DaySoFar:
    """What a student has done on one study day, by the log.

    `seconds`: all its sittings. Of a sitting of another machine, or of an older version, only the time up to
    each answer is known, not that for reading results. `due_seconds`: the time up to answers to what was due.
    `first_meetings`: how many began.
    """

    day: date
    seconds: float = 0.0
    due_seconds: float = 0.0
    first_meetings: int = 0


@dataclass(frozen=True)
class DayAhead:
    """What there is still time for on a study day.

    `seconds`: what is left of the day's minutes; 0 or less once they are used. `due_seconds`: the most time
    that due cards may take if first meetings are to follow. `first_meetings`: how many may follow; inf if
    only the time limits them. `on_top`: whether all this comes on top of what the day has had, and so has a
    share of new positions of its own. `clear_one_of`: days after a long absence. If there are any, one of
    them must have ended with nothing due before there are first meetings again
    (`decks.memory.minutes.clear_again`).
    """

    day: date
    seconds: float = inf
    due_seconds: float = inf
    first_meetings: float = inf
    on_top: bool = False
    clear_one_of: tuple[date, ...] = ()


def study_day(began: datetime, kept: date | None = None) -> date:
    """The study day of a sitting that began at `began`, local time. `kept`: the last day in the log, or None.

    It is the date on which the sitting began, for all its answers, also for those after midnight. It is never
    before `kept`, so a clock that was set back or a journey west can't disturb the order of the log.

    >>> study_day(datetime(2031, 5, 2, 23, 50)), study_day(datetime(2031, 5, 2, 23, 50), date(2031, 5, 3))
    (datetime.date(2031, 5, 2), datetime.date(2031, 5, 3))
    """
    return max(began.date(), kept or date.min)


def clock_doubt(began: datetime, last: Answer | None) -> Literal["behind", "leap"] | None:
    """Why the clock may be wrong when a sitting begins at `began`, given the last answer of the log.

    `behind`: the date is before that of the last answer. This is not said of a journey west, after which the
    date may be one day earlier, but the moment is later. `leap`: the date is more than LEAP after it.
    """
    if last is None:
        return None
    since = began.date() - last.study_day
    if since < -_A_DAY or (since < timedelta(0) and began < last.time):
        return "behind"
    return "leap" if since > LEAP else None


def day_ahead(
    days: Sequence[DaySoFar], began: datetime, minutes: float | None = None, usual: float = USUAL_MINUTES
) -> DayAhead:
    """What is left of the study day for a sitting that begins now. `days`: the student's, in order.

    Without `minutes` the day has the `usual` ones, half of which due cards may take if first meetings are to
    follow, and one first meeting for each MINUTES_A_FIRST_MEETING. What earlier sittings have used is
    subtracted. With `minutes` the same is counted for these minutes from now, and nothing is subtracted. On a
    student's first day nothing can be due, so first meetings may fill the time.
    """
    day = study_day(began, days[-1].day if days else None)
    earlier = [each for each in days if each.day < day]
    so_far = days[-1] if len(earlier) < len(days) else DaySoFar(day)
    whole = 60 * (usual if minutes is None else minutes)
    used = so_far if minutes is None else DaySoFar(day)
    return DayAhead(
        day,
        seconds=whole - used.seconds,
        due_seconds=whole / 2 - used.due_seconds,
        first_meetings=whole // (60 * MINUTES_A_FIRST_MEETING) - used.first_meetings if earlier else inf,
        on_top=minutes is not None,
        clear_one_of=_days_to_be_clear([*earlier, so_far]),
    )


def _days_to_be_clear(days: Sequence[DaySoFar]) -> tuple[date, ...]:
    """The day before the return from the last long absence, and the study days since then except the last.

    Empty if there was no such absence, or if there have been first meetings since.
    """
    returns = [
        place for place, (one, next_) in enumerate(pairwise(days), 1) if next_.day - one.day >= LONG_AWAY
    ]
    since = days[returns[-1] :] if returns else ()
    if not since or any(each.first_meetings for each in since):
        return ()
    return (since[0].day - _A_DAY, *(each.day for each in since[:-1]))
