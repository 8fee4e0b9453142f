"""Static exchange against a slow loop with the same rules."""

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

from patterns.boards.attacks import Owner
from patterns.boards.bitboards import BIT
from patterns.boards.exchange import Binding, can_win, capture_gain, exchange, is_safe, loses_nothing
from patterns.boards.positions import Positions


@pytest.mark.parametrize(
    ("fen", "move", "value", "why"),
    [
        ("4k3/8/8/3p4/8/8/8/3RK3 w - - 0 1", "d1d5", 1, "a pawn nobody guards"),
        ("4k3/8/4p3/3p4/8/8/8/3RK3 w - - 0 1", "d1d5", -4, "a guarded pawn costs the rook"),
        ("3rk3/8/8/3p4/8/8/3R4/3RK3 w - - 0 1", "d2d5", 1, "the second rook looks through the first"),
        ("3qk3/8/8/3p4/8/8/3R4/3RK3 w - - 0 1", "d2d5", 1, "taking back with the queen would lose it"),
        ("7k/8/5p2/4p3/8/8/1B6/K7 w - - 0 1", "b2e5", -2, "the guard may take: it is not pinned"),
        ("7k/6q1/5p2/4p3/3P4/8/1B6/K7 w - - 0 1", "d4e5", 0, "pawn for pawn, then the bishop's line"),
        ("4k3/P7/8/8/8/8/8/4K3 w - - 0 1", "a7a8", 8, "a promotion is worth eight"),
        ("1r2k3/P7/8/8/8/8/8/4K3 w - - 0 1", "a7b8", 13, "a rook and a promotion"),
        ("1rk5/P7/8/8/8/8/8/4K3 w - - 0 1", "a7b8", 4, "the new queen is lost for rook and promotion"),
        ("4k3/8/8/2pP4/8/8/8/4K3 w - c6 0 1", "d5c6", 1, "en passant takes a pawn"),
        ("4k3/1p6/8/2pP4/8/8/8/4K3 w - c6 0 1", "d5c6", 0, "and is taken"),
        ("2r1k3/8/8/2pP4/8/8/8/4K3 w - c6 0 1", "d5c6", 0, "and a rook takes it"),
        (
            "2r1k3/8/8/2pP4/8/8/8/2R1K3 w - c6 0 1",
            "d5c6",
            1,
            "the file opens when the pawn in passing is gone",
        ),
        ("4k3/8/8/8/8/N7/2p5/4K3 w - - 0 1", "a3b1", -11, "a pawn takes the knight and becomes a queen"),
        ("4k3/8/8/8/8/N7/2p5/4K2B w - - 0 1", "a3b1", -11, "which the bishop cannot reach on the rank"),
        ("4k3/8/8/8/8/3r4/8/4K3 w - - 0 1", "e1d1", -100, "a king walks into an attack"),
        ("4k3/8/8/8/8/8/3p4/4K3 w - - 0 1", "e1d2", 1, "a king takes what nobody guards"),
        ("3rk3/8/8/8/8/8/3p4/4K3 w - - 0 1", "e1d2", -99, "and not what a rook guards"),
        ("4k3/8/8/4p3/3K4/8/8/b7 w - - 0 1", "d4e5", -99, "nor what a bishop guards through the king itself"),
        ("3rk3/3r4/8/3p4/8/3K4/8/3R4 w - - 0 1", "d3e3", 0, "a quiet move that nobody can punish"),
        ("b3k3/1b6/8/3p4/4P3/8/6B1/4K2B w - - 0 1", "e4d5", 1, "bishops behind bishops, two against two"),
    ],
)
def test_textbook_exchanges(fen: str, move: str, value: int, why: str) -> None:
    parsed = chess.Move.from_uci(move)
    batch = Positions.from_fens([fen]).side_view(chess.WHITE)
    assert exchange(batch, np.array([parsed.from_square]), np.array([parsed.to_square]))[0] == value, why


SIEGE = "5k2/4q3/5n2/3p2B1/8/2N5/8/4K3 w - - 0 1"
PINNED = "8/3k4/2n5/1B2p3/8/3N4/8/4K3 w - - 0 1"


@pytest.mark.parametrize(
    ("fen", "square", "side", "binding", "value", "why"),
    [
        (SIEGE, "d5", "us", {}, 0, "the knight on f6 guards the pawn"),
        (SIEGE, "d5", "us", {"pinned": "f6", "pinner": "g5"}, 1, "pinned to the queen, it may not take"),
        (SIEGE, "d5", "us", {"idle": "f6"}, 1, "a man with another duty does not take"),
        (SIEGE, "d5", "us", {"idle": "c3"}, 0, "no man is left that could take"),
        (SIEGE, "b5", "us", {}, 0, "an empty square holds nothing"),
        ("4k3/8/8/8/8/2N5/4P3/4K3 w - - 0 1", "e2", "us", {}, 0, "nobody takes his own man"),
        (SIEGE, "f6", "us", {"pinned": "e7", "pinner": "g5"}, 0, "a man may take its pinner's neighbour"),
        ("5k2/4q3/5b2/6B1/8/8/8/4K3 w - - 0 1", "g5", "them", {"pinned": "f6", "pinner": "g5"}, 3,
         "the pinner itself may be taken"),
        ("5k2/4q3/5b2/6P1/7B/8/8/4K3 w - - 0 1", "g5", "them", {"pinned": "f6", "pinner": "h4"}, 1,
         "along the line it may take"),
        ("4k3/4q3/4p3/3p4/4Q3/8/8/4K3 w - - 0 1", "d5", "us", {"pinned": "e6", "pinner": "e4"}, 0,
         "when the pinner has taken, the pawn is free"),
        ("4k3/4q3/4p3/3p4/4Q3/2N5/8/4K3 w - - 0 1", "d5", "us", {"pinned": "e6", "pinner": "e4"}, 1,
         "the knight takes and the pinner stays"),
        (PINNED, "e5", "us", {}, 1, "the guard is pinned to its king"),
        (PINNED, "e5", "us", {"freed": "c6"}, 0, "freed of the pin, it guards"),
        (PINNED, "e5", "us", {"freed": "e5"}, 1, "freeing another changes nothing"),
        (PINNED, "b5", "them", {}, 0, "a knight does not take along a line"),
        ("4k3/8/8/4p3/3K4/8/8/b7 w - - 0 1", "e5", "us", {}, 0, "the bishop sees the pawn through the king"),
        ("4k3/8/8/4p3/3K4/8/8/1b6 w - - 0 1", "e5", "us", {}, 1, "a bishop off that line does not"),
    ],
)  # fmt: skip
def test_a_binding_holds_men_and_frees_them(
    fen: str, square: str, side: Owner, binding: dict[str, str], value: int, why: str
) -> None:
    boards, at = Positions.from_fens([fen]).side_view(chess.WHITE), np.array([chess.parse_square(square)])
    masks = {name: BIT[[chess.parse_square(man)]] for name, man in binding.items()}
    held = Binding.of(1, **masks) if masks else None
    assert capture_gain(boards, at, side, held)[0] == value, why
    assert can_win(boards, at, side, held)[0] == (value > 0), why
    two = Binding.of(2, **{name: mask.repeat(2) for name, mask in masks.items()})
    assert capture_gain(boards.take(at * 0), at, side, two.take(np.array([1])))[0] == value


def test_the_lower_and_the_upper_limit_of_a_gain() -> None:
    boards = Positions.from_fens(["3rk3/8/8/3q4/8/8/8/3RK3 w - - 0 1"] * 2).side_view(chess.WHITE)
    at, origins = np.array([chess.D5, chess.D5]), np.array([chess.D1, chess.D1])
    assert capture_gain(boards, at, "us").tolist() == [4, 4]
    assert capture_gain(boards, at, "us", enough=np.array([2, 9])).tolist() == [2, 4]
    assert exchange(boards, origins, at).tolist() == [4, 4]
    loses = np.array([chess.D4, chess.A1])
    assert exchange(boards, origins, loses).tolist() == [-5, 0]
    assert exchange(boards, origins, loses, floor=-2).tolist() == [-2, 0]
    assert loses_nothing(boards, origins, loses).tolist() == [False, True]


def test_four_against_four_falls_when_a_defender_is_pinned() -> None:
    """Common practice, no source: four attackers, four defenders, one of them pinned off the line."""
    pinned = "4r3/3k4/2nb2n1/1B2p3/8/3N1N2/1B6/4R1K1 w - - 0 1"
    unpinned = pinned.replace("1B2p3/8", "4p3/7B")
    batch = Positions.from_fens([pinned, unpinned]).side_view(chess.WHITE)
    assert capture_gain(batch, np.array([chess.E5, chess.E5]), "us").tolist() == [1, 0]


def check_every_move(boards: Sequence[chess.Board]) -> int:
    """Every legal move and every attacked man of the side to move, seen from that side."""
    seen = [slow.seen_by_us(board, board.turn) for board in boards]
    batch = Positions.from_boards(seen).side_view(chess.WHITE)
    moves = [
        (row, move)
        for row, board in enumerate(seen)
        for move in board.legal_moves
        if not board.is_castling(move)
    ]
    moves = [(row, move) for row, move in moves if move.promotion in (None, chess.QUEEN)]
    rows = np.array([row for row, _ in moves])
    origins = np.array([move.from_square for _, move in moves])
    destinations = np.array([move.to_square for _, move in moves])
    found = exchange(batch.take(rows), origins, destinations)
    safe = is_safe(batch.take(rows), origins, destinations)
    assert (loses_nothing(batch.take(rows), origins, destinations) == (found >= 0)).all()
    for (row, move), value, flag in zip(moves, found, safe, strict=True):
        expected = slow.exchange(seen[row], move.from_square, move.to_square)
        assert value == expected, (seen[row].fen(), move)
        after = seen[row].copy()
        after.push(move)
        pawns = after.attackers_mask(chess.BLACK, move.to_square) & after.pawns
        assert flag == (not pawns and expected >= 0), (seen[row].fen(), move)
    for side, colour in (("us", chess.WHITE), ("them", chess.BLACK)):
        men = [(row, s) for row, b in enumerate(seen) for s in chess.scan_forward(b.occupied_co[not colour])]
        rows, squares = np.array([m[0] for m in men]), np.array([m[1] for m in men])
        gains = capture_gain(batch.take(rows), squares, side)  # type: ignore[arg-type]
        up_to_three = capture_gain(batch.take(rows), squares, side, enough=3)  # type: ignore[arg-type]
        assert (up_to_three == np.minimum(gains, 3)).all()
        assert (can_win(batch.take(rows), squares, side) == (gains > 0)).all()  # type: ignore[arg-type]
        for (row, square), gain in zip(men, gains, strict=True):
            kind = seen[row].piece_type_at(square)
            assert kind is not None
            assert gain == slow.settle(seen[row], square, slow.WORTH[kind], colour), (seen[row].fen(), square)
    return len(moves)


def test_every_move_of_real_games(chess_archive: Path) -> None:
    """Real games of the python-chess source archive (data/pgn), every seventh position, so of both sides."""
    boards = positions_in(chess_archive / "data" / "pgn")[::7]
    assert check_every_move(boards) > 3_000


@settings(max_examples=10)
@given(st.integers(0, 10_000))
def test_every_move_of_random_walks(seed: int) -> None:
    assert check_every_move(list(wandered(seed, games=1))[::5]) > 100
