"""Centre: pawns and pieces on d4, e4, d5 and e5, who else bears on them, and whether the pawns are stable."""

from __future__ import annotations

import chess
import numpy as np

from patterns.bitboards import BIT, EMPTY, FILES, RANKS, count
from patterns.factors.term import Reason, Term, lead, only, other_side
from patterns.view import View

CENTRE = BIT[chess.D4] | BIT[chess.E4] | BIT[chess.D5] | BIT[chess.E5]
ON_CENTRE = {3: 0.25, 4: 0.35}
"""Worth of a centre pawn by its rank (from 0), our fourth and fifth."""


def terms(view: View) -> tuple[Term, ...]:
    """Centre pawns stable and unstable, pieces on the centre, control of it."""
    early = view.middlegame
    pawns = view.our_pawns & CENTRE
    undermined = pawns & view.their_pawn_attacks & ~view.our_pawn_attacks
    outnumbered = pawns & view.their_double_attacks & ~view.our_double_attacks & ~view.our_pawn_attacks
    target = undermined | outnumbered
    stable = pawns & ~target
    on_rank = sum(
        (worth * count(stable & RANKS[rank]) for rank, worth in ON_CENTRE.items()), np.zeros(len(view))
    )
    abreast = count(stable & RANKS[3]) == 2
    pieces = view.us & ~view.boards.pawns & ~view.boards.kings & CENTRE & ~view.their_pawn_attacks
    pieces &= ~view.boards.queens & ~view.boards.rooks & view.our_attacks
    weight = _control(view)
    return (
        Term("stable-pawns", early * (on_rank + 0.15 * abreast), stable, _tell_stable),
        Term("target-pawns", -early * 0.15 * count(target), target, _tell_target),
        Term(
            "pieces",
            early * 0.15 * count(pieces),
            pieces,
            lambda reason: f"{reason.ours()} {reason.choose('stands', 'stand')} in the centre",
        ),
        Term(
            "control",
            early * 0.06 * lead(weight, other_side(weight)),
            np.full(len(view), CENTRE),
            lambda reason: f"{reason.name} has more men bearing on d4, e4, d5 and e5",
        ),
        Term(
            "no-pawn",
            np.where((view.our_pawns & (FILES[3] | FILES[4])) == EMPTY, -0.2 * early, 0.0),
            only((view.our_pawns & (FILES[3] | FILES[4])) == EMPTY, np.full(len(view), CENTRE)),
            lambda reason: f"{reason.name} has no pawn left on the d- and e-files",
        ),
    )


def _control(view: View) -> np.typing.NDArray[np.float64]:
    attacks = view.our_attacks_of
    weight = 2.0 * count(view.our_pawn_attacks & CENTRE)
    for kind in (chess.KNIGHT, chess.BISHOP, chess.ROOK, chess.QUEEN):
        weight = weight + 1.0 * count(attacks[kind] & CENTRE)
    return weight


def _tell_stable(reason: Reason) -> str:
    verb = reason.choose("holds", "hold")
    return f"{reason.ours()} {verb} a place in the centre"


def _tell_target(reason: Reason) -> str:
    return f"{reason.ours()} in the centre {reason.choose('is a target', 'are targets')}"
