"""What a student remembers of one item, and when to ask again: FSRS-6, in whole study days.

The formulas are those published as FSRS-6, with their default parameters. The `fsrs` library computes them.
Its terms and ratings are used only in this module. Nothing here reads a clock or draws a random number, so
the same answers always give the same memory.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from types import MappingProxyType

import fsrs
from fsrs import scheduler as _limits

from decks.tasks.card import TARGET_RECALL, Grade

LONGEST_INTERVAL = timedelta(days=90)
"""An item returns at the latest after this time, however well it is remembered."""

STUCK_AFTER = 4
"""Misses of an item in a row after which the student is stuck on it."""

REST = timedelta(days=7)
"""How long something rests on which the student is stuck, after it was shown worked."""

Reviewed = tuple[Grade, date, float] | tuple[None, date, None]
"""A review of an item: grade, study day, target recall; or no grade, if it was shown worked."""

_NOON = time(12, tzinfo=UTC)
_ANY_ID = 0

_RATINGS: Mapping[Grade, fsrs.Rating] = MappingProxyType(
    {
        "missed": fsrs.Rating.Again,
        "helped": fsrs.Rating.Again,  # with a hint it was not recalled
        "partly": fsrs.Rating.Hard,
        "found": fsrs.Rating.Good,
        "fluent": fsrs.Rating.Easy,
    }
)


PARAMETERS: tuple[float, ...] = tuple(fsrs.Scheduler().parameters)
"""The default parameters of FSRS-6, w0 to w20 in the published formulas."""

LEAST_STABILITY: float = _limits.STABILITY_MIN
DIFFICULTIES: tuple[float, float] = (_limits.MIN_DIFFICULTY, _limits.MAX_DIFFICULTY)
"""The limits of stability and difficulty."""


@dataclass(frozen=True)
class Memory:
    """A student's memory of one item.

    `stability`: days until recall falls to .9. `difficulty`: 1 (easy) to 10. `last`: the study day of the
    last answer that counted. `due`: the study day on which recall falls to its target, at least the day after
    `last`; the item may return sooner. `misses`: how many answers in a row up to now were missed. `worked`:
    the study day on which it was shown worked because the student is stuck, until the next answer.
    """

    stability: float
    difficulty: float
    last: date
    due: date
    misses: int = 0
    worked: date | None = None

    @property
    def returns(self) -> date:
        """The study day from which on it is asked again, or shown worked."""
        if self.worked is not None:
            return self.worked + REST
        return min(self.due, self.last + LONGEST_INTERVAL)

    @property
    def is_stuck(self) -> bool:
        """Whether the student is stuck on it, up to a better answer."""
        return self.misses >= STUCK_AFTER

    @property
    def wants_worked(self) -> bool:
        """Whether it is shown worked when it returns: after STUCK_AFTER misses in a row, and as many more."""
        return self.is_stuck and self.misses % STUCK_AFTER == 0 and self.worked is None


def review(memory: Memory | None, grade: Grade, day: date, target_recall: float = TARGET_RECALL) -> Memory:
    """The memory after an answer on study day `day`. `memory`: the one before; None for a new item.

    Only the first answer of a study day counts. Later answers on the same day come from short-term memory, so
    they leave the memory unchanged. ValueError if `day` is before the last answer, or if `target_recall` is
    not between 0 and 1.
    """
    if memory is not None and day < memory.last:
        raise ValueError(f"an answer of {day} can't follow one of {memory.last}")
    if memory is not None and day == memory.last:
        return memory
    moment = datetime.combine(day, _NOON)
    before = fsrs.Card(card_id=_ANY_ID, due=moment) if memory is None else _as_library_card(memory)
    after, _ = _scheduler(target_recall).review_card(before, _RATINGS[grade], moment)
    assert after.stability is not None and after.difficulty is not None
    misses = (memory.misses if memory else 0) + 1 if grade == "missed" else 0
    return Memory(after.stability, after.difficulty, last=day, due=after.due.date(), misses=misses)


def shown_worked(memory: Memory, day: date) -> Memory:
    """The memory after the item was shown worked on study day `day`; it rests if it was stuck."""
    return replace(memory, worked=day) if memory.wants_worked else memory


def recall(memory: Memory, day: date) -> float:
    """The chance (0..1) that the item is recalled on study day `day`; 1 up to the day of the last answer."""
    moment = datetime.combine(day, _NOON)
    return float(_scheduler(TARGET_RECALL).get_card_retrievability(_as_library_card(memory), moment))


def replay_log(log: Iterable[Reviewed]) -> Memory | None:
    """The memory after all reviews of an item, the earliest first; None without an answer."""
    memory: Memory | None = None
    for each in log:
        if each[0] is not None:
            memory = review(memory, *each)
        elif memory is not None:
            memory = shown_worked(memory, each[1])
    return memory


@cache
def _scheduler(target_recall: float) -> fsrs.Scheduler:
    if not 0 < target_recall < 1:
        raise ValueError(f"target recall {target_recall} is not between 0 and 1")
    return fsrs.Scheduler(
        desired_retention=target_recall, learning_steps=(), relearning_steps=(), enable_fuzzing=False
    )


def _as_library_card(memory: Memory) -> fsrs.Card:
    """The memory as the library needs it. It counts full 24 hours, so every day gets the same time of day."""
    return fsrs.Card(
        card_id=_ANY_ID,
        state=fsrs.State.Review,
        stability=memory.stability,
        difficulty=memory.difficulty,
        due=datetime.combine(memory.due, _NOON),
        last_review=datetime.combine(memory.last, _NOON),
    )
