"""Initiative: the move, what it can threaten, checks and captures that must be answered, development, sieges."""

from __future__ import annotations

import chess
import numpy as np

from patterns.bitboards import (
    BIT,
    EMPTY,
    KNIGHT_STEPS,
    RANKS,
    Bitboards,
    bishop_reach,
    count,
    exploded,
    pawn_attacks_down,
    rook_reach,
)
from patterns.exchange import capture_gain
from patterns.factors.term import Pawns, Reason, Term, gathered, lead, other_side, summed
from patterns.view import View

MOVE = 0.15
CAPTURE_NOW, CAPTURE_NEXT = 0.7, 0.25
"""Part of an exchange gain that counts for the side to move, and for the side that must wait."""
TEMPO = 0.08
CHECK = 0.05
DEVELOPMENT = 0.12
BESIEGED_PAWN, BESIEGED_PIECE = 0.1, 0.2


def terms(view: View) -> tuple[Term, ...]:
    """The move, winning captures, tempo threats, checks, development, besieged men."""
    return (
        Term(
            "move",
            np.where(view.boards.our_move, MOVE, 0.0),
            np.zeros(len(view), dtype=np.uint64),
            lambda reason: f"{reason.name} is to move",
        ),
        _captures(view),
        _tempo(view),
        _checks(view),
        _development(view),
        _besieged(view),
    )


def _captures(view: View) -> Term:
    targets = view.them & ~view.boards.kings & view.our_attacks
    cheaper = view.our_pawn_attacks & ~view.their_pawns
    minors = view.our_attacks_of[chess.KNIGHT] | view.our_attacks_of[chess.BISHOP]
    cheaper |= minors & (view.boards.rooks | view.boards.queens)
    cheaper |= view.our_attacks_of[chess.ROOK] & view.boards.queens
    doubtful = targets & (
        cheaper | ~view.their_attacks | view.our_double_attacks & ~view.their_double_attacks
    )
    rows, squares = exploded(doubtful)
    gain = capture_gain(view.boards.take(rows), squares, "us").astype(np.float64)
    wins = np.flatnonzero(gain > 0)
    rows, squares, gain = rows[wins], squares[wins], gain[wins]
    best, total = np.zeros(len(view)), summed(rows, gain, len(view))
    np.maximum.at(best, rows, gain)
    # The side that waits sees one threat parried; the second is what it will really get.
    worth = np.where(
        view.boards.our_move, CAPTURE_NOW * best, CAPTURE_NEXT * (total - best) + 0.1 * np.sqrt(best)
    )
    return Term("captures", worth, gathered(rows, BIT[squares], len(view)), _tell_captures)


def _tempo(view: View) -> Term:
    safe = ~view.us & ~view.their_pawn_attacks & (~view.their_attacks | view.our_double_attacks)
    attacks = view.our_attacks_of
    pieces = view.them & ~view.boards.pawns & ~view.boards.kings
    heavy = view.their(chess.ROOK) | view.their(chess.QUEEN)
    hits = [
        view.our_pawn_pushes
        & pawn_attacks_down(pieces & ~view.our_pawn_attacks)
        & (~view.their_attacks | view.our_attacks)
        & ~view.their_pawn_attacks
    ]
    rows, squares = exploded(heavy)
    knights = gathered(rows, KNIGHT_STEPS[squares], len(view))
    bishops = gathered(rows, bishop_reach(squares, view.occupied[rows]), len(view))
    rows, squares = exploded(view.their(chess.QUEEN))
    rooks = gathered(rows, rook_reach(squares, view.occupied[rows]), len(view))
    hits += [knights & attacks[chess.KNIGHT] & safe, bishops & attacks[chess.BISHOP] & safe]
    hits.append(rooks & attacks[chess.ROOK] & safe)
    number = sum((np.minimum(2, count(hit)) for hit in hits), np.zeros(len(view)))
    squares_hit = np.bitwise_or.reduce(np.array(hits), axis=0)
    waiting = np.where(view.boards.our_move, 1.0, 0.5)
    return Term(
        "tempo",
        TEMPO * waiting * np.minimum(4, number),
        squares_hit,
        lambda reason: f"{reason.name} can gain time by attacking a bigger man from {_names(reason)}",
    )


def _checks(view: View) -> Term:
    straight = rook_reach(view.their_king, view.occupied)
    diagonal = bishop_reach(view.their_king, view.occupied)
    attacks = view.our_attacks_of
    checks: Bitboards = KNIGHT_STEPS[view.their_king] & attacks[chess.KNIGHT]
    checks |= diagonal & (attacks[chess.BISHOP] | attacks[chess.QUEEN])
    checks |= straight & (attacks[chess.ROOK] | attacks[chess.QUEEN])
    checks &= ~view.us & ~view.their_pawn_attacks & (~view.their_attacks | view.our_double_attacks)
    worth = CHECK * np.minimum(3, count(checks)) * np.where(view.boards.our_move, 1.0, 0.5)
    return Term("checks", worth, checks, lambda reason: f"{reason.name} has checks on {_names(reason)}")


def _development(view: View) -> Term:
    home = (view.our(chess.KNIGHT) & (BIT[chess.B1] | BIT[chess.G1])) | (
        view.our(chess.BISHOP) & (BIT[chess.C1] | BIT[chess.F1])
    )
    behind = count(home) + 0.5 * ((view.our(chess.KING) & BIT[chess.E1]) != EMPTY)
    early: Pawns = np.clip((view.middlegame - 0.5) * 2.5, 0.0, 1.0)
    worth = DEVELOPMENT * early * lead(other_side(behind), behind)
    lagging = view.swapped(home)
    lagging |= view.their(chess.KING) & BIT[chess.E8]
    return Term(
        "development",
        worth,
        lagging,
        lambda reason: f"{reason.name} leads in development: {reason.theirs()} still at home",
    )


def _besieged(view: View) -> Term:
    men = view.them & ~view.boards.kings & ~view.boards.queens
    pressed = view.our_attacks & (view.our_double_attacks & ~view.their_double_attacks)
    pressed &= men & ~view.their_pawn_attacks
    pressed |= men & view.our_attacks & ~view.their_attacks
    pawns = pressed & view.boards.pawns & ~RANKS[7]
    worth = BESIEGED_PAWN * count(pawns) + BESIEGED_PIECE * count(pressed & ~pawns)
    return Term(
        "besieged",
        worth,
        pressed,
        lambda reason: f"{reason.name} besieges {reason.theirs()}",
    )


def _tell_captures(reason: Reason) -> str:
    verb = "can win material on" if reason.board.turn == reason.side else "threatens to win material on"
    return f"{reason.name} {verb} {_names(reason)}"


def _names(reason: Reason) -> str:
    from patterns.wording import squares

    return squares(reason.men)
