"""Answers, corrections and memories as rows of the scorebook, and back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields
from datetime import UTC, date, datetime
from typing import Any

from decks.memory.answers import Answer, Correction
from decks.memory.model import Memory

ANSWER_COLUMNS = tuple(field.name for field in fields(Answer))
CORRECTION_COLUMNS = tuple(field.name for field in fields(Correction))
MEMORY_COLUMNS = tuple(field.name for field in fields(Memory))


def row_of(value: Answer | Correction | Memory) -> tuple[object, ...]:
    """The fields in order, with days and moments as text."""
    return tuple(_stored(getattr(value, field.name)) for field in fields(value))


def answer_from(row: Sequence[Any]) -> Answer:
    """The answer whose fields, in order, are `row`."""
    named = dict(zip(ANSWER_COLUMNS, row, strict=True))
    first_sight = named["first_sight"]
    named |= {
        "study_day": date.fromisoformat(named["study_day"]),
        "time": datetime.fromisoformat(named["time"]),
        "first_sight": None if first_sight is None else bool(first_sight),
    }
    return Answer(**named)


def correction_from(row: Sequence[Any]) -> Correction:
    """The correction whose fields, in order, are `row`."""
    named = dict(zip(CORRECTION_COLUMNS, row, strict=True))
    return Correction(**named | {"time": datetime.fromisoformat(named["time"])})


def memory_from(row: Sequence[Any]) -> Memory:
    """The memory whose fields, in order, are `row`."""
    stability, difficulty, last, due = row
    return Memory(stability, difficulty, date.fromisoformat(last), date.fromisoformat(due))


def moment_text(moment: datetime) -> str:
    """UTC with a fixed number of digits (ISO 8601), so that text order is time order."""
    return moment.astimezone(UTC).isoformat(timespec="microseconds")


def _stored(value: object) -> object:
    if isinstance(value, datetime):  # asked first: a datetime is a date too
        return moment_text(value)
    return value.isoformat() if isinstance(value, date) else value
