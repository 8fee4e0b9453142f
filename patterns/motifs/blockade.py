"""The blockade: a minor piece in front of a pawn, where no pawn drives it off and from where it works.

The rule. A pawn of theirs is passed and on its fourth rank or beyond, or isolated on the files c to f, with
no pawn of ours on its file. (Of two hanging pawns each guards the square in front of the other: until one of
them advances, neither can be blockaded.) Our knight or bishop stands on the square in front of it, and no
pawn of theirs attacks this square, or can do so after advancing. It is not exchanged off with profit: the
exchange on its square wins nothing for them, and if all minor pieces trade there, one of ours is left; before
an isolated pawn it is enough that two other pieces of ours can take its place. It works from there: it
attacks another man of theirs, or at least two squares beyond the middle that no pawn of theirs guards. Each
side has two pieces or more, our king is not in check, and no exchange wins the side to move a rook or more.
Rooks and queens are left out: they are too valuable to stand in front of a pawn.

A hit: the knight on d4 holds up the isolated pawn and looks at b5, e6 and f5.

>>> from patterns.detect import find_in
>>> held_up = "2r2rk1/pp2bppp/4b3/3p4/3N4/4P3/PP2BPPP/2R2RK1 w - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(held_up)], MOTIFS)[0]]
[('blockade', ('d4',), ('d5', 'e6'), ('b5', 'f5'))]

A near miss: a bishop on f6 takes the knight, and only the pawn can take back.

>>> find_in([chess.Board(held_up.replace("pp2bppp/4b3", "pp3ppp/4bb2"))], MOTIFS)[0]
[]

Roles. Actor: the knight or bishop. Targets: the pawn, and the other men that it attacks. Squares: the empty
squares beyond the middle that it attacks and no pawn of theirs guards.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.bitboards import (
    ADVANCED_RANKS,
    BIT,
    EMPTY,
    MIDDLE_FILES,
    NORTH,
    SOUTH,
    THEIR_HALF,
    count,
    shifted,
)
from patterns.boards.exchange import can_win
from patterns.boards.pressure import outlasts_trades
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, findings
from patterns.motifs.passed_pawn import passed_pawns
from patterns.motifs.pawn_weaknesses import structure
from patterns.proof.quiet import LESS_THAN_A_ROOK, is_quiet
from patterns.words import wording

_PIECES = 2
_SQUARES = 2

KINDS = ("isolated", "passed")
"""What the pawn is, by `detail`."""


def blockade(view: View) -> Findings:
    """Pawns that our minor pieces hold up, one instance each."""
    isolated = view.once(structure).isolated & MIDDLE_FILES
    passed = view.swapped(view.once(passed_pawns) & ADVANCED_RANKS)
    pieces_left = np.minimum(view.our_piece_count, view.their_piece_count) >= _PIECES
    pieces_left &= ~view.in_check
    stops = shifted(isolated | passed, SOUTH) & ~view.their_free_pawn_span
    minors = (view.boards.knights | view.boards.bishops) & view.us
    held = np.where(pieces_left, stops & minors, EMPTY)
    men = view.our_pieces
    men = men.only((held[men.row] & BIT[men.square]) != EMPTY)
    row, pawn = men.row, shifted(BIT[men.square], NORTH)
    targets = men.attacks & view.them[row] & ~pawn
    seen = men.attacks & THEIR_HALF & ~view.their_pawn_attacks[row] & ~view.occupied[row]
    keep = (targets != EMPTY) | (count(seen) >= _SQUARES)
    replaced = (view.our_piece_attacks[1][row] & BIT[men.square] & shifted(isolated[row], SOUTH)) != EMPTY
    keep &= outlasts_trades(view, row, men.square) | replaced
    some = np.flatnonzero(keep)
    keep[some] = ~can_win(view.boards.take(row[some]), men.square[some], "them")
    found = findings(row, BIT[men.square], pawn | targets, seen, (pawn & passed[row]) != EMPTY).only(keep)
    return found.only(is_quiet(view, found.row, LESS_THAN_A_ROOK))


def _tell(instance: Instance) -> str:
    board = instance.board
    (blockader,) = instance.actors
    pawn = blockader + (8 if instance.side == chess.WHITE else -8)
    others = (instance.targets | instance.squares) - chess.SquareSet([pawn])
    seen = wording.listed(wording.named(board, square) for square in sorted(others))
    piece = chess.piece_name(board.piece_type_at(blockader) or 0)
    return wording.sentence(
        f"{wording.named(board, blockader)} blockades the {KINDS[instance.detail]} pawn on"
        f" {chess.SQUARE_NAMES[pawn]}: it can't advance, no pawn can drive the {piece} off, and the {piece}"
        f" bears on {seen}"
    )


MOTIFS = (
    Motif(
        id="blockade",
        title="Blockade",
        definition=(
            "A knight or bishop stands in front of an enemy pawn that is passed and on its fourth rank or"
            " beyond, or isolated on the files c to f. No pawn attacks the piece, it cannot be exchanged off"
            " with profit, and it attacks an enemy man or squares beyond the middle that no pawn guards."
        ),
        source="Nimzowitsch, My System (the blockade; the passed pawn); named from memory",
        find=blockade,
        tell=_tell,
    ),
)
