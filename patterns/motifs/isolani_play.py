"""Play with the isolated pawn: what an isolated centre pawn gives the side that has it.

The rule. Our pawn stands on the fourth rank of the d-file. No pawn of ours is on the c- or e-file, no other
pawn on the d-file, and pawns of theirs on the neighbouring files keep it from being passed. (The classical
case is the queen's pawn; the e-pawn counts in the same way.) We have a queen and at least four pieces, they
have at least three, and they cannot win the pawn by exchange now. And it gives us something:

- it can advance and attack a man of theirs, and this loses nothing: lines are opened for our pieces; or
- our knight stands on one of the two squares that the pawn guards, or can safely go there in one move, and
  we lose at most a pawn. A knight that hits a rook or queen, or is attacked with profit where it stands, has
  other things to do than to go there.

What is lost is for the look ahead to say (`patterns.proof.lookahead`).

A hit: d4-d5 opens the game, and the knight has e5.

>>> from patterns.detect import find_in
>>> active = "r1bq1rk1/pp2bppp/2n1pn2/8/2BP4/2N2N2/PP2QPPP/R1BR2K1 w - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(active)], MOTIFS)[0]]
[('isolani-play', ('f3', 'd4'), ('c6', 'e6'), ('d5', 'e5'))]

A near miss: the square in front of the pawn is blockaded, and e5 is guarded by a pawn.

>>> passive = "r1bq1rk1/pp2b1pp/2n2p2/3np3/2BP4/2N5/PP2QPPP/R1BRN1K1 w - - 0 1"
>>> find_in([chess.Board(passive.replace("3np3", "3n4").replace("2n2p2", "2n1pp2"))], MOTIFS)[0]
[]

Roles. Actors: the pawn, and the knights that have a square or can go there. Targets: the men that the advance
attacks. Squares: the square in front of the pawn if it can advance, and the squares that a knight can go to.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.bitboards import (
    BIT,
    EMPTY,
    FILES,
    KNIGHT_STEPS,
    PAWN_UP,
    RANKS,
    Bitboards,
    Rows,
    Squares,
    exploded,
    filled_files,
    neighbour_files,
)
from patterns.boards.exchange import can_win, is_safe, loses_nothing
from patterns.boards.grouping import united
from patterns.boards.moves import Moves
from patterns.boards.view import View
from patterns.motifs.findings import Instance, Motif
from patterns.proof.claims import Claims, claims
from patterns.words import wording

_OUR_PIECES, _THEIR_PIECES = 4, 3


def isolani_play(view: View) -> Claims:
    """What our isolated centre pawns give us, told as one finding per pawn."""
    ours = view.our_pawns
    enough = (view.our(chess.QUEEN) != EMPTY) & (view.our_piece_count >= _OUR_PIECES)
    enough &= view.their_piece_count >= _THEIR_PIECES
    # Beside a d-pawn of theirs an e-pawn is half of another structure.
    files = FILES[3] | np.where((view.their_pawns & FILES[3]) == EMPTY, FILES[4], EMPTY)
    alone = ours & files & RANKS[3] & ~neighbour_files(ours)
    alone &= ~filled_files(ours & ~RANKS[3] | view.their_pawns)
    row, square = exploded(np.where(enough, alone & view.their_pawn_span, EMPTY))
    stays = ~can_win(view.boards.take(row), square, "them")
    row, square = row[stays], square[stays]
    points = PAWN_UP[square]
    return Claims.joined(
        advances(view, row, square), _standing(view, row, square, points), _coming(view, row, square, points)
    )


def advances(view: View, rows: Rows, pawns: Squares) -> Claims:
    """Advances of the pawn that attack a man and lose nothing."""
    ahead = pawns + 8
    hit = PAWN_UP[ahead] & view.them[rows]
    able = np.flatnonzero((hit != EMPTY) & ((view.occupied[rows] & BIT[ahead]) == EMPTY))
    rows, pawns, ahead, hit = rows[able], pawns[able], ahead[able], hit[able]
    keep = loses_nothing(view.boards.take(rows), pawns, ahead)
    moves = Moves(rows, pawns, ahead).only(keep)
    return claims(moves, BIT[moves.origin], hit[keep], BIT[moves.square], least=0, about=moves.origin)


def _standing(view: View, rows: Rows, pawns: Squares, points: Bitboards) -> Claims:
    """Our knights on the points, where they win no more than a pawn, there or elsewhere."""
    entry, square = exploded(points & view.our(chess.KNIGHT)[rows])
    moves = Moves(rows[entry], square, square)
    none, pawn = np.zeros(len(entry), dtype=np.uint64), pawns[entry]
    return claims(moves, BIT[square] | BIT[pawn], none, none, least=-1, about=pawn)


def _coming(view: View, rows: Rows, pawns: Squares, points: Bitboards) -> Claims:
    """Safe moves of our knights to the points. One that hits a bigger man or is hit has other plans."""
    entry, square = exploded(points & ~view.occupied[rows])
    bigger = exploded(view.them & (view.boards.rooks | view.boards.queens))
    busy = united(bigger[0], KNIGHT_STEPS[bigger[1]], len(view))
    knights = view.our(chess.KNIGHT) & ~view.our_pinned & ~busy
    which, origin = exploded(KNIGHT_STEPS[square] & knights[rows[entry]])
    entry, square = entry[which], square[which]
    moves = Moves(rows[entry], origin, square)
    here = view.boards.take(moves.row)
    safe = is_safe(here, origin, square) & ~can_win(here, origin, "them")
    moves, pawn = moves.only(safe), pawns[entry[safe]]
    none = np.zeros(len(moves), dtype=np.uint64)
    return claims(moves, BIT[moves.origin] | BIT[pawn], none, BIT[moves.square], least=-1, about=pawn)


def _tell(instance: Instance) -> str:
    board, pawn = instance.board, (instance.actors & instance.board.pawns).pop()
    ahead = pawn + (8 if instance.side == chess.WHITE else -8)
    side = wording.side_name(instance.side)
    points = instance.squares - chess.SquareSet([ahead])
    knights = instance.actors - chess.SquareSet([pawn])
    standing = [knight for knight in knights if board.attacks(pawn) & chess.SquareSet([knight])]
    comers = [knight for knight in knights if knight not in standing]
    gives = []
    if ahead in instance.squares:
        hit = wording.men(board, instance.targets)
        gives.append(f"it can advance to {chess.SQUARE_NAMES[ahead]} against {hit} and open lines")
    if standing:
        gives.append(f"it holds the square of {wording.men(board, standing)}")
    if comers:
        gives.append(f"it holds {wording.squares(points)} for {wording.men(board, comers)}")
    return wording.sentence(
        f"the isolated pawn on {chess.SQUARE_NAMES[pawn]} gives {side} play: {'; '.join(gives)}"
    )


MOTIFS = (
    Motif(
        id="isolani-play",
        title="Play with the isolated pawn",
        definition=(
            "The owner of an isolated d-pawn on its fourth rank (or of an isolated e-pawn, if the"
            " enemy has no d-pawn) has queen and pieces enough, and the pawn gives play: it can advance"
            " against an enemy man without loss and open lines, or a knight stands on a square that it"
            " guards, or can safely go there, where no"
            " pawn attacks it."
        ),
        source=(
            "Nimzowitsch, My System (the isolated queen's pawn: dynamic strength, the outposts c5 and e5);"
            " named from memory; that an e-pawn counts too is our own extension"
        ),
        find=isolani_play,
        tell=_tell,
    ),
)
