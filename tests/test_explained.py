"""How much of what a line wins each thing explains: for every clause a row that fails without it."""

from __future__ import annotations

import math

import chess
import pytest

from patterns.explained import Explained
from patterns.lines import parse_line
from patterns.proof.played_line import Use


def explained(
    fen: str,
    moves: str,
    ply: int,
    targets: tuple[str, ...],
    line_wins: float,
    motif: str = "fork",
    wins: int = 0,
) -> float:
    board = chess.Board(fen)
    line = Explained("let in", (board, parse_line(board, moves)), [], [], line_wins)
    return line.explains(Use(ply, motif, (), targets, (), "Told.", wins))


KNIGHT = "4k3/8/8/3r1p2/8/4N3/8/4K3 w - - 0 30"
"""The knight may take a rook or a pawn."""

QUEENS = "4k3/P7/8/8/8/8/8/4K3 w - - 0 30"

MATE = "6k1/5ppp/8/8/8/8/8/K2R4 w - - 0 30"


@pytest.mark.parametrize(
    ("fen", "moves", "ply", "targets", "line_wins", "expected"),
    [
        (KNIGHT, "Nxd5 Kd7", 1, ("d5",), 5, 5),
        # It explains no more than the line wins, and nothing of a line that loses.
        (KNIGHT, "Nxd5 Kd7", 1, ("d5",), 2, 2),
        (KNIGHT, "Nxd5 Kd7", 1, ("d5",), -1, 0),
        # The man that the move takes counts, too; a target that stands, or that falls before, does not.
        (KNIGHT, "Nxf5 Rd7", 1, ("d5",), 6, 1),
        (KNIGHT, "Nxf5 Rd7 Kf2 Kf8", 2, ("f5",), 6, 0),
        # A target that goes away and falls there, with the third move.
        (KNIGHT, "Nxf5 Rd6 Kf2 Kf8 Nxd6", 1, ("d5",), 6, 6),
        (KNIGHT, "Kf2 Rd6 Kf1 Kf8 Nxf5", 1, ("e8", "f5"), 6, 1),
        # A rook that has just taken a knight.
        ("4k3/8/8/3r4/8/3N1B2/8/4K3 w - - 0 30", "Kf2 Rxd3 Kg2 Kf8 Be2 Kg8 Bxd3", 2, ("d3",), 5, 2),
        # The king explains a mate, and nothing else does; it is no man that falls.
        (MATE, "Rd8#", 1, ("g8",), math.inf, math.inf),
        (MATE, "Rd8#", 1, ("g7",), math.inf, 0),
    ],
)
def test_how_much_a_use_explains(
    fen: str, moves: str, ply: int, targets: tuple[str, ...], line_wins: float, expected: float
) -> None:
    assert explained(fen, moves, ply, targets, line_wins) == expected


def test_at_least_what_the_catalogue_says_that_it_wins() -> None:
    assert explained(KNIGHT, "Kf2 Kd7", 1, ("d5",), 6, wins=5) == 5


@pytest.mark.parametrize(
    ("moves", "motif", "expected"),
    [
        ("a8=Q+ Kd7", "passed-pawn", 8),
        ("Kd2 Kd7 a8=Q Kd6", "passed-pawn", 8),
        ("a8=Q+ Kd7", "outpost", 0),
        ("Kd2 Kd7", "passed-pawn", 0),
    ],
)
def test_a_pawn_that_becomes_a_queen(moves: str, motif: str, expected: float) -> None:
    assert explained(QUEENS, moves, 1, (), 9, motif) == expected


@pytest.mark.parametrize(
    ("moves", "line_wins", "expected"), [("Nxf5 Rd7", 2, True), ("Nxf5 Rd7", 3, False), ("Kf2 Kd7", 0, False)]
)
def test_it_decides_if_it_explains_half(moves: str, line_wins: float, expected: bool) -> None:
    board = chess.Board(KNIGHT)
    line = Explained("let in", (board, parse_line(board, moves)), [], [], line_wins)
    assert line.decides(Use(1, "fork", (), ("f5",), (), "Told.")) == expected
