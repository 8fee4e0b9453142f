"""The weak square: a hole in their position that a minor piece of ours has, or reaches in one move.

The rule. A square on our ranks 5 and 6, on the files c to f or within two king steps of their king (never
on the rim). No pawn of theirs can ever guard it, although one still stands on its file or a neighbouring one.
Each side has two pieces or more. A pawn of ours guards it, and no minor piece of theirs does. Our knight or
bishop stands there. Or a knight of ours that is not yet on such a square can go there safely in one move.

A hit: the knight goes to d5, in front of the backward pawn.

>>> from patterns.detect import find_in
>>> hole = "2rq1rk1/1p2bppp/p2p4/4p3/4P3/1PN5/P1P2PPP/R2Q1RK1 w - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(hole)], MOTIFS)[0]]
[('weak-square', ('c3',), (), ('d5',))]

A near miss: with a knight on f6 instead of the bishop, d5 is guarded.

>>> find_in([chess.Board(hole.replace("1p2bppp/p2p4", "1p3ppp/p2p1n2"))], MOTIFS)[0]
[]

Roles. Actors: the pieces that stand on the square or can go there. Squares: the square, if it is empty.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.bitboards import (
    BIT,
    EMPTY,
    KNIGHT_STEPS,
    MIDDLE_FILES,
    RANKS,
    RIM_FILES,
    ZONE_2,
    Bitboards,
    exploded,
    filled_files,
    neighbour_files,
)
from patterns.boards.exchange import is_safe
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, TakenUp, findings
from patterns.words import wording

_NEAR_RANKS = (RANKS[4] | RANKS[5]) & ~RIM_FILES


def _weak(view: View) -> Bitboards:
    """The weak squares that we hold."""
    files = filled_files(view.their_pawns) | neighbour_files(view.their_pawns)
    weak = _NEAR_RANKS & (MIDDLE_FILES | ZONE_2[view.their_king]) & files & ~view.their_pawn_span
    minors = view.their_attacks_of[chess.KNIGHT] | view.their_attacks_of[chess.BISHOP]
    pieces_left = (view.our_piece_count >= 2) & (view.their_piece_count >= 2)
    return np.where(pieces_left, weak & view.our_pawn_attacks & ~minors, EMPTY)


def weak_square(view: View) -> Findings:
    """Weak squares that we have or can have, one instance each."""
    weak, knights = _weak(view), view.our(chess.KNIGHT)
    row, square = exploded(weak & (knights | view.our(chess.BISHOP)))
    knight_row, origin = exploded(knights & ~weak & ~view.our_pinned)
    which, destination = exploded(KNIGHT_STEPS[origin] & (weak & ~view.occupied)[knight_row])
    goes_row, origin = knight_row[which], origin[which]
    safe = is_safe(view.boards.take(goes_row), origin, destination)
    going = findings(goes_row, BIT[origin], squares=BIT[destination]).only(safe)
    return Findings.joined(findings(row, BIT[square]), going.merged(going.squares))


def _tell(instance: Instance) -> str:
    board = instance.board
    who = wording.men(board, instance.actors)
    if instance.squares:
        square = wording.squares(instance.squares)
        return wording.sentence(f"{who} can go to {square}, a square no enemy pawn can ever guard")
    return wording.sentence(f"{who} holds a square no enemy pawn can ever guard")


MOTIFS = (
    Motif(
        id="weak-square",
        title="Weak square",
        definition=(
            "No enemy pawn can ever guard a square in the enemy position (on the enemy's third or fourth"
            " rank, on the files c to f or by the king). A pawn of ours guards it, and no enemy minor piece"
            " does. A knight or bishop of ours stands on it, or a knight can safely go there at once."
        ),
        source="Steinitz (weak squares); Kmoch, Pawn Power in Chess; named from memory",
        find=weak_square,
        tell=_tell,
        taken_up=TakenUp.ENTRY,
    ),
)
