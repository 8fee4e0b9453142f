"""Quiet and settled positions: those in which what stands on the board is worth talking about."""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.attacks import in_check
from patterns.boards.bitboards import EMPTY, RANKS, SOUTH, Bitboards, Flags, Rows, count, exploded, shifted
from patterns.boards.exchange import VALUES, Values, can_win
from patterns.boards.grouping import any_of
from patterns.boards.positions import Boards
from patterns.boards.view import View
from patterns.proof.gains import threatened
from patterns.proof.lookahead import forces_mate

PAWN, PIECE = int(VALUES[chess.PAWN]), int(VALUES[chess.KNIGHT])
_NEAR_THE_END = RANKS[5] | RANKS[6]
LESS_THAN_A_ROOK = int(VALUES[chess.ROOK]) - 1
CALM = (
    " It counts where there is time for it: no check, no mate at once, no piece less, no passed pawn about to"
    " become a queen, and no more than a pawn to be won by an exchange."
)
"""For definitions of motifs: what `is_calm` asks."""
SETTLED = CALM.replace("no piece less", "neither side a piece ahead")
"""For definitions of motifs: what `is_settled` asks."""


def is_quiet(view: View, rows: Rows, beyond: int = PAWN) -> Flags:
    """Whether our king is not in check, and the side to move wins no more than a pawn by any exchange.

    `beyond`: more may be allowed, in pawns. Where we give check, their exchanges are not asked. Shape (M,).
    """
    asked, which = np.unique(rows, return_inverse=True)
    quiet = ~in_check(view.boards.take(asked), "us")
    some = np.flatnonzero(quiet)
    mover = np.where(view.boards.our_move[asked[some]], asked[some], view.other(asked[some]))
    boards = view.boards.take(mover)
    free = np.flatnonzero(~in_check(boards, "us"))
    quiet[some[free]] = threatened(boards.take(free), np.full(len(free), beyond)) == 0
    return quiet[which]


def falls_at_once(view: View, rows: Rows, men: Bitboards) -> Flags:
    """Whether it is their move and they win one of these men of ours by exchange. Shapes (M,)."""
    entry, man = exploded(np.where(view.boards.our_move[rows], EMPTY, men))
    falls = can_win(view.boards.take(rows[entry]), man, "them")
    return any_of(entry, falls, len(rows))


def in_need(view: View) -> Bitboards:
    """Our pieces that are attacked by a pawn, or attacked and not guarded, and our king in check."""
    bare = ~view.our_attacks | view.their_pawn_attacks | view.boards.kings
    return view.us & ~view.our_pawns & view.their_attacks & bare


def is_settled(view: View, rows: Rows) -> Flags:
    """Whether small advantages count (space, a majority, two bishops): nothing greater decides the game.

    The position is calm, and neither side is a piece ahead. Common practice, no source. Shape (M,).
    """
    settled = np.abs(lead(view.boards.take(rows))) < PIECE
    settled[settled] = is_calm(view, rows[settled])
    return settled


def is_calm(view: View, rows: Rows) -> Flags:
    """Whether there is time for a plan of ours. Shape (M,).

    The position is quiet, nobody is in check, the side to move cannot mate at once, and we stay in the game.
    """
    calm = stays_in_the_game(view, rows)
    calm[calm] = ~in_check(view.boards.take(rows[calm]), "them")
    calm[calm] = is_quiet(view, rows[calm])
    some = np.flatnonzero(calm)
    mover = np.where(view.boards.our_move[rows[some]], rows[some], view.other(rows[some]))
    calm[some] = ~forces_mate(view.boards.take(mover), 1)
    return calm


def stays_in_the_game(view: View, rows: Rows) -> Flags:
    """Whether we are not a piece behind, and neither side has a pawn that will soon be a queen. Shape (M,).

    Such a pawn is passed, on its sixth or seventh rank, nobody stands in front of it, and those who attack it
    are no more than those who guard it (one or two are counted).
    """
    near = view.once(_near_a_queen)
    stays: Flags = ~(near[rows] | near[view.other(rows)]) & (lead(view.boards.take(rows)) > -PIECE)
    return stays


def _near_a_queen(view: View) -> Flags:
    """Whether we have a pawn that will soon be a queen, by row."""
    pawns = view.our_passed_pawns & _NEAR_THE_END & ~shifted(view.them, SOUTH)
    kept = ~view.their_attacks | view.our_attacks & ~view.their_double_attacks | view.our_double_attacks
    near: Flags = (pawns & kept) != EMPTY
    return near


def lead(boards: Boards) -> Values:
    """How many pawns our men are worth more than theirs. Shape (M,)."""
    result = np.zeros(len(boards), dtype=np.int64)
    for men, worth in zip(boards.men[: chess.QUEEN], VALUES[1:], strict=False):
        result += worth * (count(men & boards.us) - count(men & boards.them))
    return result
