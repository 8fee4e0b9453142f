"""What a side gets from a line, in words, and from which ply this is clear."""

from __future__ import annotations

import chess
import pytest

from patterns.lines import parse_line
from patterns.words.outcome import Outcome, outcome

QUEEN_AND_ROOK = "wins a queen and a rook for a knight"
FOR_A_NEW_KNIGHT = "wins a queen and a pawn for a knight"
TWO_ROOKS = "wins two rooks for a knight"
QUIET = "Rh2 Kd7 Rh3 Kd6 Rh4 Kd5 Rh5+ Kd4 Rh4+ Kd3"


def result(fen: str, line: str, side: chess.Color = chess.WHITE) -> Outcome:
    board = chess.Board(fen)
    return outcome(board, [move.uci() for move in parse_line(board, line)], side)


@pytest.mark.parametrize(
    ("fen", "line", "side", "plies", "words"),
    [
        ("4k3/8/8/3r4/8/4N3/8/4K3 w - - 0 1", "Nxd5 Kd7 Nf4 Kd6", chess.WHITE, 1, "wins a rook"),
        ("4k3/8/8/3r4/8/4N3/8/4K3 w - - 0 1", "Nf5 Rxf5 Kd2", chess.BLACK, 2, "wins a knight"),
        ("4k3/8/2p5/3r4/8/4N3/8/4K3 w - - 0 1", "Nxd5 cxd5 Kd2", chess.WHITE, 2, "wins the exchange"),
        ("4k3/8/2n5/3pp3/8/2N5/8/3RK3 w - - 0 1", "Nxd5 Kf7 Nc3", chess.WHITE, 1, "wins a pawn"),
        ("3rk3/8/8/3b4/8/2N5/8/3RK3 w - - 0 1", "Nxd5 Rxd5 Rxd5 Ke7", chess.WHITE, 3, "wins a rook"),
        ("3qk3/8/8/3r4/8/2N5/8/3QK3 w - - 0 1", "Nxd5 Qxd5 Qxd5", chess.WHITE, 3, QUEEN_AND_ROOK),
        ("4k3/P7/8/8/8/8/8/4K3 w - - 0 1", "a8=Q+ Kd7", chess.WHITE, 1, "queens a pawn"),
        ("4k3/P7/8/8/8/8/8/4K3 w - - 0 1", "a8=R+ Kd7", chess.WHITE, 1, "promotes a pawn"),
        ("3rk3/1P6/8/8/8/8/8/1R2K3 w - - 0 1", "b8=Q Rxb8 Rxb8+", chess.WHITE, 3, "wins a rook for a pawn"),
        ("4k3/P7/8/8/8/8/7r/4K3 w - - 0 1", "a8=Q+ Kd7 Qg8 Rh1+ Kd2", chess.WHITE, 1, "queens a pawn"),
        ("4k3/P7/8/8/1n6/8/8/4K2R w K - 0 1", "a8=Q+ Kd7 Qb8 Nd3+ Kd2", chess.WHITE, 1, "queens a pawn"),
        ("6k1/5ppp/8/8/8/8/8/K2R4 w - - 0 1", "Rd8#", chess.WHITE, 1, "mates"),
        ("5rk1/5ppp/8/8/8/8/4R3/K3R3 w - - 0 1", "Re8 h6 Rxf8+ Kxf8", chess.WHITE, 4, ""),
        ("3r2k1/5pp1/7p/8/8/8/3R4/K2R4 w - - 0 1", "Rxd8+", chess.WHITE, 1, "wins a rook"),
        ("4k3/8/8/8/8/8/4P3/4K3 w - - 0 1", "e4 Ke7 e5 Ke6 Kd2 Kxe5", chess.WHITE, 6, ""),
        ("4k3/8/8/8/8/8/4P3/4K3 w - - 0 1", "", chess.WHITE, 0, ""),
        ("4k3/8/8/8/8/8/8/4K2R w K - 0 1", QUIET, chess.WHITE, 8, ""),
        ("6k1/5ppp/8/8/8/8/8/K2R4 w - - 0 1", "Rd8#", chess.BLACK, 1, ""),
        ("7k/8/5K2/6R1/8/8/8/8 w - - 0 1", "Kf7 Kh7 Rh5#", chess.WHITE, 3, "mates in two"),
        ("4k3/p7/8/8/8/8/7p/4K3 w - - 0 1", "Kd1 h1=Q+ Kd2", chess.WHITE, 3, ""),
        ("4k3/P7/8/8/8/8/7p/4K3 w - - 0 1", "a8=Q+ Kd7 Kd2 h1=N", chess.WHITE, 4, "queens a pawn"),
        ("4k3/7P/8/8/8/8/p7/4K2R w - - 0 1", "h8=Q+ Kd7 Qh3+", chess.BLACK, 3, ""),
        ("r3k3/1P6/8/8/8/8/8/4K3 w - - 0 1", "bxa8=Q+ Kd7 Qb7+", chess.WHITE, 1, "queens a pawn"),
        ("4k3/8/8/3p4/8/4N3/p7/4K3 w - - 0 1", "Nxd5 a1=Q+ Kd2", chess.BLACK, 2, "queens a pawn"),
        ("4k3/8/8/r2p4/8/4N3/8/4K3 w - - 0 1", "Nxd5 Rxd5 Ke2", chess.BLACK, 2, "wins a knight for a pawn"),
        ("4k3/8/4p3/3r4/8/4B3/8/3RK3 w - - 0 1", "Rxd5 exd5 Bd4", chess.WHITE, 3, ""),
        ("4k3/1p6/2r5/3b4/8/4N3/8/2R1K3 w - - 0 1", "Rxc6 bxc6 Nxd5 cxd5", chess.WHITE, 4, ""),
        ("4k3/8/2n5/8/3B4/8/3r4/4K3 w - - 0 1", "Kxd2 Nxd4 Kd3", chess.WHITE, 2, "wins the exchange"),
        ("4k3/8/2p5/3r4/8/2B5/8/4K3 w - - 0 1", "Bd4 Rxd4 Ke2", chess.BLACK, 2, "wins a bishop"),
        ("4k3/8/8/3q4/8/4N3/4p3/4K3 w - - 0 1", "Nxd5 Kd7 Kxe2", chess.WHITE, 1, "wins a queen"),
        ("4k3/1b6/8/3r4/8/4N3/6P1/4K3 w - - 0 1", "Nxd5 Kd7 Nc3 Bxg2 Kf2", chess.WHITE, 1, "wins a rook"),
        ("4k3/1p6/4p3/3b4/8/2N5/8/1R2K3 w - - 0 1", "Nxd5 exd5 Rxb7", chess.WHITE, 3, "wins a pawn"),
        ("4k3/8/4p3/3n4/8/2B5/8/b3K3 w - - 0 1", "Bxa1 Kd7 Ke2", chess.WHITE, 1, "wins a bishop"),
        ("3qk3/8/8/3p4/8/8/8/3RK3 w - - 0 1", "Rxd5 Qxd5 Ke2", chess.BLACK, 2, "wins a rook for a pawn"),
        ("4k3/8/8/3r4/8/4N2b/6P1/4K3 w - - 0 1", "Nxd5 Bxg2 Kf2", chess.WHITE, 2, "wins a rook for a pawn"),
        ("3qk3/5N2/8/8/8/8/7p/4K3 w - - 0 1", "Nxd8 h1=N Kd2", chess.WHITE, 2, FOR_A_NEW_KNIGHT),
        ("4k3/8/8/3p3q/8/4N3/8/4K2R w - - 0 1", "Nxd5 Kd7 Rxh5", chess.WHITE, 3, "wins a queen and a pawn"),
        ("4k3/8/8/3n3r/8/4N3/8/4K2R w - - 0 1", "Nxd5 Kd7 Rxh5", chess.WHITE, 3, "wins a rook and a knight"),
        ("4k3/8/8/3p3n/r7/4N3/P7/4K2R w - - 0 1", "Nxd5 Kd7 Rxh5 Rxa2", chess.WHITE, 4, "wins a knight"),
        ("4k3/8/2p5/3r4/8/4N3/r7/1B2K3 w - - 0 1", "Nxd5 cxd5 Bxa2", chess.WHITE, 3, TWO_ROOKS),
        ("4k3/8/8/1p1p4/8/4N3/8/1R2K3 w - - 0 1", "Nxd5 Kd7 Rxb5", chess.WHITE, 1, "wins a pawn"),
    ],
)  # fmt: skip
def test_what_a_side_gets_from_a_line(fen: str, line: str, side: chess.Color, plies: int, words: str) -> None:
    found = result(fen, line, side)
    assert (found.plies, found.words) == (plies, words)
