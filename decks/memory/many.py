"""FSRS-6 for many memories at once: the formulas of `decks.memory.model` on arrays.

A plan tries thousands of answers, which would take too long one at a time. Parameters and limits are those of
the model, and a test compares every formula with it. The arrays may have any shapes that fit together, and
32 or 64 bits. Stabilities and `elapsed` are in days; `recall` is the chance (0..1) just before an answer.
"""

from __future__ import annotations

from datetime import date
from math import exp
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from decks.memory.model import DIFFICULTIES, LEAST_STABILITY, PARAMETERS, review
from decks.tasks.card import Grade

Floats = npt.NDArray[np.floating[Any]]

_W = PARAMETERS
_DECAY = -_W[20]
_FACTOR = 0.9 ** (1 / _DECAY) - 1
_EASIEST, _HARDEST = DIFFICULTIES
_MISSED, _FOUND, _FLUENT = 1, 3, 4
"""The ratings of these grades in the published formulas."""


class Memories(NamedTuple):
    """Stabilities and difficulties of many items, arrays of one shape."""

    stability: Floats
    difficulty: Floats


def recalls(stability: Floats, elapsed: Floats | float) -> Floats:
    """The chance (0..1) that each item is recalled `elapsed` days after its last answer."""
    return np.asarray((1 + _FACTOR * elapsed / stability) ** _DECAY)


def after_first(grade: Grade) -> tuple[float, float]:
    """Stability and difficulty after a first answer with this grade."""
    memory = review(None, grade, date.min)
    return memory.stability, memory.difficulty


def stability_after_found(memories: Memories, recall: Floats) -> Floats:
    """The stabilities after an answer that was found."""
    stability, difficulty = memories
    surprise = np.exp((1 - recall) * _W[10]) - 1
    longer = 1 + exp(_W[8]) * (11 - difficulty) * stability ** -_W[9] * surprise
    return np.asarray(np.maximum(stability * longer, LEAST_STABILITY))


def stability_after_missed(memories: Memories, recall: Floats) -> Floats:
    """The stabilities after an answer that was missed."""
    stability, difficulty = memories
    left = _W[11] * difficulty ** -_W[12] * ((stability + 1) ** _W[13] - 1) * np.exp((1 - recall) * _W[14])
    return np.asarray(np.maximum(np.minimum(left, stability / exp(_W[17] * _W[18])), LEAST_STABILITY))


def difficulty_after(difficulty: Floats, found: bool) -> Floats:
    """The difficulties after an answer that was found, or missed."""
    moved = difficulty - _W[6] * ((_FOUND if found else _MISSED) - 3) * (_HARDEST - difficulty) / 9
    easiest_first = _W[4] - exp(_W[5] * (_FLUENT - 1)) + 1
    return np.minimum(np.maximum(_W[7] * easiest_first + (1 - _W[7]) * moved, _EASIEST), _HARDEST)
