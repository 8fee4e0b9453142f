"""Pressure on squares compared with the count man by man; pawn structure compared with slow loops."""

from __future__ import annotations

from pathlib import Path

import chess
import numpy as np
import pytest
import slow
from real_positions import positions_in, wandered

from patterns.boards.bitboards import BIT
from patterns.boards.positions import Positions
from patterns.boards.pressure import bearing, can_go, held, joiners, lined_up
from patterns.boards.view import View
from patterns.catalogue import MOTIFS
from patterns.detect import find_in
from patterns.square_count import count_square


def bitboard(names: str) -> int:
    return sum(1 << chess.parse_square(name) for name in names.split())


@pytest.mark.parametrize(
    ("fen", "square", "expected", "why"),
    [
        ("4k3/8/8/3p4/8/8/3R4/3RK3 w - - 0 1", "d5", "d1 d2", "rook behind rook"),
        ("4k3/8/8/3p4/8/8/3N4/3RK3 w - - 0 1", "d5", "", "a knight opens no line"),
        ("4k3/8/8/3p4/4P3/8/6B1/4K2B w - - 0 1", "d5", "e4 g2 h1", "bishops behind pawn and bishop"),
        ("4k3/8/8/3p4/3P4/8/8/3RK3 w - - 0 1", "d5", "", "a pawn straight ahead attacks nothing"),
        ("4k3/1q6/2b5/3p4/4R3/8/8/4K3 w - - 0 1", "d5", "b7 c6", "queen behind bishop, of theirs"),
        ("3rk3/3q4/8/3p4/8/3Q4/3R4/3RK3 w - - 0 1", "d5", "d1 d2 d3 d7 d8", "three deep, and both sides"),
        ("4k3/8/8/3p4/2K5/1Q6/8/4R3 w - - 0 1", "d5", "c4", "nobody looks through a king"),
        ("4k3/8/8/3p4/8/1B6/Q7/4K3 w - - 0 1", "d5", "a2 b3", "queen behind bishop on a diagonal"),
        ("4k3/8/8/R1Qp4/8/8/8/4K3 w - - 0 1", "d5", "a5 c5", "rook behind queen on a rank"),
        ("4k3/3p4/8/3p4/8/8/8/3RK3 w - - 0 1", "d7", "e8", "what stands between shuts the file"),
    ],
)  # fmt: skip
def test_which_men_bear_on_a_square(fen: str, square: str, expected: str, why: str) -> None:
    boards = Positions.from_fens([fen]).side_view(chess.WHITE)
    found = bearing(boards, np.array([chess.parse_square(square)]))
    assert int(found[0]) == bitboard(expected), why


@pytest.mark.parametrize(
    ("fen", "square", "expected", "why"),
    [
        ("7k/8/8/8/1b6/2N5/8/4K3 w - - 0 1", "d5", "c3", "pinned on the diagonal, d5 lies off it"),
        ("7k/8/8/8/1b6/2N5/8/4K3 w - - 0 1", "b4", "", "the pinner itself may be taken"),
        ("4r2k/8/8/8/4R3/8/8/4K3 w - - 0 1", "e6", "", "along the pin it may go"),
        ("4r2k/8/8/8/4R3/8/8/4K3 w - - 0 1", "b4", "e4", "off the pin it may not"),
        ("4r2k/8/8/8/1b2R3/2N5/8/4K3 w - - 0 1", "d5", "c3 e4", "two pins"),
        ("7k/8/8/8/8/2N5/8/4K3 w - - 0 1", "d5", "", "no pin"),
    ],
)
def test_which_men_are_held(fen: str, square: str, expected: str, why: str) -> None:
    view = View(Positions.from_fens([fen]))
    found = held(view.our_pins, np.array([0]), np.array([chess.parse_square(square)]))
    assert int(found[0]) == bitboard(expected), why


@pytest.mark.parametrize(
    ("fen", "square", "expected", "why"),
    [
        ("4k3/8/8/3p4/8/8/3N4/3RK3 w - - 0 1", "d5", "d1", "the rook behind the knight"),
        ("4k3/8/8/3p4/8/8/3P4/3RK3 w - - 0 1", "d5", "", "a pawn does not step aside"),
        ("4k3/8/8/3p4/8/8/3K4/3R4 w - - 0 1", "d5", "", "a king does not either"),
        ("4k3/8/8/3p4/8/8/3n4/3RK3 w - - 0 1", "d5", "", "nor a man of theirs"),
        ("4k3/8/8/3p4/8/8/3R4/3RK3 w - - 0 1", "d5", "", "a battery bears on it already"),
        ("4k3/8/8/3p4/8/8/3B4/3QK3 w - - 0 1", "d5", "d1", "a bishop steps aside for a queen on the file"),
        (
            "4k3/8/8/3p4/8/5R2/6B1/4K2B w - - 0 1",
            "d5",
            "g2",
            "a rook steps aside on the diagonal, and h1 still stands behind",
        ),
        ("4k3/8/8/3p4/8/5N2/6R1/4K2Q w - - 0 1", "d5", "h1", "two step aside"),
    ],
)
def test_which_men_are_lined_up_behind_pieces(fen: str, square: str, expected: str, why: str) -> None:
    boards = Positions.from_fens([fen]).side_view(chess.WHITE)
    found = lined_up(boards, np.array([chess.parse_square(square)]))
    assert int(found[0]) == bitboard(expected), why


@pytest.mark.parametrize(
    ("fen", "square", "join", "go", "why"),
    [
        ("4k3/8/8/3p4/8/8/8/R3K3 w - - 0 1", "d5", "a1", "", "by a5 or d1, both safe"),
        ("4k3/8/8/3p4/8/8/8/3RK3 w - - 0 1", "d5", "", "d1", "it attacks d5 already, and can go before it"),
        ("4k3/8/8/2pp4/8/8/8/3RK3 w - - 0 1", "d5", "", "", "on d4 the c-pawn takes it"),
        ("3rk3/8/8/3p4/8/2N5/8/4K3 w - - 0 1", "d5", "", "", "the knight attacks it already"),
        ("4k3/8/8/3p4/1b6/8/3N4/4K3 w - - 0 1", "d5", "", "", "the knight is pinned"),
        ("4k3/8/8/3p4/8/8/3N4/4K3 w - - 0 1", "d5", "", "", "from d2 it needs two moves"),
        ("4k3/8/8/3p4/8/3N4/8/4K3 w - - 0 1", "d5", "d3", "", "by b4 and f4"),
        ("4k3/8/3b4/3p4/8/3N4/8/4K3 w - - 0 1", "d5", "", "", "the bishop takes it on b4 or f4"),
        ("4k3/8/8/3p4/8/5N2/8/4K3 w - - 0 1", "d5", "", "f3", "it goes to d4; none of its moves attacks d5"),
        ("4k3/8/8/3p4/3P4/5N2/8/4K3 w - - 0 1", "d5", "", "", "d4 is taken"),
    ],
)  # fmt: skip
def test_which_men_can_join_or_go_in_front(fen: str, square: str, join: str, go: str, why: str) -> None:
    view = View(Positions.from_fens([fen]))
    rows, target = np.array([0]), np.array([chess.parse_square(square)])
    already = bearing(view.boards.take(rows), target)
    assert int(joiners(view, rows, target, already)[0]) == bitboard(join), why
    assert int(can_go(view, rows, target - 8)[0]) == bitboard(go), why


def test_men_that_bear_and_men_that_are_held_agree_with_the_count_in_words() -> None:
    boards = [slow.seen_by_us(board, board.turn) for board in wandered(11)[::5]]
    view = View(Positions.from_boards(boards))
    checked = pinned = 0
    for row, board in enumerate(boards):
        for square in board.pieces(chess.PAWN, chess.BLACK):
            count = count_square(board, square)
            rows, squares = np.array([row]), np.array([square])
            men = int(bearing(view.boards.take(rows), squares)[0])
            bearers = [*count.attackers, *count.defenders]
            assert men == sum(1 << one.square for one in bearers), (board.fen(), chess.SQUARE_NAMES[square])
            cannot = held(view.our_pins, rows, squares) | held(view.their_pins, rows, squares)
            expected = sum(1 << one.square for one in bearers if one.reason.startswith("pinned"))
            assert int(cannot[0]) & men == expected, (board.fen(), chess.SQUARE_NAMES[square])
            checked, pinned = checked + 1, pinned + bool(expected)
    assert checked > 150
    assert pinned > 3


def test_men_that_can_join_or_go_are_those_with_a_safe_legal_move() -> None:
    boards = [slow.seen_by_us(board, board.turn) for board in wandered(12, games=6)[::7]]
    boards = [board for board in boards if not board.is_check()]
    view = View(Positions.from_boards(boards))
    join = go = 0
    for row, board in enumerate(boards):
        free = board.occupied_co[chess.WHITE] & ~board.pawns & ~board.kings & ~_pinned(board)
        for square in board.pieces(chess.PAWN, chess.BLACK):
            rows, squares = np.array([row]), np.array([square])
            moves = [
                move
                for move in board.legal_moves
                if BIT[move.from_square] & np.uint64(free)
                and not board.is_capture(move)
                and _safe(board, move)
            ]
            already = board.attackers_mask(chess.WHITE, square)
            expected = 0
            for move in moves:
                after = board.copy()
                after.push(move)
                if after.attacks_mask(move.to_square) >> square & 1:
                    expected |= 1 << move.from_square
            found = joiners(view, rows, squares, np.array([already], dtype=np.uint64))
            assert int(found[0]) == expected & ~already, (board.fen(), chess.SQUARE_NAMES[square])
            join += bool(found[0])
            if square >= 8 and not board.piece_at(square - 8):
                found = can_go(view, rows, squares - 8)
                expected = sum(1 << move.from_square for move in moves if move.to_square == square - 8)
                assert int(found[0]) == expected, (board.fen(), chess.SQUARE_NAMES[square])
                go += bool(found[0])
    assert join > 50
    assert go > 20


def _pinned(board: chess.Board) -> int:
    men = chess.scan_forward(board.occupied_co[chess.WHITE])
    return sum(1 << square for square in men if board.is_pinned(chess.WHITE, square))


def _safe(board: chess.Board, move: chess.Move) -> bool:
    pawns = board.attackers_mask(chess.BLACK, move.to_square) & board.pawns
    return not pawns and slow.exchange(board, move.from_square, move.to_square) >= 0


def test_every_reported_pawn_has_the_structure_its_name_says(chess_archive: Path) -> None:
    boards = [*wandered(13, games=16), *positions_in(chess_archive / "data" / "pgn")]
    names = ("isolated-pawn", "backward-pawn", "doubled-pawns", "passed-pawn")
    seen = dict.fromkeys(names, 0)
    for board, found in zip(boards, find_in(boards, [MOTIFS[name] for name in names]), strict=True):
        for finding in found:
            profits = chess.WHITE if finding.side == "white" else chess.BLACK
            seen[finding.motif] += 1
            own = profits if finding.motif == "passed-pawn" else not profits
            pawns = finding.actors if finding.motif == "passed-pawn" else finding.targets
            assert _has_structure(board, own, finding.motif, [chess.parse_square(name) for name in pawns])
    assert all(count > 10 for count in seen.values()), seen


def _has_structure(board: chess.Board, own: chess.Color, motif: str, pawns: list[chess.Square]) -> bool:
    def ahead(of: chess.Square, square: chess.Square) -> int:
        step = chess.square_rank(square) - chess.square_rank(of)
        return step if own == chess.WHITE else -step

    def files_apart(one: chess.Square, other: chess.Square) -> int:
        return abs(chess.square_file(one) - chess.square_file(other))

    pawn, friends, enemies = pawns[0], board.pieces(chess.PAWN, own), board.pieces(chess.PAWN, not own)
    beside = [friend for friend in friends if files_apart(friend, pawn) == 1]
    half_open = not any(files_apart(enemy, pawn) == 0 for enemy in enemies)
    stop = pawn + (8 if own == chess.WHITE else -8)
    if motif == "isolated-pawn":
        return not beside and half_open
    if motif == "backward-pawn":
        behind = all(ahead(pawn, friend) > 0 for friend in beside)
        stopped = any(stop in board.attacks(enemy) for enemy in enemies)
        return bool(beside) and behind and stopped and half_open
    if motif == "doubled-pawns":
        return len(pawns) > 1 and all(files_apart(pawn, other) == 0 for other in pawns)
    return not any(files_apart(enemy, pawn) <= 1 and ahead(pawn, enemy) > 0 for enemy in enemies)
