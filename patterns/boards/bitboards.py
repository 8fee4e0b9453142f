"""Geometry on arrays of 64-bit boards: one uint64 per board, a1 = bit 0, h8 = bit 63, as in python-chess.

Every function works on whole arrays and returns new ones. "Up" is towards rank 8. Directions are
indices into `STEPS`: the first four go up the board or to the right (towards higher squares).
"""

from __future__ import annotations

import chess
import numpy as np
import numpy.typing as npt

Bitboards = npt.NDArray[np.uint64]
Squares = npt.NDArray[np.int64]
Rows = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

EAST, NORTH, NORTH_EAST, NORTH_WEST, WEST, SOUTH, SOUTH_WEST, SOUTH_EAST = range(8)
STEPS = ((1, 0), (0, 1), (1, 1), (-1, 1), (-1, 0), (0, -1), (-1, -1), (1, -1))
"""File and rank step of each direction; direction d + 4 is the opposite of d."""
STRAIGHT = (EAST, NORTH, WEST, SOUTH)
DIAGONAL = (NORTH_EAST, NORTH_WEST, SOUTH_WEST, SOUTH_EAST)

EMPTY = np.uint64(0)
ALL = np.uint64(0xFFFF_FFFF_FFFF_FFFF)
FILES = np.array(chess.BB_FILES, dtype=np.uint64)
RANKS = np.array(chess.BB_RANKS, dtype=np.uint64)
QUEENSIDE = FILES[0] | FILES[1] | FILES[2]
CENTRE = FILES[3] | FILES[4]
KINGSIDE = FILES[5] | FILES[6] | FILES[7]
MIDDLE_FILES = FILES[2] | FILES[3] | FILES[4] | FILES[5]
RIM_FILES = FILES[0] | FILES[7]
OUR_HOME = RANKS[0] | RANKS[1]
THEIR_HOME = RANKS[6] | RANKS[7]
"""Each side's first two ranks. As always, "us" moves up."""
THEIR_HALF = RANKS[4] | RANKS[5] | RANKS[6] | RANKS[7]
ENTRY_RANKS = RANKS[5] | RANKS[6] | RANKS[7]
"""A rook or queen of ours on these ranks has entered their position."""
ADVANCED_RANKS = RANKS[3] | RANKS[4] | RANKS[5] | RANKS[6]
"""A pawn of ours on these ranks has advanced: our fourth rank or beyond."""
CENTRE_SQUARES = CENTRE & (RANKS[3] | RANKS[4])
BIT = np.array(chess.BB_SQUARES, dtype=np.uint64)
LIGHT = np.uint64(chess.BB_LIGHT_SQUARES)
DARK = np.uint64(chess.BB_DARK_SQUARES)
NOT_A, NOT_H = ~FILES[0], ~FILES[7]
KNIGHT_STEPS = np.array(chess.BB_KNIGHT_ATTACKS, dtype=np.uint64)
KING_STEPS = np.array(chess.BB_KING_ATTACKS, dtype=np.uint64)
PAWN_UP = np.array(chess.BB_PAWN_ATTACKS[chess.WHITE], dtype=np.uint64)
PAWN_DOWN = np.array(chess.BB_PAWN_ATTACKS[chess.BLACK], dtype=np.uint64)
BETWEEN = np.array([[chess.between(a, b) for b in range(64)] for a in range(64)], dtype=np.uint64)
"""BETWEEN[a, b]: the squares strictly between a and b; 0 if they are not on one line."""
LINE = np.array(chess.BB_RAYS, dtype=np.uint64)
"""LINE[a, b]: the whole line through a and b, edge to edge; 0 if they are not on one line."""
DISTANCE = np.array([[chess.square_distance(a, b) for b in range(64)] for a in range(64)], dtype=np.int64)
"""King steps between two squares."""
ZONE_2 = np.array([sum(1 << b for b in range(64) if DISTANCE[a, b] <= 2) for a in range(64)], dtype=np.uint64)
"""The squares within two king steps."""


def _ray(square: int, direction: int) -> int:
    step_file, step_rank = STEPS[direction]
    file, rank, ray = chess.square_file(square) + step_file, chess.square_rank(square) + step_rank, 0
    while 0 <= file < 8 and 0 <= rank < 8:
        ray |= 1 << chess.square(file, rank)
        file, rank = file + step_file, rank + step_rank
    return ray


RAYS = np.array([[*(_ray(square, d) for square in range(64)), 0] for d in range(8)], dtype=np.uint64)
"""RAYS[d, s]: the squares beyond s in direction d on an empty board. 64 (no square) has empty rays."""
_DIAGONAL_MASK = RAYS[NORTH_EAST] | RAYS[SOUTH_WEST]
_ANTIDIAGONAL_MASK = RAYS[NORTH_WEST] | RAYS[SOUTH_EAST]
BISHOP_LINES = _DIAGONAL_MASK | _ANTIDIAGONAL_MASK
ROOK_LINES = RAYS[NORTH] | RAYS[SOUTH] | RAYS[EAST] | RAYS[WEST]
QUEEN_LINES = BISHOP_LINES | ROOK_LINES
"""What a bishop, rook or queen sees from each square of an empty board; nothing from 64."""


def _beyond() -> npt.NDArray[np.uint64]:
    table = np.zeros((64, 64), dtype=np.uint64)
    for direction in range(8):
        for square in range(64):
            for farther in chess.scan_forward(int(RAYS[direction, square])):
                table[square, farther] = RAYS[direction, farther]
    return table


BEYOND = _beyond()
"""BEYOND[a, b]: the squares behind b as seen from a; 0 if they are not on one line."""


def _row_reach(place: int, occupied: int) -> int:
    """What a slider sees in a row of eight squares, including the first occupied square on each side."""
    reach = 0
    for step in (1, -1):
        at = place + step
        while 0 <= at < 8:
            reach |= 1 << at
            if occupied >> at & 1:
                break
            at += step
    return reach


_ROW_REACH = np.array([_row_reach(p, o) for p in range(8) for o in range(256)], dtype=np.uint64)
"""Index: 256 times the slider's place in the row, plus the occupied squares of the row as a byte."""
_TURNING_LINES = np.array([_DIAGONAL_MASK, _ANTIDIAGONAL_MASK, RAYS[NORTH] | RAYS[SOUTH]])[:, :64]
"""The lines through each square that turn round when the board is mirrored: diagonals, then the file."""
_MIRRORED_BIT = BIT.byteswap()


def paired(table: Bitboards, first: Squares, second: Squares) -> Bitboards:
    """`table[first, second]` for a table with 64 columns: `take` is several times faster."""
    return table.take((first << 6) + second)


def mirror(boards: Bitboards) -> Bitboards:
    """The boards upside down (a1 becomes a8)."""
    return boards.byteswap()


def count(boards: Bitboards) -> npt.NDArray[np.int64]:
    """The number of squares on each board."""
    return np.bitwise_count(boards).astype(np.int64)


def lowest(boards: Bitboards) -> Bitboards:
    """The lowest square of each board, as a board. An empty board stays empty."""
    return boards & (~boards + np.uint64(1))


def square_of(boards: Bitboards) -> Squares:
    """The lowest square of each board, 0..63; 64 for an empty board."""
    return count(lowest(boards) - np.uint64(1))


def shifted(boards: Bitboards, direction: int) -> Bitboards:
    """Every square moved one step. Squares that would leave the board are dropped."""
    step_file, step_rank = STEPS[direction]
    if step_file == 1:
        boards = boards & NOT_H
    elif step_file == -1:
        boards = boards & NOT_A
    step = step_file + 8 * step_rank
    return boards << np.uint64(step) if step > 0 else boards >> np.uint64(-step)


def pawn_attacks_up(pawns: Bitboards) -> Bitboards:
    """The squares attacked by pawns that move up."""
    return shifted(pawns, NORTH_EAST) | shifted(pawns, NORTH_WEST)


def pawn_attacks_down(pawns: Bitboards) -> Bitboards:
    """The squares attacked by pawns that move down."""
    return shifted(pawns, SOUTH_EAST) | shifted(pawns, SOUTH_WEST)


def pawn_steps_up(pawns: Bitboards, free: Bitboards) -> tuple[Bitboards, Bitboards]:
    """The free squares that pawns moving up reach by one step, and by two steps from their first rank."""
    one: Bitboards = shifted(pawns, NORTH) & free
    return one, shifted(one & RANKS[2], NORTH) & free


def pawn_steps_down(pawns: Bitboards, free: Bitboards) -> tuple[Bitboards, Bitboards]:
    """The free squares that pawns moving down reach by one step, and by two steps from their first rank."""
    one: Bitboards = shifted(pawns, SOUTH) & free
    return one, shifted(one & RANKS[5], SOUTH) & free


def filled_up(boards: Bitboards) -> Bitboards:
    """Each square and all squares above it on its file."""
    boards = boards | boards << np.uint64(8)
    boards = boards | boards << np.uint64(16)
    return boards | boards << np.uint64(32)


def filled_down(boards: Bitboards) -> Bitboards:
    """Each square and all squares below it on its file."""
    boards = boards | boards >> np.uint64(8)
    boards = boards | boards >> np.uint64(16)
    return boards | boards >> np.uint64(32)


def filled_files(boards: Bitboards) -> Bitboards:
    """The whole file of each square."""
    return filled_up(boards) | filled_down(boards)


def neighbour_files(boards: Bitboards) -> Bitboards:
    """The whole files next to those of the squares."""
    files = filled_files(boards)
    return shifted(files, EAST) | shifted(files, WEST)


def king_ring(boards: Bitboards) -> Bitboards:
    """The squares and their neighbours."""
    rows = boards | shifted(boards, EAST) | shifted(boards, WEST)
    return rows | rows << np.uint64(8) | rows >> np.uint64(8)


def sight(squares: Squares, occupied: Bitboards) -> tuple[Bitboards, Bitboards]:
    """What bishops and what rooks on `squares` attack, including the first man on each line. Shapes (M,)."""
    diagonal, antidiagonal, file = _along(_TURNING_LINES, squares, occupied)
    return diagonal | antidiagonal, file | _along_rank(squares, occupied)


def bishop_reach(squares: Squares, occupied: Bitboards) -> Bitboards:
    """What bishops on `squares` attack, including the first man on each line. Shapes (M,), (M,)."""
    diagonal, antidiagonal = _along(_TURNING_LINES[:2], squares, occupied)
    return diagonal | antidiagonal


def rook_reach(squares: Squares, occupied: Bitboards) -> Bitboards:
    """What rooks on `squares` attack, including the first man on each line. Shapes (M,), (M,)."""
    return _along(_TURNING_LINES[2:], squares, occupied)[0] | _along_rank(squares, occupied)


def _along(lines: Bitboards, squares: Squares, occupied: Bitboards) -> Bitboards:
    """What sliders attack along some of their turning lines, one row a line."""
    lines = lines.take(squares, axis=1)
    # Subtracting a square from the men above it changes all bits up to the first of them. For the men below
    # it the board is turned round.
    above = occupied & lines
    below = above.byteswap()
    above -= BIT.take(squares)
    below -= _MIRRORED_BIT.take(squares)
    above ^= below.byteswap()
    above &= lines
    return above


def _along_rank(squares: Squares, occupied: Bitboards) -> Bitboards:
    """What sliders attack along their rank."""
    rank = (squares & 56).view(np.uint64)
    on_rank = (occupied >> rank).view(np.int64) & 255
    on_rank |= (squares & 7) << 8
    return _ROW_REACH.take(on_rank) << rank


def first_on_ray(boards: Bitboards, direction: int) -> Bitboards:
    """Each board lies on one ray: its square nearest to the start of the ray, as a board."""
    if direction < 4:
        return lowest(boards)
    if direction == WEST:
        smeared = boards >> np.uint64(1)
        smeared |= smeared >> np.uint64(1)
        smeared |= smeared >> np.uint64(2)
        smeared |= smeared >> np.uint64(4)
        return boards & ~smeared
    return lowest(boards.byteswap()).byteswap()


def exploded(boards: Bitboards) -> tuple[Rows, Squares]:
    """Every square of every board: row and square. Rows ascend, and squares ascend within a row."""
    rows = (boards != EMPTY).nonzero()[0]
    octets = boards[rows].view(np.uint8)
    flat = np.unpackbits(octets, bitorder="little").view(np.bool_).nonzero()[0]  # twice as fast on flags
    return rows[flat >> 6], flat & 63


def square_names(board: int) -> tuple[str, ...]:
    """The names of a board's squares, a1 first.

    >>> square_names(0x8000000000000001)
    ('a1', 'h8')
    """
    return tuple(chess.SQUARE_NAMES[square] for square in chess.scan_forward(board))
