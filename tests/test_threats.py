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
        ("6k1/8/2n5/4p3/8/R4N2/8/3Q2K1 w - - 0 1", "Re3", "Nxe5", "the pawn is attacked once more"),
        ("6k1/8/2n5/4p3/6b1/R4N2/8/3Q2K1 w - - 0 1", "Re3", "", "the knight is pinned to the queen"),
        ("6k1/5ppp/8/8/8/8/3Q2PP/6K1 w - - 0 1", "Qf4", "Qb8#", "mate"),
        ("6k1/5ppp/8/3n4/8/3Q4/6PP/6K1 w - - 0 1", "Qe4", "Qe8#", "mate rather than a man"),
        ("2r4k/P5pp/8/8/8/2N5/6PP/6K1 w - - 0 1", "h3", "", "it could queen at once"),
        ("7k/P5pp/8/8/8/8/r5PP/1R4K1 w - - 0 1", "h3", "", "the pawn could queen at once"),
    ],
)
def test_what_a_move_threatens(fen: str, move: str, expected: str, why: str) -> None:
    board = chess.Board(fen)
    assert threat(board, board.parse_san(move).uci()) == expected, why


@pytest.mark.parametrize(
    ("fen", "line", "point", "why"),
    [
        (LOOSE, "Rd2 Kf8", "threatens Rxd5", "a threat"),
        ("6k1/5ppp/8/3n4/1n6/8/4R1PP/6K1 w - - 0 1", "Rc2 Nxc2", "", "the man that moves is taken at once"),
        ("3q2k1/5ppp/8/8/8/8/4QPPP/6K1 w - - 0 1", "Qd2 Qxd2 h3", "", "one queen comes off"),
        ("3qr1k1/5ppp/8/8/8/8/3RQPPP/6K1 w - - 0 1", "Qxe8+ Qxe8 h3", "", "one queen comes off"),
        ("q5k1/5ppp/8/8/8/3P4/4QPPP/6K1 w - - 0 1", "h3 h6 Qe4 Qxe4 dxe4", "", "two moves later"),
        ("3q2k1/5ppp/8/8/8/3R4/4QPPP/6K1 w - - 0 1", "Qd1 Qxd3 Qxd3", "", "a rook and a queen"),
        ("3q2k1/5ppp/8/8/8/2R5/4QPPP/6K1 w - - 0 1", "Qd3 Qxd3 Rxd3", "queens come off", "both"),
    ],
)
def test_what_a_move_is_about(
    fen: str, line: str, point: str, why: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("decks.tasks.tried.first_motif", lambda board, line: "")
    board = chess.Board(fen)
    moves = [board.push_san(san).uci() for san in line.split()]
    tried = Tried(chess.Board(fen), tuple(moves), MoveVerdict(0.5, 17, ()))
    assert tried.point == point, why


def test_what_a_reply_is_about(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("decks.tasks.tried.first_motif", lambda board, line: "")
    board = chess.Board("3r2k1/5ppp/8/3n4/8/8/4R1PP/6K1 b - - 0 1")
    assert Tried(board, ("d8a8", "e2d2", "g8f8"), MoveVerdict(0.5, 17, ())).point_of_reply == "threatens Rxd5"
    queens = chess.Board("3r2k1/5ppp/3q4/8/8/3Q4/3R1PPP/6K1 b - - 0 1")
    swapped = Tried(queens, ("d6d3", "d2d3", "d8d3"), MoveVerdict(0.5, 17, ()))
    assert swapped.point_of_reply == "queens come off"
