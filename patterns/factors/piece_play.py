"""Piece play: mobility to safe squares, loose, pinned, trapped and sidelined men, outposts, bad bishops, harmony."""

from __future__ import annotations

import chess
import numpy as np

from patterns.bitboards import (
    BIT,
    DARK,
    EMPTY,
    FILES,
    LIGHT,
    RANKS,
    SOUTH,
    Bitboards,
    count,
    pawn_attacks_up,
    shifted,
)
from patterns.factors.term import Term, gathered, lead, only, other_side, summed
from patterns.view import View

MOBILITY = {chess.KNIGHT: 0.1, chess.BISHOP: 0.08, chess.ROOK: 0.045, chess.QUEEN: 0.025}
"""Pawns a safe square."""
RIM = FILES[0] | FILES[7]


def terms(view: View) -> tuple[Term, ...]:
    """Reasons about our own pieces."""
    men = view.our_men
    pieces = men.only((men.kind > chess.PAWN) & (men.kind < chess.KING))
    row, square, kind = pieces.row, pieces.square, pieces.kind
    safe = ~view.us & ~view.their_pawn_attacks
    lesser = view.their_attacks_of[chess.KNIGHT] | view.their_attacks_of[chess.BISHOP]
    room = pieces.attacks & safe[row]
    rook_room = room & ~lesser[row]
    queen_room = rook_room & ~view.their_attacks_of[chess.ROOK][row]
    room = np.where(kind == chess.ROOK, rook_room, np.where(kind == chess.QUEEN, queen_room, room))
    squares = count(room)
    weights = np.array([0.0, 0.0, *MOBILITY.values(), 0.0])
    mobility = summed(row, weights[kind] * np.minimum(squares, 14), len(view))
    few = (squares <= 1) & (kind != chess.QUEEN)
    stuck = gathered(row, np.where(few, BIT[square], EMPTY), len(view))
    at = BIT[square]
    return (
        Term(
            "mobility",
            lead(mobility, other_side(mobility)),
            view.us & ~view.boards.pawns & ~view.boards.kings,
            lambda reason: f"{reason.name}'s pieces have more safe squares to go to",
        ),
        Term(
            "stuck",
            -0.15 * count(stuck),
            stuck,
            lambda reason: f"{reason.ours()} {reason.choose('has', 'have')} hardly a safe square to go to",
        ),
        *_outposts(view),
        _bad_bishops(view),
        _loose(view),
        _pinned(view),
        _rim(view, row, at, kind, squares),
        _harmony(view),
    )


def _outposts(view: View) -> tuple[Term, ...]:
    ranks = RANKS[3] | RANKS[4] | RANKS[5]
    held = view.our_pawn_attacks & ~view.their_pawn_span & ranks
    knights, bishops = view.our(chess.KNIGHT) & held & ~RIM, view.our(chess.BISHOP) & held & ~RIM
    return (
        Term(
            "outpost",
            0.35 * count(knights) + 0.2 * count(bishops),
            knights | bishops,
            lambda reason: (
                f"{reason.ours()} {reason.choose('stands on an outpost', 'stand on outposts')}"
                " that no pawn can attack"
            ),
        ),
    )


def _bad_bishops(view: View) -> Term:
    bishops = view.our(chess.BISHOP)
    fixed = view.our_pawns & shifted(view.occupied, SOUTH)
    worth, bad = np.zeros(len(view)), np.zeros(len(view), dtype=np.uint64)
    for colour in (LIGHT, DARK):
        hinder = count(view.our_pawns & colour) + count(
            fixed & colour & (FILES[2] | FILES[3] | FILES[4] | FILES[5])
        )
        inside = bishops & colour & ~pawn_attacks_up(view.our_pawns)
        is_bad = (hinder >= 5) & (inside != EMPTY)
        worth += np.where(is_bad, 0.06 * (hinder - 3), 0.0)
        bad |= only(is_bad, inside)
    return Term(
        "bad-bishop",
        -worth,
        bad,
        lambda reason: f"{reason.ours()} {reason.choose('is', 'are')} hemmed in by pawns of the same colour",
    )


def _loose(view: View) -> Term:
    pieces = view.us & ~view.boards.pawns & ~view.boards.kings
    attacked = pieces & view.their_attacks & ~view.our_attacks
    by_pawn = pieces & view.their_pawn_attacks
    loose = attacked | by_pawn
    return Term(
        "loose",
        -(0.2 * count(attacked) + 0.3 * count(by_pawn)),
        loose,
        lambda reason: (
            f"{reason.ours()} {reason.choose('is', 'are')} attacked and not safe where "
            f"{reason.choose('it stands', 'they stand')}"
        ),
    )


def _pinned(view: View) -> Term:
    pinned = view.our_pinned & ~view.boards.pawns
    return Term(
        "pinned",
        -0.15 * count(pinned),
        pinned,
        lambda reason: f"{reason.ours()} {reason.choose('is', 'are')} pinned to the king",
    )


def _rim(view: View, row: Bitboards, at: Bitboards, kind: Bitboards, squares: Bitboards) -> Term:
    aside = (kind == chess.KNIGHT) & ((at & (RIM | RANKS[0])) != EMPTY) & (squares <= 3)
    return Term(
        "sidelined",
        summed(row, np.where(aside, -0.12, 0.0), len(view)),
        gathered(row, np.where(aside, at, EMPTY), len(view)),
        lambda reason: f"{reason.ours()} {reason.choose('stands', 'stand')} aside",
    )


def _harmony(view: View) -> Term:
    pieces = view.us & ~view.boards.pawns & ~view.boards.kings
    guarded = count(pieces & view.our_attacks).astype(np.float64)
    return Term(
        "harmony",
        0.05 * lead(guarded, other_side(guarded)),
        pieces & view.our_attacks,
        lambda reason: f"{reason.name}'s pieces guard each other better",
    )
