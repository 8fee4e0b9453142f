"""Space: room behind one's own pawns, reach beyond the middle, and pawns that have crossed it.

Room: squares behind a side's foremost pawn on each file (its ranks 2 to 4) that no enemy pawn attacks.
Reach: squares beyond the middle that a side's pawns, minor pieces and rooks attack and no enemy pawn guards.
A queen that is out there holds nothing: she is chased. Source: common practice.
"""

from __future__ import annotations

from collections.abc import Callable

import chess
import numpy as np

from patterns.boards.bitboards import CENTRE, KINGSIDE, QUEENSIDE, THEIR_HALF, count
from patterns.boards.view import View
from patterns.factors.term import Reason, Term, lead, other_side
from patterns.words.wording import squares

WINGS = {
    "queenside": QUEENSIDE,
    "centre": CENTRE,
    "kingside": KINGSIDE,
}
ROOM, REACH, CROSSED = 0.06, 0.025, 0.18
"""Pawns per square, and per pawn past the middle, with all pieces on the board: space needs men to use it."""


def terms(view: View) -> tuple[Term, ...]:
    """Room and reach on each wing, for the side that has more; pawns past the middle."""
    crowd = np.clip((view.our_piece_count + view.their_piece_count - 4) / 10, 0.0, 1.0)
    result = []
    attacks = [view.our_attacks_of[kind] for kind in range(chess.PAWN, chess.QUEEN)]
    reach = np.bitwise_or.reduce(attacks) & view.our_reach
    for wing, files in WINGS.items():
        for name, held, worth in (("room", view.our_room, ROOM), ("reach", reach, REACH)):
            mine = count(held & files).astype(np.float64)
            theirs = other_side(mine)
            result.append(
                Term(f"{name}-{wing}", crowd * worth * lead(mine, theirs), held & files, _tell(name, wing))
            )
    crossed = view.our_pawns & THEIR_HALF
    return (*result, Term("crossed", crowd * CROSSED * count(crossed), crossed, _tell_crossed))


def _tell_crossed(reason: Reason) -> str:
    return f"{reason.ours()} {reason.choose('has', 'have')} crossed the middle"


def _tell(name: str, wing: str) -> Callable[[Reason], str]:
    where = "in the centre" if wing == "centre" else f"on the {wing}"

    def tell(reason: Reason) -> str:
        if name == "room":
            held = f"{len(reason.men)} {reason.choose('square', 'squares')}"
            return f"{reason.name} has more room behind the pawns {where} ({held})"
        return f"{reason.name} reaches further past the middle {where} ({squares(reason.men)})"

    return tell
