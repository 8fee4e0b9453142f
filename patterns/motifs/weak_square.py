"""The weak square: a hole in their position that a minor piece of ours has, or reaches in one move.

The rule. A square on our ranks 5 and 6, on the files c to f or within two king steps of their king (never on
the rim). No pawn of theirs can ever guard it. Each side has two pieces or more; with fewer than four, they
have a pawn on its file or a neighbouring one. A pawn of ours guards it. Our knight or bishop stands
there, or a knight of ours that is not yet on such a square can go there safely in one move. No minor piece of
theirs guards it. Or only one does, and it does not keep us out: two minor pieces of ours attack the square or
stand there, or a minor piece of ours can take the guard, and neither a second piece of its kind nor a pawn
takes back and guards the square again. Where it is our move and nothing of ours hangs, a bishop may first
come to attack the guard. If it is their move, they can take none of the pieces named with profit.

Two hits: the knight goes to d5, in front of the backward pawn; and the bishop takes the only guard first.

>>> from patterns.detect import find_in
>>> hole = "2rq1rk1/1p2bppp/p2p4/4p3/4P3/1PN5/P1P2PPP/R2Q1RK1 w - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(hole)], MOTIFS)[0]]
[('weak-square', ('c3', 'e4'), (), ('d5',))]
>>> guarded = "2rq1rk1/1p2bppp/p2p1n2/4p1B1/4P3/1PN5/P1P2PPP/R2Q1RK1 w - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(guarded)], MOTIFS)[0]]
[('weak-square', ('c3', 'e4', 'g5'), ('f6',), ('d5',))]

A near miss: the knight on d7 takes back on f6 and guards d5 again.

>>> find_in([chess.Board(guarded.replace("1p2bppp", "1p1nbppp"))], MOTIFS)[0]
[]

Roles. Actors: the pieces that stand on the square or can go there, the pawns that guard it, and the men that
take the guard or outnumber it. Targets: the guard. Squares: the square, if it is empty.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.attacks import attackers
from patterns.boards.bitboards import (
    ALL,
    BIT,
    EMPTY,
    KNIGHT_STEPS,
    MIDDLE_FILES,
    PAWN_DOWN,
    RANKS,
    RIM_FILES,
    ZONE_2,
    Bitboards,
    Flags,
    Squares,
    count,
    exploded,
    filled_files,
    neighbour_files,
    square_of,
)
from patterns.boards.exchange import is_safe
from patterns.boards.moves import Moves
from patterns.boards.positions import Boards
from patterns.boards.pressure import bearing, joiners
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, TakenUp, findings
from patterns.proof.quiet import falls_at_once, in_need
from patterns.words import wording

UNOPPOSED, TAKEN_OFF, OUTNUMBERED = range(3)
"""How we get the better of their minor pieces on the square. `detail` is 64 times this, plus the square."""

_PIECES = 2
_CROWD = 4
"""With so many pieces on each side a square is weak even where they have no pawn left on the files around."""
_NEAR_RANKS = (RANKS[4] | RANKS[5]) & ~RIM_FILES


def _weak(view: View) -> Bitboards:
    """The weak squares that a pawn of ours guards, wherever their minor pieces are."""
    weak = _NEAR_RANKS & (MIDDLE_FILES | ZONE_2[view.their_king]) & ~view.their_pawn_span
    pieces = np.minimum(view.our_piece_count, view.their_piece_count)
    files = filled_files(view.their_pawns)
    weak &= np.where(pieces >= _CROWD, ALL, files | neighbour_files(view.their_pawns))
    return np.where(pieces >= _PIECES, weak & view.our_pawn_attacks, EMPTY)


def weak_square(view: View) -> Findings:
    """Weak squares that we have or can have, one instance each."""
    weak, knights = _weak(view), view.our(chess.KNIGHT)
    row, square = exploded(weak & (knights | view.our(chess.BISHOP)))
    there = _held(view, Moves(row, square, square))
    knight_row, origin = exploded(knights & ~weak & ~view.our_pinned)
    which, destination = exploded(KNIGHT_STEPS[origin] & (weak & ~view.occupied)[knight_row])
    goes_row, origin = knight_row[which], origin[which]
    going = _held(view, Moves(goes_row, origin, destination))
    found = Findings.joined(there, going.merged(going.squares))
    pieces = found.actors & ~view.our_pawns[found.row]
    return found.only(~falls_at_once(view, found.row, pieces))


def _held(view: View, moves: Moves) -> Findings:
    """Of the pieces that go to a weak square, or stand there, those that no minor piece can oppose."""
    boards, square, minor = view.boards.take(moves.row), moves.square, BIT[moves.origin]
    minors, seen = boards.knights | boards.bishops, attackers(boards, square)
    guards, pawns = seen & boards.them & minors, seen & boards.us & boards.pawns
    helpers, variant = np.zeros(len(moves), dtype=np.uint64), np.full(len(moves), UNOPPOSED)
    some = np.flatnonzero(guards)
    guards[some] = bearing(boards.take(some), square[some]) & boards.them[some] & minors[some]
    some = some[count(guards[some]) == 1]
    ours = (seen & boards.us & minors)[some] | minor[some]
    takers, place = np.zeros(len(some), dtype=np.uint64), square_of(guards[some])
    good = np.flatnonzero(_goes_for_good(boards.take(some), guards[some], square[some]))
    able = minors[some] & boards.us[some] & ~minor[some]
    takers[good] = (attackers(boards.take(some), place) & able)[good]
    # One of our bishops may still have to come and attack it, if nothing of ours hangs meanwhile.
    slow = (takers[good] == EMPTY) & boards.our_move[some[good]]
    slow &= view.once(in_need)[moves.row[some[good]]] == EMPTY
    late = good[slow]
    coming = joiners(view, moves.row[some[late]], place[late], ~boards.bishops[some[late]])
    takers[late] = coming & able[late]
    helpers[some] = np.where(takers != EMPTY, takers, np.where(count(ours) > 1, ours, EMPTY))
    variant[some] = np.where(takers != EMPTY, TAKEN_OFF, OUTNUMBERED)
    detail = variant * 64 + square
    held = findings(moves.row, minor | pawns | helpers, guards, BIT[square] & ~boards.occupied, detail)
    keep = (guards == EMPTY) | (helpers != EMPTY)
    goes = np.flatnonzero(keep & (moves.origin != square))
    # Once the guard is taken off, the way need not be safe from it.
    off = np.where(variant[goes] == TAKEN_OFF, guards[goes], EMPTY)
    keep[goes] = is_safe(boards.take(goes).without(off), moves.origin[goes], square[goes])
    return held.only(keep)


def _goes_for_good(boards: Boards, guard: Bitboards, square: Squares) -> Flags:
    """Whether the guard of each square can be taken off for good.

    It is not for good if another piece of the same kind, or a pawn that then guards the square, takes back.
    """
    place = square_of(guard)
    again = np.where((guard & boards.knights) != EMPTY, boards.knights, boards.bishops)
    again |= np.where((PAWN_DOWN[place] & BIT[square]) != EMPTY, boards.pawns, EMPTY)
    return (attackers(boards, place) & boards.them & again) == EMPTY


def _tell(instance: Instance) -> str:
    board, square = instance.board, instance.detail_square & 63
    pawns = instance.actors & board.pawns
    minors = instance.actors - pawns
    if instance.squares:
        goes = minors & chess.BB_KNIGHT_ATTACKS[square] & board.knights
        text = f"{wording.men(board, goes)} can go to {chess.SQUARE_NAMES[square]}, which"
    else:
        goes = chess.SquareSet(chess.BB_SQUARES[square])
        text = f"{wording.men(board, goes)} holds a square that"
    several = len(pawns) > 1
    text += f" no enemy pawn can ever guard; the pawn{'s' if several else ''} on {wording.squares(pawns)}"
    text += " support it there" if several else " supports it there"
    variant, guard = instance.detail >> 6, wording.men(board, instance.targets)
    if variant == TAKEN_OFF:
        takers = minors - goes or minors
        guard_square = min(instance.targets)
        how = "take" if takers & board.attackers(instance.side, guard_square) else "come to attack"
        text += f"; {wording.men(board, takers)} can {how} {guard}, the only minor piece that guards it"
    elif variant == OUTNUMBERED:
        text += f"; only {guard} can take there, and a minor piece takes back"
    return wording.sentence(text)


MOTIFS = (
    Motif(
        id="weak-square",
        title="Weak square",
        definition=(
            "No enemy pawn can ever guard a square in the enemy position (on the enemy's third or fourth"
            " rank, on the files c to f or by the king). A pawn of ours guards it. A knight or bishop of ours"
            " stands on it, or a knight can safely go there at once. At most one enemy minor piece guards it,"
            " and we can take this guard off (a bishop may first come to attack it) or have more minor"
            " pieces for the square. Where few pieces are left, there are enemy pawns on the files around it."
        ),
        source="Steinitz (weak squares); Kmoch, Pawn Power in Chess; named from memory",
        find=weak_square,
        tell=_tell,
        taken_up=TakenUp.ENTRY,
    ),
)
