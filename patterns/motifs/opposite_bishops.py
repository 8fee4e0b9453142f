"""The attack with bishops of opposite colours.

The rule: each side has one bishop, and these are of opposite colours. We have a queen, they have a queen or
rook. Our bishop hits squares of their king's zone that no pawn or knight of theirs guards. A queen or rook of
ours bears on such squares of the zone. There are two such squares, or two such heavy pieces, or bishop and
heavy piece hit the same square. Neither can be taken with profit, we are not in check and not a piece behind.
Or bishop and queen bear on a pawn in the zone, guarded or not, and a rook bears on it too or attacks the
king's neighbour squares.

A hit:

>>> from patterns.detect import find_in
>>> fen = "2q5/5b1k/3Q2p1/1p2B2p/1P5P/6P1/5P2/6K1 b - - 0 1"
>>> [(f.side, f.actors, f.targets) for f in find_in([chess.Board(fen)], MOTIFS)[0]]
[('white', ('e5', 'd6'), ('h7',))]

Near miss: the other bishop is of the same colour and guards g7.

>>> find_in([chess.Board(fen.replace("5b1k", "4b2k"))], MOTIFS)
[[]]

Roles: actors, the bishop and the heavy pieces that bear on the zone; targets, the king and the men of theirs
that the bishop hits there; squares, the empty squares it hits there.
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
    Bitboards,
    Flags,
    Rows,
    Squares,
    count,
    exploded,
    king_ring,
)
from patterns.boards.exchange import can_win
from patterns.boards.grouping import any_of, united
from patterns.boards.pressure import bearing
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, TakenUp, findings
from patterns.proof.quiet import PIECE, lead
from patterns.words import wording


def _falls(view: View, rows: Rows, squares: Squares) -> Flags:
    """Whether they can take our man on each square with profit, whichever side is to move."""
    return can_win(view.boards.take(rows), squares, "them")


def opposite_bishops_attack(view: View) -> Findings:
    """Attacks on the king on the colour of squares that only our bishop has."""
    mine, theirs = view.our(chess.BISHOP), view.their(chess.BISHOP)
    opposite = ((mine & LIGHT) != EMPTY) == ((theirs & DARK) != EMPTY)
    flags = (count(mine) == 1) & (count(theirs) == 1) & opposite
    flags &= (view.our(chess.QUEEN) != EMPTY) & ((view.boards.straight_sliders & view.them) != EMPTY)
    flags &= ~view.in_check
    flags[flags] = lead(view.boards.only(flags)) > -PIECE
    bishops = view.our_men_of[chess.BISHOP]
    bishops = bishops.only(flags[bishops.row])
    zone = view.their_king_zone & ~view.us & ~view.their_pawn_attacks & ~view.their_attacks_of[chess.KNIGHT]
    hits = bishops.attacks & zone[bishops.row]
    keep = hits != EMPTY
    bishops, hits = bishops.only(keep), hits[keep]
    heavy, shared = _heavy_pieces(view, bishops, hits, zone)
    keep = (heavy != EMPTY) & ((count(hits) >= 2) | (count(heavy) >= 2) | shared)
    keep &= ~_falls(view, bishops.row, bishops.square)
    row = bishops.row
    found = findings(
        row,
        BIT[bishops.square] | heavy,
        view.their(chess.KING)[row] | hits & view.them[row],
        hits & ~view.occupied[row],
    ).only(keep)
    flags[found.row] = False
    return Findings.joined(found, _against_cover(view, flags))


def _against_cover(view: View, flags: Flags) -> Findings:
    """Bishop, queen and rook of ours at one pawn near their king, even if another pawn guards it."""
    king = view.their(chess.KING)
    row, square = exploded(np.where(flags, view.their_pawns & view.their_king_zone & view.our_attacks, EMPTY))
    boards = view.boards.take(row)
    ours = bearing(boards, square) & boards.us
    led = ((ours & boards.bishops) != EMPTY) & ((ours & boards.queens) != EMPTY)
    row, square, ours, boards = row[led], square[led], ours[led], boards.take(np.flatnonzero(led))
    rooks = view.our_men_of[chess.ROOK]
    near = (rooks.attacks & king_ring(king)[rooks.row]) != EMPTY
    actors = ours & (boards.diagonal_sliders | boards.rooks)
    actors |= united(rooks.row[near], BIT[rooks.square[near]], len(view))[row]
    entry, man = exploded(actors)
    firm = ~any_of(entry, _falls(view, row[entry], man), len(row))
    helped = (actors & boards.rooks) != EMPTY
    return findings(row, actors, king[row] | BIT[square]).only(firm & helped).merged()


def _heavy_pieces(view: View, bishops: Men, hits: Bitboards, zone: Bitboards) -> tuple[Bitboards, Flags]:
    """Our queens and rooks that attack the zone, and whether one hits a square that the bishop hits.

    One bishop per row.
    """
    place = np.full(len(view), -1)
    place[bishops.row] = np.arange(len(bishops))
    men = view.our_pieces
    men = men.only((place[men.row] >= 0) & (men.kind >= chess.ROOK))
    men = men.only((men.attacks & zone[men.row]) != EMPTY)
    men = men.only(~_falls(view, men.row, men.square))
    entry = place[men.row]
    shared = any_of(entry, (men.attacks & hits[entry]) != EMPTY, len(hits))
    return united(entry, BIT[men.square], len(hits)), shared


def _tell_opposite(instance: Instance) -> str:
    board = instance.board
    king = board.king(not instance.side)
    assert king is not None
    bishop = next(square for square in instance.actors if board.piece_type_at(square) == chess.BISHOP)
    helpers = [square for square in instance.actors if square != bishop]
    hit = wording.squares(instance.squares | instance.targets - chess.SquareSet([king]))
    return wording.sentence(
        f"{wording.named(board, bishop)}, with {wording.men(board, helpers)}, hits {hit}"
        f" by {wording.named(board, king)}: the other bishop can never guard the"
        f" {wording.shade(bishop)} squares"
    )


MOTIFS = (
    Motif(
        id="opposite-bishops-attack",
        title="Attack with opposite bishops",
        definition=(
            "One bishop each, of opposite colours, with heavy pieces on the board: ours hits squares by the"
            " enemy king that no pawn or knight guards and the other bishop never can, and queen or rook join"
            " in. Or bishop, queen and rook together bear on a pawn there. We are not a piece behind. In an"
            " attack it counts like an extra piece."
        ),
        source="common practice, no source",
        find=opposite_bishops_attack,
        tell=_tell_opposite,
        taken_up=TakenUp.ACTION,
    ),
)
