"""Centre: pawns and pieces on d4, e4, d5 and e5.

A pawn in the centre looks like an asset. It may be a target, and then it counts as one. It is firm if a pawn
guards it, or nothing attacks it and a pawn can come to guard it; unless it or this guard is pinned to the
queen, it is the base of a chain that they hit, or it cannot advance and a lever makes it take or fall. Others
only stand there. After Nimzowitsch, My System, and Pachman, Modern Chess Strategy (from memory); the count is
our own.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.attacks import attackers
from patterns.boards.bitboards import (
    BIT,
    CENTRE_SQUARES,
    EMPTY,
    RANKS,
    Bitboards,
    Flags,
    count,
    exploded,
    pawn_attacks_up,
)
from patterns.boards.exchange import VALUES, Binding, can_win, loses_nothing
from patterns.boards.grouping import united
from patterns.boards.queen_pins import queen_pins
from patterns.boards.view import View, reversed_sides
from patterns.factors.term import Reason, Term, masked
from patterns.motifs.base_of_the_chain import base_of_the_chain

FOURTH, FIFTH = 0.12, 0.15
"""With all pieces on: a firm pawn on its fourth or fifth rank."""
STANDS = 0.06
"""A centre pawn that is neither firm nor a target."""
TARGET = 0.1
"""Against us: a centre pawn that is a target."""
PIECE = 0.1
"""A minor piece in the centre."""


def terms(view: View) -> tuple[Term, ...]:
    """Centre pawns: firm ones, targets and others. Pieces in the centre."""
    early = view.middlegame
    pawns = view.our_pawns & CENTRE_SQUARES
    takes_or_falls, falls = _levers(view, pawns)
    target = _weak(view, pawns) | falls
    fixed = pawns & view.occupied >> np.uint64(8)
    bound = view.swapped(view.once(queen_pins).above(1, len(view)))
    by_pawns = pawn_attacks_up(view.our_pawns & ~bound)
    guarded = by_pawns | view.our_pawn_span & ~view.their_attacks
    firm = pawns & guarded & ~bound & ~target & ~(fixed & takes_or_falls) & ~_bases(view)
    others = pawns & ~target & ~firm
    worth = FOURTH * count(firm & RANKS[3]) + FIFTH * count(firm & RANKS[4])
    pieces = (view.our(chess.KNIGHT) | view.our(chess.BISHOP)) & CENTRE_SQUARES
    row, square = exploded(pieces)
    stays = ~can_win(view.boards.take(row), square, "them")
    pieces = united(row[stays], BIT[square[stays]], len(view))
    return (
        Term(
            "firm-pawns",
            early * worth,
            firm,
            lambda reason: f"{reason.ours()} {reason.choose('stands', 'stand')} firm in the centre",
        ),
        Term(
            "other-pawns",
            early * STANDS * count(others),
            others,
            lambda reason: f"{reason.ours()} {reason.choose('stands', 'stand')} in the centre",
        ),
        Term("targets", -early * TARGET * count(target), target, _tell_targets),
        Term(
            "pieces",
            early * PIECE * count(pieces),
            pieces,
            lambda reason: f"{reason.ours()} {reason.choose('stands', 'stand')} in the centre",
        ),
    )


def _weak(view: View, pawns: Bitboards) -> Bitboards:
    """Pawns that are pinned to the king or can be won by exchange.

    A man pinned to its queen takes no part where it would cost more than it takes: the pawn, or as a guard
    the cheapest man that takes the pawn.
    """
    found = pawns & view.our_pinned
    row, square = exploded(pawns & view.their_attacks & ~found)
    boards, pins = view.boards.take(row), view.once(queen_pins)
    idle = pins.above(1, len(view))[row]
    by = attackers(boards, square) & boards.them & ~idle
    # Of these only pawns, minor pieces, rooks and queens can come first: a king never takes what is guarded.
    first = np.full(len(row), VALUES[chess.QUEEN])
    for kind in (chess.ROOK, chess.BISHOP, chess.KNIGHT, chess.PAWN):
        first[(by & view.their(kind)[row]) != EMPTY] = VALUES[kind]
    for gain in set(VALUES[chess.PAWN : chess.KING].tolist()):
        idle |= masked(first == gain, view.swapped(pins.above(gain, len(view)))[row])
    falls = can_win(boards, square, "them", Binding.of(len(row), idle=idle))
    return found | united(row[falls], BIT[square[falls]], len(view))


def _bases(view: View) -> Bitboards:
    found = base_of_the_chain(view)  # reported for the other side
    return view.swapped(united(found.row, found.targets, len(view)))


def _levers(view: View, pawns: Bitboards) -> tuple[Bitboards, Bitboards]:
    """Pawns that a step of an enemy pawn makes take or fall, and those of them that cannot take."""
    row, square = exploded(pawns)
    levers = pawn_attacks_up(BIT[square]) & view.swapped(view.our_pawn_pushes)[row]
    pawn, lever = exploded(levers)
    row, square = row[pawn], square[pawn]
    boards = view.boards.take(row)
    steps = np.where((boards.pawns & boards.them & BIT[lever + 8]) != EMPTY, 8, 16)
    after = reversed_sides(reversed_sides(boards).moved(lever + steps ^ 56, lever ^ 56))
    hit = can_win(after, square, "them")
    takes = loses_nothing(after, square, lever)

    def where(flags: Flags) -> Bitboards:
        return united(row[flags], BIT[square[flags]], len(view))

    return where(hit), where(hit & ~takes)


def _tell_targets(reason: Reason) -> str:
    stands = reason.choose("stands in the centre but is a target", "stand in the centre but are targets")
    return f"{reason.ours()} {stands}"
