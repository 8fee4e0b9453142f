"""The pawn storm: pawns advance on the enemy king's wing while our own king stands elsewhere.

The rule. Their king stands on a wing (files a-c or f-h, its first two ranks). Ours stands on the first two
ranks of the other wing or of the centre. There is middlegame material: each side has a queen and another
piece, or each side has four pieces. Two or more of our pawns stand on the three files of that wing on our
fourth rank or beyond. And there is a lever: a storm pawn attacks an enemy pawn there, now or within two
advances over empty squares. Or one of these files no longer has a pawn of ours, and our rook or queen looks
down it.

A hit: kings on opposite wings, the g- and h-pawns advanced, the lever on g6 one move away.

>>> from patterns.detect import find_in
>>> storm = "r1q2rk1/pp2ppbp/3p1np1/8/3QP1PP/2N1BP2/PPP5/2KR3R w - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(storm)], MOTIFS)[0]]
[('pawn-storm', ('g4', 'h4'), ('g8',), ('h5',))]

A near miss: the same pawns with our king behind them. That is an advance, but not a storm.

>>> find_in([chess.Board(storm.replace("PPP5/2KR3R", "PPP3K1/3R3R"))], MOTIFS)[0]
[]

Roles. Actors: the storm pawns. Targets: the king. Squares: the lever squares, where a storm pawn attacks or
will attack an enemy pawn (for an opened file: its squares in front of the king, up to the first enemy man).
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.bitboards import (
    ADVANCED_RANKS,
    CENTRE,
    EMPTY,
    KINGSIDE,
    NORTH,
    OUR_HOME,
    QUEENSIDE,
    THEIR_HOME,
    Bitboards,
    Flags,
    count,
    filled_files,
    pawn_attacks_down,
    shifted,
)
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, TakenUp, where
from patterns.words import wording

OPPOSITE_WINGS, KING_IN_CENTRE = range(2)


def _levers(view: View, storm: Bitboards, files: Bitboards) -> Bitboards:
    """Squares where a storm pawn attacks an enemy pawn of these files now, or after one or two advances."""
    touch = pawn_attacks_down(view.their_pawns & files)
    free = ~view.occupied
    here = storm & touch
    one = shifted(storm, NORTH) & free
    two = shifted(one & ~touch, NORTH) & free
    return here | (one | two) & touch


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
    queens = (view.our(chess.QUEEN) != EMPTY) & (view.their(chess.QUEEN) != EMPTY)
    return queens & (fewer >= 2) | (fewer >= 4)


def pawn_storm(view: View) -> Findings:
    """Pawn storms against a king on the wing."""
    their_king, our_king = view.their(chess.KING), view.our(chess.KING)
    home = (our_king & OUR_HOME) != EMPTY
    on_wing = (their_king & THEIR_HOME & ~CENTRE) != EMPTY
    files = np.where((their_king & QUEENSIDE) != EMPTY, QUEENSIDE, KINGSIDE)
    same_wing = (our_king & files) != EMPTY
    storm = view.our_pawns & files & ADVANCED_RANKS
    heavy = view.our(chess.ROOK) | view.our(chess.QUEEN)
    levers = _levers(view, storm, files) | _opened_files(view, files, heavy)
    flags = on_wing & home & ~same_wing & _enough_men(view) & (count(storm) >= 2) & (levers != EMPTY)
    in_centre = np.where((our_king & CENTRE) != EMPTY, KING_IN_CENTRE, OPPOSITE_WINGS)
    return where(flags, storm, their_king, levers, in_centre)


def _tell(instance: Instance) -> str:
    king = wording.named(instance.board, instance.targets.pop())
    pawns = wording.squares(instance.actors)
    own = "from the other wing" if instance.detail == OPPOSITE_WINGS else "with its own king in the centre"
    levers = wording.squares(instance.squares)
    side = wording.side_name(instance.side)
    return f"{side} storms {king} {own} with the pawns on {pawns}; the lines open at {levers}."


MOTIFS = (
    Motif(
        id="pawn-storm",
        title="Pawn storm",
        definition=(
            "Two or more pawns have advanced to the fourth rank or beyond on the wing where the enemy king"
            " stands, while the attacker's own king is on the other wing or in the centre, and they have"
            " a lever: contact with the pawns before the king now or within two moves, or a file they have"
            " opened."
        ),
        source="Vukovic, The Art of Attack in Chess; Euwe and Kramer, The Middle Game; named from memory",
        find=pawn_storm,
        tell=_tell,
        taken_up=TakenUp.ACTION,
    ),
)
