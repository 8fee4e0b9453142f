"""Lines that end where nothing hangs."""

from __future__ import annotations

from collections.abc import Sequence

import chess
import pytest
from chess.engine import Cp, Mate

from patterns.engines.quiet_lines import MOST_EXTENSIONS, is_quiet, loses_outright, quiet_line
from patterns.engines.uci import Reading

TRADE = chess.Board("4k3/8/4p3/3p4/8/4N3/8/4K3 w - - 0 1")
"""White can give the knight for a pawn."""

GIVING = "e3d5 e6d5 e1d2 e8d7"


def moves(text: str) -> tuple[chess.Move, ...]:
    return tuple(map(chess.Move.from_uci, text.split()))


@pytest.mark.parametrize(
    ("fen", "quiet"),
    [
        ("4k3/8/8/3r4/8/4N3/8/4K3 w - - 0 1", False),
        ("4k3/8/8/3r4/8/4N3/8/4K3 b - - 0 1", True),
        ("4k3/8/4p3/3p4/8/4N3/8/4K3 w - - 0 1", True),
        ("4k3/8/8/8/8/8/4r3/4K3 w - - 0 1", False),
        ("7k/6Q1/6K1/8/8/8/8/8 b - - 0 1", True),
        ("4k3/8/8/8/8/8/8/4K3 w - - 0 1", True),
        ("3rk3/8/8/8/8/8/3N4/3K4 b - - 0 1", True),
    ],
)
def test_what_hangs(fen: str, quiet: bool) -> None:
    assert is_quiet(chess.Board(fen)) is quiet
    assert is_quiet(chess.Board(fen).mirror()) is quiet


@pytest.mark.parametrize(("longest", "plies"), [(1, 2), (2, 2), (3, 3), (4, 4), (20, 4)])
def test_a_line_is_cut_at_the_first_quiet_position_after_some_plies(longest: int, plies: int) -> None:
    assert quiet_line(TRADE, moves(GIVING), longest) == moves(GIVING)[:plies]


def test_a_line_that_stops_among_captures_is_searched_on() -> None:
    asked = []

    def go_on(board: chess.Board) -> Sequence[chess.Move]:
        asked.append(board.fen())
        return moves(GIVING)[1:]

    stopped = moves(GIVING)[:1]
    assert quiet_line(TRADE, stopped, 16, go_on) == moves(GIVING)[:2]
    assert len(asked) == 1
    assert quiet_line(TRADE, stopped, 16) == stopped, "without an engine it ends where it ends"


def test_a_quiet_line_is_not_searched_on_and_nothing_goes_on_for_ever() -> None:
    asked: list[str] = []

    def silent(board: chess.Board) -> Sequence[chess.Move]:
        asked.append(board.fen())
        return ()

    assert quiet_line(TRADE, moves(GIVING), 16, silent) == moves(GIVING)
    assert asked == []
    assert quiet_line(TRADE, moves("e3d5"), 16, silent) == moves("e3d5")
    assert len(asked) == MOST_EXTENSIONS


@pytest.mark.parametrize(
    ("line", "score", "outright"),
    [
        ("e3d5 e6d5", Cp(-300), True),
        ("e3g4 e8f7 g4e5", Cp(0), False),
        ("e3g4 e8f7 g4e5", Mate(-3), True),
        ("e3g4 e8f7 g4e5", Mate(3), False),
    ],
)
def test_what_loses_material_outright(line: str, score: Cp | Mate, outright: bool) -> None:
    assert loses_outright(TRADE, Reading(0.2, 11, score, moves(line))) is outright


def test_a_sacrificed_pawn_is_not_lost_outright() -> None:
    board = chess.Board("4k3/8/4p3/8/3P4/8/8/4K3 w - - 0 1")
    assert not loses_outright(board, Reading(0.2, 11, Cp(-100), moves("d4d5 e6d5")))
