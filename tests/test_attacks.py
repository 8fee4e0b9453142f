"""The array code against python-chess, square by square."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import chess
import numpy as np
import pytest
import slow
from hypothesis import given, settings
from hypothesis import strategies as st
from real_positions import positions_in, wandered

from patterns.boards import bitboards
from patterns.boards.attacks import Men, Owner, attack_from, attack_map, attackers, reach_of
from patterns.boards.positions import Positions
from patterns.boards.view import View, reversed_sides


def check_against_python_chess(boards: Sequence[chess.Board]) -> int:
    """Compare attacks of each man, attackers of each square, x-rays, pins and pawn spans, in both views."""
    view, squares_seen = View(Positions.from_boards(boards)), 0
    half = len(boards)
    everywhere = np.repeat(np.arange(len(view)), 64), np.tile(np.arange(64), len(view))
    found = attackers(view.boards.take(everywhere[0]), everywhere[1]).reshape(-1, 64).tolist()
    for row in range(len(view)):
        board = slow.seen_by_us(boards[row % half], row < half)
        ours, defenders = (
            [board.attackers_mask(colour, square) for square in chess.SQUARES] for colour in chess.COLORS
        )
        assert found[row] == [one | other for one, other in zip(ours, defenders, strict=True)], board.fen()
        men = men_of_row(view.our_men, row)
        assert men.square.tolist() == list(chess.scan_forward(board.occupied_co[chess.WHITE])), board.fen()
        for square, kind, attacks in zip(men.square, men.kind, men.attacks, strict=True):
            assert board.piece_type_at(int(square)) == kind
            assert int(attacks) == board.attacks_mask(int(square)), (board.fen(), square)
        for kind, attacks in view.our_attacks_of.items():
            by_kind = [board.attacks_mask(s) for s in board.pieces(kind, chess.WHITE)]
            assert int(attacks[row]) == np.bitwise_or.reduce(np.array([0, *by_kind], dtype=np.uint64))
        theirs = men_of_row(view.their_men, row)
        assert sorted(theirs.square) == list(chess.scan_forward(board.occupied_co[chess.BLACK]))
        assert [int(a) for a in theirs.attacks] == [board.attacks_mask(int(s)) for s in theirs.square]
        assert int(view.our_attacks[row]) == sum(1 << s for s in chess.SQUARES if ours[s])
        twice = sum(1 << s for s in chess.SQUARES if chess.popcount(ours[s]) >= 2)
        assert int(view.our_double_attacks[row]) == twice, board.fen()
        for pinned, pins, colour in (
            (view.our_pinned, view.our_pins, chess.WHITE),
            (view.their_pinned, view.their_pins, chess.BLACK),
        ):
            expected = [
                s for s in chess.scan_forward(board.occupied_co[colour]) if board.is_pinned(colour, s)
            ]
            assert list(bitboards.exploded(pinned[row : row + 1])[1]) == expected, board.fen()
            by_line = {
                int(p).bit_length() - 1: int(q).bit_length() - 1
                for p, q in zip(pins.pinned[:, row], pins.pinner[:, row], strict=True)
                if p
            }
            assert by_line == slow.pins_of(board, colour), board.fen()
        squares_seen += 64
    assert (attack_map(view.boards, "us", view.occupied) == view.our_attacks).all()
    assert (attack_map(view.boards, "them", view.occupied) == view.their_attacks).all()
    return squares_seen


def men_of_row(men: Men, row: int) -> Men:
    """The men of one row; rows ascend."""
    return men.take(np.arange(*np.searchsorted(men.row, (row, row + 1))))


def check_sight_lines(boards: Sequence[chess.Board]) -> int:
    view = View(Positions.from_boards(boards))
    half, lines = len(boards), view.our_sight_lines
    for row, square, direction, front, rear in zip(
        lines.row, lines.square, lines.direction, lines.front, lines.rear, strict=True
    ):
        board = slow.seen_by_us(boards[row % half], row < half)
        along = chess.SquareSet(int(bitboards.RAYS[direction, square]))
        met = sorted(along & board.occupied, key=lambda s: chess.square_distance(s, int(square)))
        assert int(front) == 1 << met[0]
        assert int(rear) == (1 << met[1] if len(met) > 1 else 0)
    expected = 0
    for row in range(len(view)):
        board = slow.seen_by_us(boards[row % half], row < half)
        for square in chess.scan_forward(board.occupied_co[chess.WHITE]):
            if board.piece_type_at(square) in (chess.BISHOP, chess.ROOK, chess.QUEEN):
                expected += chess.popcount(board.attacks_mask(square) & board.occupied)
    assert len(lines.row) == expected
    return expected


def test_attacks_and_pins_on_every_real_position(chess_archive: Path) -> None:
    """Real games of the python-chess source archive (data/pgn)."""
    boards = positions_in(chess_archive / "data" / "pgn")
    assert len(boards) > 500
    assert check_against_python_chess(boards) > 64 * 1000
    assert check_sight_lines(boards) > 5000


@settings(max_examples=25)
@given(st.integers(0, 10_000))
def test_attacks_and_pins_on_random_walks(seed: int) -> None:
    boards = list(wandered(seed, games=1, plies=60))[::6]
    assert check_against_python_chess(boards) == 128 * len(boards)
    check_sight_lines(boards)


def test_the_other_sides_view_is_the_mirror_image() -> None:
    boards = list(wandered(3))
    view = View(Positions.from_boards(boards))
    turned = reversed_sides(view.boards)
    order = view.other(np.arange(len(view)))
    for name in ("pawns", "us", "them", "kings", "castling"):
        assert np.array_equal(getattr(turned, name)[order], getattr(view.boards, name))


def test_a_position_without_kings_is_refused() -> None:
    with pytest.raises(ValueError, match="position 1 needs one king per side"):
        Positions.from_boards([chess.Board(), chess.Board(None)])


def test_squares_and_shifts() -> None:
    boards = np.array([1 << 7, 1 << 56, 0, (1 << 64) - 1], dtype=np.uint64)
    assert bitboards.square_of(boards).tolist() == [7, 56, 64, 0]
    assert bitboards.shifted(boards, bitboards.EAST).tolist()[:3] == [0, 1 << 57, 0]
    assert bitboards.shifted(boards, bitboards.WEST).tolist()[:3] == [1 << 6, 0, 0]
    assert bitboards.mirror(boards).tolist()[:2] == [1 << 63, 1]
    assert bitboards.count(boards).tolist() == [1, 1, 0, 64]


def crowded(seed: int) -> int:
    """A board with about a quarter of its squares occupied."""
    return int(np.bitwise_and.reduce(np.random.default_rng(seed).integers(0, 2**64, 2, dtype=np.uint64)))


def attacks_of(kind: chess.PieceType, colour: chess.Color, square: chess.Square, occupied: int) -> int:
    """What one man on a square attacks among the men on `occupied`, according to python-chess."""
    board = chess.Board(None)
    for other in chess.scan_forward(occupied):
        board.set_piece_at(other, chess.Piece(chess.PAWN, chess.WHITE))
    board.set_piece_at(square, chess.Piece(kind, colour))
    return board.attacks_mask(square)


@pytest.mark.parametrize("kind", chess.PIECE_TYPES)
@pytest.mark.parametrize(("owner", "colour"), [("us", chess.WHITE), ("them", chess.BLACK)])
def test_men_of_one_kind_reach_what_they_attack_and_attack_from_where_they_reach(
    kind: chess.PieceType, owner: Owner, colour: chess.Color
) -> None:
    squares = np.arange(64)
    for seed in range(4):
        board = crowded(seed)
        occupied = np.full(64, board, dtype=np.uint64)
        attacks = [attacks_of(kind, colour, square, board) for square in chess.SQUARES]
        assert reach_of(kind, squares, occupied, owner).tolist() == attacks
        from_where = [
            sum(1 << origin for origin in chess.SQUARES if attacks[origin] >> square & 1)
            for square in chess.SQUARES
        ]
        assert attack_from(np.full(64, kind), squares, occupied, owner).tolist() == from_where


def test_pawns_step_once_and_from_their_first_rank_twice_over_free_squares() -> None:
    ways = ((bitboards.pawn_steps_up, 1, 8), (bitboards.pawn_steps_down, 6, -8))
    twice_in_all = 0
    for seed in range(20):
        pawns, free = crowded(seed) & ~chess.BB_BACKRANKS, ~crowded(seed + 100) & chess.BB_ALL
        for steps, first_rank, step in ways:
            one, two = steps(np.array([pawns], dtype=np.uint64), np.array([free], dtype=np.uint64))
            once = {s + step for s in chess.scan_forward(pawns) if free >> (s + step) & 1}
            twice = {
                s + 2 * step
                for s in chess.scan_forward(pawns)
                if chess.square_rank(s) == first_rank and s + step in once and free >> (s + 2 * step) & 1
            }
            assert set(chess.scan_forward(int(one[0]))) == once
            assert set(chess.scan_forward(int(two[0]))) == twice
            twice_in_all += len(twice)
    assert twice_in_all > 40
