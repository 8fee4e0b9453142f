"""Legal moves on arrays against python-chess, on every position of the real games and on odd ones."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import chess
import numpy as np
import pytest
from real_positions import positions_in, wandered

from patterns.boards.attacks import in_check
from patterns.boards.bitboards import ALL
from patterns.boards.legal import Made, checks, gainful, has_move, legal_men, legal_moves, made, moves_from
from patterns.boards.moves import Moves
from patterns.boards.positions import Boards, Positions
from patterns.boards.worth import ahead

ODD = 4_000


def to_move(boards: Sequence[chess.Board]) -> Boards:
    """The boards as the side to move sees them."""
    positions = Positions.from_boards(boards)
    both = Boards.joined(positions.side_view(chess.WHITE), positions.side_view(chess.BLACK))
    rows = np.arange(len(boards))
    return both.take(np.where(positions.white_to_move, rows, rows + len(boards)))


def as_sets(moves: Moves | Made, size: int) -> list[set[tuple[int, int]]]:
    """The moves of each board: origin and destination, as the side to move sees them. None occurs twice."""
    found: list[set[tuple[int, int]]] = [set() for _ in range(size)]
    for row, origin, square in zip(
        moves.row.tolist(), moves.origin.tolist(), moves.square.tolist(), strict=True
    ):
        assert (origin, square) not in found[row]
        found[row].add((origin, square))
    return found


def seen(board: chess.Board, moves: Sequence[chess.Move]) -> set[tuple[int, int]]:
    flip = 0 if board.turn == chess.WHITE else 56
    return {(move.from_square ^ flip, move.to_square ^ flip) for move in moves}


def check_moves_from(boards: Sequence[chess.Board]) -> None:
    """Moves of single men, pins and checks ignored. Castling is left out."""
    men = [(board, square) for board in boards for square in chess.SquareSet(board.occupied_co[board.turn])]
    flips = np.array([0 if board.turn == chess.WHITE else 56 for board, _ in men])
    origins = np.array([square for _, square in men]) ^ flips
    found = as_sets(moves_from(to_move([board for board, _ in men]), origins), len(men))
    for (board, square), moves in zip(men, found, strict=True):
        every = board.generate_pseudo_legal_moves(chess.BB_SQUARES[square])
        assert moves == seen(board, [move for move in every if not board.is_castling(move)]), board.fen()


def odd() -> list[chess.Board]:
    """Positions of random games, long enough for promotions and bare kings."""
    found: list[chess.Board] = []
    seed = 100
    while len(found) < ODD:
        found += wandered(seed, games=8, plies=160)
        seed += 1
    return found[:ODD]


def check_legal_moves(boards: Sequence[chess.Board]) -> None:
    moves = as_sets(legal_moves(to_move(boards)), len(boards))
    for board, found in zip(boards, moves, strict=True):
        assert found == seen(board, list(board.legal_moves)), board.fen()


def test_legal_moves_in_every_position_of_the_real_games(chess_archive: Path) -> None:
    boards = positions_in(chess_archive / "data" / "pgn")
    assert len(boards) > 1000
    check_legal_moves(boards)


def test_legal_moves_in_odd_positions() -> None:
    boards = odd()
    assert sum(board.is_check() for board in boards) > 100
    assert sum(board.has_legal_en_passant() for board in boards) > 5
    assert sum(any(map(board.is_castling, board.legal_moves)) for board in boards) > 20
    check_legal_moves(boards)
    stuck = has_move(to_move(boards)).tolist()
    assert stuck == [any(board.legal_moves) for board in boards]


@pytest.mark.parametrize(
    "fen",
    [
        "8/8/8/K2pP2r/8/8/8/6k1 w - d6 0 1",  # both pawns leave the rank: the king would be attacked
        "8/8/8/K2pP3/8/8/8/6k1 w - d6 0 1",
        "4k3/8/8/8/8/8/8/R3K2R w KQ - 0 1",
        "4k3/8/8/8/8/5r2/8/R3K2R w KQ - 0 1",  # the king would pass an attacked square
        "4k3/8/8/8/8/1r6/8/R3K3 w Q - 0 1",  # the rook may pass one
        "4k3/8/8/8/4r3/8/8/R3K2R w KQ - 0 1",  # no castling out of check
        "rn2k2r/8/8/8/8/8/8/4K3 b kq - 0 1",
        "4k3/8/8/2pP4/8/8/8/B3K2b w - c6 0 1",
        "8/8/8/1k1pP3/8/8/4K3/8 w - d6 0 1",
        "4r1k1/8/8/3pP3/8/8/8/4K3 w - d6 0 1",  # pinned on the file, and leaving it en passant
        "8/8/8/2k5/3pP3/8/8/4K3 b - e3 0 1",  # the checking pawn is taken en passant
    ],
)
def test_legal_moves_where_a_rare_rule_decides(fen: str) -> None:
    check_legal_moves([chess.Board(fen)])


def test_boards_after_moves_are_those_of_python_chess() -> None:
    boards = odd()[::8]
    moves = legal_moves(to_move(boards))
    result = made(to_move(boards), moves)
    assert len(result) == len(moves) > 5000
    expected = []
    for row, origin, square in zip(
        result.row.tolist(), result.origin.tolist(), result.square.tolist(), strict=True
    ):
        board = boards[row]
        flip = 0 if board.turn == chess.WHITE else 56
        after = board.copy(stack=False)
        move = chess.Move(origin ^ flip, square ^ flip)
        if board.piece_type_at(move.from_square) == chess.PAWN and chess.square_rank(square) == 7:
            move.promotion = chess.QUEEN
        after.push(move)
        expected.append(after)
    there = to_move(expected)
    assert (there.men == result.after.men).all()
    assert (there.castling == result.after.castling).all()
    passing = [board.has_legal_en_passant() for board in expected]
    assert sum(passing) > 0
    assert (there.en_passant == result.after.en_passant)[passing].all()
    for row, gain, after in zip(result.row.tolist(), result.gain.tolist(), expected, strict=True):
        us = boards[row].turn
        assert gain == ahead(after, us) - ahead(boards[row], us), boards[row].fen()


def test_checks_are_all_legal_moves_that_check() -> None:
    boards = odd()[::5]
    given = made(to_move(boards), checks(to_move(boards)))
    given = given.only(in_check(given.after, "us"))
    found = as_sets(given, len(boards))
    for board, these in zip(boards, found, strict=True):
        checking = [move for move in board.legal_moves if board.gives_check(move)]
        queens = [move for move in checking if move.promotion in (None, chess.QUEEN)]
        assert these == seen(board, queens), board.fen()


def test_goals_leave_out_moves_to_other_squares() -> None:
    boards = odd()[::10]
    here = to_move(boards)
    takes = as_sets(legal_moves(here, gainful(here)), len(boards))
    everywhere = legal_men(here, np.full(len(boards), ALL))
    assert len(everywhere) == len(legal_men(here))
    for board, found in zip(boards, takes, strict=True):
        gains = [move for move in board.legal_moves if board.is_capture(move) or move.promotion]
        assert seen(board, gains) <= found, board.fen()
        # A square where a pawn promotes, or captures en passant, is a goal for other men too.
        flip = 0 if board.turn == chess.WHITE else 56
        ends = {move.to_square ^ flip for move in gains} | {(board.ep_square or 0) ^ flip}
        assert {square for _, square in found} <= ends | set(range(56, 64)), board.fen()


def test_moves_of_single_men() -> None:
    boards = list(wandered(7, games=8, plies=160))
    assert len(boards) > 500
    check_moves_from(boards)
