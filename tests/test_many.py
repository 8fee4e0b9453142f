"""Many memories at once: every formula is compared with the model, which is compared with others."""

from __future__ import annotations

import random
from datetime import date, timedelta

import numpy as np
import pytest

from decks.memory.many import (
    Floats,
    Memories,
    after_first,
    difficulty_after,
    recalls,
    stability_after_found,
    stability_after_missed,
)
from decks.memory.model import Memory, recall, review
from decks.tasks.card import GRADES

START = date(2031, 1, 6)


def remembered(seed: int, count: int) -> tuple[list[Memory], list[date]]:
    """Memories after some answers each, and a later day for each."""
    dice = random.Random(seed)
    memories, days = [], []
    for _ in range(count):
        day, memory = START, None
        for _ in range(dice.randint(1, 9)):
            memory = review(memory, dice.choice(GRADES), day)
            day += timedelta(days=dice.choice((1, 2, 5, 30, 400)))
        assert memory is not None
        memories.append(memory)
        days.append(day)
    return memories, days


@pytest.mark.parametrize(("kind", "tolerance"), [(np.float64, 1e-12), (np.float32, 2e-5)])
def test_every_formula_gives_what_the_model_gives(kind: type[np.floating], tolerance: float) -> None:
    ours, days = remembered(11, 400)
    memories = Memories(
        np.array([memory.stability for memory in ours], dtype=kind),
        np.array([memory.difficulty for memory in ours], dtype=kind),
    )
    elapsed = np.array([(day - memory.last).days for memory, day in zip(ours, days, strict=True)], dtype=kind)
    recall_now = recalls(memories.stability, elapsed)
    model = [recall(memory, day) for memory, day in zip(ours, days, strict=True)]
    assert recall_now == pytest.approx(model, rel=tolerance)

    def after(grade: str) -> list[Memory]:
        assert grade in GRADES
        return [review(memory, grade, day) for memory, day in zip(ours, days, strict=True)]

    def agree(array: Floats, values: list[float]) -> None:
        assert array.dtype == kind
        assert array == pytest.approx(values, rel=tolerance * 20)

    agree(stability_after_found(memories, recall_now), [memory.stability for memory in after("found")])
    agree(stability_after_missed(memories, recall_now), [memory.stability for memory in after("missed")])
    agree(difficulty_after(memories.difficulty, True), [memory.difficulty for memory in after("found")])
    agree(difficulty_after(memories.difficulty, False), [memory.difficulty for memory in after("missed")])


@pytest.mark.parametrize("grade", GRADES)
def test_a_first_answer_gives_what_the_model_gives(grade: str) -> None:
    assert grade in GRADES
    memory = review(None, grade, START)
    assert after_first(grade) == (memory.stability, memory.difficulty)


def test_the_limits_of_the_model_are_kept() -> None:
    hard, easy = np.array([10.0]), np.array([1.0])
    assert difficulty_after(hard, False) <= 10 and difficulty_after(easy, True) >= 1
    tiny = Memories(np.array([0.001]), hard)
    recall_then = recalls(tiny.stability, 400.0)
    assert stability_after_missed(tiny, recall_then)[0] == 0.001
