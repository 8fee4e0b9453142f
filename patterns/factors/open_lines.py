"""Open lines: rooks and queens on open and half-open files, the seventh rank, long diagonals, shut-in rooks."""

from __future__ import annotations

import chess
import numpy as np

from patterns.bitboards import (
    BIT,
    EMPTY,
    FILES,
    LINE,
    NORTH,
    RANKS,
    bishop_reach,
    count,
    exploded,
    filled_down,
    filled_files,
    filled_up,
    shifted,
)
from patterns.factors.term import Reason, Term, gathered, only, summed
from patterns.view import View

OPEN, HALF_OPEN, DOUBLED, SEVENTH, SHUT_IN = 0.3, 0.15, 0.1, 0.3, 0.15
LONG = LINE[chess.A1, chess.H8] | LINE[chess.A8, chess.H1]


def terms(view: View) -> tuple[Term, ...]:
    """Files, the seventh rank, diagonals, and rooks that have no file."""
    rooks, queens = view.our(chess.ROOK), view.our(chess.QUEEN)
    ours, theirs = filled_files(view.our_pawns), filled_files(view.their_pawns)
    contested = filled_files(view.their(chess.ROOK))
    on_open = (rooks | queens) & ~ours & ~theirs
    on_half = (rooks | queens) & ~ours & theirs
    opposed = on_open & contested
    open_worth = OPEN * count(rooks & on_open) + 0.1 * count(queens & on_open) - 0.12 * count(opposed & rooks)
    targets = filled_down(view.their_pawns & ~view.their_pawn_attacks)
    half_worth = HALF_OPEN * count(rooks & on_half) + 0.05 * count(rooks & on_half & targets)
    files = filled_files(rooks & ~ours) & RANKS[0]
    doubled_file = np.zeros(len(view), dtype=np.uint64)
    for file in range(8):
        both = count((rooks | queens) & FILES[file] & ~ours) > 1
        doubled_file |= only(both & ((rooks & FILES[file]) != EMPTY), (rooks | queens) & FILES[file])
    del files
    seventh = rooks & RANKS[6]
    useful = ((view.their(chess.KING) & RANKS[7]) != EMPTY) | ((view.their_pawns & RANKS[6]) != EMPTY)
    return (
        Term("open-file", open_worth, on_open, _tell_open),
        Term("half-open-file", half_worth, on_half & (rooks), _tell_half_open),
        Term(
            "doubled",
            DOUBLED * (doubled_file != EMPTY),
            doubled_file,
            lambda reason: f"{reason.ours()} are doubled on the file",
        ),
        Term(
            "seventh-rank",
            np.where(useful, SEVENTH * count(seventh), 0.0),
            only(useful, seventh),
            lambda reason: f"{reason.ours()} {reason.choose('stands', 'stand')} on the seventh rank",
        ),
        _diagonals(view),
        _shut_in(view),
    )


def _diagonals(view: View) -> Term:
    rows, squares = exploded(view.our(chess.BISHOP))
    reach = bishop_reach(squares, view.boards.pawns[rows])
    past = RANKS[4] | RANKS[5] | RANKS[6] | RANKS[7]
    far = count(reach & past)
    at_king = (reach & view.their_king_zone[rows]) != EMPTY
    good = (far >= 4) & ((BIT[squares] & RANKS[7]) == EMPTY)
    worth = np.where(good, 0.05 + 0.08 * at_king, 0.0)
    return Term(
        "diagonals",
        summed(rows, worth, len(view)),
        gathered(rows, np.where(good, BIT[squares], EMPTY), len(view)),
        lambda reason: f"{reason.ours()} {reason.choose('has', 'have')} an open diagonal",
    )


def _shut_in(view: View) -> Term:
    blocked = view.our_pawns & ~shifted(~view.occupied, NORTH) & (RANKS[1] | RANKS[2])
    king = view.our(chess.KING) & (RANKS[0])
    corner = BIT[chess.G1] | BIT[chess.H1]
    left = BIT[chess.A1] | BIT[chess.B1]
    rooks = view.our(chess.ROOK)
    shut = only((king & (BIT[chess.F1] | BIT[chess.G1])) != EMPTY, rooks & corner)
    shut |= only((king & (BIT[chess.B1] | BIT[chess.C1])) != EMPTY, rooks & left)
    shut &= filled_down(view.our_pawns) | filled_up(blocked)
    return Term(
        "shut-in",
        -SHUT_IN * 2 * count(shut),
        shut,
        lambda reason: f"{reason.ours()} {reason.choose('is', 'are')} shut in by the king",
    )


def _tell_open(reason: Reason) -> str:
    return f"{reason.ours()} {reason.choose('stands', 'stand')} on an open file"


def _tell_half_open(reason: Reason) -> str:
    return f"{reason.ours()} {reason.choose('stands', 'stand')} on a half-open file"
