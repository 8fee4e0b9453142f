"""Duties of their men: squares that fall if one guard leaves.

A duty is a man of theirs that we attack, or a square where a check of ours would mate. A guard is bound to it
if the guards left without it are too few for those of us who attack the square, x-rays included. At present
the duty is met: the man does not fall by exchange, and the check does not mate. Common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import chess
import numpy as np

from patterns.boards.attacks import attackers
from patterns.boards.bitboards import (
    BEYOND,
    BIT,
    EMPTY,
    KING_STEPS,
    Bitboards,
    Rows,
    Squares,
    count,
    exploded,
)
from patterns.boards.exchange import can_win
from patterns.boards.grouping import united
from patterns.boards.legal import legal_men, made
from patterns.boards.positions import Boards
from patterns.boards.pressure import bearing
from patterns.boards.tables import Table
from patterns.boards.view import View
from patterns.proof.strokes import strokes


@dataclass(frozen=True)
class Duties(Table):
    """Guards that are bound to a square, one entry each.

    `row`: of a view; the guard is theirs. `square`: what it guards. `attackers`: our men that bear on it.
    `mates`: whether we would mate there; else a man of theirs stands there that would fall.
    """

    row: Rows
    guard: Squares
    square: Squares
    attackers: Bitboards
    mates: np.typing.NDArray[np.bool_]


def duties(view: View) -> Duties:
    """All duties in a view, except in rows where we are in check. Ask for them with `view.once(duties)`."""
    return Duties.joined(_men_held(view), _mates_prevented(view))


def _men_held(view: View) -> Duties:
    """Men of theirs that fall if one of their guards leaves."""
    held = view.them & ~view.boards.kings & view.our_attacks & view.their_attacks
    row, square = exploded(np.where(view.in_check, EMPTY, held))
    boards = view.boards.take(row)
    near, all_men = attackers(boards, square), bearing(boards, square)
    ours, theirs = all_men & boards.us, all_men & boards.them
    few = np.flatnonzero(count(theirs) <= count(ours))
    few = few[~can_win(boards.take(few), square[few], "us")]
    entry, guard = exploded((near & theirs)[few])
    entry = few[entry]
    return Duties(row[entry], guard, square[entry], ours[entry], np.zeros(len(entry), dtype=np.bool_))


def _mates_prevented(view: View) -> Duties:
    """Squares where a check of ours would mate if one of their men were not there to answer it."""
    every = view.once(strokes)
    king = view.their_king[every.row]
    every = every.only((every.seen & BIT[king]) != EMPTY)
    row, king = every.row, view.their_king[every.row]
    covered = view.our_attacks[row] | every.seen | BEYOND[every.square, king] | BIT[every.square]
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
    ours = bearing(boards, square) & boards.us
    bound = (count(able) == 1) | ~elsewhere & (count(able) <= count(ours))
    entry, guard = exploded(np.where(bound, able & ~boards.kings, EMPTY))
    return Duties(row[entry], guard, square[entry], ours[entry], np.ones(len(entry), dtype=np.bool_))
