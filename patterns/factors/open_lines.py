"""Open lines: heavy pieces on open and half-open files, the seventh rank, diagonals.

After Nimzowitsch, My System, on the open file and the seventh rank (from memory).
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.bitboards import (
    BIT,
    EMPTY,
    RANKS,
    THEIR_HALF,
    bishop_reach,
    count,
    filled_down,
    filled_files,
    filled_up,
)
from patterns.boards.grouping import summed, united
from patterns.boards.view import View
from patterns.factors.term import Reason, Term, file_names, masked

OPEN, OPPOSED, HALF_OPEN, WEAK_AHEAD = 0.23, 0.08, 0.06, 0.03
"""A rook on an open file; less if a rook opposes it; on a half-open file; extra for a weak pawn ahead."""
QUEEN_PART = 0.1
"""A queen on a file is worth this part of a rook there."""
DOUBLED, SEVENTH, DIAGONAL, AT_KING = 0.08, 0.08, 0.04, 0.04


def terms(view: View) -> tuple[Term, ...]:
    """Files, the seventh rank and diagonals."""
    return (
        *_files(view),
        _doubled(view),
        _seventh(view),
        _diagonals(view),
    )


def _files(view: View) -> tuple[Term, ...]:
    rooks, queens = view.our(chess.ROOK), view.our(chess.QUEEN)
    free, theirs = ~filled_files(view.our_pawns), filled_files(view.their_pawns)
    opposed = filled_files(view.their(chess.ROOK))
    on_open, on_half = free & ~theirs, free & theirs
    weak = filled_down(view.their_pawns & ~view.their_pawn_attacks)
    open_worth = OPEN * count(rooks & on_open) - OPPOSED * count(rooks & on_open & opposed)
    open_worth = open_worth + QUEEN_PART * OPEN * count(queens & on_open & ~opposed)
    half_worth = HALF_OPEN * count(rooks & on_half) + WEAK_AHEAD * count(rooks & on_half & weak)
    half_worth = half_worth + QUEEN_PART * HALF_OPEN * count(queens & on_half)
    return (
        Term("open-file", open_worth, (rooks | queens & ~opposed) & on_open, _tell_open),
        Term("half-open-file", half_worth, (rooks | queens) & on_half, _tell_half_open),
    )


def _doubled(view: View) -> Term:
    heavy = view.our(chess.ROOK) | view.our(chess.QUEEN)
    heavy &= ~filled_files(view.our_pawns)
    behind = filled_up(heavy << np.uint64(8)) | filled_down(heavy >> np.uint64(8))
    pair = heavy & behind & filled_files(view.our(chess.ROOK))
    return Term(
        "doubled",
        DOUBLED * (pair != EMPTY),
        pair,
        lambda reason: f"{reason.ours()} are doubled on the {file_names(reason.men)}",
    )


def _seventh(view: View) -> Term:
    rooks = view.our(chess.ROOK) & RANKS[6] & ~view.their_pawn_attacks
    has_targets = ((view.their(chess.KING) & RANKS[7]) != EMPTY) | ((view.their_pawns & RANKS[6]) != EMPTY)
    return Term(
        "seventh-rank",
        np.where(has_targets, SEVENTH * count(rooks), 0.0),
        masked(has_targets, rooks),
        lambda reason: f"{reason.ours()} {reason.choose('stands', 'stand')} on the seventh rank",
    )


def _diagonals(view: View) -> Term:
    bishops = view.our_men_of[chess.BISHOP]
    row, square = bishops.row, bishops.square
    reach = bishop_reach(square, view.boards.pawns[row])
    long = count(reach & THEIR_HALF & ~view.their_pawns[row]) >= 4
    worth = DIAGONAL * long + AT_KING * (long & ((reach & view.their_king_zone[row]) != EMPTY))
    return Term(
        "diagonals",
        summed(row, worth, len(view)),
        united(row, np.where(long, BIT[square], EMPTY), len(view)),
        lambda reason: (
            f"{reason.ours()} {reason.choose('has', 'have')} a diagonal clear of pawns into "
            f"{reason.opponent}'s half"
        ),
    )


def _tell_open(reason: Reason) -> str:
    verb = reason.choose("stands", "stand")
    return f"{reason.ours()} {verb} on the open {file_names(reason.men)}"


def _tell_half_open(reason: Reason) -> str:
    verb = reason.choose("stands", "stand")
    return f"{reason.ours()} {verb} on the half-open {file_names(reason.men)}"
