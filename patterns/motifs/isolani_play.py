"""Play with the isolated pawn: what an isolated centre pawn gives the side that has it.

The rule. Our pawn stands on the fourth rank of the d-file. No pawn of ours is on the c- or e-file, no other
pawn on the d-file, and pawns of theirs on the neighbouring files keep it from being passed. (The classical
case is the queen's pawn; the e-pawn counts in the same way.) We have a queen and at least four pieces, they
have at least three, and they cannot win the pawn by exchange now. And it gives us something:

- it can advance and attack a man of theirs, and the exchange on its new square loses nothing for us: lines
  are opened for our pieces; or
- our knight stands on one of the two squares that the pawn guards, or can safely go there in one move. No
  pawn of theirs attacks it, and they win nothing by taking it.

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
    CENTRE,
    EMPTY,
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
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, TakenUp, findings
from patterns.words import wording

_OUR_PIECES, _THEIR_PIECES = 4, 3


def isolani_play(view: View) -> Findings:
    """Our isolated centre pawns that give us play, one instance each."""
    ours = view.our_pawns
    enough = (view.our(chess.QUEEN) != EMPTY) & (view.our_piece_count >= _OUR_PIECES)
    enough &= view.their_piece_count >= _THEIR_PIECES
    alone = (
        ours & CENTRE & RANKS[3] & ~neighbour_files(ours) & ~filled_files(ours & ~RANKS[3] | view.their_pawns)
    )
    row, square = exploded(np.where(enough, alone & view.their_pawn_span, EMPTY))
    stays = ~can_win(view.boards.take(row), square, "them")
    row, square = row[stays], square[stays]
    advance, hit = _advance(view, row, square)
    points = PAWN_UP[square] & ~view.their_pawn_attacks[row]
    standing = _standing(view, row, points)
    comers, reached = _reached(view, row, points)
    actors = BIT[square] | standing | comers
    every = findings(row, actors, hit, advance | reached, square)
    return every.only((advance | standing | reached) != EMPTY)


def _advance(view: View, rows: Rows, pawns: Squares) -> tuple[Bitboards, Bitboards]:
    """The square that each pawn can advance to, and the men it then attacks. Both are empty if it cannot."""
    ahead = pawns + 8
    hit = PAWN_UP[ahead] & view.them[rows]
    able = (hit != EMPTY) & ((view.occupied[rows] & BIT[ahead]) == EMPTY)
    some = np.flatnonzero(able)
    able[some] = loses_nothing(view.boards.take(rows[some]), pawns[some], ahead[some])
    return np.where(able, BIT[ahead], EMPTY), np.where(able, hit, EMPTY)


def _standing(view: View, rows: Rows, points: Bitboards) -> Bitboards:
    """Our knights on these squares that they cannot take with profit. Shapes (M,)."""
    entry, square = exploded(points & view.our(chess.KNIGHT)[rows])
    stays = ~can_win(view.boards.take(rows[entry]), square, "them")
    return united(entry[stays], BIT[square[stays]], len(rows))


def _reached(view: View, rows: Rows, points: Bitboards) -> tuple[Bitboards, Bitboards]:
    """Our knights that can safely go to one of these squares, and the squares that they can go to."""
    entry, square = exploded(points & ~view.occupied[rows])
    knights = view.our(chess.KNIGHT) & ~view.our_pinned
    which, origin = exploded(KNIGHT_STEPS[square] & knights[rows[entry]])
    entry, square = entry[which], square[which]
    safe = is_safe(view.boards.take(rows[entry]), origin, square)
    entry, square, origin = entry[safe], square[safe], origin[safe]
    return united(entry, BIT[origin], len(rows)), united(entry, BIT[square], len(rows))


def _tell(instance: Instance) -> str:
    board, pawn = instance.board, instance.detail_square
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
            "The owner of an isolated d-pawn on its fourth rank (or of an isolated e-pawn) has queen and"
            " pieces enough, and the pawn gives play: it can advance against an enemy man without loss and"
            " open lines, or a knight stands on a square that it guards, or can safely go there, where no"
            " pawn attacks it."
        ),
        source=(
            "Nimzowitsch, My System (the isolated queen's pawn: dynamic strength, the outposts c5 and e5);"
            " named from memory; that an e-pawn counts too is our own extension"
        ),
        find=isolani_play,
        tell=_tell,
        taken_up=TakenUp.ACTION,
    ),
)
