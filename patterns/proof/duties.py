"""Duties of their men: squares that fall if one guard leaves.

A duty is a man of theirs that we attack, a square where a pawn of ours would promote, or a square where a
check of ours would mate. A guard is bound to it if the guards left without it are too few: then the exchange
there wins, which it does not at present, or the check mates. Common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from patterns.boards.bitboards import (
    BEYOND,
    BIT,
    EMPTY,
    KING_STEPS,
    NORTH,
    RANKS,
    Bitboards,
    Flags,
    Rows,
    Squares,
    count,
    exploded,
    paired,
    shifted,
)
from patterns.boards.exchange import Binding, Values, capture_gain, exchange
from patterns.boards.grouping import united
from patterns.boards.legal import legal_men, made
from patterns.boards.positions import Boards
from patterns.boards.pressure import bearing
from patterns.boards.tables import Table
from patterns.boards.view import View
from patterns.proof.strokes import hitting


@dataclass(frozen=True)
class Duties(Table):
    """Guards of theirs and what each guards, one entry each.

    `row`: of a view. `square`: what is guarded: a man, or an empty square where a pawn of ours would promote,
    or where we would mate (`mates`).
    """

    row: Rows
    guard: Squares
    square: Squares
    mates: Flags

    @property
    def guard_of_row(self) -> Rows:
        """A number for each guard in each row, which `duties` sorts by."""
        return self.row * 64 + self.guard


def duties(view: View) -> Duties:
    """All duties in a view, except in rows where we are in check. Ask for them with `view.once(duties)`.

    Whether a guard is bound to what it guards is for `falls` to say, except where we would mate.
    """
    every = Duties.joined(_squares_guarded(view), _mates_prevented(view))
    return every.take(every.guard_of_row.argsort(kind="stable"))


def busy(view: View) -> Bitboards:
    """Their men that have a duty, by row. Ask for them with `view.once(busy)`."""
    every = view.once(duties)
    return united(every.row, BIT[every.guard], len(view))


def falls(boards: Boards, squares: Squares, idle: Bitboards | None, enough: Values) -> Flags:
    """Whether we win `enough` by exchange on each square, or by promoting there, if `idle` men do nothing."""
    binding = None if idle is None else Binding.of(len(squares), idle=idle)
    won = capture_gain(boards, squares, "us", binding, enough=enough)
    empty = np.flatnonzero((boards.occupied & BIT[squares]) == EMPTY)
    steps = empty[(boards.pawns & boards.us & RANKS[6])[empty] & BIT[squares[empty] - 8 & 63] != EMPTY]
    binding = None if binding is None else binding.take(steps)
    won[steps] = exchange(boards.take(steps), squares[steps] - 8, squares[steps], binding)
    return won >= enough


def _squares_guarded(view: View) -> Duties:
    """Men that they guard and we attack, and promotion squares that they guard."""
    held = view.them & ~view.boards.kings & view.our_attacks
    held |= shifted(view.our_pawns & RANKS[6], NORTH) & ~view.occupied
    held[view.in_check] = EMPTY
    men = view.their_men
    guard, square = exploded(men.attacks & held[men.row])
    return Duties(men.row[guard], men.square[guard], square, np.zeros(len(guard), dtype=np.bool_))


def _mates_prevented(view: View) -> Duties:
    """Squares where a check of ours would mate if one of their men were not there to answer it."""
    every, hit = view.once(hitting)
    every = every.only((hit & BIT[view.their_king[every.row]]) != EMPTY)
    row, king = every.row, view.their_king[every.row]
    covered = view.our_attacks[row] | every.seen | paired(BEYOND, every.square, king) | BIT[every.square]
    no_flight = (KING_STEPS[king] & ~view.them[row] & ~covered) == EMPTY
    every = every.only(no_flight & ~view.in_check[row])
    after = made(view.boards, every.moves).after
    return _answered_by_few(every.row, every.square, view.boards.take(every.row), after)


def _answered_by_few(row: Rows, square: Squares, boards: Boards, after: Boards) -> Duties:
    """Duties of the men that alone can answer these checks. `after`: the boards as they see them."""
    men = legal_men(after)
    men = men.only(men.attacks != EMPTY)
    able = united(men.row, BIT[men.square ^ 56], len(after))
    elsewhere = united(men.row, men.attacks & ~BIT[square[men.row] ^ 56], len(after)) != EMPTY
    attackers = bearing(boards, square) & boards.us
    bound = (count(able) == 1) | ~elsewhere & (count(able) <= count(attackers))
    # Who can only step in between does not guard the square.
    taking = men.only((men.attacks & BIT[square[men.row] ^ 56]) != EMPTY)
    able &= united(taking.row, BIT[taking.square ^ 56], len(after))
    entry, guard = exploded(np.where(bound, able & ~boards.kings, EMPTY))
    return Duties(row[entry], guard, square[entry], np.ones(len(entry), dtype=np.bool_))
