"""Which pawns of theirs are weak by their place among the pawns: isolated, backward, doubled or hanging.

The rules are those of `patterns.motifs.pawn_weaknesses`, which asks whether such a pawn can be attacked.
"""

from __future__ import annotations

from dataclasses import dataclass

from patterns.boards.bitboards import (
    EAST,
    FILES,
    NORTH,
    RANKS,
    SOUTH,
    WEST,
    Bitboards,
    filled_down,
    filled_files,
    filled_up,
    neighbour_files,
    shifted,
)
from patterns.boards.tables import Table
from patterns.boards.view import View


@dataclass(frozen=True)
class Structure(Table):
    """Their weak pawns of each kind, over all rows of a view. `hanging`: the left pawn of each pair."""

    isolated: Bitboards
    backward: Bitboards
    doubled: Bitboards
    hanging: Bitboards


def structure(view: View) -> Structure:
    """The weak pawns of a view. Ask for them with `view.once(structure)`."""
    ours, theirs = view.our_pawns, view.their_pawns
    half_open = ~filled_files(ours)
    behind_another = filled_up(shifted(theirs, NORTH))
    passed = passed_squares(view)
    lone = theirs & ~neighbour_files(theirs)
    # A passed pawn that is near its last rank is a strength even if a piece of ours must stop it.
    blockaded = shifted(view.us & ~view.boards.kings, NORTH) & ~(RANKS[1] | RANKS[2])
    ahead_of_all = theirs & ~filled_down(shifted(theirs, EAST) | shifted(theirs, WEST)) & ~lone
    # A guarded piece stops a pawn as well, which then must have moved and be attacked already.
    pieces = view.us & ~ours & ~view.boards.kings & view.our_attacks
    stopped = shifted(view.our_pawn_attacks, NORTH) | shifted(pieces, NORTH) & view.our_attacks & ~RANKS[6]
    # So do our pieces that outnumber theirs there, if the pawn is on its third rank.
    stopped |= shifted(_outnumbered(view), NORTH) & RANKS[5] & ~passed
    backward = ahead_of_all & stopped & half_open & ~behind_another
    several: Bitboards = theirs & (behind_another | filled_down(shifted(theirs, SOUTH)))
    # A pawn in contact with a pawn of ours may take it, or be taken, and is doubled or isolated no more.
    gone = filled_files(several & (passed | view.our_pawn_attacks))
    # Where the pawn behind has not moved, an attack on it has nothing to do with its being doubled.
    doubled = several & ~view.their_pawn_span & ~gone & ~RANKS[6]
    single = theirs & half_open & ~several & ~passed & (RANKS[3] | RANKS[4])
    files = filled_files(theirs)
    left = single & ~shifted(files, EAST) & shifted(single, WEST)
    hanging = left & ~shifted(shifted(files, WEST), WEST) & FILES[2]
    isolated = lone & half_open & (~passed | blockaded) & ~view.our_pawn_attacks
    return Structure(isolated, backward, doubled, hanging)


def passed_squares(view: View) -> Bitboards:
    """The squares where a pawn of theirs is passed."""
    ahead = filled_up(shifted(view.our_pawns, NORTH)) | view.our_pawn_span
    return ~(ahead | filled_up(shifted(view.their_pawns, NORTH)))


def _outnumbered(view: View) -> Bitboards:
    """The empty squares that more pieces of ours attack than of theirs, two at least."""
    ours, theirs = view.our_piece_attacks, view.their_piece_attacks
    return (ours[1] & ~theirs[0] | ours[2] & ~theirs[1]) & ~view.occupied
