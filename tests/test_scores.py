"""The scale of expected scores at its borders."""

from __future__ import annotations

import math

import pytest

from patterns.engines.scores import (
    MoveVerdict,
    PositionVerdicts,
    expected_from_centipawns,
    quality,
    verdict_from_expected,
)


@pytest.mark.parametrize(
    ("loss", "expected"),
    [
        (0.0, "holds"),
        (0.05, "holds"),
        (0.0500002, "holds"),
        (0.050004, "slips"),
        (0.15, "slips"),
        (0.1501, "fails"),
        (1.0, "fails"),
    ],
)
def test_what_a_loss_makes_of_a_move(loss: float, expected: str) -> None:
    assert quality(loss) == expected
    assert quality(loss + 1e-9) == expected, "what is lost in arithmetic does not count"


@pytest.mark.parametrize(
    ("white", "expected"),
    [
        (0.5, "level"), (0.559996, "level"), (0.56, "white 1"), (0.659, "white 1"), (0.66, "white 2"),
        (0.849, "white 2"), (0.85, "white 3"), (1.0, "white 3"),
        (0.441, "level"), (0.44, "black 1"), (0.341, "black 1"), (0.34, "black 2"),
        (0.151, "black 2"), (0.15, "black 3"), (0.0, "black 3"),
    ],
)  # fmt: skip
def test_the_verdict_of_an_expected_score(white: float, expected: str) -> None:
    assert str(verdict_from_expected(white)) == expected


def test_centipawns_on_the_logistic_curve() -> None:
    assert expected_from_centipawns(0) == 0.5
    assert expected_from_centipawns(100) == pytest.approx(1 / (1 + math.exp(-0.85)))
    assert expected_from_centipawns(-100) == pytest.approx(1 - expected_from_centipawns(100))


def test_the_best_move_and_those_that_hold() -> None:
    moves = {
        "a2a3": MoveVerdict(0.55, 12, ()),
        "b2b3": MoveVerdict(0.60, 10, ()),
        "c2c3": MoveVerdict(0.60, 12, ()),
        "d2d3": MoveVerdict(0.60, 12, ()),
        "e2e3": MoveVerdict(0.40, 20, ()),
    }
    verdicts = PositionVerdicts("8/8/8/8/8/8/8/8 w - -", "test", "wdl", moves)
    assert verdicts.best == "c2c3"
    assert verdicts.holding() == ("b2b3", "c2c3", "d2d3", "a2a3")
    assert [verdicts.quality(move) for move in moves] == ["holds", "holds", "holds", "holds", "fails"]
    assert verdicts.loss("e2e3") == pytest.approx(0.2)
    assert verdicts.loss("d2d3") == 0
