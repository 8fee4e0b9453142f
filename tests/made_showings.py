"""Showings of positions for strands, as a log would keep them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta

from decks.memory.strands import Showing, StrandState, state_of
from decks.tasks.card import Grade

DAY = date(2031, 5, 5)


def a_showing(day: int, grade: Grade | None) -> Showing:
    """A fresh position of tier 1, shown `day` days after DAY; worked if there is no grade."""
    study_day = DAY + timedelta(days=day)
    moment = datetime.combine(study_day, time(18), tzinfo=UTC)
    return Showing(f"showing-{day}", study_day, moment, grade)


def after_all(grades: Sequence[Grade]) -> StrandState:
    """The state after these answers in fresh positions of tier 1, one a day from DAY on."""
    return state_of(a_showing(day, grade) for day, grade in enumerate(grades))
