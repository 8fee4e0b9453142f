"""The sacrifice for the king's cover: a piece that can be given for a pawn in front of the king.

The rule. It is our move and we are not in check; our queen is on. Their king stands on a wing (files a-c or
f-h) on its first two ranks. A knight, bishop or rook of ours, not pinned, can take a pawn on the king's file
or a neighbour, beside the king or up to two ranks before it, and loses by exchange in doing so. Once their
cheapest man has taken back, three other pieces of ours, the queen among them, take part in the attack: they
bear on a square next to the king, or have a safe check; and one has a safe check.
That is a sacrifice to be reckoned with. Whether it works, only a line can tell: see `patterns.combinations`.

A hit: the bishop takes on h7, and the knight checks on g5, the queen on d3, with the other bishop behind.

>>> from patterns.detect import find_in
>>> gift = "rnbq1rk1/pppn1ppp/4p3/3pP3/1b1P3P/2NB1N2/PPP2PP1/R1BQK2R w KQ - 0 8"
>>> [(f.motif, f.actors, f.targets) for f in find_in([chess.Board(gift)], MOTIFS)[0]]
[('cover-sacrifice', ('c1', 'd1', 'd3', 'f3'), ('h7', 'g8'))]

A near miss: a knight on f6 takes back on h7, and the king stays at home.

>>> guarded = "rnbq1rk1/ppp2ppp/4pn2/3p4/1b1P3P/2NB1N2/PPP2PP1/R1BQK2R w KQ - 0 8"
>>> find_in([chess.Board(guarded)], MOTIFS)[0]
[]

Roles. Actors: the piece to be given, and those that go on with the attack. Targets: the pawn and the king.
Squares: none.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns import wording
from patterns.attacks import Men, attackers, men_of
from patterns.bitboards import (
    BIT,
    EMPTY,
    FILES,
    RANKS,
    Bitboards,
    Flags,
    Rows,
    Squares,
    exploded,
    king_ring,
    square_of,
)
from patterns.exchange import is_safe, loses_nothing
from patterns.findings import Findings, Instance, Motif, findings
from patterns.moves import attack_from, cheapest, free_pieces, is_piece
from patterns.positions import Boards
from patterns.view import View

ATTACKERS = 3
"""How many other pieces must take part: with fewer the attack has too little behind it."""
_WINGS = ~(FILES[3] | FILES[4])
_HOME = RANKS[6] | RANKS[7]


def _offers(view: View) -> tuple[Rows, Squares, Squares]:
    """Captures of cover pawns by pieces that lose by exchange: row, from where, to where."""
    king = view.their(chess.KING)
    ring = king_ring(king)
    near = (king | ring) & ~(king << np.uint64(8)) | ring >> np.uint64(8)
    ready = view.boards.our_move & ~view.in_check & (view.our(chess.QUEEN) != EMPTY)
    ready &= (king & _WINGS & _HOME) != EMPTY
    cover = np.where(ready, view.their_pawns & near & _WINGS, EMPTY)
    men = view.once(free_pieces)
    takes = men.attacks & cover[men.row] & view.their_attacks[men.row]
    some = np.flatnonzero((takes != EMPTY) & (men.kind != chess.QUEEN))
    men, takes = men.only(some), takes[some]
    man, square = exploded(takes)
    row, origin = men.row[man], men.square[man]
    lost = ~loses_nothing(view.boards.take(row), origin, square)
    return row[lost], origin[lost], square[lost]


def _safe_checks(after: Boards, men: Men) -> Flags:
    """Which of our men have a safe check on the board."""
    king = square_of(after.kings & after.them)[men.row]
    occupied = after.occupied[men.row] & ~BIT[men.square]
    from_where = attack_from(men.kind, king, occupied, "us") & men.attacks & ~after.us[men.row]
    man, square = exploded(from_where)
    safe = is_safe(after.take(men.row[man]), men.square[man], square)
    result = np.zeros(len(men.row), dtype=np.bool_)
    result[man[safe]] = True
    return result


def _attack_after(after: Boards) -> Bitboards:
    """Our pieces that go on with the attack on each board; empty unless they are enough."""
    men = men_of(after, "us")
    men = men.only(is_piece(men.kind))
    ring = king_ring(after.kings & after.them)
    checks = _safe_checks(after, men)
    joins = checks | ((men.attacks & ring[men.row]) != EMPTY)
    joining, checking = np.zeros(len(after), dtype=np.uint64), np.zeros(len(after), dtype=np.bool_)
    np.bitwise_or.at(joining, men.row[joins], BIT[men.square[joins]])
    checking[men.row[checks]] = True
    enough = checking & (np.bitwise_count(joining) >= ATTACKERS) & ((joining & after.queens) != EMPTY)
    return np.where(enough, joining, EMPTY)


def cover_sacrifice(view: View) -> Findings:
    """Pieces that can be given for a pawn of the king's cover with an attack to follow."""
    row, origin, square = _offers(view)
    taken = view.boards.take(row).moved(origin, square)
    way, back = exploded(cheapest(taken, attackers(taken, square) & taken.them))
    each = _attack_after(taken.take(way).moved(back, square[way]))
    joining = np.zeros(len(row), dtype=np.uint64)
    joining[way] = ~EMPTY
    np.bitwise_and.at(joining, way, each)
    some = np.flatnonzero(joining)
    row, origin, square, joining = row[some], origin[some], square[some], joining[some]
    king = view.their(chess.KING)[row]
    return findings(row, BIT[origin] | joining, BIT[square] | king, detail=origin)


def _tell(instance: Instance) -> str:
    board = instance.board
    king = next(square for square in instance.targets if board.piece_type_at(square) == chess.KING)
    pawn = next(square for square in instance.targets if square != king)
    giver = instance.detail if instance.side == chess.WHITE else chess.square_mirror(instance.detail)
    helpers = wording.men(board, (square for square in instance.actors if square != giver))
    return wording.sentence(
        f"{wording.named(board, giver)} can be given for {wording.named(board, pawn)}, cover of"
        f" {wording.named(board, king)}: {helpers} would go on with the attack"
    )


MOTIFS = (
    Motif(
        id="cover-sacrifice",
        title="Sacrifice for the cover",
        definition=(
            "A knight, bishop or rook can be given for a pawn of the king's cover, and once it is taken three"
            " other pieces, the queen among them, go on with the attack, one of them with a safe check."
            " Whether it works has to be worked out."
        ),
        source="Vukovic, The Art of Attack in Chess (sacrifices on the castled king); named from memory",
        find=cover_sacrifice,
        tell=_tell,
    ),
)
