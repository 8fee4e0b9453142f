"""Material: men by value, the bishop pair, and the imbalances that plain values do not show.

Values after Larry Kaufman, "The Evaluation of Material Imbalances" (Chess Life, 1999; from memory): pawn 1,
knight and bishop 3 1/4, rook 5, queen 9 3/4, the bishop pair half a pawn; a knight gains and a rook loses
with every pawn of its own above five. That a bishop counts a little more than a knight is our own fit.
"""

from __future__ import annotations

from collections.abc import Mapping

import chess
import numpy as np

from patterns.boards.bitboards import DARK, EMPTY, LIGHT, count
from patterns.boards.view import View
from patterns.factors.term import Pawns, Reason, Term, lead, masked, other_side
from patterns.words.wording import amount, listed, squares

VALUES = {chess.PAWN: 1.0, chess.KNIGHT: 3.25, chess.BISHOP: 3.35, chess.ROOK: 5.0, chess.QUEEN: 9.75}
PAIR = 0.5
OPEN_PAIR = 0.02
"""What the pair gains for every pawn fewer than ten on the board (and loses for every pawn more)."""
KNIGHT_PER_PAWN, ROOK_PER_PAWN = 0.06, 0.14
SEVERAL_PIECES = 0.25
"""For each piece more than the other side has, up to two, if that side has a queen instead."""
NO_PAWNS, OPPOSITE_BISHOPS, FEW_PAWNS = 0.7, 0.6, 0.35
"""The part of a small lead that endgame knowledge takes away (common practice): if the side has no pawn
of its own, if each side has one bishop of opposite colours and no more, if six pawns or fewer are left."""


Counts = Mapping[int, Pawns]


def terms(view: View) -> tuple[Term, ...]:
    """Men, bishop pair, pawns behind the pieces, pieces against a queen, leads that are hard to win with."""
    ours = {kind: count(view.our(kind)).astype(np.float64) for kind in VALUES}
    theirs = {kind: other_side(number) for kind, number in ours.items()}
    total = np.sum([worth * ours[kind] for kind, worth in VALUES.items()], axis=0)
    surplus = total - other_side(total)
    return (
        Term("men", np.maximum(0.0, surplus), view.us & ~view.boards.kings, _tell_men),
        _bishop_pair(view, ours, theirs),
        _pawns_behind(view, ours, theirs),
        _pieces_for_queen(view, ours, theirs),
        _drawn_out(view, ours, -surplus),
    )


def _bishop_pair(view: View, ours: Counts, theirs: Counts) -> Term:
    bishops = view.our(chess.BISHOP)
    pair = ((bishops & LIGHT) != EMPTY) & ((bishops & DARK) != EMPTY)
    alone = pair & ~other_side(pair)
    worth = PAIR + OPEN_PAIR * (10 - ours[chess.PAWN] - theirs[chess.PAWN])
    return Term("bishop-pair", np.where(alone, worth, 0.0), masked(alone, bishops), _tell_pair)


def _pawns_behind(view: View, ours: Counts, theirs: Counts) -> Term:
    per_pawn = KNIGHT_PER_PAWN * ours[chess.KNIGHT] - ROOK_PER_PAWN * ours[chess.ROOK]
    correction = per_pawn * np.clip(ours[chess.PAWN] - 5, -3, 3)
    # Only if the pieces differ. With equal pieces it would count the pawns twice.
    differ = (ours[chess.KNIGHT] != theirs[chess.KNIGHT]) | (ours[chess.ROOK] != theirs[chess.ROOK])
    worth = np.where(differ, lead(correction, other_side(correction)), 0.0)
    return Term("pawns-behind", worth, view.us & (view.boards.knights | view.boards.rooks), _tell_behind)


def _pieces_for_queen(view: View, ours: Counts, theirs: Counts) -> Term:
    more = np.clip(view.our_piece_count - view.their_piece_count, 0, 2)
    flags = (ours[chess.QUEEN] == theirs[chess.QUEEN] - 1) & (more > 0)
    men = masked(flags, view.us & ~view.boards.pawns & ~view.boards.kings)
    return Term("pieces-for-queen", np.where(flags, SEVERAL_PIECES * more, 0.0), men, _tell_pieces)


def _drawn_out(view: View, ours: Counts, deficit: Pawns) -> Term:
    """What a side that is slightly behind in material gets back because a draw is near."""
    bishops, pieces = view.our(chess.BISHOP), view.our_piece_count
    lone = (pieces == 1) & (bishops != EMPTY)
    light, their_light = (bishops & LIGHT) != EMPTY, (view.their(chess.BISHOP) & LIGHT) != EMPTY
    opposite = lone & other_side(lone) & (light != their_light) & (deficit <= 2.5)
    no_pawns = (other_side(ours[chess.PAWN]) == 0) & (deficit <= 3.5)
    few = (ours[chess.PAWN] + other_side(ours[chess.PAWN]) <= 6) & (view.middlegame < 0.35) & (deficit <= 1.5)
    part = np.max([NO_PAWNS * no_pawns, OPPOSITE_BISHOPS * opposite, FEW_PAWNS * few], axis=0)
    return Term("drawn-out", part * np.maximum(0.0, deficit), view.us & ~view.boards.pawns, _tell_drawn_out)


def _tell_men(reason: Reason) -> str:
    board = reason.board
    gaps = {
        kind: len(board.pieces(kind, reason.side)) - len(board.pieces(kind, not reason.side))
        for kind in VALUES
    }
    swap = ""
    if gaps[chess.KNIGHT] * gaps[chess.BISHOP] < 0:
        number = min(abs(gaps[chess.KNIGHT]), abs(gaps[chess.BISHOP]))
        ours = chess.KNIGHT if gaps[chess.KNIGHT] > 0 else chess.BISHOP
        theirs = chess.BISHOP if ours == chess.KNIGHT else chess.KNIGHT
        gaps[ours] -= number
        gaps[theirs] += number
        swap = f", with {amount(number, ours)} for {amount(number, theirs)}"
    more = [amount(gaps[kind], kind) for kind in sorted(VALUES, reverse=True) if gaps[kind] > 0]
    fewer = [amount(-gaps[kind], kind) for kind in sorted(VALUES, reverse=True) if gaps[kind] < 0]
    if fewer:
        return f"{reason.name} has {listed(more)} for {listed(fewer)}{swap}"
    if not more:
        return f"{reason.name} has {swap.removeprefix(', with ')}"
    return f"{reason.name} is ahead by {listed(more)}{swap}"


def _tell_pair(reason: Reason) -> str:
    return f"{reason.name} has the bishop pair ({squares(reason.men)}), {reason.opponent} has not"


def _tell_behind(reason: Reason) -> str:
    ours, theirs = (len(reason.board.pieces(chess.PAWN, side)) for side in (reason.side, not reason.side))
    return (
        f"The pawns left ({reason.name} {ours}, {reason.opponent} {theirs}) suit {reason.name}'s pieces"
        " better: knights gain with many pawns, rooks with few"
    )


def _tell_pieces(reason: Reason) -> str:
    return f"{reason.ours()} outnumber {reason.opponent}'s pieces: a queen alone cannot guard everything"


def _tell_drawn_out(reason: Reason) -> str:
    if not reason.board.pieces(chess.PAWN, not reason.side):
        return f"{reason.opponent} is ahead but has no pawn left to win with"
    bishops = reason.board.pieces(chess.BISHOP, chess.WHITE) | reason.board.pieces(chess.BISHOP, chess.BLACK)
    men = [square for square in chess.SQUARES if (reason.board.piece_type_at(square) or 0) in range(2, 6)]
    if len(bishops) == len(men) == 2:
        names = squares(bishops)
        return f"Bishops of opposite colours ({names}) help {reason.name}, who is behind, to hold"
    pawns = chess.popcount(reason.board.pawns)
    return f"With so few pawns left ({pawns}) {reason.name}, who is behind, has good chances to hold"
