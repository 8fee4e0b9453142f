"""The moves of a hunt compared with python-chess, and hunts judged by hand."""

from __future__ import annotations

import chess
import numpy as np
import pytest
import slow
from real_positions import wandered

from patterns.boards.bitboards import ALL
from patterns.boards.positions import Boards, Positions
from patterns.proof.king_hunt import (
    MovesMade,
    hunters,
    recaptures,
    replies,
    safe_checks,
    threatens_mate,
    wins,
    won_by_checks,
)

US, THEM = chess.WHITE, chess.BLACK


def _boards(*boards: chess.Board) -> Boards:
    """Boards as White sees them."""
    return Positions.from_boards(boards).side_view(US)


def _described(moves: MovesMade, board: chess.Board) -> set[tuple[int, str]]:
    """The origin of each move, and the men on the board after it."""
    described = set()
    for entry in range(len(moves.board)):
        after = chess.Board(None)
        for colour, own in ((US, moves.after.us), (THEM, moves.after.them)):
            for kind, men in zip(chess.PIECE_TYPES, moves.after.men, strict=False):
                for square in chess.SquareSet(int(own[entry] & men[entry])):
                    after.set_piece_at(square, chess.Piece(kind, colour))
        described.add((int(moves.origin[entry]), after.board_fen()))
    assert len(described) == len(moves.board), board.fen()
    return described


def _made(board: chess.Board, move: chess.Move) -> tuple[int, str]:
    after = board.copy()
    after.push(move)
    return move.from_square, after.board_fen()


def _plain(board: chess.Board, move: chess.Move) -> bool:
    """No castling, no promotion, and nothing that concerns captures en passant."""
    after = board.copy()
    after.push(move)
    passing = board.is_en_passant(move) or after.has_pseudo_legal_en_passant()
    return not (passing or board.is_castling(move) or move.promotion)


def test_their_replies_and_recaptures_are_their_legal_moves() -> None:
    checked = in_check = 0
    for board in wandered(21)[::4]:
        seen = slow.seen_by_us(board, not board.turn)
        if seen.turn != THEM or any(move.promotion for move in seen.legal_moves):
            continue
        legal = [move for move in seen.legal_moves if _plain(seen, move)]
        everywhere = np.array([ALL])
        assert _described(replies(_boards(seen), everywhere, everywhere), seen) == {
            _made(seen, m) for m in legal
        }
        for square in {move.to_square for move in legal if seen.is_capture(move)}:
            takes = {_made(seen, move) for move in legal if move.to_square == square}
            assert _described(recaptures(_boards(seen), np.array([square])), seen) == takes, seen.fen()
        checked, in_check = checked + 1, in_check + seen.is_check()
    assert checked > 100
    assert in_check > 5


def test_safe_checks_are_legal_checks() -> None:
    found = 0
    for board in wandered(22)[::4]:
        seen = slow.seen_by_us(board, board.turn)
        legal = {_made(seen, move) for move in seen.legal_moves if seen.gives_check(move)}
        checks = _described(safe_checks(_boards(seen)), seen)
        assert checks <= legal, seen.fen()
        found += len(checks)
    assert found > 20


@pytest.mark.parametrize(
    ("fen", "threatens"),
    [
        ("rnbq1rk1/pppn1pp1/4p3/3pP1N1/1b1P3P/2N5/PPP2PP1/R1BQK2R w KQ - 0 10", True),
        ("rnb1qrk1/pppn1pp1/4p3/3p2N1/1b1P3P/2N5/PPP2PP1/R1BQK2R w KQ - 0 10", False),  # a knight to f6
        ("rnbq2k1/pppn1pp1/4p3/3pP1N1/1b1P3P/2N5/PPP2PP1/R1BQK2R w KQ - 0 10", False),  # a flight on f8
        ("rnbq1rk1/pppn1pp1/4p3/3pP3/1b1P2NP/2N5/PPP2PP1/R1BQK2R w KQ - 0 10", False),  # no support on h7
    ],
)
def test_a_mating_threat_is_one_that_no_piece_prevents(fen: str, threatens: bool) -> None:
    assert threatens_mate(_boards(chess.Board(fen)))[0] == threatens


def test_hunters_bear_on_squares_next_to_the_king_or_can_check_it() -> None:
    board = chess.Board("rnbq1r2/pppn1ppk/4p3/3pP3/1b1P3P/2N2N2/PPP2PP1/R1BQK2R w KQ - 0 9")
    men = chess.SquareSet(int(hunters(_boards(board))[0]))
    assert {chess.SQUARE_NAMES[square] for square in men} == {"c1", "d1", "f3"}


@pytest.mark.parametrize(
    ("fen", "wanted", "works"),
    [
        ("6k1/5ppp/8/8/8/8/8/KR6 w - - 0 1", 9, True),  # mate
        ("3q2k1/5pp1/8/8/4N3/8/8/K6Q w - - 0 1", 9, False),
        ("r5k1/6pp/8/8/8/8/8/1K1Q4 w - - 0 1", 5, True),  # d5, with check and the rook
        ("r5k1/6pp/2b5/8/8/8/8/1K1Q4 w - - 0 1", 5, False),  # the bishop takes
    ],
)
def test_checks_are_followed_to_mate_or_to_what_they_win(fen: str, wanted: int, works: bool) -> None:
    assert won_by_checks(_boards(chess.Board(fen)), np.array([wanted]), 2)[0] == works


def test_their_next_capture_is_deducted_from_ours() -> None:
    board = chess.Board("6k1/8/8/3r4/8/8/1B6/K2R4 w - - 0 1")
    assert wins(_boards(board), np.array([5]))[0]
    board.set_piece_at(chess.E6, chess.Piece(chess.PAWN, THEM))
    assert not wins(_boards(board), np.array([5]))[0]
    assert not wins(_boards(board), np.array([1]))[0]
