"""FSRS-6 for many memories at once: the formulas of `decks.memory.model` on arrays.

Plans try thousands of answers, one at a time would take too long. The parameters and the limits are those of
the model, and a test compares every formula with it. Arrays of any shapes that fit together may be given;
stabilities and `elapsed` are in days.
"""

from __future__ import annotations

from datetime import date
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from decks.memory.model import DIFFICULTIES, LEAST_STABILITY, PARAMETERS, review
from decks.tasks.card import Grade

Floats = npt.NDArray[np.float64]

_W = PARAMETERS
_EASIEST, _HARDEST = DIFFICULTIES
_DECAY = -_W[20]
_FACTOR = 0.9 ** (1 / _DECAY) - 1
_MISSED, _FOUND, _FLUENT = 1, 3, 4
"""The ratings of these grades in the published formulas."""


class Memories(NamedTuple):
    """Stabilities and difficulties of many items, arrays of one shape."""

    stability: Floats
    difficulty: Floats


def recalls(stability: Floats, elapsed: Floats | float) -> Floats:
    """The chance (0..1) that each item is recalled `elapsed` days after its last answer."""
    return np.asarray((1 + _FACTOR * elapsed / stability) ** _DECAY)


def recall_reached(stability: Floats, target: Floats | float) -> Floats:
    """The days after which recall falls to `target`."""
    return np.asarray(stability / _FACTOR * (np.asarray(target) ** (1 / _DECAY) - 1))


def after_first(grade: Grade) -> tuple[float, float]:
    """Stability and difficulty after a first answer with this grade."""
    memory = review(None, grade, date.min)
    return memory.stability, memory.difficulty


def after_found(memories: Memories, recall: Floats) -> Memories:
    """The memories after a right answer. `recall`: the chance of it just before."""
    stability, difficulty = memories
    growth = np.exp(_W[8]) * (11 - difficulty) * stability ** -_W[9] * np.expm1((1 - recall) * _W[10])
    return Memories(
        np.maximum(stability * (1 + growth), LEAST_STABILITY), _next_difficulty(difficulty, _FOUND)
    )


def after_missed(memories: Memories, recall: Floats) -> Memories:
    """The memories after a miss."""
    stability, difficulty = memories
    long_term = (
        _W[11] * difficulty ** -_W[12] * ((stability + 1) ** _W[13] - 1) * np.exp((1 - recall) * _W[14])
    )
    left = np.minimum(long_term, stability / np.exp(_W[17] * _W[18]))
    return Memories(np.maximum(left, LEAST_STABILITY), _next_difficulty(difficulty, _MISSED))


def _next_difficulty(difficulty: Floats, rating: int) -> Floats:
    moved = difficulty - _W[6] * (rating - 3) * (_HARDEST - difficulty) / 9
    easiest_first = _W[4] - np.exp(_W[5] * (_FLUENT - 1)) + 1
    reverted: Floats = np.clip(_W[7] * easiest_first + (1 - _W[7]) * moved, _EASIEST, _HARDEST)
    return reverted
