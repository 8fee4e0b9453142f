"""Claims of a gain: the other side's best answer decides whether they hold."""

from __future__ import annotations

import chess
import numpy as np
import pytest
from real_positions import wandered

from patterns.boards.positions import Positions
from patterns.boards.worth import WORTH
from patterns.proof.gains import _mated, pays, threatened, threats


def white_plays(fen: str, move: str, least: int = 1) -> bool:
    """Whether White's capture (or, if it takes nothing, its threat) gains that much."""
    board, played = chess.Board(fen), chess.Move.from_uci(move)
    assert played in board.legal_moves
    before = Positions.from_boards([board]).side_view(chess.WHITE)
    origin, square = np.array([played.from_square]), np.array([played.to_square])
    won = np.array([WORTH[board.piece_type_at(played.to_square) or 0]])
    after = before.moved(origin, square)
    left = np.where(won == 0, threats(after)[0], 0)
    return bool(pays(after, won, left, np.array([least]))[0])


@pytest.mark.parametrize(
    ("fen", "move", "stands"),
    [
        ("6k1/5ppp/1p3n2/6B1/4r3/7P/2Q2PPK/8 w - - 0 1", "g5f6", True),
        ("6k1/5ppp/1p3n2/6B1/4r3/8/2Q2PPP/6K1 w - - 0 1", "g5f6", False),  # the rook mates on e1
        ("6k1/5ppp/1p3n2/6B1/2r5/7P/2Q2PPK/8 w - - 0 1", "g5f6", False),  # the rook takes the queen
        ("4k3/8/8/3p4/8/8/3Q4/4K3 w - - 0 1", "d2d5", True),
        ("4k3/8/4p3/3p4/8/8/3Q4/4K3 w - - 0 1", "d2d5", False),  # guarded
        ("4k3/8/8/3r4/8/4P3/8/3QK3 w - - 0 1", "e3e4", False),  # attacked, but the rook takes the queen
    ],
)
def test_a_capture_pays_only_if_no_answer_makes_up_for_it(fen: str, move: str, stands: bool) -> None:
    assert white_plays(fen, move) == stands


def test_no_claim_holds_for_more_than_can_be_won() -> None:
    fen = "4k3/8/8/3p4/8/8/3Q4/4K3 w - - 0 1"
    assert [white_plays(fen, "d2d5", least) for least in (1, 2)] == [True, False]


def test_the_most_that_can_be_won_and_on_how_many_squares_more_than_asked() -> None:
    fens = [
        "4k3/8/8/r2Q4/8/8/6b1/4K3 w - - 0 1",  # both loose
        "4k3/P7/8/3p4/8/8/8/3RK3 w - - 0 1",  # a promotion counts as what it gains
        "1n2k3/P7/8/8/8/8/8/4K3 w - - 0 1",  # taking, a pawn gains as much besides
        "3rk3/P7/8/8/8/8/8/4K3 w - - 0 1",  # the new queen falls
        "4k3/8/2p5/3p4/8/8/8/3RK3 w - - 0 1",  # guarded
        "4k3/8/8/8/8/8/8/4K3 w - - 0 1",
    ]
    boards = Positions.from_fens(fens).side_view(chess.WHITE)
    assert threats(boards).tolist() == [5, 8, 11, 0, 0, 0]
    beyond = {
        0: [2, 2, 2, 0, 0, 0],
        2: [2, 1, 2, 0, 0, 0],
        4: [1, 1, 2, 0, 0, 0],
        7: [0, 1, 2, 0, 0, 0],
        8: [0, 0, 1, 0, 0, 0],
        11: [0] * 6,
    }
    for asked, squares in beyond.items():
        assert threatened(boards, np.full(len(fens), asked)).tolist() == squares, asked


def test_squares_with_a_larger_win_agree_with_the_largest_win() -> None:
    boards = Positions.from_boards(wandered(7, games=20, plies=80)).both_views()
    most, seen = threats(boards), 0
    for asked in (0, 1, 2, 3, 5, 8):
        beyond = np.full(len(boards), asked)
        assert ((threatened(boards, beyond) > 0) == (most > asked)).all()
        seen += int((most > asked).sum())
    assert len(boards) > 1000 and seen > 1000


def test_mate_is_known_as_the_board_knows_it() -> None:
    boards = [board for board in wandered(5, games=200, plies=150) if board.is_check()]
    mates = [board.is_checkmate() for board in boards]
    assert len(boards) > 200 and sum(mates) >= 5
    found = []
    for board in boards:
        found += _mated(Positions.from_boards([board]).side_view(board.turn)).tolist()
    assert found == mates
