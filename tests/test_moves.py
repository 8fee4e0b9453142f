"""Small questions about possible moves, each with positions where one clause decides the answer."""

from __future__ import annotations

from pathlib import Path

import chess
import numpy as np
import pytest
from real_positions import positions_in, wandered

from patterns.boards.attacks import Owner, attack_from, attacked_by, in_check, men_of
from patterns.boards.bitboards import BIT, Bitboards, square_names
from patterns.boards.castling import castlings
from patterns.boards.moves import cheapest, free_pieces, is_piece, pawn_steps, stands_firm
from patterns.boards.positions import Boards, Positions
from patterns.boards.view import View


def boards_of(fen: str) -> Boards:
    return Positions.from_fens([fen]).side_view(chess.WHITE)


def squares(*names: str) -> Bitboards:
    return np.array([sum(1 << chess.parse_square(name) for name in names)], dtype=np.uint64)


@pytest.mark.parametrize(
    ("among", "expected"),
    [
        (("a1", "b1", "c1", "d1", "e1", "a2", "b2"), ("a2", "b2")),
        (("a1", "b1", "c1", "d1", "e1"), ("b1",)),
        (("a1", "c1", "d1", "e1"), ("c1",)),
        (("a1", "d1", "e1"), ("a1",)),
        (("d1", "e1"), ("d1",)),
        (("e1",), ("e1",)),
        ((), ()),
        (("e4",), ()),
    ],
)
def test_the_cheapest_men(among: tuple[str, ...], expected: tuple[str, ...]) -> None:
    found = cheapest(boards_of(chess.STARTING_FEN), squares(*among))
    assert square_names(int(found[0])) == expected


@pytest.mark.parametrize(
    ("fen", "square", "firm", "why"),
    [
        ("4k3/8/8/8/3N4/8/8/4K3 w - - 0 1", "d4", True, "nobody attacks it"),
        ("3rk3/8/8/8/3N4/8/8/4K3 w - - 0 1", "d4", False, "the rook wins it"),
        ("3rk3/8/8/8/3N4/4P3/8/4K3 w - - 0 1", "d4", True, "guarded, and a rook is worth more"),
        ("4k3/8/5b2/8/3N4/4P3/8/4K3 w - - 0 1", "d4", False, "a bishop may be given for it"),
        ("4k3/8/5b2/8/3R4/4P3/8/4K3 w - - 0 1", "d4", False, "the bishop wins the exchange"),
        ("3rk3/8/8/8/3R4/4P3/8/4K3 w - - 0 1", "d4", False, "rook for rook"),
        ("7k/6b1/8/8/3N4/4P3/8/B3K3 w - - 0 1", "d4", False, "not pinned: the bishop may be given for it"),
        ("3r3k/6b1/8/8/1B1N4/2P5/8/4K3 w - - 0 1", "d4", False, "the bishop, cheaper than the rook, trades"),
        ("3k4/8/5n2/4n3/7B/3N4/4P3/4K3 w - - 0 1", "d3", False, "the knight on e5 is free to trade"),
        ("8/3k4/2n5/1B6/3N4/4P3/8/4K3 w - - 0 1", "d4", True, "the knight on c6 is pinned to its king"),
        ("8/3k4/2n5/1B6/1N6/P7/8/4K3 w - - 0 1", "b4", True, "pinned, though pinner and b4 share a file"),
        ("8/8/k7/1b6/8/3B4/4P3/4K3 w - - 0 1", "d3", False, "pinned, but along the line: it may take"),
        ("7k/6b1/8/8/3N4/4P3/1B6/4K3 w - - 0 1", "d4", False, "the pinner's line is shut by the knight"),
    ],
)
def test_which_men_stand_firm(fen: str, square: str, firm: bool, why: str) -> None:
    found = stands_firm(boards_of(fen), np.array([chess.parse_square(square)]))
    assert bool(found[0]) is firm, why


@pytest.mark.parametrize(
    ("fen", "owner", "pawn", "expected"),
    [
        ("4k3/8/8/8/8/8/4P3/4K3 w - - 0 1", "us", "e2", ("e3", "e4")),
        ("4k3/8/8/8/8/4P3/8/4K3 w - - 0 1", "us", "e3", ("e4",)),
        ("4k3/8/8/8/4n3/8/4P3/4K3 w - - 0 1", "us", "e2", ("e3",)),
        ("4k3/8/8/8/8/4n3/4P3/4K3 w - - 0 1", "us", "e2", ()),
        ("4k3/8/8/8/3p4/8/4P3/4K3 w - - 0 1", "us", "e2", ("e3",)),
        ("4k3/8/8/8/5p2/8/4P3/4K3 w - - 0 1", "us", "e2", ("e3",)),
        ("4k3/8/8/8/3P1n2/8/4P3/4K3 w - - 0 1", "us", "e2", ("e3", "e4")),
        ("4k3/4p3/8/8/8/8/8/4K3 w - - 0 1", "them", "e7", ("e5", "e6")),
        ("4k3/8/4p3/8/8/8/8/4K3 w - - 0 1", "them", "e6", ("e5",)),
        ("4k3/4p3/8/5P2/8/8/8/4K3 w - - 0 1", "them", "e7", ("e6",)),
        ("4k3/4p3/8/3P4/8/8/8/4K3 w - - 0 1", "them", "e7", ("e6",)),
        ("4k3/4p3/8/3p4/8/8/8/4K3 w - - 0 1", "them", "e7", ("e5", "e6")),
        ("4k3/4p3/4N3/8/8/8/8/4K3 w - - 0 1", "them", "e7", ()),
    ],
)
def test_where_a_pawn_steps_without_being_taken_en_passant(
    fen: str, owner: Owner, pawn: str, expected: tuple[str, ...]
) -> None:
    found = pawn_steps(squares(pawn), boards_of(fen), owner)
    assert set(square_names(int(found[0]))) == set(expected)


@pytest.mark.parametrize(
    ("owner", "expected"), [("us", {"c3", "e3"}), ("them", {"c5", "e5"})], ids=["ours", "theirs"]
)
def test_pawns_attack_from_below_and_theirs_from_above(owner: Owner, expected: set[str]) -> None:
    found = attack_from(np.array([chess.PAWN]), np.array([chess.D4]), squares(), owner)
    assert set(square_names(int(found[0]))) == expected


def test_pieces_are_neither_pawn_nor_king_nor_nothing() -> None:
    kinds = np.array([0, chess.PAWN, chess.KNIGHT, chess.BISHOP, chess.ROOK, chess.QUEEN, chess.KING])
    assert is_piece(kinds).tolist() == [False, False, True, True, True, True, False]


def test_pieces_without_an_absolute_pin_are_free() -> None:
    view = View(Positions.from_fens(["4r1k1/8/8/8/1b2N3/8/3N1N2/4K3 w - - 0 1"]))
    ours = free_pieces(view)
    assert {chess.SQUARE_NAMES[s] for s in ours.square[ours.row == 0]} == {"f2"}
    assert len(ours.square[ours.row == 1]) == 2


def test_which_side_is_in_check_and_what_men_attack_together() -> None:
    boards = boards_of("4k3/8/8/8/8/5n2/8/R3K3 w - - 0 1")
    assert (in_check(boards, "us")[0], in_check(boards, "them")[0]) == (True, False)
    alone = boards_of("4k3/8/8/8/8/8/4R3/4K3 w - - 0 1")
    assert (in_check(alone, "us")[0], in_check(alone, "them")[0]) == (False, True)
    men = men_of(boards, "us").only(men_of(boards, "us").square == chess.E1)
    expected = {"d1", "f1", "d2", "e2", "f2"}
    assert set(square_names(int(attacked_by(men, 1)[0]))) == expected
    assert BIT[chess.E1] & attacked_by(men_of(boards, "them"), 1)[0]


def test_castling_is_that_of_python_chess(chess_archive: Path) -> None:
    """Every position of the games in the python-chess source archive, and odd ones, for both sides."""
    boards = [*positions_in(chess_archive / "data" / "pgn"), *wandered(5)]
    view = View(Positions.from_boards(boards))
    found: dict[int, set[tuple[int, int, int]]] = {row: set() for row in range(len(view))}
    castled = castlings(view.boards)
    columns = (castled.row, castled.after.us, castled.after.kings, castled.after.rooks)
    for row, *men in zip(*(column.tolist() for column in columns), strict=True):
        found[row].add((men[0], men[1], men[2]))
    seen = 0
    for row, ours in found.items():
        board = boards[row % len(boards)].copy(stack=False)
        board = board if row < len(boards) else board.mirror()
        board.turn = chess.WHITE
        expected = set()
        for move in board.generate_castling_moves():
            after = board.copy(stack=False)
            after.push(move)
            expected.add((after.occupied_co[chess.WHITE], after.kings, after.rooks))
        assert ours == expected, boards[row % len(boards)].fen()
        seen += len(expected)
    assert len(found) > 3_000
    assert seen > 200
