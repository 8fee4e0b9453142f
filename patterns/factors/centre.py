"""Centre: pawns and pieces on d4, e4, d5 and e5, other men that bear on them, and how stable the pawns are.

After Nimzowitsch, My System, and Pachman, Modern Chess Strategy (from memory).
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.bitboards import BIT, EMPTY, FILES, RANKS, count, pawn_attacks_down
from patterns.boards.view import View
from patterns.factors.term import Pawns, Term, lead, masked, other_side
from patterns.words.wording import squares

CENTRE = BIT[chess.D4] | BIT[chess.E4] | BIT[chess.D5] | BIT[chess.E5]
FOURTH, FIFTH, ABREAST, SUPPORT = 0.25, 0.3, 0.12, 0.05
"""With all pieces on: a stable pawn on its fourth or fifth rank, two abreast, a pawn on c4, d3, e3 or f4."""
TARGET, LEVER, NO_PAWN = 0.1, 0.05, 0.15
"""Against us: a centre pawn that is a target, one that a pawn can come to attack, no pawn on either file."""
PIECE, CONTROL = 0.12, 0.03
"""A minor piece in the centre; a unit of control (a square attacked by one kind of man; pawns count two)."""
PER_KIND = {chess.PAWN: 2, chess.KNIGHT: 1, chess.BISHOP: 1, chess.ROOK: 1, chess.QUEEN: 1}


def terms(view: View) -> tuple[Term, ...]:
    """Centre pawns, stable or targets; what supports and undermines them; pieces in the centre; control."""
    early = view.middlegame
    pawns = view.our_pawns & CENTRE
    outnumbered = view.their_double_attacks & ~view.our_double_attacks & ~view.our_pawn_attacks
    target = pawns & (view.their_attacks & ~view.our_attacks | outnumbered)
    stable = pawns & ~target
    worth = FOURTH * count(stable & RANKS[3]) + FIFTH * count(stable & RANKS[4])
    worth = worth + ABREAST * (count(stable & RANKS[3]) == 2)
    behind = view.our_pawns & (BIT[chess.D3] | BIT[chess.E3] | BIT[chess.C4] | BIT[chess.F4])
    lever = stable & pawn_attacks_down(view.swapped(view.our_pawn_pushes)) & ~view.our_pawn_attacks
    pieces = (view.our(chess.KNIGHT) | view.our(chess.BISHOP)) & CENTRE & ~view.their_pawn_attacks
    control = _control(view)
    d_and_e = FILES[3] | FILES[4]
    none = ((view.our_pawns & d_and_e) == EMPTY) & ((view.their_pawns & d_and_e) != EMPTY)
    return (
        Term(
            "stable-pawns",
            early * worth,
            stable,
            lambda reason: f"{reason.ours()} {reason.choose('stands', 'stand')} firm in the centre",
        ),
        Term(
            "support",
            early * SUPPORT * count(behind),
            behind,
            lambda reason: f"{reason.ours()} {reason.choose('supports', 'support')} the centre",
        ),
        Term(
            "targets",
            -early * TARGET * count(target),
            target,
            lambda reason: f"{reason.ours()} in the centre {reason.choose('is a target', 'are targets')}",
        ),
        Term(
            "levers",
            -early * LEVER * count(lever),
            lever,
            lambda reason: f"{reason.opponent} can attack {reason.ours()} with a pawn",
        ),
        Term(
            "pieces",
            early * PIECE * count(pieces),
            pieces,
            lambda reason: f"{reason.ours()} {reason.choose('stands', 'stand')} in the centre",
        ),
        Term(
            "control",
            early * CONTROL * lead(control, other_side(control)),
            view.our_attacks & CENTRE,
            lambda reason: f"{reason.name} has more men bearing on {squares(reason.men)}",
        ),
        Term(
            "no-pawn",
            np.where(none, -NO_PAWN * early, 0.0),
            masked(none, view.their_pawns & d_and_e),
            lambda reason: f"{reason.name} has no pawn left on the d- and e-files, against {reason.theirs()}",
        ),
    )


def _control(view: View) -> Pawns:
    attacks = view.our_attacks_of
    control = np.zeros(len(view))
    for kind, weight in PER_KIND.items():
        control += weight * count(attacks[kind] & CENTRE)
    return control
