"""The majority on the wing: more pawns than they have, away from their king, that can make a passed pawn.

The rule. On one wing (files a-c or f-h) we have more pawns than they have, and they have at least one there.
Their king is on the other half of the board (files e-h or a-d). No two pawns of ours on the wing stand on one
file, and none is passed yet. And there is a candidate, a pawn of ours on the wing that can become passed:

- no pawn stands in front of it on its file, and no man of theirs directly in front of it;
- it has at least as many helpers as there are pawns of theirs to stop it. Helpers are our pawns on the
  neighbouring files, level with it or behind it. The pawns that stop it are theirs on the neighbouring files
  ahead of it, the centre included.

DOC

Roles. Actors: our pawns on the wing. Targets: their pawns on the wing. Squares: those in front of the
candidates.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.bitboards import (
    BIT,
    EAST,
    EMPTY,
    FILES,
    KINGSIDE,
    NORTH,
    QUEENSIDE,
    SOUTH,
    WEST,
    Bitboards,
    count,
    exploded,
    filled_down,
    filled_up,
    neighbour_files,
    shifted,
)
from patterns.boards.grouping import united
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, TakenUp, findings
from patterns.words import wording

_LEFT_HALF = FILES[0] | FILES[1] | FILES[2] | FILES[3]
_WINGS = (
    (QUEENSIDE, _LEFT_HALF),
    (KINGSIDE, ~_LEFT_HALF),
)
"""The files of each wing, and of the half of the board that it belongs to."""


def wing_majority(view: View) -> Findings:
    """Majorities on either wing, at most one per wing."""
    return Findings.joined(*(_on_wing(view, *wing) for wing in _WINGS))


def _on_wing(view: View, wing: Bitboards, far: Bitboards) -> Findings:
    ours, theirs = view.our_pawns, view.their_pawns
    ahead = filled_down(shifted(theirs | ours, SOUTH))
    unopposed = ours & wing & ~ahead
    flags = (view.their(chess.KING) & far) != EMPTY
    flags &= ((theirs & wing) != EMPTY) & (count(ours & wing) > count(theirs & wing))
    flags &= (ours & wing & filled_up(shifted(ours, NORTH))) == EMPTY
    flags &= (unopposed & ~view.their_pawn_span) == EMPTY
    candidates = unopposed & ~shifted(view.them, SOUTH)
    row, square = exploded(np.where(flags, candidates, EMPTY))
    pawn = BIT[square]
    level = filled_down(shifted(pawn, EAST) | shifted(pawn, WEST))
    helpers = count(ours[row] & level)
    stoppers = count(theirs[row] & neighbour_files(pawn) & ~level)
    able = (helpers >= stoppers).nonzero()[0]
    squares = united(row[able], shifted(pawn[able], NORTH), len(view))
    rows = (squares != EMPTY).nonzero()[0]
    return findings(rows, ours[rows] & wing, theirs[rows] & wing, squares[rows])


def _tell(instance: Instance) -> str:
    board, side = instance.board, instance.side
    wing = "queenside" if min(chess.square_file(pawn) for pawn in instance.actors) < 4 else "kingside"
    king = board.king(not side)
    assert king is not None
    back = -8 if side == chess.WHITE else 8
    candidates = wording.squares(square + back for square in instance.squares)
    return (
        f"{wording.side_name(side)} has {wording.number(len(instance.actors))} pawns against"
        f" {wording.number(len(instance.targets))} on the {wing}, away from {wording.named(board, king)}: a pawn"
        f" on {candidates} can become a passed pawn."
    )


MOTIFS = (
    Motif(
        id="wing-majority",
        title="Majority on the wing",
        definition=(
            "On the wing away from the enemy king we have more pawns than they have, none of them doubled or"
            " passed. One of them has no pawn in front of it and at least as many helpers beside or behind it"
            " as there are enemy pawns to stop it, so that it can become a passed pawn."
        ),
        source=(
            "Pachman, Modern Chess Strategy (the pawn majority); the unopposed pawn leads: Nimzowitsch, My"
            " System; both named from memory"
        ),
        find=wing_majority,
        tell=_tell,
        taken_up=TakenUp.ADVANCE,
    ),
)
