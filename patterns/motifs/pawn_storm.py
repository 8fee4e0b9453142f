"""The pawn storm: pawns advance on the enemy king's wing while our own king is out of their way.

The rule. Their king stands on a wing (files a-c or f-h, its first two ranks). Ours stands on its first two
ranks, on the other wing or in the centre; or on the same wing behind a locked centre (two or more pairs of
pawns block each other on the files c to f, outside that wing, and neither the d- nor the e-file is open).
There is middlegame material: each side has a queen and another piece, or each side has four pieces. Two or
more of our pawns stand on the three files of that wing on our fourth rank or beyond. And there is a lever: a
storm pawn attacks an enemy man there, now or within two advances over empty squares. Or one of these files no
longer has a pawn of ours, and our rook or queen looks down it. The position is quiet
(`patterns.proof.quiet`). A single pawn is a storm if our king is not on that wing, each side has a queen and
two more pieces, no fewer pieces of ours attack squares next to their king than of theirs next to ours, the
pawn hits a piece now or has a lever after one step, and there is a file for it: our rook or queen stands
behind this pawn, or looks down a file there that no longer has a pawn of ours. One that hits a pawn already
is only a lever, and one is not enough where all that it hits are pawns that can go past it with two steps.

The capture or the first step of a lever is claimed: it loses no more than hung before
(`patterns.proof.lookahead`), and that is a pawn at most: with more to lose, there is no time for a storm.
Besides, it may cost a pawn where a rook or queen stands behind the storm pawn; or where another storm pawn
follows beside it, unless it goes to an unguarded square where a piece simply takes it; or, of a single one,
where two of them have an opened file.

A hit: kings on opposite wings, the g- and h-pawns advanced, the lever on h5 one move away.

>>> from patterns.detect import find_in
>>> storm = "r1q2rk1/pp2ppbp/3p1np1/8/3QP1PP/2N1BP2/PPP5/2KR3R w - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(storm)], MOTIFS)[0]]
[('pawn-storm', ('h1', 'g4', 'h4'), ('f6', 'g6', 'g8'), ('g5', 'h5'))]

A near miss: the same pawns with our king behind them. That is an advance, but not a storm.

>>> find_in([chess.Board(storm.replace("PPP5/2KR3R", "PPP3K1/3R3R"))], MOTIFS)[0]
[]

Roles. Actors: the storm pawns, and our rooks and queens on files that have been or can be opened. Targets:
the king, and the men that a lever hits. Squares: the empty squares of the levers and those on the way to
them; for an opened file, its squares in front of the king, up to the first enemy man.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.bitboards import (
    ADVANCED_RANKS,
    ALL,
    BIT,
    CENTRE,
    EAST,
    EMPTY,
    FILES,
    KINGSIDE,
    MIDDLE_FILES,
    NORTH,
    OUR_HOME,
    PAWN_UP,
    QUEENSIDE,
    RANKS,
    SOUTH,
    THEIR_HOME,
    WEST,
    Bitboards,
    Flags,
    Rows,
    count,
    exploded,
    filled_down,
    filled_files,
    filled_up,
    pawn_attacks_down,
    pawn_attacks_up,
    shifted,
    square_of,
)
from patterns.boards.moves import Moves
from patterns.boards.view import View, reversed_sides
from patterns.motifs.findings import Instance, Motif
from patterns.proof.attack import at_our_king, at_their_king
from patterns.proof.claims import Claims, claims
from patterns.proof.gains import threats
from patterns.proof.quiet import PAWN, is_quiet
from patterns.words import wording

OTHER_WING, CENTRAL, SAME_WING = range(3)
"""Where our own king stands."""
_CROWD = 3
"""The fewest pieces of either side for the storm of a single pawn."""
LOCKED = 2
"""So many pairs of pawns that block each other lock the centre."""


def pawn_storm(view: View) -> Claims:
    """Pawn storms against a king on the wing: a claim for each lever, or for an opened file, told as one."""
    their_king, our_king = view.their(chess.KING), view.our(chess.KING)
    files = np.where((their_king & QUEENSIDE) != EMPTY, QUEENSIDE, KINGSIDE)
    storm = view.our_pawns & files & ADVANCED_RANKS
    same_wing = (our_king & files) != EMPTY
    flags = ((their_king & THEIR_HOME & ~CENTRE) != EMPTY) & ((our_king & OUR_HOME) != EMPTY)
    flags &= (storm != EMPTY) & _enough_men(view) & (~same_wing | _locked_centre(view, files))

    heavy = view.our(chess.ROOK) | view.our(chess.QUEEN)
    opened = _opened_files(view, files, heavy)
    men = view.them & files & ~view.boards.kings
    touch = pawn_attacks_down(men)
    now, coming = storm & touch, _ways_to_a_lever(view, storm, touch)
    behind = filled_down(now | coming) & heavy
    next_step = coming & touch & shifted(storm & ~now, NORTH)
    driven = pawn_attacks_up(now) & men & ~view.their_pawns
    driving = now & pawn_attacks_down(driven)
    for_it = filled_down(driving | next_step) & heavy | np.where((driven | next_step) != EMPTY, opened, EMPTY)
    several = count(storm) >= 2
    alone = (
        ~_walked_past(view, pawn_attacks_up(coming & touch & ~now) & men)
        & (for_it != EMPTY)
        & ~same_wing
        & _queens(view)
        & (np.minimum(view.our_piece_count, view.their_piece_count) >= _CROWD)
    )
    alone &= view.once(at_their_king) >= view.once(at_our_king)
    flags &= np.where(several, (now | coming | opened) != EMPTY, alone)
    rows = np.flatnonzero(flags)
    rows = rows[is_quiet(view, rows)]

    on_file = filled_files(opened) & heavy & files
    two_on_file = np.where((count(on_file) >= 2) & ~several, on_file, EMPTY)
    actors = storm | behind | on_file
    open_squares = opened & ~view.occupied
    without = rows[(now | coming)[rows] == EMPTY]
    standing = square_of(storm[without])
    levers = Moves.joined(
        _captures(storm, men, rows), _advances(storm, coming, rows), Moves(without, standing, standing)
    )
    row = levers.row
    way = filled_up(BIT[levers.origin]) & FILES[levers.origin & 7] & coming[row]
    hit = np.where(way != EMPTY, pawn_attacks_up(way & touch[row]) & men[row], BIT[levers.square] & men[row])
    # A pawn may be lost where rooks and queens have the file, or where another one follows it, unless a
    # piece simply takes it.
    pawn, follower = BIT[levers.origin], shifted(storm, EAST) | shifted(storm, WEST)
    follower |= shifted(follower, NORTH) | shifted(follower, SOUTH)
    bare = view.their_piece_attacks[0] & ~view.our_attacks & ~view.occupied
    simply = (BIT[levers.square] & bare[row]) != EMPTY
    follower = np.where(simply, EMPTY, follower[row])
    backed = filled_down(pawn) & heavy[row] | pawn & follower | two_on_file[row]
    lost = threats(reversed_sides(view.boards.take(row)), np.full(len(row), ALL))
    variant = np.where(same_wing, SAME_WING, np.where((our_king & CENTRE) != EMPTY, CENTRAL, OTHER_WING))
    return claims(
        levers,
        actors[row],
        their_king[row] | hit,
        way | open_squares[row],
        least=-lost - (backed != EMPTY),
        detail=variant[row],
        about=0,
    ).only(lost <= PAWN)


def _captures(storm: Bitboards, men: Bitboards, rows: Rows) -> Moves:
    """The captures of men on the wing by storm pawns, in these rows."""
    entry, origin = exploded(storm[rows])
    which, square = exploded(PAWN_UP[origin] & men[rows[entry]])
    return Moves(rows[entry[which]], origin[which], square)


def _advances(storm: Bitboards, coming: Bitboards, rows: Rows) -> Moves:
    """The first steps of storm pawns towards a lever, in these rows."""
    entry, origin = exploded(storm[rows] & shifted(coming[rows], SOUTH))
    return Moves(rows[entry], origin, origin + 8)


def _locked_centre(view: View, wing: Bitboards) -> Flags:
    """Whether enough pairs of pawns block each other in the centre, outside the wing of the storm."""
    blocked = view.our_pawns & shifted(view.their_pawns, SOUTH)
    closed = filled_files(view.boards.pawns) & CENTRE & RANKS[0]
    return (count(blocked & MIDDLE_FILES & ~wing) >= LOCKED) & (count(closed) == 2)


def _ways_to_a_lever(view: View, storm: Bitboards, touch: Bitboards) -> Bitboards:
    """The empty squares that a storm pawn passes to a square of `touch`, at most two steps away."""
    free = ~view.occupied
    one = shifted(storm, NORTH) & free
    two = shifted(one & ~touch, NORTH) & free & touch
    return one & touch | two | shifted(two, SOUTH)


def _walked_past(view: View, hit: Bitboards) -> Flags:
    """Whether all men that the lever of a single pawn hits are pawns that can go past it with two steps."""
    one = shifted(hit & view.their_pawns & RANKS[6], SOUTH) & ~view.occupied
    two = shifted(one, SOUTH) & ~view.occupied & ~view.our_attacks
    return (hit != EMPTY) & (count(two) == count(hit))


def _opened_files(view: View, files: Bitboards, heavy: Bitboards) -> Bitboards:
    """On files without a pawn of ours where our rook or queen stands, the squares that it attacks there."""
    emptied = files & ~filled_files(view.our_pawns)
    ahead = shifted(heavy & emptied, NORTH)
    for _ in range(5):
        ahead |= shifted(ahead & ~view.occupied, NORTH)
    return ahead & ADVANCED_RANKS


def _enough_men(view: View) -> Flags:
    """Whether each side has a queen and another piece, or four pieces. With fewer, kings join the fight."""
    fewer = np.minimum(view.our_piece_count, view.their_piece_count)
    return _queens(view) & (fewer >= 2) | (fewer >= 4)


def _queens(view: View) -> Flags:
    """Whether each side has a queen."""
    return (view.our(chess.QUEEN) != EMPTY) & (view.their(chess.QUEEN) != EMPTY)


def _tell(instance: Instance) -> str:
    board = instance.board
    pawns, king = instance.actors & board.pawns, instance.targets & board.kings
    helpers, hit = instance.actors - pawns, instance.targets - king
    now = chess.SquareSet([square for square in hit if board.attackers(instance.side, square) & pawns])
    text = f"{wording.men(board, king)} is stormed by the pawn{'s' if len(pawns) > 1 else ''}"
    text += f" on {wording.squares(pawns)}"
    if helpers:
        text += f", supported by {wording.men(board, helpers)}"
    text += f"; {wording.side_name(instance.side)}'s own king is {_OWN_KING[instance.detail]}"
    if now:
        text += f"; {wording.men(board, now)} {'is' if len(now) == 1 else 'are'} hit already"
    elif hit:
        levers = _lever_squares(instance, pawns, hit)
        brings = "brings a lever" if len(levers) == 1 else "bring levers"
        text += f"; {wording.squares(levers)} {brings} against {wording.men(board, hit)}"
    return wording.sentence(text)


def _lever_squares(instance: Instance, pawns: chess.SquareSet, hit: chess.SquareSet) -> chess.SquareSet:
    """The squares on the pawns' files where a pawn will hit one of these men."""
    files = chess.SquareSet()
    for pawn in pawns:
        files |= chess.BB_FILES[chess.square_file(pawn)]
    ahead = instance.squares & files
    return chess.SquareSet([to for to in ahead if chess.BB_PAWN_ATTACKS[instance.side][to] & int(hit)])


_OWN_KING = {
    OTHER_WING: "on the other wing",
    CENTRAL: "in the centre",
    SAME_WING: "behind a locked centre",
}

MOTIFS = (
    Motif(
        id="pawn-storm",
        title="Pawn storm",
        definition=(
            "Two or more pawns have advanced to the fourth rank or beyond on the wing where the enemy king"
            " stands, while the attacker's own king is on the other wing, in the centre, or behind a locked"
            " centre. They have a lever: contact with a man before the king now or within two moves, or a"
            " file that they have opened. A single pawn storms too, with queens and more men on, if it hits a"
            " piece now or has a lever next that not every pawn can walk past, and a rook or queen is behind"
            " it or on an opened file there, and the own king is not under more fire. The position is quiet:"
            " with more than a pawn hanging there is no time for it."
        ),
        source="Vukovic, The Art of Attack in Chess; Euwe and Kramer, The Middle Game; named from memory",
        find=pawn_storm,
        tell=_tell,
    ),
)
