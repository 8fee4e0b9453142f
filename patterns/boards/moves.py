"""Moves as tables, and small questions about them: cheapest men, pawn steps, men that stand firm."""

from __future__ import annotations

from dataclasses import dataclass

import chess
import numpy as np

from patterns.boards.attacks import Men, Owner, absolute_pins, attackers
from patterns.boards.bitboards import (
    BIT,
    EAST,
    EMPTY,
    LINE,
    WEST,
    Bitboards,
    Flags,
    Rows,
    Squares,
    paired,
    pawn_steps_down,
    pawn_steps_up,
    shifted,
    square_of,
)
from patterns.boards.exchange import VALUES, can_win
from patterns.boards.positions import PIECES, Boards
from patterns.boards.tables import Table
from patterns.boards.view import View


@dataclass(frozen=True)
class Moves(Table):
    """Moves, one entry each: the row (of a view or of another table), the origin, the destination."""

    row: Rows
    origin: Squares
    square: Squares


def free_pieces(view: View) -> Men:
    """Our pieces that are not absolutely pinned."""
    men = view.our_pieces
    return men.only((view.our_pinned[men.row] & BIT[men.square]) == EMPTY)


def cheapest(boards: Boards, men: Bitboards) -> Bitboards:
    """Of these men, those of the cheapest kind on each board. Empty where there are none."""
    found = np.zeros(len(men), dtype=np.uint64)
    for name in reversed(PIECES):
        these = men & getattr(boards, name)
        found = np.where(these != EMPTY, these, found)
    return found


def stands_firm(boards: Boards, squares: Squares) -> Flags:
    """Whether our man on each square can be neither won by exchange nor traded for a man worth no more.

    An absolutely pinned man of theirs can trade only along its pin.
    """
    firm = ~can_win(boards, squares, "them")
    some = np.flatnonzero(firm)
    boards, squares = boards.take(some), squares[some]
    by = attackers(boards, squares) & boards.them
    pins = absolute_pins(boards, "them")
    off = (paired(LINE, square_of(pins.pinner) & 63, squares) & pins.pinned) == EMPTY
    off &= pins.pinner != BIT[squares]
    by &= ~np.bitwise_or.reduce(np.where(off, pins.pinned, EMPTY), axis=0)
    worth = VALUES[boards.kind_at(square_of(cheapest(boards, by)) & 63)]
    firm[some] = (by == EMPTY) | (worth > VALUES[boards.kind_at(squares)])
    return firm


def pawn_steps(pawns: Bitboards, boards: Boards, owner: Owner) -> Bitboards:
    """The empty squares that pawns of one side can reach by one or two steps, and not be taken en passant."""
    steps, foes = (pawn_steps_up, boards.them) if owner == "us" else (pawn_steps_down, boards.us)
    one, two = steps(pawns, ~boards.occupied)
    foes = foes & boards.pawns
    return one | two & ~shifted(foes, EAST) & ~shifted(foes, WEST)


def is_piece(kinds: Squares) -> Flags:
    """Which kinds are neither pawn nor king."""
    return (kinds != chess.PAWN) & (kinds != chess.KING) & (kinds != 0)


def is_slider(kinds: Squares) -> Flags:
    """Which kinds are bishops, rooks or queens."""
    return (kinds >= chess.BISHOP) & (kinds <= chess.QUEEN)
