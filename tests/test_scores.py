"""The scale of expected scores at its borders."""

from __future__ import annotations

import math

import pytest

from patterns.engines.scores import (
    MoveVerdict,
    PositionVerdicts,
    expected_from_centipawns,
    overdraft,
    quality,
    shown_score,
    verdict_from_expected,
)


def scored(score: float, centipawns: int | None = None, mate: int | None = None) -> MoveVerdict:
    return MoveVerdict(score, 20, (), centipawns, mate)


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
    for lost in (loss, loss + 1e-9):
        assert quality(scored(1.0), scored(1.0 - lost)) == expected, (
            "what is lost in arithmetic does not count"
        )


@pytest.mark.parametrize(
    ("best", "move", "expected"),
    [
        # A won position: the larger of 80 centipawns and 40 % of the best, which counts as 1,000 at most.
        ((0.95, 150), (0.93, 70), "holds"),
        ((0.95, 150), (0.93, 69), "slips"),
        ((0.99, 500), (0.97, 300), "holds"),
        ((0.99, 500), (0.97, 299), "slips"),
        ((1.0, 2500), (1.0, 600), "holds"),
        ((1.0, 2500), (1.0, 599), "slips"),
        ((1.0, 2500), (1.0, 1200), "holds"),
        ((1.0, 900), (0.96, 150), "slips"),
        ((1.0, 900), (0.84, 120), "fails"),
        ((0.90, 120), (0.88, 41), "holds"),
        ((0.90, 120), (0.88, 39), "slips"),
        # Before it is won: 60 centipawns.
        ((0.89, 120), (0.88, 61), "holds"),
        ((0.89, 120), (0.88, 60), "slips"),
        ((0.52, 30), (0.48, -30), "slips"),
        ((0.52, 30), (0.46, 20), "slips"),
        # A lost one: expected score alone.
        ((0.10, -150), (0.06, -250), "holds"),
        # A side without the engine's centipawns: expected score alone.
        ((0.99, 500), (0.97, None), "holds"),
        ((0.99, None), (0.97, 100), "holds"),
    ],
)
def test_the_second_scale(
    best: tuple[float, int | None], move: tuple[float, int | None], expected: str
) -> None:
    assert quality(scored(*best), scored(*move)) == expected


@pytest.mark.parametrize(
    ("best", "move", "expected"),
    [
        (scored(1.0, mate=2), scored(1.0, mate=9), "holds"),
        (scored(1.0, mate=2), scored(1.0, 950), "slips"),
        # The slower mate may only not have been found yet; a win by far less is not as good.
        (scored(1.0, mate=9), scored(1.0, 650), "holds"),
        (scored(1.0, mate=9), scored(1.0, 550), "slips"),
        (scored(1.0, mate=5), scored(1.0, 9_000), "slips"),
        (scored(1.0, mate=2), scored(0.8, 120), "fails"),
        (scored(1.0, mate=2), scored(0.0, mate=-2), "fails"),
        (scored(0.0, mate=-9), scored(0.0, mate=-1), "holds"),
    ],
)
def test_a_key_that_mates(best: MoveVerdict, move: MoveVerdict, expected: str) -> None:
    assert quality(best, move) == expected


@pytest.mark.parametrize(
    ("best", "move", "least", "most"),
    [
        (scored(0.8), scored(0.7), 2, 2),
        (scored(1.0, 1000), scored(1.0, 200), 2, 2),
        (scored(1.0, mate=5), scored(1.0, 950), 1e9, math.inf),
        (scored(1.0, mate=6), scored(1.0, 200), 2, 2),
        (scored(1.0, mate=6), scored(0.85, 200), 3, 3),
    ],
)
def test_how_much_a_move_gives_up(best: MoveVerdict, move: MoveVerdict, least: float, most: float) -> None:
    assert least <= overdraft(best, move) <= most


STRONG, OLD, OTHER_ENGINE = ("Stockfish 15.1", True), ("Stockfish 15.1", False), ("sunfish 2026", False)


@pytest.mark.parametrize(
    ("engine", "loss", "expected"),
    [
        (STRONG, 0.16, "fails"),
        (OLD, 0.05, "holds"),
        (OLD, 0.06, "slips"),
        (OLD, 0.30, "slips"),
        (OLD, 0.31, "fails"),
        (OTHER_ENGINE, 0.30, "holds"),
        (OTHER_ENGINE, 0.31, "slips"),
        (OTHER_ENGINE, 0.45, "slips"),
        (OTHER_ENGINE, 0.46, "fails"),
        (("sunfish 2026", True), 0.16, "holds"),
    ],
)
def test_the_less_sure_the_verdicts_the_fewer_moves_are_refused(
    engine: tuple[str, bool], loss: float, expected: str
) -> None:
    name, settled = engine
    moves = {"a2a3": scored(0.8), "b2b3": scored(0.8 - loss)}
    assert PositionVerdicts("", name, "wdl", moves, settled).quality("b2b3") == expected


def test_an_unclear_move_slips_at_most() -> None:
    def verdict(loss: float) -> MoveVerdict:
        return MoveVerdict(0.8 - loss, 20, (), unclear=True)

    assert [quality(scored(0.8), verdict(loss)) for loss in (0.05, 0.06, 0.7)] == ["holds", "slips", "slips"]


def test_a_weak_engine_has_no_second_scale() -> None:
    moves = {"a2a3": scored(1.0, mate=2), "b2b3": scored(0.97, 100), "c2c3": scored(0.6, 90)}
    verdicts = PositionVerdicts("", "sunfish 2026", "logistic", moves)
    assert [verdicts.quality(move) for move in moves] == ["holds", "holds", "slips"]


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
    verdicts = PositionVerdicts("8/8/8/8/8/8/8/8 w - -", "Stockfish 15.1", "wdl", moves, True)
    assert verdicts.best == "c2c3"
    assert verdicts.holding() == ("b2b3", "c2c3", "d2d3", "a2a3")
    assert [verdicts.quality(move) for move in moves] == ["holds", "holds", "holds", "holds", "fails"]
    assert verdicts.loss("e2e3") == pytest.approx(0.2)
    assert verdicts.loss("d2d3") == 0
    assert verdicts.least_depth == 10


@pytest.mark.parametrize(
    ("best", "mate", "expected"),
    [(0.25, -1, "fails"), (0.25, -5, "fails"), (0.25, -6, "holds"), (0.11, -1, "fails"), (0.10, -1, "holds")],
)
def test_who_is_soon_mated_has_failed_unless_all_is_lost(best: float, mate: int, expected: str) -> None:
    moves = {"a2a3": scored(best, -200), "b2b3": scored(0.0, mate=mate)}
    assert PositionVerdicts("", "sunfish 2026", "logistic", moves).quality("b2b3") == expected


@pytest.mark.parametrize(
    "ranked",
    [
        (scored(1.0, mate=1), scored(1.0, mate=3), scored(1.0, 10_000), scored(1.0, 20), scored(1.0)),
        (scored(0.6, 50), scored(0.6, 40)),
        (scored(0.0, -10_000), scored(0.0, mate=-5), scored(0.0, mate=-1)),
    ],
)
def test_equal_scores_are_ranked_by_mate_and_centipawns(ranked: tuple[MoveVerdict, ...]) -> None:
    while ranked:
        moves = {f"a{number}": verdict for number, verdict in enumerate(reversed(ranked))}
        found = PositionVerdicts("", "Stockfish 15.1", "wdl", moves)
        assert moves[found.best] == ranked[0] == moves[found.holding()[0]]
        ranked = ranked[1:]


def test_the_number_shown_has_the_same_verdict() -> None:
    for score in (place / 1000 + over for place in range(1001) for over in (-3e-7, 0, 2e-4)):
        shown = shown_score(score)
        assert verdict_from_expected(shown) == verdict_from_expected(score)
        assert shown == float(f"{shown:.2f}")
        assert abs(shown - score) < 0.0101
        assert abs(shown - 0.5) <= abs(score - 0.5) + 1e-6
        assert shown_score(1 - score) == pytest.approx(1 - shown)
