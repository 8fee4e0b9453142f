"""Pressure on squares, in whole batches: men that bear on a square, are held, or can join in one move.

A man bears on a square if it attacks it, directly or through men that attack it on the same line (x-rays and
batteries). `patterns.square_count` reports the same for one square in words.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.attacks import Men, Pins, attack_from, attackers
from patterns.boards.bitboards import (
    BIT,
    EMPTY,
    LINE,
    Bitboards,
    Flags,
    Rows,
    Squares,
    bishop_reach,
    count,
    exploded,
    paired,
    rook_reach,
    square_of,
)
from patterns.boards.exchange import is_safe
from patterns.boards.grouping import pairs_of_equal, united
from patterns.boards.moves import free_pieces
from patterns.boards.positions import Boards
from patterns.boards.view import View


def bearing(boards: Boards, squares: Squares) -> Bitboards:
    """Every man of both sides that bears on each square. Shapes (M,)."""
    found = attackers(boards, squares)
    open_yet = np.arange(len(squares))
    while True:
        # Only a man that attacks along the line itself lets the man behind it bear on the square.
        taken = found[open_yet] & (boards.diagonal_sliders | boards.pawns | boards.rooks)[open_yet]
        some = taken != EMPTY
        open_yet, taken = open_yet[some], taken[some]
        if not len(open_yet):
            return found
        boards_left, square = boards.take(open_yet), squares[open_yet]
        behind = (
            attackers(boards_left, square, boards_left.occupied & ~taken) & ~found[open_yet] & ~BIT[square]
        )
        found[open_yet] |= behind
        open_yet = open_yet[behind != EMPTY]


def held(pins: Pins, rows: Rows, squares: Squares) -> Bitboards:
    """Of the pinned men in each row, those that may not capture on the square. Shapes (M,)."""
    result = np.zeros(len(rows), dtype=np.uint64)
    for pinned, pinner in zip(pins.pinned, pins.pinner, strict=True):
        some = np.flatnonzero(pinned[rows] != EMPTY)
        at, by, square = pinned[rows[some]], pinner[rows[some]], squares[some]
        off = (paired(LINE, square_of(by), square) & at) == EMPTY
        result[some] |= np.where(off & (by != BIT[square]), at, EMPTY)
    return result


def lined_up(boards: Boards, squares: Squares) -> Bitboards:
    """Our sliders that attack each square only after pieces of ours in front of them have moved away."""
    ours = boards.us & ~boards.pawns & ~boards.kings
    straight, diagonal = boards.straight_sliders & ours, boards.diagonal_sliders & ours
    rooks = rook_reach(squares, boards.occupied & ~(ours & ~straight)) & straight
    bishops = bishop_reach(squares, boards.occupied & ~(ours & ~diagonal)) & diagonal
    return (rooks | bishops) & ~bearing(boards, squares)


def outlasts_trades(view: View, rows: Rows, squares: Squares, coming: int = 0) -> Flags:
    """Whether a minor piece of ours is left on each square after all trades of minor pieces there.

    We have for it the one that stands on the square, those that attack it, and `coming` more. Pinned men do
    not trade.
    """
    minors = view.boards.knights | view.boards.bishops
    theirs = view.their_attacks_of[chess.KNIGHT] | view.their_attacks_of[chess.BISHOP]
    left = (theirs[rows] & BIT[squares]) == EMPTY
    hit = np.flatnonzero(~left)
    rows, squares = rows[hit], squares[hit]
    by = (attackers(view.boards.take(rows), squares) | BIT[squares]) & minors[rows]
    ours, theirs = view.us & ~view.our_pinned, view.them & ~view.their_pinned
    left[hit] = count(by & ours[rows]) + coming > count(by & theirs[rows])
    return left


def men_of_rows(men: Men, rows: Rows) -> tuple[Rows, Men]:
    """The men of each of these rows: the index into `rows` for each man, and the men."""
    entry, index = pairs_of_equal(rows, men.row)
    return entry, men.take(index)


def joiners(view: View, rows: Rows, squares: Squares, already: Bitboards) -> Bitboards:
    """Our pieces, except those in `already`, that can attack each square after one safe quiet move."""
    entry, men = men_of_rows(view.once(free_pieces), rows)
    new = (already[entry] & BIT[men.square]) == EMPTY
    entry, men = entry[new], men.only(new)
    occupied = view.occupied[men.row] & ~BIT[men.square]
    stops = attack_from(men.kind, squares[entry], occupied, "us") & men.attacks & ~view.occupied[men.row]
    stops &= ~view.their_pawn_attacks[men.row]
    some = np.flatnonzero(stops != EMPTY)
    entry, men, stops = entry[some], men.take(some), stops[some]
    return _with_a_safe_move(view, len(rows), entry, men, stops)


def can_go(view: View, rows: Rows, squares: Squares) -> Bitboards:
    """Our pieces that can safely go to each (empty) square."""
    entry, men = men_of_rows(view.once(free_pieces), rows)
    goes = (men.attacks & BIT[squares[entry]] & ~view.occupied[men.row]) != EMPTY
    entry, men = entry[goes], men.only(goes)
    return _with_a_safe_move(view, len(rows), entry, men, BIT[squares[entry]])


def _with_a_safe_move(view: View, size: int, entry: Rows, men: Men, stops: Bitboards) -> Bitboards:
    man, square = exploded(stops)
    safe = is_safe(view.boards.take(men.row[man]), men.square[man], square)
    return united(entry[man[safe]], BIT[men.square[man[safe]]], size)
