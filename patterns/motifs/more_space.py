"""More space: more room behind the pawns, pieces that reach further, and enough men for it to matter.

Room: the squares of ranks 2 to 5 behind our foremost firm pawn on each file that no enemy pawn attacks and no
pawn of ours occupies. A pawn is firm if no enemy pawn attacks it and it has not run ahead to the seventh
rank. Reach: the squares beyond the middle that we attack and no enemy pawn guards. The rule: at least eight
pieces (without kings and pawns) are on the board, and five pawns on either side, since no lone pawn gives
space where a wing is empty. The position is settled (`patterns.proof.quiet`). On one wing or in the centre
our lead in room is three squares or more, and two pawns of ours there or on the next file have reached our
fourth rank. And we have at least four squares of room and three of reach more than they have. Or our pawns
hold the centre: two or more of them stand on the fourth and fifth rank of the files c to f, no pawn of theirs
attacks one of ours on these files, and none has gone beyond its third rank; ten pieces or more are on the
board, both sides have lost a pawn, we have more room than they and not less reach. Or a pawn of ours on the
d- or e-file and our fifth rank, held up by a pawn of theirs, has two pawns of ours behind it that guard it;
none of theirs attacks it or has passed its fourth rank on these two files, ten pieces or more are on the
board, and our lead in room is three squares or more.

A hit: the pawns on a5, c5 and e5 hold Black on the last ranks.

>>> from patterns.detect import find_in
>>> import chess
>>> hold = "r1bqrnk1/1p1nbppp/p1p1p3/P1PpP3/1P1P1P2/2NB1N2/3Q2PP/R1B2RK1 w - - 0 1"
>>> [(f.motif, f.side) for f in find_in([chess.Board(hold)], MOTIFS)[0]]
[('more-space', 'white')]

A near miss: the same pawns with seven pieces left. No side is cramped.

>>> few = "3rb1k1/1p1n1ppp/p1p1p3/P1PpP3/1P1P1P2/2NB1N2/6PP/3R2K1 w - - 0 1"
>>> find_in([chess.Board(few)], MOTIFS)[0]
[]

Roles. Actors: the pawns that hold the centre or the chain, where this is the reason. Targets: none. Squares:
our squares of room on those wings (queenside a-c, centre, kingside f-h) where we have at least two more of
them, or those on the files c to f that the pawns hold.
"""

from __future__ import annotations

import numpy as np

from patterns.boards.bitboards import (
    ADVANCED_RANKS,
    CENTRE,
    EMPTY,
    FILES,
    KINGSIDE,
    QUEENSIDE,
    RANKS,
    SOUTH,
    Bitboards,
    Squares,
    count,
    filled_down,
    neighbour_files,
    pawn_attacks_down,
    shifted,
)
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, findings
from patterns.proof.quiet import SETTLED, is_settled
from patterns.words import wording
from patterns.words.wording import listed, side_name

PIECES, PAWNS, FRONT, ROOM, REACH, ROOM_ON_A_WING = 8, 5, 2, 4, 3, 2
"""The fewest pieces on the board, pawns on a side and in front on a wing; the smallest leads in squares."""
HOLDING, HELD_PIECES, ALL_PAWNS = 2, 10, 8
CHAIN, ROOM_OF_A_CHAIN = 3, 3
"""The fewest pawns that hold the centre, and pieces then. With eight pawns a side has just begun."""
_BROAD_CENTRE = FILES[2] | CENTRE | FILES[5]
_WINGS = {"on the queenside": QUEENSIDE, "in the centre": CENTRE, "on the kingside": KINGSIDE}


def _lead(view: View, ours: Bitboards) -> Squares:
    """How many more squares we have than they have."""
    mine = count(ours)
    return mine - np.roll(mine, len(view) // 2)


def _holding(view: View) -> Bitboards:
    """Our pawns that hold the centre while none of theirs stands beyond its third rank. Empty where not."""
    ours, theirs = view.our_pawns, view.their_pawns
    holding: Bitboards = ours & _BROAD_CENTRE & (RANKS[3] | RANKS[4])
    holds = (count(holding) >= HOLDING) & ((ours & _BROAD_CENTRE & view.their_pawn_attacks) == EMPTY)
    holds &= (theirs & ~(RANKS[5] | RANKS[6])) == EMPTY
    holds &= view.our_piece_count + view.their_piece_count >= HELD_PIECES
    fewer, more = np.minimum(count(ours), count(theirs)), np.maximum(count(ours), count(theirs))
    holds &= (fewer >= PAWNS) & (more < ALL_PAWNS)
    holds &= (_lead(view, view.our_room) > 0) & (_lead(view, view.our_reach) >= 0)
    return np.where(holds, holding, EMPTY)


def _wedge(view: View) -> Bitboards:
    """Our pawn chain with its head on the d- or e-file and our fifth rank, held up there. Empty where not."""
    ours, theirs = view.our_pawns, view.their_pawns
    head = ours & CENTRE & RANKS[4] & shifted(theirs & RANKS[5], SOUTH) & view.our_pawn_attacks
    head &= ~view.their_pawn_attacks
    chain: Bitboards = head | ours & RANKS[3] & pawn_attacks_down(head)
    holds = (count(chain) >= CHAIN) & (view.our_piece_count + view.their_piece_count >= HELD_PIECES)
    holds &= (theirs & CENTRE & (RANKS[0] | RANKS[1] | RANKS[2] | RANKS[3])) == EMPTY
    holds &= np.minimum(count(ours), count(theirs)) >= PAWNS
    holds &= _lead(view, view.our_room) >= ROOM_OF_A_CHAIN
    return np.where(holds, chain, EMPTY)


def more_space(view: View) -> Findings:
    """Positions in which we have clearly more space."""
    crowd = view.our_piece_count + view.their_piece_count >= PIECES
    crowd &= np.minimum(count(view.our_pawns), count(view.their_pawns)) >= PAWNS
    firm = view.our_pawns & ~view.their_pawn_attacks & ~RANKS[6]
    room = view.our_room & filled_down(shifted(firm, SOUTH))
    flags = crowd & (_lead(view, room) >= ROOM) & (_lead(view, view.our_reach) >= REACH)
    squares, widest = np.zeros(len(view), dtype=np.uint64), np.zeros(len(view), dtype=np.int64)
    for files in _WINGS.values():
        here = room & files
        # One pawn that has run ahead gives no space.
        front = view.our_pawns & ADVANCED_RANKS & (files | neighbour_files(files))
        lead = np.where(count(front) >= FRONT, _lead(view, here), 0)
        squares |= np.where(lead >= ROOM_ON_A_WING, here, EMPTY)
        widest = np.maximum(widest, lead)
    flags &= widest > ROOM_ON_A_WING
    wedge = _wedge(view)
    holding = np.where(flags, EMPTY, np.where(wedge != EMPTY, wedge, _holding(view)))
    squares = np.where(holding != EMPTY, room & _BROAD_CENTRE, squares)
    rows = np.flatnonzero(flags | (holding != EMPTY))
    rows = rows[is_settled(view, rows)]
    return findings(rows, holding[rows], None, squares[rows], (wedge != EMPTY)[rows])


def _tell(instance: Instance) -> str:
    if instance.actors:
        pawns = wording.men(instance.board, instance.actors)
        if instance.detail:
            return wording.sentence(f"the chain of {pawns} gives {side_name(instance.side)} more space")
        return wording.sentence(
            f"{pawns} hold the centre and give {side_name(instance.side)} more space:"
            f" no pawn of {side_name(not instance.side)}'s has passed its third rank"
        )
    wings = [name for name, files in _WINGS.items() if int(files) & int(instance.squares)]
    return f"{side_name(instance.side)} has more space {listed(wings)}."


MOTIFS = (
    Motif(
        id="more-space",
        title="More space",
        definition=(
            "With eight pieces or more on the board and five pawns or more on either side, one side has"
            " clearly more squares behind its foremost pawns that no enemy pawn attacks, and attacks clearly"
            " more squares past the middle that no enemy pawn guards. Or two or more of its pawns hold the"
            " files c to f on ranks 4 and 5, in peace, while no enemy pawn has passed its third rank. Or a"
            " chain of three has its head on the d- or e-file and the fifth rank, held up there." + SETTLED
        ),
        source="Tarrasch, The Game of Chess (cramped positions); named from memory",
        find=more_space,
        tell=_tell,
    ),
)
