"""The knight against the bad bishop: their only bishop is tied to its pawns, and our knight profits.

The rule. They have exactly one bishop, and we have more knights than they have. At least two of their pawns
are fixed on the bishop's colour, one of them ahead of it on the files c to f, and on these files more of
their pawns stand on its colour than on the other. (Fixed is explained in `patterns.motifs.bishops`.) The
bishop has at most five moves to squares that no pawn or knight of ours guards, none if it is on its first
square, and it attacks no man of ours. Our knight attacks one of three fixed pawns or more (of two, if it is
beyond the middle), or stands on an outpost of the other colour beyond the middle, and they can neither win
nor trade it there. Or it is our move and it can go to such an outpost, or to a square from where it attacks
one of three fixed pawns or more, which no pawn guards; no pawn can drive it off there, and it loses nothing
by it (the look ahead tests this).

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

from patterns.boards.attacks import Men
from patterns.boards.bitboards import (
    BIT,
    DARK,
    EMPTY,
    LIGHT,
    MIDDLE_FILES,
    RANKS,
    THEIR_HALF,
    Bitboards,
    count,
    filled_up,
)
from patterns.boards.grouping import marked, pairs_of_equal
from patterns.boards.moves import Moves, stands_firm
from patterns.boards.pressure import men_of_rows
from patterns.boards.view import View
from patterns.motifs.bishops import fixed_pawns
from patterns.motifs.findings import Instance, Motif, TakenUp
from patterns.motifs.knights import outposts
from patterns.proof.claims import Claims, claims
from patterns.proof.strokes import strokes
from patterns.words import wording

_BISHOPS_BEGIN = BIT[chess.C8] | BIT[chess.F8]
_FIXED_PAWNS = 2
_FEW_MOVES = 5


def knight_against_bad_bishop(view: View) -> Claims:
    """Knights that profit from their only bishop being bad, one instance each."""
    bishops, fixed = _bad_bishops(view)
    shade: Bitboards = np.where((BIT[bishops.square] & LIGHT) != EMPTY, LIGHT, DARK)
    # From our half, two fixed pawns alone are not yet worth an attack.
    prey = np.where(count(fixed) > _FIXED_PAWNS, fixed, EMPTY)
    unguarded = prey & ~view.their_pawn_attacks[bishops.row]
    posts = view.once(outposts)[bishops.row] & THEIR_HALF & ~shade
    targets = BIT[bishops.square] | fixed

    entry, knights = men_of_rows(view.our_men_of[chess.KNIGHT], bishops.row)
    beyond: Bitboards = np.where((BIT[knights.square] & THEIR_HALF) != EMPTY, fixed[entry], EMPTY)
    works = ((knights.attacks & (prey[entry] | beyond)) | (BIT[knights.square] & posts[entry])) != EMPTY
    works[works] = stands_firm(view.boards.take(knights.row[works]), knights.square[works])
    entry, knights = entry[works], knights.only(works)
    there = Moves(knights.row, knights.square, knights.square)
    standing = claims(there, BIT[knights.square], targets[entry], least=0)

    entry, index = pairs_of_equal(bishops.row, view.once(strokes).row)
    every = view.once(strokes).take(index)
    goes = (every.kind == chess.KNIGHT) & (every.gain == 0)
    goes &= ~marked(knights.row, len(view))[every.row]
    lasting = BIT[every.square] & ~view.their_free_pawn_span[every.row]
    goes &= (
        (lasting & posts[entry]) | np.where(lasting != EMPTY, every.seen & unguarded[entry], EMPTY)
    ) != EMPTY
    entry, every = entry[goes], every.only(goes)
    man = BIT[every.origin]
    moves = claims(every.moves, man, targets[entry], BIT[every.square], least=0, about=every.origin)
    return Claims.joined(standing, moves)


def _bad_bishops(view: View) -> tuple[Men, Bitboards]:
    """Their only bishop where it is bad and we have more knights, and their pawns fixed on its colour."""
    lone = count(view.their(chess.BISHOP)) == 1
    lone &= count(view.our(chess.KNIGHT)) > count(view.their(chess.KNIGHT))
    bishops = view.their_pieces
    bishops = bishops.only((bishops.kind == chess.BISHOP) & lone[bishops.row])
    row = bishops.row
    shade: Bitboards = np.where((BIT[bishops.square] & LIGHT) != EMPTY, LIGHT, DARK)
    pawns, fixed = view.their_pawns[row], view.swapped(view.once(fixed_pawns))[row] & shade
    moves = bishops.attacks & ~(view.them | view.our_pawn_attacks)[row]
    ahead = fixed & MIDDLE_FILES & ~filled_up(RANKS[bishops.square >> 3])
    bad = (count(fixed) >= _FIXED_PAWNS) & (ahead != EMPTY)
    bad &= count(pawns & shade & MIDDLE_FILES) > count(pawns & ~shade & MIDDLE_FILES)
    free = moves & ~view.our_attacks_of[chess.KNIGHT][row]
    bad &= (count(free) <= _FEW_MOVES) & ((bishops.attacks & view.us[row]) == EMPTY)
    bad &= ((BIT[bishops.square] & _BISHOPS_BEGIN) == EMPTY) | (moves == EMPTY)
    return bishops.only(bad), fixed[bad]


def _tell(instance: Instance) -> str:
    board = instance.board
    knight = wording.men(board, instance.actors)
    (bishop,) = (square for square in instance.targets if board.piece_type_at(square) == chess.BISHOP)
    pawns = wording.squares(instance.targets - chess.SquareSet([bishop]))
    has = "is better placed than"
    if instance.squares:
        has = f"{instance.does('go')} to {wording.either(instance.squares)} and is then better placed than"
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
            " stand more knights than the opponent has, and one of them attacks one of three fixed pawns or"
            " has an outpost on the other colour beyond the middle, now or after one move that loses"
            " nothing."
        ),
        source="common practice, no source",
        find=knight_against_bad_bishop,
        tell=_tell,
        taken_up=TakenUp.ACTION,
    ),
)
