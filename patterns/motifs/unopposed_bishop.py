"""The bishop without an opponent: an attack on squares of a colour that no other man can guard.

The rule. We have a bishop of a colour. They have no bishop of this colour, or only one that is shut in: it
has at most one move, is no longer on its first square, and neither stands on one of the weak squares nor
guards one. Our bishop does not fall by exchange. Within two king steps of their king, on their own third and
fourth ranks, a pawn of theirs can never guard at least two squares of that colour. Our bishop, or our queen
in front of it or behind it on its line, hits one of them where no pawn of ours stands, or the bishop will
after one safe move. The bishop must not be blunted: blunted means that every line forward ends at a pawn of
theirs that a pawn guards. An attack needs men: queens on, or four pieces each and their king still on its
first two ranks.

A hit: the pawn on g6 no longer guards f6 and h6, the dark bishop is gone, and our bishop bears on h6.

>>> from patterns.detect import find_in
>>> holes = "r2q1rk1/pp3p1p/2n1p1p1/3p4/3P4/2P5/PP1Q1PPP/R1B2RK1 w - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(holes)], MOTIFS)[0]]
[('unopposed-bishop', ('c1', 'd2'), ('g8',), ('f6', 'h6'))]

A near miss: with their own dark bishop on g7 these squares are guarded.

>>> find_in([chess.Board(holes.replace("pp3p1p", "pp3pbp"))], MOTIFS)[0]
[]

Roles. Actors: the bishop, and a queen that helps on its line. Targets: the king. Squares: the weak squares.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.attacks import Men
from patterns.boards.bitboards import (
    BIT,
    DARK,
    DIAGONAL,
    EMPTY,
    LIGHT,
    NORTH_EAST,
    NORTH_WEST,
    RANKS,
    RAYS,
    THEIR_HOME,
    ZONE_2,
    Bitboards,
    Flags,
    Squares,
    bishop_reach,
    count,
    exploded,
    first_on_ray,
)
from patterns.boards.exchange import can_win, is_safe
from patterns.boards.grouping import any_of
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, TakenUp, findings
from patterns.words import wording

_THEIR_THIRD_AND_FOURTH = RANKS[4] | RANKS[5]
_BISHOPS_BEGIN = BIT[chess.C8] | BIT[chess.F8]


def _colour_of(squares: Squares) -> Bitboards:
    """For each square, all squares of the same colour."""
    return np.where((BIT[squares] & LIGHT) != EMPTY, LIGHT, DARK)


def _opposed(view: View, ours: Men, weak: Bitboards) -> Flags:
    """Whether they have an active bishop of that colour: free, or on a weak square, or guarding one."""
    result = np.zeros(len(ours), dtype=np.bool_)
    for colour in (LIGHT, DARK):
        entry = np.flatnonzero(_colour_of(ours.square) == colour)
        theirs = view.their(chess.BISHOP)[ours.row[entry]] & colour
        which, square = exploded(theirs)
        rows = ours.row[entry[which]]
        guarded = bishop_reach(square, view.occupied[rows])
        free = (count(guarded & ~view.them[rows]) > 1) | ((BIT[square] & _BISHOPS_BEGIN) != EMPTY)
        free |= ((guarded | BIT[square]) & weak[entry[which]]) != EMPTY
        result[entry[which[free]]] = True
    return result


def _blunted(view: View, ours: Men) -> Flags:
    """Whether every line forward ends at a pawn of theirs that a pawn guards."""
    walls = (view.their_pawns & view.their_pawn_attacks)[ours.row]
    blunted, some = np.ones(len(ours), dtype=np.bool_), np.zeros(len(ours), dtype=np.bool_)
    for direction in (NORTH_EAST, NORTH_WEST):
        ray = RAYS[direction][ours.square]
        first = first_on_ray(ray & view.occupied[ours.row], direction)
        blunted &= (ray == EMPTY) | ((first & walls) != EMPTY)
        some |= ray != EMPTY
    return blunted & some


def _hits_after_a_safe_move(view: View, ours: Men, weak: Bitboards) -> Flags:
    """Whether after one safe move the bishop bears on a weak square (or stands on one)."""
    goes = ours.attacks & ~(view.us | view.their(chess.KING))[ours.row]
    entry, square = exploded(goes)
    bears = bishop_reach(square, view.occupied[ours.row[entry]]) & weak[entry]
    some = np.flatnonzero(bears)
    entry, square = entry[some], square[some]
    safe = is_safe(view.boards.take(ours.row[entry]), ours.square[entry], square)
    return any_of(entry, safe, len(ours))


def _helping_queen(view: View, ours: Men, weak: Bitboards) -> Bitboards:
    """Our queen, if it is the next man on the bishop's diagonal and a weak square lies beyond."""
    queens = view.our(chess.QUEEN)[ours.row]
    helper = np.zeros(len(ours), dtype=np.uint64)
    for direction in DIAGONAL:
        met = first_on_ray(RAYS[direction][ours.square] & view.occupied[ours.row], direction) & queens
        back = RAYS[(direction + 4) % 8][ours.square]
        beyond = (ours.attacks & back) | np.where(met != EMPTY, RAYS[direction][ours.square], EMPTY)
        helper |= np.where((beyond & weak) != EMPTY, met, EMPTY)
    return helper


def _attackable(view: View) -> Flags:
    """Whether the king is a target: with queens on, or at home with many men. Otherwise it is a fighter."""
    queens = (view.our(chess.QUEEN) != EMPTY) & (view.their(chess.QUEEN) != EMPTY)
    home = (view.their(chess.KING) & THEIR_HOME) != EMPTY
    return queens | home & (view.our_piece_count >= 4) & (view.their_piece_count >= 4)


def unopposed_bishop(view: View) -> Findings:
    """Bishops that can attack the king on squares of their colour, and that no enemy bishop opposes."""
    zone = ZONE_2[view.their_king] & _THEIR_THIRD_AND_FOURTH & ~view.their_pawn_span
    bishops = view.our_men_of[chess.BISHOP]
    weak = zone[bishops.row] & _colour_of(bishops.square)
    many = np.flatnonzero((count(weak) >= 2) & _attackable(view)[bishops.row])
    ours, weak = bishops.take(many), weak[many]
    keep = np.flatnonzero(~_opposed(view, ours, weak) & ~_blunted(view, ours))
    ours, weak = ours.take(keep), weak[keep]
    open_to_us = weak & ~view.our_pawns[ours.row]
    helper = _helping_queen(view, ours, open_to_us)
    hits = ((ours.attacks | BIT[ours.square]) & open_to_us) != EMPTY
    hits |= helper != EMPTY
    later = np.flatnonzero(~hits)
    hits[later] = _hits_after_a_safe_move(view, ours.take(later), open_to_us[later])
    target = view.their(chess.KING)[ours.row]
    some = np.flatnonzero(hits)
    hits[some] = ~can_win(view.boards.take(ours.row[some]), ours.square[some], "them")
    found = findings(ours.row, BIT[ours.square] | helper, target, weak)
    return found.only(hits)


def cover_pawns(board: chess.Board, side: chess.Color, colour: int) -> chess.SquareSet:
    """The pawns near the attacked side's king that still guard squares of the colour near it."""
    king = board.king(not side)
    if king is None:
        return chess.SquareSet()
    return chess.SquareSet(
        pawn
        for pawn in board.pieces(chess.PAWN, not side)
        if chess.square_distance(pawn, king) <= 2 and board.attacks_mask(pawn) & colour & int(ZONE_2[king])
    )


def _tell(instance: Instance) -> str:
    board = instance.board
    bishop = next(square for square in instance.actors if board.piece_type_at(square) == chess.BISHOP)
    light = bool(BIT[bishop] & LIGHT)
    shade = "light" if light else "dark"
    king = wording.named(board, instance.targets.pop())
    text = (
        f"{wording.named(board, bishop)} has no opponent on the {shade} squares,"
        f" and no pawn can guard {wording.squares(instance.squares)} by {king}"
    )
    helper = [square for square in instance.actors if square != bishop]
    if helper:
        text += f"; {wording.named(board, helper[0])} helps on the diagonal"
    cover = cover_pawns(board, instance.side, int(LIGHT if light else DARK))
    if len(cover) == 1:
        text += f"; only the pawn on {wording.squares(cover)} still holds that colour"
    return wording.sentence(text)


MOTIFS = (
    Motif(
        id="unopposed-bishop",
        title="Bishop without an opponent",
        definition=(
            "A bishop attacks squares of its colour near the enemy king that no enemy pawn can ever guard,"
            " and the enemy has no bishop of that colour, or only one that is shut in. The bishop, or the"
            " queen on its line, hits such a square now or after one safe move, and is not blunted by"
            " guarded pawns."
        ),
        source="Pachman, Modern Chess Strategy (weak colour complexes); named from memory",
        find=unopposed_bishop,
        tell=_tell,
        taken_up=TakenUp.ENTRY,
    ),
)
