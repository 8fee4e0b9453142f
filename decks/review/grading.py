"""From a score, which each ask gives, to a grade. Pure: no clock, no chance, no storage."""

from __future__ import annotations

from decks.tasks.card import GRADES, Grade

MISSED_UNDER = 0.5
PARTLY_UNDER = 0.8


def grade_of(score: float, hints: int, seconds: float, usual_seconds: float | None) -> Grade:
    """The grade of a score.

    `seconds`: time taken; `usual_seconds`: the student's own median for this ask, None while too few
    right answers are known. A hint caps the grade at `helped`: where the score alone says `partly`, the
    lower of the two stands, which is `helped` again, and `missed` stays `missed`.
    """
    if score < MISSED_UNDER:
        grade: Grade = "missed"
    elif score < PARTLY_UNDER:
        grade = "partly"
    else:
        grade = "fluent" if usual_seconds is not None and seconds <= usual_seconds else "found"
    return min(grade, "helped", key=GRADES.index) if hints else grade
