"""What a side gets by a line, in words, and from where on it is clear."""

from __future__ import annotations

import chess
import pytest

from patterns.lines import parse_line
from patterns.words.outcome import Outcome, outcome

QUEEN_AND_ROOK = "wins a queen and a rook for a knight"


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
        ("6k1/5ppp/8/8/8/8/8/K2R4 w - - 0 1", "Rd8#", chess.WHITE, 1, "mates"),
        ("5rk1/5ppp/8/8/8/8/4R3/K3R3 w - - 0 1", "Re8 h6 Rxf8+ Kxf8", chess.WHITE, 4, ""),
        ("3r2k1/5pp1/7p/8/8/8/3R4/K2R4 w - - 0 1", "Rxd8+", chess.WHITE, 1, "wins a rook"),
        ("4k3/8/8/8/8/8/4P3/4K3 w - - 0 1", "e4 Ke7 e5 Ke6 Kd2 Kxe5", chess.WHITE, 6, ""),
    ],
)  # fmt: skip
def test_a_line_comes_to_so_much(fen: str, line: str, side: chess.Color, plies: int, words: str) -> None:
    found = result(fen, line, side)
    assert (found.plies, found.words) == (plies, words)
