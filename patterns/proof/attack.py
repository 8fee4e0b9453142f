"""Whether an attack on their king goes on by itself, where we are to move: what a sacrifice may be given for.

It goes on when

- we threaten mate by a quiet move of the queen: to a square that nobody attacks, after which she could mate
  beside the king on a square that a man of ours guards and that no piece of theirs can come to guard or to
  shut off; or
- their king is in the open: three men of ours or more are after it, more than its minor pieces that guard it,
  and our queen can safely check a king that has left its first two ranks, or safely take a pawn within two
  steps of it.

A man is after a king if it bears on a square beside it or can check it; it guards its king if it bears on
such a square. Rules of thumb: common practice, no source.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.attacks import attack_from, attacked_by, attackers, between, in_check, men_of
from patterns.boards.bitboards import (
    BIT,
    EMPTY,
    KING_STEPS,
    THEIR_HOME,
    Bitboards,
    Flags,
    Rows,
    Squares,
    bishop_reach,
    count,
    exploded,
    king_ring,
    pawn_attacks_up,
    rook_reach,
    square_of,
)
from patterns.boards.grouping import all_of, any_of, marked, united
from patterns.boards.legal import checking_squares
from patterns.boards.moves import is_piece
from patterns.boards.positions import Boards
from patterns.boards.view import View

HUNTERS = 3
"""How many of our men it takes to hunt a king in the open."""


def threatens_mate(boards: Boards) -> Flags:
    """Whether a queen move of ours threatens mate, as the module explains."""
    board, mate = _mating_squares(boards)
    queen, occupied = square_of(boards.queens & boards.us)[board], boards.occupied[board]
    goes = _queen_reach(queen, occupied) & ~BIT[mate] & ~boards.us[board] & ~boards.kings[board]
    way, square = exploded(goes & _queen_reach(mate, occupied & ~BIT[queen]))
    after = boards.take(board[way]).moved(queen[way], square)
    safe = np.flatnonzero(((attackers(after, square) & after.them) == EMPTY) & ~in_check(after, "us"))
    way, square, after = way[safe], square[safe], after.take(safe)
    stays = ~_can_guard(after, mate[way], between(square, mate[way]))
    return any_of(board[way], stays, len(boards))


def _mating_squares(boards: Boards) -> tuple[Rows, Squares]:
    """Squares beside their king where our queen, guarded there and attacked only by the king, would mate."""
    king, queen = square_of(boards.kings & boards.them), boards.queens & boards.us
    ready = (count(queen) == 1) & ~in_check(boards, "us")
    board, square = exploded(np.where(ready, KING_STEPS[king] & ~boards.us, EMPTY))
    others = boards.take(board).without(queen[board])
    by = attackers(others, square) & ~others.kings
    fit = np.flatnonzero(((by & others.us) != EMPTY) & ((by & others.them) == EMPTY))
    board, square = board[fit], square[fit]
    there = boards.take(board).moved(square_of(queen)[board], square)
    way, flight = exploded(KING_STEPS[king[board]] & ~there.them & ~BIT[square])
    after = there.take(way)
    covered = attackers(after, flight, after.occupied & ~BIT[king[board[way]]]) & after.us
    mates = all_of(way, covered != EMPTY, len(board))
    return board[mates], square[mates]


def _queen_reach(squares: Squares, occupied: Bitboards) -> Bitboards:
    return bishop_reach(squares, occupied) | rook_reach(squares, occupied)


def _can_guard(boards: Boards, square: Squares, way: Bitboards) -> Flags:
    """Whether a piece of theirs can come to guard the square or shut the way, safe from our pawns."""
    men = men_of(boards, "them")
    men = men.only(is_piece(men.kind))
    occupied = boards.occupied[men.row] & ~BIT[men.square]
    goals = attack_from(men.kind, square[men.row], occupied, "them") | way[men.row]
    shunned = boards.them | pawn_attacks_up(boards.pawns & boards.us)
    return any_of(men.row, (men.attacks & goals & ~shunned[men.row]) != EMPTY, len(boards))


def in_the_open(boards: Boards) -> Flags:
    """Whether their king is in the open, as the module explains."""
    king = boards.kings & boards.them
    ours, theirs = men_of(boards, "us"), men_of(boards, "them")
    queens = ours.only(ours.kind == chess.QUEEN)
    out = (king & THEIR_HOME) == EMPTY
    check = np.where(out[queens.row], checking_squares(boards, queens) & ~boards.us[queens.row], EMPTY)
    pawns = boards.pawns & boards.them & king_ring(king | king_ring(king))
    goals = (check | pawns[queens.row]) & ~attacked_by(theirs, len(boards))[queens.row]
    result = marked(queens.row[(queens.attacks & goals) != EMPTY], len(boards))
    ring = king_ring(king)[theirs.row]
    guarding = ((theirs.kind == chess.KNIGHT) | (theirs.kind == chess.BISHOP)) & (
        (theirs.attacks & ring) != EMPTY
    )
    guards = np.bincount(theirs.row[guarding], minlength=len(boards))
    return result & (count(after_the_king(boards)) > np.maximum(guards, HUNTERS - 1))


def at_their_king(view: View) -> Squares:
    """By row: how many pieces of ours attack their king or a square next to it. Ask with `view.once`."""
    men = view.our_pieces
    near = (men.kind != chess.KING) & ((men.attacks & king_ring(view.their(chess.KING))[men.row]) != EMPTY)
    return np.bincount(men.row[near], minlength=len(view))


def queens_meet(view: View) -> Flags:
    """By row: whether queens attack each other. They are soon traded then, and an attack goes with them.

    Ask with `view.once`.
    """
    meet: Flags = (view.our(chess.QUEEN) & view.their_attacks_of[chess.QUEEN]) != EMPTY
    return meet


def at_our_king(view: View) -> Squares:
    """By row: how many pieces of theirs attack our king or a square next to it. Ask with `view.once`."""
    return np.roll(view.once(at_their_king), len(view) // 2)


def after_the_king(boards: Boards) -> Bitboards:
    """Our men, without the king, that bear on a square beside their king or can check it."""
    men = men_of(boards, "us")
    goals = king_ring(boards.kings & boards.them)[men.row]
    goals = goals | checking_squares(boards, men) & ~boards.us[men.row]
    joins = np.flatnonzero((men.kind != chess.KING) & ((men.attacks & goals) != EMPTY))
    return united(men.row[joins], BIT[men.square[joins]], len(boards))
