"""The knight against the bad bishop: their only bishop is tied to its pawns, and our knight profits.

The rule. They have exactly one bishop, and we have more knights than they have. At least two of their pawns
are fixed on the bishop's colour, one of them ahead of it on the files c to f, and more of their pawns stand
on its colour than on the other. (Fixed is explained in `patterns.motifs.bishops`.) The bishop has at most six
moves to squares that no pawn of ours guards, and it attacks no man of ours. Our knight attacks one of the
fixed pawns, or stands on an outpost of the other colour, where they cannot win it. Or one safe move brings it
there: to such an outpost, or to an empty square from where it attacks a fixed pawn.

This bishop need not be as hopeless as the one of `bad-bishop`. What counts here is the comparison: the knight
works on squares that this bishop can never contest.

A hit: the knight on c5 can't be driven off, and the bishop on d7 stands behind its pawns on d5, e6 and b7.

>>> from patterns.detect import find_in
>>> strong = "5rk1/1p1b2pp/4p3/2Np4/1P1P4/4P3/5PPP/2R3K1 w - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(strong)], MOTIFS)[0]]
[('knight-against-bad-bishop', ('c5',), ('d5', 'e6', 'd7'), ())]

A near miss: with the bishop on d6 it is of the other colour and takes the knight.

>>> find_in([chess.Board(strong.replace("1p1b2pp/4p3", "1p4pp/3bp3"))], MOTIFS)[0]
[]

Roles. Actor: the knight. Targets: the bishop and the fixed pawns. Squares: where the knight can go, if it has
to move first.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.bitboards import (
    BIT,
    DARK,
    EMPTY,
    KNIGHT_STEPS,
    LIGHT,
    MIDDLE_FILES,
    RANKS,
    Bitboards,
    count,
    exploded,
    filled_up,
)
from patterns.boards.exchange import can_win, is_safe
from patterns.boards.grouping import united
from patterns.boards.pressure import men_of_rows
from patterns.boards.view import View
from patterns.motifs.bishops import fixed_pawns
from patterns.motifs.findings import Findings, Instance, Motif, TakenUp, findings
from patterns.motifs.knights import outposts
from patterns.words import wording

_FIXED_PAWNS = 2
_FEW_MOVES = 6


def knight_against_bad_bishop(view: View) -> Findings:
    """Knights that profit from their only bishop being bad, one instance each."""
    lone = count(view.their(chess.BISHOP)) == 1
    lone &= count(view.our(chess.KNIGHT)) > count(view.their(chess.KNIGHT))
    bishops = view.their_pieces
    bishops = bishops.only((bishops.kind == chess.BISHOP) & lone[bishops.row])
    row = bishops.row
    shade: Bitboards = np.where((BIT[bishops.square] & LIGHT) != EMPTY, LIGHT, DARK)
    pawns, fixed = view.their_pawns[row], view.swapped(view.once(fixed_pawns))[row] & shade
    moves = bishops.attacks & ~view.them[row] & ~view.our_pawn_attacks[row]
    ahead = fixed & MIDDLE_FILES & ~filled_up(RANKS[bishops.square >> 3])
    bad = (count(fixed) >= _FIXED_PAWNS) & (ahead != EMPTY)
    bad &= count(pawns & shade) > count(pawns & ~shade)
    bad &= (count(moves) <= _FEW_MOVES) & ((bishops.attacks & view.us[row]) == EMPTY)
    row, square, shade, fixed = row[bad], bishops.square[bad], shade[bad], fixed[bad]

    entry, knights = men_of_rows(view.our_men_of[chess.KNIGHT], row)
    rows, posts = knights.row, view.once(outposts)[knights.row] & ~shade[entry]
    works = ((knights.attacks & fixed[entry]) | (BIT[knights.square] & posts)) != EMPTY
    works &= ~can_win(view.boards.take(rows), knights.square, "them")
    pawn_of, pawn = exploded(fixed)
    against = united(pawn_of, KNIGHT_STEPS[pawn], len(row))[entry]
    free = knights.attacks & ~view.occupied[rows]
    free[works | ((view.our_pinned[rows] & BIT[knights.square]) != EMPTY)] = EMPTY
    which, goal = exploded(free & (posts | against))
    safe = is_safe(view.boards.take(rows[which]), knights.square[which], goal)
    goals = united(which[safe], BIT[goal[safe]], len(rows))
    every = findings(rows, BIT[knights.square], BIT[square[entry]] | fixed[entry], goals)
    return every.only(works | (goals != EMPTY))


def _tell(instance: Instance) -> str:
    board = instance.board
    knight = wording.men(board, instance.actors)
    (bishop,) = (square for square in instance.targets if board.piece_type_at(square) == chess.BISHOP)
    pawns = wording.squares(instance.targets - chess.SquareSet([bishop]))
    has = "is better placed than"
    if instance.squares:
        has = f"can go to {wording.either(instance.squares)} and is then better placed than"
    return wording.sentence(
        f"{knight} {has} {wording.named(board, bishop)}, whose own pawns on {pawns} are fixed on its"
        " colour; the bishop can never contest the squares of the other colour"
    )


MOTIFS = (
    Motif(
        id="knight-against-bad-bishop",
        title="Knight against bad bishop",
        definition=(
            "The opponent's only bishop has most of its own pawns on its colour, two or more of them fixed,"
            " one of these ahead of it on the files c to f; it has few moves and attacks nothing. Against it"
            " stand more knights than the opponent has, and one of them attacks a fixed pawn or has an"
            " outpost on the other colour, now or after one safe move."
        ),
        source="common practice, no source",
        find=knight_against_bad_bishop,
        tell=_tell,
        taken_up=TakenUp.ACTION,
    ),
)
