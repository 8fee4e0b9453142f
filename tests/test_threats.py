"""What a move threatens: new blows only, the best of them, and nothing where the man that moves is taken."""

from __future__ import annotations

import chess
import pytest

from decks.tasks.threats import threat
from decks.tasks.tried import Tried
from patterns.engines.scores import MoveVerdict

LOOSE = "6k1/5ppp/8/3n4/8/8/4R1PP/6K1 w - - 0 1"


@pytest.mark.parametrize(
    ("fen", "move", "expected", "why"),
    [
        (LOOSE, "Rd2", "Rxd5", "the knight is loose"),
        ("6k1/5ppp/4p3/3n4/8/8/4R1PP/6K1 w - - 0 1", "Rd2", "", "the knight is guarded"),
        (LOOSE, "Re8#", "", "a check needs an answer anyway"),
        ("6k1/5ppp/8/3n4/8/8/3R2PP/6K1 w - - 0 1", "h3", "", "it could be taken at once"),
        ("3r2k1/5ppp/8/3r4/8/8/B2R2PP/6K1 w - - 0 1", "Bb3", "", "it could be taken at once for as much"),
        ("3r2k1/5ppp/8/3r4/8/8/3R2PP/4R1K1 w - - 0 1", "Red1", "Rxd5", "only now does it win anything"),
        ("6k1/5ppp/8/8/8/8/3Q2PP/6K1 w - - 0 1", "Qf4", "Qb8#", "mate"),
        ("6k1/5ppp/8/3n4/8/3Q4/6PP/6K1 w - - 0 1", "Qe4", "Qe8#", "mate rather than a man"),
        ("2r4k/P5pp/8/8/8/2N5/6PP/6K1 w - - 0 1", "h3", "", "it could queen at once"),
        ("7k/P5pp/8/8/8/8/r5PP/1R4K1 w - - 0 1", "h3", "", "the pawn could queen at once"),
    ],
)
def test_what_a_move_threatens(fen: str, move: str, expected: str, why: str) -> None:
    board = chess.Board(fen)
    assert threat(board, board.parse_san(move).uci()) == expected, why


def test_nothing_is_threatened_by_a_man_that_is_taken_at_once() -> None:
    verdict = MoveVerdict(0.5, 17, ())
    assert Tried(chess.Board(LOOSE), ("e2d2", "g8f8"), verdict).threat == "Rxd5"
    taken = chess.Board("6k1/5ppp/8/3n4/1n6/8/4R1PP/6K1 w - - 0 1")
    assert Tried(taken, ("e2c2", "b4c2"), verdict).threat == ""
    assert Tried(taken, ("g2g3", "b4d3", "e2d2"), verdict).threat_of_reply == ""
