"""More space: more room behind the pawns, and pieces that reach further, with men enough for it to matter.

Room: the squares of ranks 2 to 5 behind our foremost firm pawn on each file that no enemy pawn attacks and no
pawn of ours fills; firm is a pawn that no enemy pawn attacks and that has not run ahead to the seventh.
Reach: the squares past the middle that we attack and no enemy pawn guards. The rule: eight pieces or more are
on the board (kings and pawns apart), and we have at least four squares of room and three of reach more than
they.

A hit: the pawns on a5, c5 and e5 hold Black on the last ranks.

>>> from patterns.detect import find_in
>>> import chess
>>> hold = "r1bqrnk1/1p1nbppp/p1p1p3/P1PpP3/1P1P1P2/2NB1N2/3Q2PP/R1B2RK1 w - - 0 1"
>>> [(f.motif, f.side) for f in find_in([chess.Board(hold)], MOTIFS)[0]]
[('more-space', 'white')]

A near miss: the same pawns with seven pieces left; nobody is cramped.

>>> few = "3rb1k1/1p1n1ppp/p1p1p3/P1PpP3/1P1P1P2/2NB1N2/6PP/3R2K1 w - - 0 1"
>>> find_in([chess.Board(few)], MOTIFS)[0]
[]

Roles. Actors and targets: none. Squares: our squares of room on the wings (queenside a-c, centre, kingside
f-h) where we have two more of them or better.
"""

from __future__ import annotations

import numpy as np

from patterns.boards.bitboards import (
    CENTRE,
    EMPTY,
    KINGSIDE,
    QUEENSIDE,
    RANKS,
    SOUTH,
    Bitboards,
    Squares,
    count,
    filled_down,
    shifted,
)
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, findings
from patterns.words.wording import listed, side_name

PIECES, ROOM, REACH, ROOM_ON_A_WING = 8, 4, 3, 2
"""The least pieces on the board, and the least leads in squares."""
_WINGS = {"on the queenside": QUEENSIDE, "in the centre": CENTRE, "on the kingside": KINGSIDE}


def _lead(view: View, ours: Bitboards) -> Squares:
    """How many more squares we have than they."""
    mine = count(ours)
    return mine - np.roll(mine, len(view) // 2)


def more_space(view: View) -> Findings:
    """Positions in which we have clearly more space."""
    crowd = view.our_piece_count + view.their_piece_count >= PIECES
    firm = view.our_pawns & ~view.their_pawn_attacks & ~RANKS[6]
    room = view.our_room & filled_down(shifted(firm, SOUTH))
    flags = crowd & (_lead(view, room) >= ROOM) & (_lead(view, view.our_reach) >= REACH)
    squares = np.zeros(len(view), dtype=np.uint64)
    for files in _WINGS.values():
        here = room & files
        squares |= np.where(_lead(view, here) >= ROOM_ON_A_WING, here, EMPTY)
    rows = np.flatnonzero(flags)
    return findings(rows, None, None, squares[rows])


def _tell(instance: Instance) -> str:
    wings = [name for name, files in _WINGS.items() if int(files) & int(instance.squares)]
    return f"{side_name(instance.side)} has more space {listed(wings)}."


MOTIFS = (
    Motif(
        id="more-space",
        title="More space",
        definition=(
            "With eight pieces or more on the board, one side has clearly more squares behind its foremost"
            " pawns that no enemy pawn attacks, and attacks clearly more squares past the middle that no"
            " enemy pawn guards."
        ),
        source="Tarrasch, The Game of Chess (cramped positions); named from memory",
        find=more_space,
        tell=_tell,
    ),
)
