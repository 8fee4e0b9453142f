"""The battery: two sliders on one line, one behind the other, with a target.

The rule. A slider of ours looks along a line at another man of ours that moves along the same line (rook and
queen on a file or rank, bishop and queen on a diagonal). The line continues in front of the front man. On it,
up to and including the first man there, lies a target:

- a square of their king's zone (the king's square, its neighbours and the next three squares towards us)
  that holds a man of theirs, or is empty and beside the king or guarded by no pawn of theirs; or
- a man of theirs that we win by exchange, and would not win without the rear man; or
- on a file, an empty entry square on our seventh or eighth rank, or for a rook in front on our sixth, where
  the front man can safely go if it has not entered yet.

Nothing is told while we are in check, if an exchange wins the side to move a rook or more, or if they are to
move and can take one of the two with profit.

A hit: queen behind bishop against h7.

>>> from patterns.detect import find_in
>>> aimed = "r4rk1/ppp2ppp/2n2n2/4p3/8/2NB4/PPQ2PPP/R4RK1 w - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(aimed)], MOTIFS)[0]]
[('battery', ('c2', 'd3'), ('h7', 'g8'), ())]

A near miss: the white pawn on e4 blocks the line.

>>> find_in([chess.Board(aimed.replace("4p3/8/2NB4", "4p3/4P3/2NB4"))], MOTIFS)[0]
[]

Roles. Actors: the rear and the front man. Targets: the king if its zone is hit, and the first man if it is in
the zone or can be won. Squares: the empty zone squares hit, and the entry squares.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.bitboards import (
    BIT,
    DIAGONAL,
    EMPTY,
    ENTRY_RANKS,
    NORTH,
    RANKS,
    RAYS,
    Bitboards,
    Flags,
    Rows,
    Squares,
    exploded,
    king_ring,
    square_of,
)
from patterns.boards.exchange import can_win, is_safe
from patterns.boards.grouping import united
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, TakenUp, findings
from patterns.proof.quiet import LESS_THAN_A_ROOK, falls_at_once, is_quiet
from patterns.words import wording

AT_KING, AT_MAN, AT_ENTRY = range(3)
_IS_DIAGONAL = np.isin(np.arange(8), DIAGONAL)


def _entry_squares(view: View, rows: Rows, front: Squares, beyond: Bitboards, upwards: Flags) -> Bitboards:
    """The entry squares on the line, if the line is a file and the front man moves up it."""
    upwards = upwards & ((BIT[front] & ENTRY_RANKS) == EMPTY)
    rooks = (view.boards.rooks[rows] & BIT[front]) != EMPTY
    ranks = np.where(rooks, ENTRY_RANKS, RANKS[6] | RANKS[7])
    wanted = np.where(upwards, beyond & ranks & ~view.occupied[rows], EMPTY)
    entry, square = exploded(wanted)
    safe = is_safe(view.boards.take(rows[entry]), front[entry], square)
    return united(entry[safe], BIT[square[safe]], len(rows))


def battery(view: View) -> Findings:
    """Batteries with a target, one instance per pair and direction."""
    lines, boards = view.our_sight_lines, view.boards
    ours_diagonal, ours_straight = boards.diagonal_sliders & view.us, boards.straight_sliders & view.us
    alike = np.where(_IS_DIAGONAL[lines.direction], ours_diagonal[lines.row], ours_straight[lines.row])
    lines = lines.only(((lines.front & alike) != EMPTY) & ~view.in_check[lines.row])
    row, front = lines.row, square_of(lines.front)
    behind = RAYS[lines.direction, square_of(lines.rear)]
    beyond = RAYS[lines.direction, front] & ~behind & ~view.us[row]
    met = lines.rear & view.them[row]
    zone = beyond & view.their_king_zone[row]
    zone &= (view.them | king_ring(view.their(chess.KING)) | ~view.their_pawn_attacks)[row]
    won = np.zeros(len(row), dtype=np.bool_)
    some = np.flatnonzero((met != EMPTY) & (zone == EMPTY))
    won[some] = can_win(boards.take(row[some]), square_of(met[some]), "us")
    some = np.flatnonzero(won)
    alone = boards.take(row[some]).without(BIT[lines.square[some]])
    won[some] = ~can_win(alone, square_of(met[some]), "us")
    entry = _entry_squares(view, row, front, beyond, lines.direction == NORTH)
    detail = np.select([zone != EMPTY, won], [AT_KING, AT_MAN], AT_ENTRY)
    targets = np.where(zone != EMPTY, view.their(chess.KING)[row] | met & zone, EMPTY)
    targets |= np.where(won, met, EMPTY)
    squares = (zone | entry) & ~view.occupied[row]
    found = findings(row, BIT[lines.square] | lines.front, targets, squares, detail)
    found = found.only((zone != EMPTY) | won | (entry != EMPTY))
    found = found.only(~falls_at_once(view, found.row, found.actors))
    return found.only(is_quiet(view, found.row, LESS_THAN_A_ROOK))


def _tell(instance: Instance) -> str:
    board = instance.board
    text = f"{wording.men(board, instance.actors)} stand one behind the other"
    if instance.detail == AT_ENTRY:
        return wording.sentence(f"{text} with a way in on {wording.squares(instance.squares)}")
    king = board.king(not instance.side)
    met = [square for square in instance.targets if square != king]
    aims = [wording.men(board, met)] if met else []
    if instance.squares:
        aims.append(wording.squares(instance.squares))
    if instance.detail == AT_KING and king is not None:
        near = f"{wording.listed(aims)} by " if aims else ""
        return wording.sentence(f"{text} and bear on {near}{wording.named(board, king)}")
    return wording.sentence(f"{text} and bear on {wording.listed(aims)}")


MOTIFS = (
    Motif(
        id="battery",
        title="Battery",
        definition=(
            "Two sliders of one side stand one behind the other on a line along which both move, and the"
            " front one hits a square by the enemy king, a man that the two can win together, or an entry"
            " square on the sixth rank or beyond."
        ),
        source="Vukovic, The Art of Attack in Chess; named from memory",
        find=battery,
        tell=_tell,
        taken_up=TakenUp.ACTION,
    ),
)
