"""The centralised piece: a bishop, rook or queen in the middle of the board that cannot be driven off.

The rule. Our bishop, rook or queen stands on d4, e4, d5 or e5. (A knight there is told as an outpost.) No
pawn of theirs attacks it, or could after advancing; a pawn of theirs cannot advance past a pawn of ours on
its file. They can neither win it by exchange nor trade a man worth no more for it; nor can a bishop or queen
of theirs oppose one of ours by a safe quiet move. It attacks no pawn of theirs that is about to promote: then
it stands there as a guard. It attacks at least three squares beyond the middle that no pawn of theirs guards
and none of our men stands on. Each side has two pieces or more.

A hit: no pawn can trouble the queen on d4, and it looks into the black position.

>>> from patterns.detect import find_in
>>> import chess
>>> ruling = "1r3rk1/p4ppp/1p2bn2/8/3Q4/1P3N2/P4PPP/2R2RK1 w - - 0 1"
>>> [(f.motif, f.actors, f.squares) for f in find_in([chess.Board(ruling)], MOTIFS)[0]]
[('centralised-piece', ('d4',), ('d5', 'e5', 'd6', 'd7', 'd8'))]

A near miss: a black queen on d8 may be traded for it.

>>> find_in([chess.Board(ruling.replace("1r3rk1", "1r1q1rk1"))], MOTIFS)[0]
[]

Roles. Actor: the piece. Targets: the men of theirs that it attacks and no pawn of theirs guards. Squares: the
empty squares beyond the middle that it attacks and no pawn of theirs guards.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.attacks import Men
from patterns.boards.bitboards import (
    BIT,
    CENTRE_SQUARES,
    EMPTY,
    RANKS,
    THEIR_HALF,
    Flags,
    count,
)
from patterns.boards.moves import stands_firm
from patterns.boards.pressure import joiners
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, findings
from patterns.words import wording

_PIECES = 2
_SQUARES = 3
_FAR_ADVANCED = RANKS[1] | RANKS[2]


def centralised_piece(view: View) -> Findings:
    """Our bishops, rooks and queens in the centre that stay there, one instance each."""
    pieces_left = np.minimum(view.our_piece_count, view.their_piece_count) >= _PIECES
    centre = np.where(pieces_left, CENTRE_SQUARES & ~view.their_free_pawn_span, EMPTY)
    men = view.our_pieces
    men = men.only((men.kind != chess.KNIGHT) & ((centre[men.row] & BIT[men.square]) != EMPTY))
    free = ~(view.their_pawn_attacks | view.us)
    seen = men.attacks & free[men.row]
    works = count(seen & THEIR_HALF) >= _SQUARES
    some = np.flatnonzero(works)
    works[some] = stands_firm(view.boards.take(men.row[some]), men.square[some])
    # Nor does it rule while it has to watch a pawn that is about to promote.
    works &= (seen & view.their_pawns[men.row] & _FAR_ADVANCED) == EMPTY
    some = np.flatnonzero(works)
    works[some] = ~_opposed_next(view, men.take(some))
    targets, squares = seen & view.them[men.row], seen & THEIR_HALF & ~view.them[men.row]
    return findings(men.row, BIT[men.square], targets, squares).only(works)


def _opposed_next(view: View, men: Men) -> Flags:
    """Which of our bishops and queens one of theirs can oppose by a safe move (a rook nearly always can)."""
    rows = view.other(men.row)
    others = view.boards.take(rows)
    alike = np.where(men.kind == chess.QUEEN, others.queens, others.bishops)
    alike = np.where(men.kind == chess.ROOK, EMPTY, alike)
    return joiners(view, rows, men.square ^ 56, ~alike) != EMPTY


def _tell(instance: Instance) -> str:
    board = instance.board
    piece = wording.men(board, instance.actors)
    seen = wording.listed(
        wording.named(board, square) for square in sorted(instance.targets | instance.squares)
    )
    return wording.sentence(
        f"{piece} rules the centre: no pawn can drive it off, nothing can be traded for it, and it bears on"
        f" {seen}"
    )


MOTIFS = (
    Motif(
        id="centralised-piece",
        title="Centralised piece",
        definition=(
            "A bishop, rook or queen stands on d4, e4, d5 or e5, where no enemy pawn attacks it or could"
            " after advancing, and where it can be neither won by exchange nor traded for a man worth no"
            " more, and no bishop or queen can oppose its like at once. From there it attacks three or more"
            " squares beyond the middle that no enemy pawn guards."
        ),
        source="Nimzowitsch, My System and Chess Praxis (centralisation); named from memory",
        find=centralised_piece,
        tell=_tell,
    ),
)
