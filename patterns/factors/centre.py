"""Centre: pawns and pieces on d4, e4, d5 and e5.

A pawn in the centre looks like an asset. It is one only if it stands firm; if not, it is a target, and counts
as one. After Nimzowitsch, My System, and Pachman, Modern Chess Strategy (from memory); the count is our own.
"""

from __future__ import annotations

import chess
import numpy as np

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
from patterns.boards.exchange import can_win, loses_nothing
from patterns.boards.grouping import united
from patterns.boards.view import View, reversed_sides
from patterns.factors.term import Reason, Term

FOURTH, FIFTH, ABREAST = 0.12, 0.15, 0.06
"""With all pieces on: a firm pawn on its fourth or fifth rank, two abreast."""
TARGET = 0.1
"""Against us: a centre pawn that is a target."""
PIECE = 0.1
"""A minor piece in the centre."""


def terms(view: View) -> tuple[Term, ...]:
    """Centre pawns, firm or targets; pieces in the centre."""
    early = view.middlegame
    pawns = view.our_pawns & CENTRE_SQUARES
    target = _targets(view, pawns)
    firm = pawns & ~target
    worth = FOURTH * count(firm & RANKS[3]) + FIFTH * count(firm & RANKS[4])
    worth = worth + ABREAST * (count(firm & RANKS[3]) == 2)
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
        Term("targets", -early * TARGET * count(target), target, _tell_targets),
        Term(
            "pieces",
            early * PIECE * count(pieces),
            pieces,
            lambda reason: f"{reason.ours()} {reason.choose('stands', 'stand')} in the centre",
        ),
    )


def _targets(view: View, pawns: Bitboards) -> Bitboards:
    """Pawns that are pinned, can be won by exchange, or fall to a pawn that hits them."""
    found = pawns & view.our_pinned
    row, square = exploded(pawns & view.their_attacks & ~found)
    falls = can_win(view.boards.take(row), square, "them")
    found = found | united(row[falls], BIT[square[falls]], len(view))
    return found | _hit_by_levers(view, pawns & ~found)


def _hit_by_levers(view: View, pawns: Bitboards) -> Bitboards:
    row, square = exploded(pawns)
    levers = pawn_attacks_up(BIT[square]) & view.swapped(view.our_pawn_pushes)[row]
    pawn, lever = exploded(levers)
    row, square = row[pawn], square[pawn]
    boards = view.boards.take(row)
    steps = np.where((boards.pawns & boards.them & BIT[lever + 8]) != EMPTY, 8, 16)
    after = reversed_sides(reversed_sides(boards).moved(lever + steps ^ 56, lever ^ 56))
    fatal = can_win(after, square, "them") & ~loses_nothing(after, square, lever)
    return united(row[fatal], BIT[square[fatal]], len(view))


def _tell_targets(reason: Reason) -> str:
    stands = reason.choose("stands in the centre but is a target", "stand in the centre but are targets")
    return f"{reason.ours()} {stands}"
