"""The grade of a score. Pure: no clock, no random numbers, no storage."""

from __future__ import annotations

from decks.tasks.card import GRADES, Grade

MISSED_UNDER = 0.5
PARTLY_UNDER = 0.8


def grade_of(score: float, hints: int, seconds: float, fluent_within: float | None) -> Grade:
    """The grade of a score.

    `seconds`: the time taken. `fluent_within`: the seconds within which a right answer is fluent, None while
    the student has no usual time. With a hint the grade is `helped` at best, also where the score alone would
    make it `partly`; `missed` stays `missed`.
    """
    if score < MISSED_UNDER:
        grade: Grade = "missed"
    elif score < PARTLY_UNDER:
        grade = "partly"
    else:
        grade = "fluent" if fluent_within is not None and seconds <= fluent_within else "found"
    return min(grade, "helped", key=GRADES.index) if hints else grade
