"""What is wrong with a row of the log, as expressions of SQL."""

from __future__ import annotations

LAST_YEAR = 9800
"""No answer is of a later one: when its item is due would be past the last year that there is to Python."""


def is_no_date(text: str) -> str:
    # Without a modifier, SQLite takes the 30th of February for a date.
    return f"date({text}, '+0 days') IS NOT {text} OR {text} NOT BETWEEN '0001' AND '{LAST_YEAR}'"


def _is_no_number(column: str, lowest: float, highest: float | None = None) -> str:
    above = "" if highest is None else f" OR {column} > {highest}"
    return f"typeof({column}) NOT IN ('real', 'integer') OR {column} < {lowest}{above}"


_NO_GRADE = "grade NOT IN ('missed', 'helped', 'partly', 'found', 'fluent')"
_NO_MOMENT = (
    "typeof(time) <> 'text' OR time NOT GLOB '????-??-??T??:??:??.??????+00:00' "
    f"OR julianday(time) IS NULL OR substr(time, 12, 2) > '23' OR {is_no_date('substr(time, 1, 10)')}"
)


def _wrong(*rules: tuple[str, str, str]) -> str:
    """An expression that says what is wrong with a row, or is NULL: column, condition, what it should be."""
    cases = " ".join(
        f"WHEN {condition} THEN '{column} ' || quote({column}) || ' is not {right}'"
        for column, condition, right in rules
    )
    return f"CASE {cases} END"


_DIGITS = "replace(answer_id, '-', '')"

WRONG_ANSWER = _wrong(
    (
        "answer_id",
        f"typeof(answer_id) <> 'text' OR length({_DIGITS}) <> 32 OR {_DIGITS} GLOB '*[^0-9a-fA-F]*'",
        "a uuid",
    ),
    ("student", "typeof(student) <> 'integer'", "the number of a student"),
    (
        "item",
        "typeof(item) <> 'text' OR item NOT GLOB 'card:?*/?*/' || ask AND item NOT GLOB 'motif:?*/' || ask",
        "an item of its ask",
    ),
    ("study_day", is_no_date("study_day"), "a date"),
    ("time", _NO_MOMENT, "a moment"),
    ("grade", f"grade IS NULL OR {_NO_GRADE}", "a grade"),
    ("score", _is_no_number("score", 0, 1), "a number from 0 to 1"),
    ("seconds", _is_no_number("seconds", 0), "a number of seconds"),
    ("hints", _is_no_number("hints", 0), "a number of hints"),
    (
        "target_recall",
        f"{_is_no_number('target_recall', 0, 1)} OR target_recall IN (0, 1)",
        "a number between 0 and 1",
    ),
)

WRONG_CORRECTION = _wrong(("time", _NO_MOMENT, "a moment"), ("grade", _NO_GRADE, "a grade"))
