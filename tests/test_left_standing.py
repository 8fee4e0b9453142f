"""What a line leaves on the board: for every clause a row that fails without it."""

from __future__ import annotations

import chess
import pytest

from patterns.lines import parse_line
from patterns.lines.left_standing import left_standing

ROOK = "6k1/5p2/8/p7/8/6p1/8/1R4K1 w - - 0 30"
"""A rook that can go to the seventh rank."""

THIRD = "6k1/5ppp/8/8/8/3P4/5PPP/6K1 w - - 0 30"
"""A pawn that has not gone far enough to count as passed."""

PAWNS = "6k1/5ppp/8/8/2pP4/8/5PPP/6K1 w - - 0 30"
"""Both sides have a passed pawn."""

PASSED = ("passed-pawn", ("d5",))


def left(fen: str, moves: str) -> list[tuple[str, tuple[str, ...]]]:
    board = chess.Board(fen)
    ((*uses,),) = left_standing([(board, parse_line(board, moves))])
    return [(use.motif, use.actors) for use in uses]


@pytest.mark.parametrize(
    ("fen", "moves", "motif", "stands"),
    [
        (ROOK, "Rb7 a4 Kg2 a3", ("seventh-rank", ("b7",)), True),
        # A man that goes on moving is the same.
        (ROOK, "Rb7 a4 Rd7 a3", ("seventh-rank", ("d7",)), True),
        # After both moves, after the last one only, and after the only one.
        (THIRD, "d4 h6 h3 h5", ("passed-pawn", ("d4",)), True),
        (THIRD, "h3 h6 d4 h5", ("passed-pawn", ("d4",)), False),
        (THIRD, "d4 h6", ("passed-pawn", ("d4",)), False),
        (PAWNS, "d5 h6 h3 h5", PASSED, True),
        # The other side's.
        (PAWNS, "d5 h6 h3 h5", ("passed-pawn", ("c4",)), False),
        # A claim of a move: the rook can take the pawn.
        (ROOK, "Rb5 Kh7 Kg2 Kg7", ("loose-piece", ("b5",)), False),
    ],
)
def test_what_stands_after_the_last_two_moves(
    fen: str, moves: str, motif: tuple[str, tuple[str, ...]], stands: bool
) -> None:
    assert (motif in left(fen, moves)) == stands


def test_what_the_line_has_not_moved_is_left_out() -> None:
    fen = ROOK.replace("8/6p1/8", "3P4/6p1/8")
    assert left(fen, "Rb7 a4 Kg2 a3") == [("seventh-rank", ("b7",))]
    assert left(fen, "d5 a4 d6 a3")[0] == ("passed-pawn", ("d6",))


def test_each_line_has_its_own() -> None:
    boards = [chess.Board(fen) for fen in (PAWNS, PAWNS, ROOK)]
    lines = [parse_line(*one) for one in zip(boards, ("d5 h6 h3 h5", "d5 h6", "Rb7 a4 Kg2 a3"), strict=True)]
    found = left_standing(list(zip(boards, lines, strict=True)))
    assert [
        [use.motif for use in uses if use.motif in ("passed-pawn", "seventh-rank")] for uses in found
    ] == [
        ["passed-pawn"],
        [],
        ["seventh-rank"],
    ]
    assert {use.ply for use in found[0]} == {2}
    assert left_standing([]) == []
