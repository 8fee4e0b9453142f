"""Kings without shelter: castled with the cover gone, or caught in the centre.

Open king. Each side has a queen and another piece. Their king stands on a wing (files a-c or f-h, its first
two ranks). On two or more of the wing's three files no pawn of theirs stands on its second or third rank (it
is gone, or too far advanced to cover), and one of the three files has no pawn of theirs at all. At least two
men of ours, not all of them pawns, attack bare squares. Bare squares are those of the king's zone (the king's
square, its neighbours and the next three squares towards us) that lie on such files.

King in the centre. Each side has a queen and two more pieces. One of ours is a rook. Their king stands on the
d- or e-file, on its first two ranks, and will not castle: the right is gone, or we attack squares on its way.
The d- or e-file is open to us (no pawn of ours on it), or a pawn of ours can open it by a capture. And we
attack the king's surroundings: two pieces of ours attack its zone, one of them a square next to it, or a
queen or rook attacks such a square along the d- or e-file.

A hit of each: the king on g8 has no f- and g-pawn; the king on e8 may not castle and is on an open file.

>>> from patterns.detect import find_in
>>> bare = "r2q1rk1/ppp4p/2np4/6N1/8/3BP1Q1/PPP2PPP/R4RK1 w - - 0 1"
>>> [(f.motif, f.actors, f.targets) for f in find_in([chess.Board(bare)], MOTIFS)[0]]
[('open-king', ('d3', 'g5'), ('g8',))]
>>> stuck = "r1bqk2r/ppp1bppp/2n2n2/8/8/2N2N2/PPP1QPPP/R1B1R1K1 w - - 0 1"
>>> [(f.motif, f.actors, f.targets) for f in find_in([chess.Board(stuck)], MOTIFS)[0]]
[('king-in-centre', ('e2',), ('e8',))]

A near miss of each: the pawns are there; the right to castle is there.

>>> find_in([chess.Board(bare.replace("ppp4p", "ppp2ppp"))], MOTIFS)[0]
[]
>>> find_in([chess.Board(stuck.replace("w -", "b kq"))], MOTIFS)[0]
[]

Roles. Actors: our men that attack these squares, or prevent castling. Target: the king. Squares: for an open
king, the empty bare squares; for a king in the centre, the empty squares of the open files on its side of the
board.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.bitboards import (
    BIT,
    CENTRE,
    EMPTY,
    KINGSIDE,
    QUEENSIDE,
    RANKS,
    THEIR_HALF,
    THEIR_HOME,
    Bitboards,
    Flags,
    count,
    exploded,
    filled_files,
    king_ring,
    pawn_attacks_down,
    rook_reach,
)
from patterns.boards.grouping import any_of, united
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, findings
from patterns.words import wording

_THEIR_COVER = RANKS[5] | RANKS[6]
_WAYS = tuple(
    (np.uint64(1) << np.uint64(rook), sum((BIT[square] for square in way), EMPTY))
    for rook, way in ((chess.H8, (chess.F8, chess.G8)), (chess.A8, (chess.D8, chess.C8)))
)
"""The square of their rook that may still castle, and the squares that their king would pass."""


def _with_queen_and(view: View, others: int) -> Flags:
    """Whether each side has a queen and at least this many other pieces."""
    queens = (view.our(chess.QUEEN) != EMPTY) & (view.their(chess.QUEEN) != EMPTY)
    return queens & (np.minimum(view.our_piece_count, view.their_piece_count) > others)


def _attackers_of(view: View, squares: Bitboards) -> Bitboards:
    """Our men, except the king, that attack one of the squares. `squares`: one board per row of the view."""
    men = view.our_pieces
    hits = np.flatnonzero((men.attacks & squares[men.row]) != EMPTY)
    pieces = united(men.row[hits], BIT[men.square[hits]], len(view))
    return pieces | view.our_pawns & pawn_attacks_down(squares)


def open_king(view: View) -> Findings:
    """Castled kings whose cover is gone."""
    king = view.their(chess.KING)
    files = np.where((king & QUEENSIDE) != EMPTY, QUEENSIDE, KINGSIDE)
    candidate = ((king & THEIR_HOME & ~CENTRE) != EMPTY) & _with_queen_and(view, 1)
    bare = files & ~filled_files(view.their_pawns & _THEIR_COVER)
    empty = files & ~filled_files(view.their_pawns)
    candidate &= (count(bare & RANKS[0]) >= 2) & (empty != EMPTY)
    zone = np.where(candidate, view.their_king_zone & bare, EMPTY)
    attackers = _attackers_of(view, zone)
    rows = np.flatnonzero((count(attackers) >= 2) & ((attackers & ~view.our_pawns) != EMPTY))
    squares = (zone & ~view.occupied)[rows]
    return findings(rows, attackers[rows], king[rows], squares)


def _cannot_castle(view: View) -> tuple[Flags, Bitboards]:
    """Whether they have no right to castle that we do not prevent, and the squares where we prevent it."""
    free, stopped = np.zeros(len(view), dtype=np.bool_), np.zeros(len(view), dtype=np.uint64)
    for rook, way in _WAYS:
        right = (view.boards.castling & rook) != EMPTY
        hit = view.our_attacks & way
        free |= right & (hit == EMPTY)
        stopped |= np.where(right, hit, EMPTY)
    return ~free, stopped


def king_in_centre(view: View) -> Findings:
    """Kings kept in the centre, with its files open or about to open."""
    king = view.their(chess.KING)
    candidate = ((king & THEIR_HOME & CENTRE) != EMPTY) & _with_queen_and(view, 2)
    candidate &= view.our(chess.ROOK) != EMPTY
    stays, stopped = _cannot_castle(view)
    open_files = CENTRE & ~filled_files(view.our_pawns)
    levers = view.our_pawn_attacks & view.their_pawns & CENTRE
    candidate &= stays & ((open_files | levers) != EMPTY)
    zone, stopped = np.where(candidate, view.their_king_zone, EMPTY), np.where(candidate, stopped, EMPTY)
    pieces, stoppers = _attackers_of(view, zone) & ~view.our_pawns, _attackers_of(view, stopped)
    ring = np.where(candidate, king_ring(king), EMPTY)
    close = (_attackers_of(view, ring) & ~view.our_pawns) != EMPTY
    attackers = pieces | stoppers
    rows = np.flatnonzero((count(pieces) >= 2) & close | _hits_up_a_file(view, open_files, ring))
    squares = (open_files & THEIR_HALF & ~view.occupied)[rows]
    return findings(rows, attackers[rows], king[rows], squares)


def _hits_up_a_file(view: View, files: Bitboards, ring: Bitboards) -> Flags:
    """Whether a queen or rook of ours on one of the files attacks a square of the ring on the same file."""
    heavy = view.boards.straight_sliders & view.us & files
    row, square = exploded(np.where(ring != EMPTY, heavy, EMPTY))
    hit = rook_reach(square, view.occupied[row]) & ring[row]
    return any_of(row, hit != EMPTY, len(view))


def _tell_open(instance: Instance) -> str:
    board = instance.board
    king = wording.men(board, instance.targets)
    text = f"{king} has lost its cover; {wording.men(board, instance.actors)} bear on it"
    if instance.squares:
        text += f", with {wording.squares(instance.squares)} open"
    return wording.sentence(text)


def _tell_centre(instance: Instance) -> str:
    board = instance.board
    king = wording.men(board, instance.targets)
    bear = "bears" if len(instance.actors) == 1 else "bear"
    return wording.sentence(
        f"{king} is kept in the centre; {wording.men(board, instance.actors)} {bear} on it"
    )


MOTIFS = (
    Motif(
        id="open-king",
        title="Open king",
        definition=(
            "With queens on, two or more of the three files before a castled king have lost the pawn that"
            " covered it (gone or far advanced), one of them entirely, and at least two enemy men, a piece"
            " among them, attack the bare squares by the king."
        ),
        source="Vukovic, The Art of Attack in Chess; named from memory",
        find=open_king,
        tell=_tell_open,
    ),
    Motif(
        id="king-in-centre",
        title="King in the centre",
        definition=(
            "With queens on, the king stands on the d- or e-file and will not castle, because the right is"
            " gone or enemy men attack the squares on its way; a centre file is open to the attacker or about"
            " to be opened. The attacker has a rook, and two pieces attack the squares by the king, or a"
            " heavy piece does so along the file."
        ),
        source="Vukovic, The Art of Attack in Chess; named from memory",
        find=king_in_centre,
        tell=_tell_centre,
    ),
)
