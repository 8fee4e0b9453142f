"""Small questions about moves to come, for whole batches: who is cheapest, where pawns step, who attacks."""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.attacks import Men, Owner, absolute_pins, attackers, reach
from patterns.boards.bitboards import (
    BIT,
    EAST,
    EMPTY,
    LINE,
    NORTH,
    RANKS,
    SOUTH,
    WEST,
    Bitboards,
    Flags,
    Squares,
    shifted,
    square_of,
)
from patterns.boards.exchange import VALUES, can_win
from patterns.boards.positions import PIECES, Boards
from patterns.boards.view import View


def free_pieces(view: View) -> Men:
    """Our pieces that no absolute pin holds."""
    men = view.our_pieces
    return men.only((view.our_pinned[men.row] & BIT[men.square]) == EMPTY)


def cheapest(boards: Boards, men: Bitboards) -> Bitboards:
    """The men of the cheapest kind among these on each board; empty where there are none."""
    found = np.zeros(len(men), dtype=np.uint64)
    for name in reversed(PIECES):
        these = men & getattr(boards, name)
        found = np.where(these != EMPTY, these, found)
    return found


def stands_firm(boards: Boards, squares: Squares) -> Flags:
    """Whether our man on each square can be neither won by exchange nor traded for a man worth no more.

    A man of theirs that is absolutely pinned trades nothing, unless along its pin.
    """
    firm = ~can_win(boards, squares, "them")
    some = np.flatnonzero(firm)
    boards, squares = boards.take(some), squares[some]
    by = attackers(boards, squares) & boards.them
    pins = absolute_pins(boards, "them")
    off = (LINE[square_of(pins.pinner) & 63, squares] & pins.pinned) == EMPTY
    off &= pins.pinner != BIT[squares]
    by &= ~np.bitwise_or.reduce(np.where(off, pins.pinned, EMPTY), axis=0)
    worth = VALUES[boards.kind_at(square_of(cheapest(boards, by)) & 63)]
    firm[some] = (by == EMPTY) | (worth > VALUES[boards.kind_at(squares)])
    return firm


def pawn_steps(pawns: Bitboards, boards: Boards, owner: Owner) -> Bitboards:
    """The empty squares to which pawns of one side can step, once or twice, not to be taken in passing."""
    direction, second = (NORTH, RANKS[2]) if owner == "us" else (SOUTH, RANKS[5])
    free = ~boards.occupied
    foes = boards.pawns & (boards.them if owner == "us" else boards.us)
    one = shifted(pawns, direction) & free
    two = shifted(one & second, direction) & free
    return one | two & ~shifted(foes, EAST) & ~shifted(foes, WEST)


def attack_from(kinds: Squares, squares: Squares, occupied: Bitboards, owner: Owner) -> Bitboards:
    """The squares from which a man of one side, by kind, attacks each square. Shapes (M,)."""
    # Pawns attack the other way round: from where a pawn of the other side on the square would attack.
    return reach(kinds, squares, occupied, "them" if owner == "us" else "us")


def is_piece(kinds: Squares) -> Flags:
    """Which kinds are neither pawn nor king."""
    return (kinds != chess.PAWN) & (kinds != chess.KING) & (kinds != 0)
