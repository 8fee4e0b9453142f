"""Attacks in whole batches: what each man attacks, who attacks a square, sight lines, absolute pins.

All functions take `Boards` (we move up) and work for any number of rows. A row may be repeated.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import chess
import numpy as np

from patterns.boards.bitboards import (
    ALL,
    BETWEEN,
    DIAGONAL,
    EAST,
    EMPTY,
    KING_STEPS,
    KNIGHT_STEPS,
    NORTH,
    NOT_A,
    NOT_H,
    PAWN_DOWN,
    PAWN_UP,
    RAYS,
    SOUTH,
    STRAIGHT,
    WEST,
    Bitboards,
    Flags,
    Rows,
    Squares,
    bishop_reach,
    exploded,
    first_on_ray,
    king_ring,
    paired,
    pawn_attacks_down,
    pawn_attacks_up,
    rook_reach,
    shifted,
    sight,
    square_of,
)
from patterns.boards.grouping import united
from patterns.boards.positions import Boards
from patterns.boards.tables import Table

Owner = Literal["us", "them"]

MANY = 2000
"""From so many boards on, a call costs less than its boards."""


@dataclass(frozen=True)
class Men(Table):
    """The men of one side, one entry each, rows ascending. `attacks` includes the first man on each line."""

    row: Rows
    square: Squares
    kind: Squares
    attacks: Bitboards


@dataclass(frozen=True)
class SightLines(Table):
    """Lines along which a slider of ours sees a man, one entry each.

    `front`: the first man on the line. `rear`: the next man behind it, or empty. Both are bitboards.
    `direction`: index into `bitboards.STEPS`.
    """

    row: Rows
    square: Squares
    direction: Squares
    front: Bitboards
    rear: Bitboards


def _steps(owner: Owner) -> dict[chess.PieceType, Bitboards]:
    """For each kind of man that is not a slider: what it attacks from each square."""
    pawn = PAWN_UP if owner == "us" else PAWN_DOWN
    return {chess.PAWN: pawn, chess.KNIGHT: KNIGHT_STEPS, chess.KING: KING_STEPS}


def reach(kinds: Squares, squares: Squares, occupied: Bitboards, owner: Owner) -> Bitboards:
    """What a man of each kind attacks from each square through `occupied`. Shapes (M,)."""
    result = np.zeros(len(squares), dtype=np.uint64)
    for kind, table in _steps(owner).items():
        at = (kinds == kind).nonzero()[0]
        result[at] = table[squares[at]]
    at = ((kinds == chess.BISHOP) | (kinds == chess.QUEEN)).nonzero()[0]
    result[at] = bishop_reach(squares[at], occupied[at])
    at = ((kinds == chess.ROOK) | (kinds == chess.QUEEN)).nonzero()[0]
    result[at] |= rook_reach(squares[at], occupied[at])
    return result


def reach_of(kind: chess.PieceType, squares: Squares, occupied: Bitboards, owner: Owner) -> Bitboards:
    """What men of one kind attack from each square through `occupied`: `reach` for a single kind."""
    if kind in (chess.PAWN, chess.KNIGHT, chess.KING):
        return _steps(owner)[kind][squares]
    lines = np.zeros(len(squares), dtype=np.uint64)
    if kind != chess.ROOK:
        lines |= bishop_reach(squares, occupied)
    if kind != chess.BISHOP:
        lines |= rook_reach(squares, occupied)
    return lines


def attack_from(kinds: Squares, squares: Squares, occupied: Bitboards, owner: Owner) -> Bitboards:
    """The squares from which a man of this kind and side attacks each square. Shapes (M,)."""
    # A pawn attacks a square from where a pawn of the other side, standing on this square, would attack.
    return reach(kinds, squares, occupied, "them" if owner == "us" else "us")


def men_of(boards: Boards, owner: Owner) -> Men:
    """Every man of one side with its attacks."""
    row, square = exploded(boards.us if owner == "us" else boards.them)
    kind = boards.kind_at(square, row)
    return Men(row, square, kind, reach(kind, square, boards.occupied[row], owner))


def attacked_by(men: Men, size: int) -> Bitboards:
    """The squares that these men attack, by row."""
    return united(men.row, men.attacks, size)


def attackers(boards: Boards, squares: Squares, occupied: Bitboards | None = None) -> Bitboards:
    """All men of both sides that attack each square (one square per row), seen through `occupied` if given.

    Men that are not in `occupied` count as taken off the board.
    """
    if occupied is None:
        occupied = boards.occupied
    found = KNIGHT_STEPS.take(squares) & boards.knights
    found |= KING_STEPS.take(squares) & boards.kings
    found |= PAWN_DOWN.take(squares) & boards.pawns & boards.us
    found |= PAWN_UP.take(squares) & boards.pawns & boards.them
    diagonal, straight = sight(squares, occupied)
    found |= diagonal & boards.diagonal_sliders
    found |= straight & boards.straight_sliders
    found &= occupied
    return found


def attack_map(boards: Boards, owner: Owner, occupied: Bitboards) -> Bitboards:
    """The squares that a side attacks, seen through `occupied`: faster than man by man."""
    own, free = boards.us if owner == "us" else boards.them, ~occupied
    pawns, knights, kings = boards.pawns & own, boards.knights & own, boards.kings & own
    found = pawn_attacks_up(pawns) if owner == "us" else pawn_attacks_down(pawns)
    west, east = shifted(knights, WEST), shifted(knights, EAST)
    near, far = west | east, shifted(west, WEST) | shifted(east, EAST)
    found |= near << np.uint64(16) | near >> np.uint64(16) | far << np.uint64(8) | far >> np.uint64(8)
    found |= king_ring(kings) & ~kings
    straight, diagonal = boards.straight_sliders & own, boards.diagonal_sliders & own
    sliders = np.array([straight, straight, diagonal, diagonal])
    # For few boards the calls cost more than the boards. Many fit into the processor's cache line by line.
    at_once = 4 if len(boards) < MANY else 1
    for lines in range(0, 4, at_once):
        some = slice(lines, lines + at_once)
        found |= _swept(sliders[some], free, np.left_shift, _BY[some], _ONTO[some])
        found |= _swept(sliders[some], free, np.right_shift, _BY[some], _ONTO_BACK[some])
    return found


_BY = np.array([1, 8, 9, 7], dtype=np.uint64)[:, np.newaxis]
"""How far the four directions up the board go in one step: `EAST` to `NORTH_WEST`."""
_ONTO = np.array([NOT_A, ALL, NOT_A, NOT_H])[:, np.newaxis]
_ONTO_BACK = np.array([NOT_H, ALL, NOT_H, NOT_A])[:, np.newaxis]
"""The squares that such a step can reach, and one in the opposite direction."""


def _swept(sliders: Bitboards, free: Bitboards, shift: np.ufunc, by: Bitboards, onto: Bitboards) -> Bitboards:
    """What sliders see in some directions together: the free squares and the first man on each line."""
    free = free & onto
    for times in range(3):
        step = by << np.uint64(times)
        reached = shift(sliders, step)
        reached &= free
        reached |= sliders
        sliders = reached
        if times < 2:
            free = free & shift(free, step)
    reached = shift(sliders, by)
    reached &= onto
    return reached[0] if len(reached) == 1 else np.bitwise_or.reduce(reached, axis=0)


def in_check(boards: Boards, side: Owner) -> Flags:
    """Whether the king of a side is attacked."""
    own, enemy = (boards.us, boards.them) if side == "us" else (boards.them, boards.us)
    return (attackers(boards, square_of(boards.kings & own)) & enemy) != EMPTY


def sight_lines(boards: Boards) -> SightLines:
    """Every line on which a slider of ours sees a man, with the man behind it."""
    occupied = boards.occupied
    parts = []
    for directions, sliders in ((STRAIGHT, boards.straight_sliders), (DIAGONAL, boards.diagonal_sliders)):
        row, square = exploded(sliders & boards.us)
        men = occupied[row]
        for direction in directions:
            on_ray = RAYS[direction][square] & men
            meets = np.flatnonzero(on_ray != EMPTY)
            on_ray = on_ray[meets]
            front = first_on_ray(on_ray, direction)
            rear = first_on_ray(on_ray & ~front, direction)
            parts.append(SightLines(row[meets], square[meets], np.full(len(meets), direction), front, rear))
    return SightLines.joined(*parts)


@dataclass(frozen=True)
class Pins(Table):
    """Absolute pins of one side's men, one per direction: shapes (8, M), empty where there is no pin."""

    pinned: Bitboards
    pinner: Bitboards


def absolute_pins(boards: Boards, owner: Owner) -> Pins:
    """The men of `owner` pinned to their king, and the pinning men. Empty where the king is off the board."""
    own, enemy = (boards.us, boards.them) if owner == "us" else (boards.them, boards.us)
    on_ray = RAYS[:, square_of(boards.kings & own)] & boards.occupied
    front = _nearest(on_ray)
    rear = _nearest(on_ray & ~front)
    rear[list(STRAIGHT)] &= enemy & boards.straight_sliders
    rear[list(DIAGONAL)] &= enemy & boards.diagonal_sliders
    rear[(front & own) == EMPTY] = EMPTY
    front[rear == EMPTY] = EMPTY
    return Pins(front, rear)


def _nearest(on_rays: Bitboards) -> Bitboards:
    """The nearest square on each of the eight rays, shape (8, M)."""
    upward, west, downward = on_rays[:WEST], on_rays[WEST : WEST + 1], on_rays[WEST + 1 :]
    return np.concatenate(
        [first_on_ray(upward, NORTH), first_on_ray(west, WEST), first_on_ray(downward, SOUTH)]
    )


def between(first: Squares, second: Squares) -> Bitboards:
    """The squares strictly between two squares; empty if they are not on one line."""
    return paired(BETWEEN, first, second)
