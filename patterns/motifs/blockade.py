"""The blockade: a minor piece in front of a pawn, where no pawn drives it off and from where it works.

The rule. A pawn of theirs is passed and on its fourth rank or beyond, or stands on the files c to f and is
isolated, with no pawn of ours on its file, or guarded by a pawn: the head of a chain. (Of two hanging pawns
each guards the square in front of the other: until one of them advances, neither can be blockaded.) Our
knight or bishop stands on the square in front of it, and no pawn of theirs attacks this square, or can do so
after advancing. It is not exchanged off with profit: the exchange on its square wins nothing for them, and if
all minor pieces trade there, one of ours is left; before an isolated pawn it is enough that two other pieces
of ours can take its place. It works from there: it attacks another man of theirs, or at least two squares
beyond the middle that no pawn of theirs guards; before the head of a chain a pawn that a pawn guards is not
enough. It does not attack a rook or queen, which it would rather take, and the pawn attacks no man of ours:
one that can take is not held up. The pawn itself does not fall: we could not win it by exchange if it were
our move. Each side has two pieces or more, our king is not in check, we stay in the game
(`patterns.proof.quiet`), and no exchange wins the side to move a rook or more. Rooks and queens are left out:
they are too valuable to stand in front of a pawn. Or it is our move, and a knight can go there and loses
nothing by it (the look ahead says so).

A hit: the knight on d4 holds up the isolated pawn and looks at b5, e6 and f5.

>>> from patterns.detect import find_in
>>> held_up = "2r2rk1/pp2bppp/4b3/3p4/3N4/4P3/PP2BPPP/2R2RK1 w - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(held_up)], MOTIFS)[0]]
[('blockade', ('d4',), ('d5', 'e6'), ('b5', 'f5'))]

A near miss: a bishop on f6 takes the knight, and only the pawn can take back.

>>> find_in([chess.Board(held_up.replace("pp2bppp/4b3", "pp3ppp/4bb2"))], MOTIFS)[0]
[]

Roles. Actor: the knight or bishop. Targets: the pawn, and the other men that it attacks. Squares: where the
knight goes, and the empty squares beyond the middle that it attacks and no pawn of theirs guards.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.attacks import Men
from patterns.boards.bitboards import (
    ADVANCED_RANKS,
    BIT,
    EMPTY,
    MIDDLE_FILES,
    NORTH,
    SOUTH,
    THEIR_HALF,
    Bitboards,
    Flags,
    count,
    pawn_attacks_down,
    shifted,
    square_of,
)
from patterns.boards.exchange import can_win
from patterns.boards.moves import Moves
from patterns.boards.pressure import outlasts_trades
from patterns.boards.view import View
from patterns.motifs.findings import Instance, Motif
from patterns.motifs.weak_pawns import structure
from patterns.proof.claims import Claims, claims
from patterns.proof.quiet import LESS_THAN_A_ROOK, is_quiet, stays_in_the_game
from patterns.proof.strokes import strokes_to, worth_claiming
from patterns.words import wording

_PIECES = 2
_SQUARES = 2

KINDS = ("passed pawn", "isolated pawn", "head of the chain")
"""What the pawn is, by `detail`: the first of these that it is."""
_ISOLATED, _CHAIN = 1, 2


def blockade(view: View) -> Claims:
    """Pawns that our minor pieces hold up, or our knights can, one instance each."""
    kinds = _kinds(view)
    pieces_left = np.minimum(view.our_piece_count, view.their_piece_count) >= _PIECES
    pieces_left &= ~view.in_check
    stops = shifted(np.bitwise_or.reduce(kinds), SOUTH) & ~view.their_free_pawn_span
    stops = np.where(pieces_left, stops, EMPTY)
    minors = (view.boards.knights | view.boards.bishops) & view.us
    men = view.our_pieces
    men = men.only((stops[men.row] & minors[men.row] & BIT[men.square]) != EMPTY)
    keep = outlasts_trades(view, men.row, men.square) | _replaced(view, kinds[_ISOLATED], men)
    some = np.flatnonzero(keep)
    keep[some] = ~can_win(view.boards.take(men.row[some]), men.square[some], "them")
    men = men.only(keep)
    standing = Moves(men.row, men.square, men.square)
    every = strokes_to(view, stops & ~view.occupied)
    every = every.only(every.kind == chess.KNIGHT)
    every = every.only(outlasts_trades(view, every.row, every.square))
    every = every.only(worth_claiming(view, every))
    return Claims.joined(
        _claims(view, kinds, standing, men.attacks), _claims(view, kinds, every.moves, every.seen)
    )


def _kinds(view: View) -> Bitboards:
    """Their pawns that can be blockaded, of each of the `KINDS`."""
    isolated, chain = view.once(structure).isolated, view.their_pawns & view.their_pawn_attacks
    passed = view.swapped(view.our_passed_pawns & ADVANCED_RANKS)
    return np.array([passed, isolated & MIDDLE_FILES, chain & MIDDLE_FILES])


def _replaced(view: View, isolated: Bitboards, men: Men) -> Flags:
    """Whether two other pieces of ours can take the place of each man before an isolated pawn."""
    again: Flags = (view.our_piece_attacks[1] & shifted(isolated, SOUTH))[men.row] & BIT[men.square] != EMPTY
    return again


def _claims(view: View, kinds: Bitboards, moves: Moves, seen: Bitboards) -> Claims:
    """Pieces that hold a pawn up, or go to do so, and work from there. `seen`: what they attack then."""
    row, pawn = moves.row, shifted(BIT[moves.square], NORTH)
    hit = seen & view.them[row] & ~pawn
    free = seen & THEIR_HALF & ~view.their_pawn_attacks[row] & ~view.occupied[row]
    kind = ((kinds[:, row] & pawn) != EMPTY).argmax(axis=0)
    man, goes = BIT[moves.origin], BIT[moves.square] & ~BIT[moves.origin]
    # Before the head of a chain, it does not matter that it bears on a pawn that another one guards.
    held = np.where(kind == _CHAIN, view.their_pawns[row] & view.their_pawn_attacks[row], EMPTY)
    works = ((hit & ~held) != EMPTY) | (count(free) >= _SQUARES)
    works &= stays_in_the_game(view, row)
    works[works] = is_quiet(view, row[works], LESS_THAN_A_ROOK)
    # It would rather take a rook or queen, and a pawn that can take a piece is not held up.
    works &= (hit & (view.boards.queens | view.boards.rooks)[row]) == EMPTY
    works &= (pawn_attacks_down(pawn) & view.us[row]) == EMPTY
    some = np.flatnonzero(works)
    works[some] = ~can_win(view.boards.take(row[some]), square_of(pawn[some]), "us")
    return claims(moves, man, pawn | hit, goes | free, least=0, detail=kind).only(works)


def _tell(instance: Instance) -> str:
    board = instance.board
    (blockader,) = instance.actors
    there = blockader if instance.move is None else instance.move.to_square
    pawn = there + (8 if instance.side == chess.WHITE else -8)
    others = (instance.targets | instance.squares) - chess.SquareSet([pawn, there])
    seen = wording.listed(wording.named(board, square) for square in sorted(others))
    piece = chess.piece_name(board.piece_type_at(blockader) or 0)
    holds = "blockades" if instance.move is None or instance.played else "blockade"
    if instance.move is not None:
        holds = f"{instance.does('go')} to {chess.SQUARE_NAMES[there]} and {holds}"
    return wording.sentence(
        f"{wording.named(board, blockader)} {holds} the {KINDS[instance.detail]} on"
        f" {chess.SQUARE_NAMES[pawn]}: it can't advance, no pawn can drive the {piece} off, and the {piece}"
        f" bears on {seen}"
    )


MOTIFS = (
    Motif(
        id="blockade",
        title="Blockade",
        definition=(
            "A knight or bishop stands in front of an enemy pawn that is passed and on its fourth rank or"
            " beyond, or on the files c to f isolated or guarded by a pawn; or a knight can go there without"
            " loss. No pawn can attack the piece, it cannot be exchanged off with profit, and it attacks an"
            " enemy man or squares beyond the middle that no pawn guards. The pawn is not simply won, and it"
            " can take nothing. We are not a piece behind, and no other passed pawn is about to become a"
            " queen."
        ),
        source="Nimzowitsch, My System (the blockade; the passed pawn); named from memory",
        find=blockade,
        tell=_tell,
    ),
)
