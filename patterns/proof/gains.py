"""What the side to move could win by exchange: captures and promotions, square by square."""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.attacks import attack_map, attackers, in_check
from patterns.boards.bitboards import (
    ALL,
    EMPTY,
    RANKS,
    Bitboards,
    Flags,
    Rows,
    Squares,
    exploded,
    pawn_attacks_up,
    square_of,
)
from patterns.boards.exchange import EVERYTHING, QUEENING, VALUES, Binding, Values, settle
from patterns.boards.grouping import greatest
from patterns.boards.legal import gainful, legal_moves, made
from patterns.boards.positions import Boards
from patterns.boards.view import reversed_sides


def threats(boards: Boards, squares: Bitboards) -> Values:
    """The most that we could win by exchange on one of the squares if it were our move. Shape (M,)."""
    size = len(boards)
    row, _, gain = wins(boards, np.zeros(size, dtype=np.int64), np.full(size, EVERYTHING), None, squares)
    return greatest(row, gain, size)


def threatened(boards: Boards, beyond: Values, binding: Binding | None = None) -> Values:
    """On how many squares we could win more than `beyond` (0 or more) if it were our move. Shapes (M,).

    This is faster than computing how much we could win, and fastest for a large `beyond`.
    """
    row, _, _ = wins(boards, beyond, beyond + 1, binding)
    return np.bincount(row, minlength=len(boards))


def wins(
    boards: Boards,
    beyond: Values,
    enough: Values,
    binding: Binding | None = None,
    wanted: Bitboards | np.uint64 = ALL,
) -> tuple[Rows, Squares, Values]:
    """Our captures and promotions that win more than `beyond` by exchange, on the squares `wanted`.

    One entry a square: index of the board, the square, the gain (up to `enough`).
    """
    if not len(boards):
        nothing = np.zeros(0, dtype=np.int64)
        return nothing, nothing, nothing
    seen = attack_map(boards, "us", boards.occupied)
    row, square = exploded(_worth_more(boards, beyond) & wanted & seen)
    here = boards.take(row)
    hopeful = np.flatnonzero(_affordable(here, square))
    row, square, here = row[hopeful], square[hopeful], here.take(hopeful)
    taken = VALUES[here.kind_at(square)]
    pawns = boards.pawns & boards.us & RANKS[6] & ~(boards.occupied >> np.uint64(8)) & wanted >> np.uint64(8)
    pushed, pawn = exploded(np.where(beyond < QUEENING, pawns, EMPTY))
    if len(pushed):
        here = Boards.joined(here, reversed_sides(boards.take(pushed).moved(pawn, pawn + 8)))
    # In one call: what we win by a capture, and what they win by taking the new queen.
    won = settle(
        here,
        np.concatenate([square, pawn + 8 ^ 56]),
        np.concatenate([taken, np.full(len(pushed), VALUES[chess.QUEEN])]),
        "us",
        None if binding is None else binding.take(np.concatenate([row, pushed])),
        np.concatenate([enough[row], QUEENING - beyond[pushed]]),
    )
    won[len(row) :] = QUEENING - won[len(row) :]
    row, square = np.concatenate([row, pushed]), np.concatenate([square, pawn + 8])
    more = np.flatnonzero(won > beyond[row])
    return row[more], square[more], won[more]


def _worth_more(boards: Boards, beyond: Values) -> Bitboards:
    """Their men, without kings, whose capture could win more than `beyond`, with or without a promotion."""
    found = pawn_attacks_up(boards.pawns & boards.us) & RANKS[7] & ~boards.kings
    for men, worth in zip(boards.men, VALUES[1 : chess.KING], strict=False):
        found |= np.where(beyond < worth, men, EMPTY)
    return found & boards.them


def _affordable(boards: Boards, squares: Squares) -> Flags:
    """Whether capturing on each square may win: not a guarded man with one attacker that is worth more."""
    by = attackers(boards, squares)
    ours = by & boards.us
    several = (ours & (ours - np.uint64(1))) != EMPTY
    loose = (by & boards.them) == EMPTY
    cheap = VALUES[boards.kind_at(square_of(ours) & 63)] <= VALUES[boards.kind_at(squares)]
    return (ours != EMPTY) & (several | loose | cheap)


def can_take(boards: Boards, beyond: Values, binding: Binding | None) -> Flags:
    """Whether we, to move, could win more than `beyond` by exchange. In check only legal captures count."""
    result = threatened(boards, beyond, binding) > 0
    checked = np.flatnonzero(result)
    checked = checked[in_check(boards.take(checked), "us")]
    if not len(checked):
        return result
    here = boards.take(checked)
    legal = made(here, legal_moves(here, gainful(here)))
    result[checked] = greatest(legal.row, legal.gain, len(checked)) > beyond[checked]
    return result
