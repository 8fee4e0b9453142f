"""Slips, episodes, roots and drifts: for every clause of their definition a row that fails without it."""

from __future__ import annotations

from dataclasses import replace

import chess
import pytest

from patterns.engines.episodes import (
    Episode,
    ScoredMove,
    circumstances,
    episodes_of,
    is_endgame,
    shows,
)
from patterns.engines.scores import Compared, Evaluation

START = chess.Board()
AT_MOVE_20 = chess.Board(chess.STARTING_FEN.replace("0 1", "0 20"))
MOVE = chess.Move.from_uci("e2e4")


def scored(ply: int, best: float, played: float) -> ScoredMove:
    found = Compared(Evaluation(best, None, ("d2d4",)), Evaluation(played, None, ("e2e4",)))
    return ScoredMove(ply, AT_MOVE_20, MOVE, found)


def game(*scores: tuple[float, float]) -> list[ScoredMove]:
    """A game of White with the best score and that of the move played, for each own move."""
    return [scored(2 * place, best, played) for place, (best, played) in enumerate(scores)]


def told(episode: Episode) -> tuple[list[int], int | None, float]:
    """The own moves (from 0) that slip, the root, and the cost."""
    root = None if episode.root is None else episode.root.ply // 2
    return [slip.ply // 2 for slip in episode.slips], root, round(episode.cost, 3)


E = (0.5, 0.5)
"""A move that loses nothing."""

EPISODES = {
    "a slip that loses enough alone": ([E, (0.5, 0.40)], [([1], 1, 0.1)]),
    "not quite enough": ([E, (0.5, 0.401)], []),
    "two slips together": ([(0.5, 0.44), (0.44, 0.38)], [([0, 1], 0, 0.12)]),
    "the second is no slip": ([(0.5, 0.44), (0.44, 0.391)], []),
    "four own moves apart": (
        [(0.5, 0.44), *[(0.44, 0.44)] * 3, (0.44, 0.38)],
        [([0, 4], 0, 0.12)],
    ),
    "five own moves apart": ([(0.5, 0.44), *[(0.44, 0.44)] * 4, (0.44, 0.38)], []),
    "the opponent gave back a tenth": ([(0.5, 0.44), (0.54, 0.48)], [([0, 1], 0, 0.12)]),
    "the opponent gave back more": ([(0.5, 0.44), (0.55, 0.49)], []),
    "after more was given back, each on its own": (
        [(0.5, 0.40), (0.51, 0.41)],
        [([0], 0, 0.1), ([1], 1, 0.1)],
    ),
    "a slip of .12 begins its own": (
        [(0.9, 0.8), (0.8, 0.68)],
        [([0], 0, 0.1), ([1], 1, 0.12)],
    ),
    "a slip of less goes on": ([(0.9, 0.83), (0.83, 0.72)], [([0, 1], 1, 0.18)]),
    "and what follows goes on with it": (
        [(0.9, 0.7), (0.7, 0.6)],
        [([0, 1], 0, 0.3)],
    ),
    "the largest is the root": ([(0.6, 0.53), (0.53, 0.42)], [([0, 1], 1, 0.18)]),
    "the earliest that is nearly as large is": ([(0.6, 0.52), (0.52, 0.41)], [([0, 1], 0, 0.19)]),
    "the largest, though a smaller one is nearer": (
        [(0.9, 0.83), (0.83, 0.72), (0.72, 0.65)],
        [([0, 1, 2], 1, 0.25)],
    ),
    "a small slip after which the game is lost": ([(0.2, 0.15)], [([0], 0, 0.05)]),
    "a small slip after which it is not lost": ([(0.21, 0.151)], []),
    "a small slip in a game that was lost before": ([(0.1, 0.05)], []),
}


@pytest.mark.parametrize("name", EPISODES)
def test_slips_that_belong_together_are_an_episode_with_one_root(name: str) -> None:
    scores, expected = EPISODES[name]
    assert [told(one) for one in episodes_of(game(*scores))] == expected


@pytest.mark.parametrize(
    ("number", "played", "from_the_start", "is_told"),
    [(7, 0.36, True, False), (7, 0.35, True, True), (7, 0.36, False, True), (8, 0.36, True, True)],
)
def test_in_the_opening_only_a_large_slip_is_told(
    number: int, played: float, from_the_start: bool, is_told: bool
) -> None:
    board = START.copy()
    board.fullmove_number = number
    slips = [replace(move, board=board) for move in game((0.5, played), (played, played - 0.06))]
    assert bool(episodes_of(slips, from_the_start=from_the_start)) is is_told


def test_the_slips_before_the_root_have_prepared_it() -> None:
    (one,) = episodes_of(game((0.8, 0.73), (0.73, 0.62), (0.62, 0.55)))
    assert [slip.ply for slip in one.prepared_by] == [0]
    assert (one.before, one.after, one.told) == (0.8, 0.55, one.root)
    assert (one.first.ply, one.last.ply) == (0, 4)


def falling(*losses: float, start: float = 0.6) -> list[tuple[float, float]]:
    """Moves that each lose so much, one after the other."""
    scores = []
    for loss in losses:
        scores.append((start, round(start - loss, 3)))
        start = round(start - loss, 3)
    return scores


DRIFTS = {
    "eight moves": (falling(*[0.025] * 8), [(0, 3, 7)]),
    "less": (falling(*[0.025] * 7, 0.024), []),
    "nine moves": (falling(0.025, *[0.021] * 8), []),
    "from the first that loses": ([(0.6, 0.6), *falling(*[0.04] * 5)], [(1, 3, 5)]),
    "up to the lowest": ([*falling(*[0.04] * 5), (0.45, 0.45)], [(0, 2, 4)]),
    "a slip is no part of it": ([*falling(*[0.04] * 3, 0.08), *falling(*[0.04] * 3, start=0.4)], []),
    "the score comes back in between": ([(0.6, 0.56)] * 8, []),
    "the moves lose nothing, only the score falls": ([(0.6, 0.6), (0.3, 0.3)], []),
    "the moves lose enough, the score does not fall": (
        [*[(0.6, 0.56)] * 4, (0.6, 0.555)],
        [],
    ),
    "the score falls enough, the moves lose little": ([(0.6, 0.59), (0.4, 0.39)], []),
    "twice": (falling(*[0.045] * 8, start=0.9), [(0, 3, 7)]),
    "twice, one after the other": (
        falling(*[0.045] * 16, start=0.9),
        [(0, 3, 7), (8, 11, 15)],
    ),
}


@pytest.mark.parametrize("name", DRIFTS)
def test_much_that_is_lost_little_by_little_is_a_drift_without_a_root(name: str) -> None:
    scores, expected = DRIFTS[name]
    found = episodes_of(game(*scores))
    assert [(one.first.ply // 2, one.told.ply // 2, one.last.ply // 2) for one in found] == expected
    for one in found:
        assert (one.root, one.slips, one.prepared_by) == (None, (), ())
        assert one.cost == pytest.approx(one.before - one.after)


def test_a_game_lost_without_a_collapse_is_a_drift_with_its_slips() -> None:
    slowly = [(0.5, 0.5), (0.6, 0.51), *[(0.5, 0.5)] * 5, (0.5, 0.41), *[(0.4, 0.4)] * 5, (0.3, 0.3)]
    assert episodes_of(game(*slowly)) == []
    (one,) = episodes_of(game(*slowly), lost=True)
    assert told(one) == ([1, 7], None, 0.3)
    assert (one.first.ply // 2, one.told.ply // 2, one.last.ply // 2) == (1, 7, 13)


def test_a_lost_game_with_an_episode_has_no_second_reason() -> None:
    scores = [(0.6, 0.4), *[(0.4, 0.4)] * 6, (0.2, 0.2)]
    assert episodes_of(game(*scores), lost=True) == episodes_of(game(*scores))


def test_a_game_that_was_lost_off_the_board_has_no_episode() -> None:
    assert episodes_of(game((0.6, 0.6), (0.6, 0.41)), lost=True) != []
    assert episodes_of(game((0.6, 0.56), (0.56, 0.52)), lost=True) == []
    assert episodes_of([], lost=True) == []


def test_episodes_are_in_the_order_of_the_game() -> None:
    drift_first = [*falling(*[0.04] * 5, start=0.9), *[(0.7, 0.7)] * 2, (0.7, 0.5)]
    assert [one.root is None for one in episodes_of(game(*drift_first))] == [True, False]
    assert [one.root is None for one in episodes_of(game((0.9, 0.7), *falling(*[0.04] * 5, start=0.7)))] == [
        False,
        True,
    ]


@pytest.mark.parametrize(("later", "seen"), [(0.4, True), (0.401, False), (0.2, True), (0.9, False)])
def test_an_episode_shows_when_a_short_search_sees_so_much_less(later: float, seen: bool) -> None:
    assert shows(0.5, later) is seen


MIDDLEGAME = "r1bq1rk1/pppp1ppp/2n2n2/4p3/4P3/2N2N2/PPPP1PPP/R1BQ1RK1 w - - 0 "
ENDGAME = "r5k1/5ppp/8/8/8/8/5PPP/R5K1 w - - 0 40"


@pytest.mark.parametrize(
    ("fen", "left", "start", "expected"),
    [
        (MIDDLEGAME + "7", None, None, ["opening"]),
        (MIDDLEGAME + "8", None, None, []),
        (ENDGAME, None, None, ["endgame"]),
        (MIDDLEGAME + "8", 29.9, 300.0, ["time-trouble"]),
        (MIDDLEGAME + "8", 30.0, 300.0, []),
        (MIDDLEGAME + "8", 59.0, 300.0, []),
        (MIDDLEGAME + "8", 59.0, 600.0, ["time-trouble"]),
        (MIDDLEGAME + "8", 59.0, 590.0, []),
        (MIDDLEGAME + "8", 59.0, 899.0, ["time-trouble"]),
        (MIDDLEGAME + "8", 29.0, None, []),
        (MIDDLEGAME + "8", None, 300.0, []),
        (ENDGAME, 1.0, 300.0, ["endgame", "time-trouble"]),
    ],
)
def test_circumstances(fen: str, left: float | None, start: float | None, expected: list[str]) -> None:
    move = ScoredMove(0, chess.Board(fen), MOVE, scored(0, 0.5, 0.5).compared, left)
    assert list(circumstances(move, start)) == expected


def test_a_game_that_began_elsewhere_has_no_opening() -> None:
    move = ScoredMove(0, chess.Board(MIDDLEGAME + "1"), MOVE, scored(0, 0.5, 0.5).compared)
    assert circumstances(move) == ("opening",)
    assert circumstances(move, from_the_start=False) == ()


@pytest.mark.parametrize(
    ("fen", "expected"),
    [
        ("qn2k3/8/8/8/8/8/8/QN2K3 w - - 0 1", True),
        ("rrb1k3/8/8/8/8/8/8/RRN1K3 w - - 0 1", True),
        ("qr2k3/8/8/8/8/8/8/Q3K3 w - - 0 1", False),
        ("q3k3/8/8/8/8/8/8/QR2K3 w - - 0 1", False),
        ("4k3/pppppppp/8/8/8/8/PPPPPPPP/4K3 w - - 0 1", True),
    ],
)
def test_an_endgame_has_few_pieces_on_both_sides(fen: str, expected: bool) -> None:
    assert is_endgame(chess.Board(fen)) is expected
