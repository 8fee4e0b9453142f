"""The majority on the wing: more pawns than they have, away from their king, that can make a passed pawn.

The rule. On one wing (files a-c or f-h) we have more pawns than they have, and they have at least one there.
Or we have more on that half of the board (files a-d or e-h), and neither a pawn nor the king of theirs is on
the next file beyond. Their king is on the other half, ours too while they have a queen. The position is
settled (`patterns.proof.quiet`). They can take none of our pawns there with profit. No two of our pawns on
these files stand on one file, and none is passed yet. And there is a candidate, a pawn of ours on these files
that can become passed:

- no pawn stands in front of it on its file, and no man of theirs directly in front of it, unless it is a
  rook, a poor blockader;
- it has at least as many helpers as there are pawns of theirs to stop it. Helpers are our pawns on the
  neighbouring files, level with it or behind it. The pawns that stop it are theirs on the neighbouring files
  ahead of it, the centre included.

A hit: three pawns against two, and the c-pawn has no pawn in front of it.

>>> import chess
>>> from patterns.detect import find_in
>>> majority = "2r3k1/pp3ppp/4pn2/8/2P5/1P3N2/P4PPP/3R2K1 w - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(majority)], MOTIFS)[0]]
[('wing-majority', ('a2', 'b3', 'c4'), ('a7', 'b7'), ('c5',))]

A near miss: with their king on that wing it is no distant majority.

>>> find_in([chess.Board(majority.replace("2r3k1/pp3", "1kr5/pp3"))], MOTIFS)[0]
[]

Roles. Actors: our pawns on these files. Targets: theirs. Squares: those in front of the
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
from patterns.boards.exchange import can_win
from patterns.boards.grouping import any_of, marked, united
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, TakenUp, findings
from patterns.proof.quiet import SETTLED, is_settled
from patterns.words import wording

_LEFT_HALF = FILES[0] | FILES[1] | FILES[2] | FILES[3]
_SIDES = (
    (QUEENSIDE, _LEFT_HALF, FILES[4]),
    (KINGSIDE, ~_LEFT_HALF, FILES[3]),
)
"""The three files of each wing, the half of the board that it belongs to, and the next file beyond."""


def wing_majority(view: View) -> Findings:
    """Majorities on either side of the board, at most one per side."""
    found = Findings.joined(*(_on_side(view, *side) for side in _SIDES))
    return found.only(is_settled(view, found.row))


def _on_side(view: View, wing: Bitboards, half: Bitboards, beyond: Bitboards) -> Findings:
    narrow, wide = _on_files(view, wing, half), _on_files(view, half, half)
    apart = ((view.their_pawns | view.their(chess.KING)) & beyond) == EMPTY
    return Findings.joined(narrow, wide.only((apart & ~marked(narrow.row, len(view)))[wide.row]))


def _on_files(view: View, files: Bitboards, half: Bitboards) -> Findings:
    ours, theirs = view.our_pawns, view.their_pawns
    unopposed = ours & files & ~filled_down(shifted(theirs | ours, SOUTH))
    flags = (view.their(chess.KING) & half) == EMPTY
    # With queens on, pawns before their own king stay at home.
    flags &= ((view.our(chess.KING) & half) == EMPTY) | (view.their(chess.QUEEN) == EMPTY)
    flags &= ((theirs & files) != EMPTY) & (count(ours & files) > count(theirs & files))
    flags &= (ours & files & filled_up(shifted(ours, NORTH))) == EMPTY
    flags &= (unopposed & ~view.their_pawn_span) == EMPTY
    candidates = unopposed & ~shifted(view.them & ~view.boards.rooks, SOUTH)
    row, square = exploded(np.where(flags, candidates, EMPTY))
    pawn = BIT[square]
    beside_or_behind = filled_down(shifted(pawn, EAST) | shifted(pawn, WEST))
    helpers = count(ours[row] & beside_or_behind)
    stoppers = count(theirs[row] & neighbour_files(pawn) & ~beside_or_behind)
    able = (helpers >= stoppers).nonzero()[0]
    squares = united(row[able], shifted(pawn[able], NORTH), len(view))
    rows = (squares != EMPTY).nonzero()[0]
    entry, square = exploded((ours & files & view.their_attacks)[rows])
    falls = can_win(view.boards.take(rows[entry]), square, "them")
    rows = rows[~any_of(entry, falls, len(rows))]
    return findings(rows, ours[rows] & files, theirs[rows] & files, squares[rows])


def _tell(instance: Instance) -> str:
    board, side = instance.board, instance.side
    wing = "queenside" if min(chess.square_file(pawn) for pawn in instance.actors) < 4 else "kingside"
    king = board.king(not side)
    assert king is not None
    back = -8 if side == chess.WHITE else 8
    candidates = " or ".join(wording.named(board, square + back) for square in sorted(instance.squares))
    return (
        f"{wording.side_name(side)} has {wording.number(len(instance.actors))} pawns against"
        f" {wording.number(len(instance.targets))} on the {wing}, away from {wording.named(board, king)};"
        f" {candidates} can become a passed pawn."
    )


MOTIFS = (
    Motif(
        id="wing-majority",
        title="Majority on the wing",
        definition=(
            "On the wing away from the enemy king we have more pawns than they have, none of them doubled"
            " or passed. One of them has no pawn in front of it and at least as many helpers beside or"
            " behind it as there are enemy pawns to stop it, so that it can become a passed pawn." + SETTLED
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
