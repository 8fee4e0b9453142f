"""Centre: pawns and pieces on d4, e4, d5 and e5.

A pawn in the centre looks like an asset. It may be a target, and then it counts as one. It is firm if a
pawn guards it, or nothing attacks it and a pawn can come to guard it; unless it or this guard is pinned to
the queen, it is the base of a chain that they hit, or it cannot advance and a lever makes it take or fall.
It is a target if it is pinned to its king, can be won by exchange, or a lever hits it while it is pinned to
the queen. Others only stand there. After Nimzowitsch, My System, and Pachman, Modern Chess Strategy (from
memory); the count is our own.
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
    count,
    exploded,
    pawn_attacks_up,
)
from patterns.boards.exchange import VALUES, Binding, can_win
from patterns.boards.grouping import united
from patterns.boards.positions import Positions
from patterns.boards.pressure import bearing
from patterns.boards.queen_pins import queen_pins
from patterns.boards.view import View, reversed_sides
from patterns.factors.term import Reason, Term, masked, men_by_kind
from patterns.motifs.base_of_the_chain import base_of_the_chain
from patterns.words.wording import either, listed, men

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
    bound = view.swapped(view.once(queen_pins).above(1, len(view)))
    pinned = pawns & view.our_pinned
    outnumbered = _outnumbered(view, pawns & ~pinned)
    helpless, levers = _levers(view, pawns & bound & ~pinned & ~outnumbered)
    target = pinned | outnumbered | helpless
    fixed = pawns & view.occupied >> np.uint64(8)
    takes_or_falls, _ = _levers(view, pawns & fixed)
    by_pawns = pawn_attacks_up(view.our_pawns & ~bound)
    guarded = by_pawns | view.our_pawn_span & ~view.their_attacks
    firm = pawns & guarded & ~bound & ~target & ~takes_or_falls & ~_bases(view)
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
        Term(
            "pinned-pawns",
            -early * TARGET * count(pinned | helpless),
            pinned | helpless | levers,
            _tell_pinned,
        ),
        Term("outnumbered-pawns", -early * TARGET * count(outnumbered), outnumbered, _tell_outnumbered),
        Term(
            "pieces",
            early * PIECE * count(pieces),
            pieces,
            lambda reason: f"{reason.ours()} {reason.choose('stands', 'stand')} in the centre",
        ),
    )


def _outnumbered(view: View, pawns: Bitboards) -> Bitboards:
    """Those of the pawns that can be won by exchange.

    A man pinned to its queen takes no part where it would cost more than it takes: the pawn, or as a guard
    the cheapest man that takes the pawn.
    """
    row, square = exploded(pawns & view.their_attacks)
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
    return united(row[falls], BIT[square[falls]], len(view))


def _bases(view: View) -> Bitboards:
    found = base_of_the_chain(view)  # reported for the other side
    return view.swapped(united(found.row, found.targets, len(view)))


def _levers(view: View, pawns: Bitboards) -> tuple[Bitboards, Bitboards]:
    """Those of the pawns that a step of an enemy pawn makes take or fall, and the squares of these steps."""
    row, square = exploded(pawns)
    levers = pawn_attacks_up(BIT[square]) & view.swapped(view.our_pawn_pushes)[row]
    pawn, lever = exploded(levers)
    row, square = row[pawn], square[pawn]
    boards = view.boards.take(row)
    steps = np.where((boards.pawns & boards.them & BIT[lever + 8]) != EMPTY, 8, 16)
    after = reversed_sides(reversed_sides(boards).moved(lever + steps ^ 56, lever ^ 56))
    hit = can_win(after, square, "them")
    pawns_hit, from_squares = (united(row[hit], BIT[those[hit]], len(view)) for those in (square, lever))
    return pawns_hit, from_squares


def _targets(reason: Reason, pawns: chess.SquareSet) -> str:
    one = len(pawns) == 1
    stand = "stands in the centre but is a target" if one else "stand in the centre but are targets"
    return f"{reason.name}'s {men_by_kind(reason.board, pawns)} {stand}"


def _tell_pinned(reason: Reason) -> str:
    """Those pinned to the king, and those pinned to the queen that a lever hits."""
    pawns = reason.men & reason.board.occupied_co[reason.side]
    to_king = chess.SquareSet(pawn for pawn in pawns if reason.board.is_pinned(reason.side, pawn))
    told = [f"{_targets(reason, to_king)}: pinned to the king"] if to_king else []
    if helpless := pawns - to_king:
        pinned = "it, and it is" if len(helpless) == 1 else "them, and they are"
        come = f"a pawn can come to {either(reason.men - pawns)} and hit {pinned} pinned to the queen"
        told.append(f"{_targets(reason, helpless)}: {come}")
    return "; ".join(told)


def _tell_outnumbered(reason: Reason) -> str:
    board = reason.board
    boards = Positions.from_boards([board] * len(reason.men)).side_view(chess.WHITE)
    told = []
    for pawn, bear in zip(reason.men, bearing(boards, np.array([*reason.men])), strict=True):
        name = reason.choose("it", chess.square_name(pawn))
        theirs, ours = (int(bear) & board.occupied_co[side] for side in (not reason.side, reason.side))
        by, guards = (men(board, chess.SquareSet(those)) for those in (theirs, ours))
        told.append(f"{name} is under fire from {by} and guarded by {guards or 'nobody'}")
    return f"{_targets(reason, reason.men)}: {listed(told)}"
