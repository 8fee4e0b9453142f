"""A batch of positions as each side sees them. What motifs and factors share is computed only once.

A view of N positions has 2N rows: White's view of the N positions, then Black's view of the same positions.
"We" move up the board in every row. What they have in row r is what we have, mirrored, in the other side's
row.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from typing import TypeVar, cast

import chess
import numpy as np

from patterns.boards.attacks import Men, Pins, SightLines, absolute_pins, reach, sight_lines
from patterns.boards.bitboards import (
    EMPTY,
    NORTH_EAST,
    NORTH_WEST,
    RANKS,
    SOUTH,
    THEIR_HALF,
    Bitboards,
    Rows,
    Squares,
    count,
    exploded,
    filled_down,
    filled_up,
    king_ring,
    mirror,
    pawn_attacks_down,
    pawn_attacks_up,
    pawn_steps_up,
    shifted,
    square_of,
)
from patterns.boards.grouping import once_and_twice
from patterns.boards.positions import PIECES, Boards, Positions

T = TypeVar("T")


class View:
    """2N rows, as the module explains. `boards`: the rows as `Boards`. The rest is computed on first use.

    `thorough`: for a few boards whose every move matters: motifs then also claim what seldom holds.
    """

    def __init__(self, positions: Positions, *, thorough: bool = False) -> None:
        self.positions = positions
        self.thorough = thorough
        self.boards: Boards = positions.both_views()
        self.us = self.boards.us
        self.them = self.boards.them
        self.occupied = self.us | self.them
        self._kept: dict[Callable[[View], object], object] = {}

    def __len__(self) -> int:
        return len(self.us)

    def once(self, compute: Callable[[View], T]) -> T:
        """The result of `compute(self)`, kept after the first call. For values that several motifs share."""
        if compute not in self._kept:
            self._kept[compute] = compute(self)
        return cast(T, self._kept[compute])

    def other(self, rows: Rows) -> Rows:
        """The rows in which the other side sees the same positions."""
        half = len(self) // 2
        return np.where(rows < half, rows + half, rows - half)

    def swapped(self, boards: Bitboards) -> Bitboards:
        """`boards` (2N,) from the other side's view: `swapped(ours)` is theirs."""
        half = len(self) // 2
        return mirror(np.concatenate([boards[half:], boards[:half]]))

    def our(self, kind: chess.PieceType) -> Bitboards:
        """Our men of one piece type."""
        return self._pieces(kind) & self.us

    def their(self, kind: chess.PieceType) -> Bitboards:
        """Their men of one piece type."""
        return self._pieces(kind) & self.them

    def _pieces(self, kind: chess.PieceType) -> Bitboards:
        pieces: Bitboards = getattr(self.boards, PIECES[kind - 1])
        return pieces

    def kind_at(self, rows: Rows, squares: Squares) -> Squares:
        """The piece type on each square of each row, 0 for an empty square. For many entries."""
        return self._kinds.take(rows * 64 + squares).astype(np.int64)

    @cached_property
    def _kinds(self) -> np.typing.NDArray[np.uint8]:
        """The piece type on every square of every row, row by row."""
        bits = np.unpackbits(self.boards.men[: len(PIECES)].view(np.uint8), axis=1, bitorder="little")
        kinds = np.zeros(bits.shape[1], dtype=np.uint8)
        for kind in chess.PIECE_TYPES:
            kinds += bits[kind - 1] * np.uint8(kind)
        return kinds

    @cached_property
    def our_king(self) -> Squares:
        """Our king's square."""
        return square_of(self.our(chess.KING))

    @cached_property
    def their_king(self) -> Squares:
        """Their king's square."""
        return square_of(self.their(chess.KING))

    @cached_property
    def our_men(self) -> Men:
        """Every man of ours with its attacks."""
        row, square = exploded(self.us)
        kind = self.kind_at(row, square)
        return Men(row, square, kind, reach(kind, square, self.occupied[row], "us"))

    @cached_property
    def their_men(self) -> Men:
        """Every man of theirs with its attacks."""
        return self.as_theirs(self.our_men)

    @cached_property
    def our_pieces(self) -> Men:
        """Our men that are neither king nor pawn."""
        men = self.our_men
        return men.only((men.kind > chess.PAWN) & (men.kind < chess.KING))

    @cached_property
    def their_pieces(self) -> Men:
        """Their men that are neither king nor pawn."""
        return self.as_theirs(self.our_pieces)

    @cached_property
    def our_men_of(self) -> dict[chess.PieceType, Men]:
        """Our men, kind by kind."""
        men, pieces = self.our_men, self.our_pieces
        kinds = {kind: pieces if chess.PAWN < kind < chess.KING else men for kind in chess.PIECE_TYPES}
        return {kind: among.only(among.kind == kind) for kind, among in kinds.items()}

    def as_theirs(self, ours: Men) -> Men:
        """Our men as the other side sees them: as theirs."""
        split = int(np.searchsorted(ours.row, len(self) // 2))
        row, square, kind, attacks = (np.roll(column, -split) for column in vars(ours).values())
        return Men(self.other(row), square ^ 56, kind, mirror(attacks))

    @cached_property
    def our_sight_lines(self) -> SightLines:
        """Every sight line of ours: a slider sees a man."""
        return sight_lines(self.boards)

    @cached_property
    def our_sight_lines_on_two(self) -> SightLines:
        """Every sight line of ours with a man of theirs and another man of theirs behind it."""
        lines = self.our_sight_lines
        them = self.them[lines.row]
        return lines.only(((lines.front & them) != EMPTY) & ((lines.rear & them) != EMPTY))

    @cached_property
    def their_pins(self) -> Pins:
        """Their men that we pin absolutely."""
        ours = self.our_pins
        return Pins(*(np.array([self.swapped(ray) for ray in rays]) for rays in (ours.pinned, ours.pinner)))

    @cached_property
    def our_pins(self) -> Pins:
        """Our men that they pin absolutely."""
        return absolute_pins(self.boards, "us")

    @cached_property
    def their_pinned(self) -> Bitboards:
        """All their absolutely pinned men."""
        return self.swapped(self.our_pinned)

    @cached_property
    def our_pinned(self) -> Bitboards:
        """All our absolutely pinned men."""
        return np.bitwise_or.reduce(self.our_pins.pinned, axis=0)

    @cached_property
    def our_attacks_of(self) -> dict[chess.PieceType, Bitboards]:
        """The squares we attack with each kind of man (pins ignored)."""
        return {kind: once for kind, (once, _) in self._attacks_by_kind.items()}

    @cached_property
    def their_attacks_of(self) -> dict[chess.PieceType, Bitboards]:
        """The squares they attack with each kind of man."""
        return {kind: self.swapped(attacks) for kind, attacks in self.our_attacks_of.items()}

    @cached_property
    def _attacks_by_kind(self) -> dict[chess.PieceType, tuple[Bitboards, Bitboards]]:
        """For each kind: squares that our men of this kind attack, and those that two or more attack."""
        west, east = (shifted(self.our_pawns, up) for up in (NORTH_WEST, NORTH_EAST))
        found = {chess.PAWN: (west | east, west & east)}
        for kind in (chess.KNIGHT, chess.BISHOP, chess.ROOK, chess.QUEEN, chess.KING):
            men = self.our_men_of[kind]
            found[kind] = once_and_twice(men.row, men.attacks, len(self))
        return found

    @cached_property
    def our_attacks(self) -> Bitboards:
        """Every square we attack (pins ignored)."""
        attacks: Bitboards = np.bitwise_or.reduce(list(self.our_attacks_of.values()))
        return attacks

    @cached_property
    def their_attacks(self) -> Bitboards:
        """Every square they attack (pins ignored)."""
        return self.swapped(self.our_attacks)

    @cached_property
    def our_double_attacks(self) -> Bitboards:
        """Every square that at least two men of ours attack directly (pins and x-rays ignored)."""
        once = twice = np.zeros(len(self), dtype=np.uint64)
        for by_one, by_two in self._attacks_by_kind.values():
            twice = twice | by_two | once & by_one
            once = once | by_one
        return twice

    @cached_property
    def their_double_attacks(self) -> Bitboards:
        """Every square that at least two men of theirs attack directly."""
        return self.swapped(self.our_double_attacks)

    @cached_property
    def our_piece_attacks(self) -> Bitboards:
        """The squares that at least one, two and three pieces or kings of ours attack: shape (3, 2N).

        Pins and x-rays are ignored. Of three pieces of one kind only two are counted.
        """
        once = twice = thrice = np.zeros(len(self), dtype=np.uint64)
        for kind in chess.PIECE_TYPES[1:]:
            by_one, by_two = self._attacks_by_kind[kind]
            thrice = thrice | twice & by_one | once & by_two
            twice = twice | by_two | once & by_one
            once = once | by_one
        return np.array([once, twice, thrice])

    @cached_property
    def their_piece_attacks(self) -> Bitboards:
        """The same for the squares that their pieces and king attack."""
        return np.array([self.swapped(attacks) for attacks in self.our_piece_attacks])

    @cached_property
    def our_pawns(self) -> Bitboards:
        return self.our(chess.PAWN)

    @cached_property
    def their_pawns(self) -> Bitboards:
        return self.their(chess.PAWN)

    @cached_property
    def our_pawn_attacks(self) -> Bitboards:
        """The squares our pawns attack."""
        return pawn_attacks_up(self.our_pawns)

    @cached_property
    def their_pawn_attacks(self) -> Bitboards:
        """The squares their pawns attack."""
        return pawn_attacks_down(self.their_pawns)

    @cached_property
    def our_pawn_span(self) -> Bitboards:
        """The squares that a pawn of ours attacks now or could attack after advancing."""
        return filled_up(self.our_pawn_attacks)

    @cached_property
    def their_pawn_span(self) -> Bitboards:
        """The squares that a pawn of theirs attacks now or could attack after advancing."""
        return filled_down(self.their_pawn_attacks)

    @cached_property
    def their_free_pawn_span(self) -> Bitboards:
        """The squares that a pawn of theirs attacks now, or could after advancing up to a pawn of ours.

        Unlike `their_pawn_span`, a pawn of ours that stands in front of theirs stops it.
        """
        advanced, free = self.their_pawns, ~self.our_pawns
        for steps in (8, 16, 32):
            advanced = advanced | free & advanced >> np.uint64(steps)
            free = free & free >> np.uint64(steps)
        return pawn_attacks_down(advanced)

    @cached_property
    def our_passed_pawns(self) -> Bitboards:
        """Our pawns with no pawn ahead of them, and none of theirs ahead on a neighbouring file."""
        ahead = filled_down(shifted(self.their_pawns | self.our_pawns, SOUTH)) | self.their_pawn_span
        return self.our_pawns & ~ahead

    @cached_property
    def their_king_zone(self) -> Bitboards:
        """Their king's square, its neighbours, and the next three squares towards us."""
        ring = king_ring(self.their(chess.KING))
        return ring | ring >> np.uint64(8)

    @cached_property
    def our_pawn_pushes(self) -> Bitboards:
        """The empty squares our pawns can move to, one or two steps."""
        one, two = pawn_steps_up(self.our_pawns, ~self.occupied)
        return one | two

    @cached_property
    def our_piece_count(self) -> Squares:
        """The number of our men that are neither king nor pawn."""
        return count(self.us & ~self.boards.pawns & ~self.boards.kings)

    @cached_property
    def their_piece_count(self) -> Squares:
        """The number of their men that are neither king nor pawn."""
        return count(self.them & ~self.boards.pawns & ~self.boards.kings)

    @cached_property
    def middlegame(self) -> np.typing.NDArray[np.float64]:
        """The share of the pieces left: 1 for all, 0 for none (a queen is 4 of 24, a rook 2, a minor 1)."""
        boards = self.boards
        left = 4 * count(boards.queens) + 2 * count(boards.rooks) + count(boards.knights | boards.bishops)
        return np.minimum(1.0, left / 24)

    @cached_property
    def our_room(self) -> Bitboards:
        """Our room: squares of ranks 2 to 5 behind our foremost pawn on each file.

        Squares that a pawn of ours stands on, or a pawn of theirs attacks, are left out.
        """
        behind = filled_down(shifted(self.our_pawns, SOUTH)) & (RANKS[1] | RANKS[2] | RANKS[3] | RANKS[4])
        return behind & ~self.their_pawn_attacks & ~self.our_pawns

    @cached_property
    def our_reach(self) -> Bitboards:
        """The squares beyond the middle that we attack and no pawn of theirs guards."""
        return self.our_attacks & THEIR_HALF & ~self.their_pawn_attacks

    @cached_property
    def in_check(self) -> np.typing.NDArray[np.bool_]:
        """Whether our king is attacked."""
        return (self.their_attacks & self.our(chess.KING)) != EMPTY


def reversed_sides(boards: Boards) -> Boards:
    """The same boards as the other side sees them."""
    men = mirror(boards.men)
    men[[-2, -1]] = men[[-1, -2]]
    return Boards(men, mirror(boards.castling), mirror(boards.en_passant), ~boards.our_move)
