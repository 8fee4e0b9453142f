"""Ways in which a guard leaves its duty, one position each."""

from __future__ import annotations

import chess
import pytest

from patterns.lines import parse_line, uses

WAYS = (
    # A promotion square: the rook that takes on f7 leaves b8.
    ("overloaded-defender", "5rk1/1P3pp1/R6p/3B4/6P1/2B1rQ2/2K3P1/6q1 w - - 0 1", "Bxf7+ Rxf7 b8=Q+", "f8"),
    # A mating square: the queen that takes on b2 leaves d1.
    ("overloaded-defender", "3r2k1/p4ppp/1q6/8/8/2R1P3/P3QPPP/6K1 b - - 0 1", "Qb2 Qxb2 Rd1+", "e2"),
    # Two guards against two attackers: one of them leaves.
    ("overloaded-defender", "2r1r1k1/1p1q1ppp/3p4/8/3Q4/8/1P2RPPP/4R1K1 w - - 0 1",
     "Qg4 Qxg4 Rxe8+ Rxe8 Rxe8+", "d7"),
    # Driven off by a pawn.
    ("removed-defender", "r4rk1/pp3ppp/2n5/8/1P1b3B/6P1/P4PNP/3R1RK1 w - - 0 1", "b5 Na5 Rxd4", "c6"),
)  # fmt: skip


@pytest.mark.parametrize(("motif", "fen", "line", "guard"), WAYS)
def test_a_guard_is_beaten_by_the_first_move_of_the_line(motif: str, fen: str, line: str, guard: str) -> None:
    board = chess.Board(fen)
    told = [use for use in uses(board, parse_line(board, line)) if use.ply == 1 and use.motif == motif]
    assert [guard in use.targets for use in told] == [True]
