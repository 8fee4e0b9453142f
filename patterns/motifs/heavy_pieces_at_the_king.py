"""Heavy pieces at the king: a rook on a file by the castled king, or on its way there over the third rank.

The rule. Their king has left the centre (files a to c or f to h, its first two ranks). We have a queen, a
rook and at least three pieces, and the queens do not attack each other. An *entry* is a square next to the
king, on its file or a neighbouring one, that none of their men guards except the king. Our rook attacks the
entry up the file, with no man in front of it except our queen, and another piece of ours attacks the entry
too. So we can enter there, or take what stands there, and the king can't take back. We are not in check, and
if they are to move, no capture wins them the exchange. The rook stands on this file and cannot be taken with
profit, nor traded off if it is their move. Or it can get there in one move, or in two: up its own file to the
third or fourth rank, and along the rank to the king. It can be neither taken nor traded off on its way, no
pawn of theirs attacks a square of it or could after one move, its first move loses nothing
(`patterns.proof.lookahead`), we have no better capture, and no other rook hits the entry already.

A hit: the queen attacks h7, and the rook comes over d3 to h3.

>>> from patterns.detect import find_in
>>> lift = "r4rk1/pp3ppp/1np5/8/4Q3/P7/1P3PPP/3R1RK1 w - - 0 1"
>>> found = find_in([chess.Board(lift)], MOTIFS)[0]
>>> [(f.motif, f.actors, f.targets, f.squares) for f in found]
[('heavy-pieces-at-the-king', ('d1',), ('h7', 'g8'), ('d3', 'h3'))]

A near miss: the knight on f6 guards h7.

>>> find_in([chess.Board(lift.replace("1np5", "2p2n2"))], MOTIFS)[0]
[]

Roles. Actors: the rook and, once it is there, our other men that attack the entries. Targets: the king, and
their men on the entries. Squares: the empty entries, and the squares that the rook uses to get to the file.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.attacks import Men, attackers
from patterns.boards.bitboards import (
    BIT,
    CENTRE,
    EAST,
    EMPTY,
    NORTH,
    RANKS,
    RAYS,
    THEIR_HOME,
    WEST,
    Bitboards,
    Flags,
    Rows,
    Squares,
    exploded,
    filled_files,
    king_ring,
    pawn_attacks_down,
    rook_reach,
    shifted,
)
from patterns.boards.exchange import can_win
from patterns.boards.grouping import marked, united
from patterns.boards.moves import Moves, stands_firm
from patterns.boards.view import View
from patterns.motifs.findings import Instance, Motif, TakenUp
from patterns.proof.attack import queens_meet
from patterns.proof.claims import EXCHANGE, Claims, claims
from patterns.proof.strokes import at_hand, pending
from patterns.words import wording

_PIECES = 3
_THEIR_THIRD = (RANKS[5] | RANKS[6] | RANKS[7], RANKS[0] | RANKS[1] | RANKS[2])
"""Where entries are on the real board, if White attacks and if Black does. The rook's way is before them."""


def heavy_pieces_at_the_king(view: View) -> Claims:
    """Rooks that attack an entry by the castled king or can get there, one claim for each way."""
    entries = _entries(view)
    rooks = view.our_men_of[chess.ROOK]
    rooks = rooks.only((entries[rooks.row] != EMPTY) & ~view.in_check[rooks.row])
    hit = _entered(view, rooks.row, rooks.square, rooks.square, entries)
    there = hit != EMPTY
    stands = there.copy()
    some = np.flatnonzero(there)
    boards, square = view.boards.take(rooks.row[some]), rooks.square[some]
    stands[some] = np.where(boards.our_move, ~can_win(boards, square, "them"), stands_firm(boards, square))
    stands[stands] = ~pending(view, rooks.row[stands])
    rook = rooks.only(stands)
    standing = _claims(view, rook, hit[stands], rook.square, np.zeros_like(hit[stands]))
    rooks = rooks.only(~there)
    # Another rook is not brought to where one hits already.
    entries = entries & ~view.our_attacks_of[chess.ROOK]
    in_one, moved = _in_one_move(view, rooks, entries)
    return Claims.joined(standing, in_one, _in_two_moves(view, rooks.only(~moved), entries))


def _entries(view: View) -> Bitboards:
    """The squares by their castled king that only the king guards and we attack. Empty without an attack."""
    king = view.their(chess.KING)
    files = filled_files(king)
    files |= shifted(files, EAST) | shifted(files, WEST)
    attack = ((king & THEIR_HOME & ~CENTRE) != EMPTY) & (view.our(chess.QUEEN) != EMPTY)
    attack &= (view.our(chess.ROOK) != EMPTY) & (view.our_piece_count >= _PIECES) & ~view.once(queens_meet)
    weak = king_ring(king) & files & ~king & ~view.their_double_attacks
    return np.where(attack, weak & view.our_attacks & ~view.us, EMPTY)


def _entered(view: View, rows: Rows, origins: Squares, squares: Squares, entries: Bitboards) -> Bitboards:
    """The entries that a rook from `origins` attacks up the file from `squares`, and another piece too."""
    through = ~(BIT[origins] | view.our(chess.QUEEN)[rows])
    hit = rook_reach(squares, view.occupied[rows] & through) & RAYS[NORTH][squares] & entries[rows]
    some = np.flatnonzero(hit)
    entry, square = exploded(hit[some])
    entry = some[entry]
    boards = view.boards.take(rows[entry])
    others = attackers(boards, square) & boards.us & ~BIT[origins[entry]]
    others &= ~boards.pawns
    return united(entry, np.where(others != EMPTY, BIT[square], EMPTY), len(rows))


def _files(view: View, rows: Rows, entries: Bitboards) -> Bitboards:
    """The empty squares below the entries on their files that no pawn of theirs attacks."""
    low = RANKS[0] | RANKS[1] | RANKS[2] | RANKS[3] | RANKS[4]
    files = filled_files(entries[rows])
    return files & low & ~view.occupied[rows] & ~view.once(_shunned)[rows]


def _shunned(view: View) -> Bitboards:
    """The squares that a pawn of theirs attacks or could attack after one move: it drives a rook off."""
    pushes = view.swapped(view.our_pawn_pushes)
    return view.their_pawn_attacks | pawn_attacks_down(pushes)


def _in_one_move(view: View, rooks: Men, entries: Bitboards) -> tuple[Claims, Flags]:
    """Rooks that can attack an entry after one safe move, and which of the rooks they are."""
    which, square = exploded(rooks.attacks & _files(view, rooks.row, entries))
    hit = _entered(view, rooks.row[which], rooks.square[which], square, entries)
    some = np.flatnonzero(hit)
    which, square, hit = which[some], square[some], hit[some]
    row, origin = rooks.row[which], rooks.square[which]
    safe = _passes(view, row, origin, square)
    safe[safe] = _comes_first(view, row[safe], square[safe])
    which, square, hit = which[safe], square[safe], hit[safe]
    return _claims(view, rooks.take(which), hit, square, BIT[square]), marked(which, len(rooks))


def _in_two_moves(view: View, rooks: Men, entries: Bitboards) -> Claims:
    """Rooks that can attack an entry after going up their file and along the third or fourth rank."""
    ranks = RANKS[2] | RANKS[3]
    stops = rooks.attacks & RAYS[NORTH][rooks.square] & ranks
    which, stop = exploded(stops & ~view.occupied[rooks.row] & ~view.once(_shunned)[rooks.row])
    row, origin = rooks.row[which], rooks.square[which]
    along = rook_reach(stop, view.occupied[row] & ~BIT[origin]) & RANKS[stop >> 3]
    entry, square = exploded(along & _files(view, row, entries))
    which, stop, row, origin = which[entry], stop[entry], row[entry], origin[entry]
    hit = _entered(view, row, origin, square, entries)
    some = np.flatnonzero(hit)
    which, stop, square, hit = which[some], stop[some], square[some], hit[some]
    row, origin = row[some], origin[some]
    safe = _passes(view, row, origin, stop)
    safe[safe] = _passes(view, row[safe], origin[safe], square[safe])
    safe[safe] = _comes_first(view, row[safe], stop[safe])
    which, stop, square, hit = which[safe], stop[safe], square[safe], hit[safe]
    return _claims(view, rooks.take(which), hit, stop, BIT[stop] | BIT[square])


def _passes(view: View, rows: Rows, origins: Squares, squares: Squares) -> Flags:
    """Whether a rook can be neither taken nor traded off on each square."""
    return stands_firm(view.boards.take(rows).moved(origins, squares), squares)


def _comes_first(view: View, rows: Rows, squares: Squares) -> Flags:
    """Whether no capture of theirs, and no better one of ours, comes before a move to each square."""
    result = ~pending(view, rows)
    rows, squares = rows[result], squares[result]
    result[result] = at_hand(view, Moves(rows, squares, squares)) < EXCHANGE
    return result


def _claims(view: View, rooks: Men, hit: Bitboards, squares: Squares, way: Bitboards) -> Claims:
    """That the rooks stand well or lose nothing when they go to `squares`; one finding for each rook.

    `hit`: the entries that it attacks. `way`: its squares to get there.
    """
    row, rook = rooks.row, BIT[rooks.square]
    entry, square = exploded(np.where(way == EMPTY, hit, EMPTY))
    helpers = attackers(view.boards.take(row[entry]), square) & view.us[row[entry]]
    king, them = view.their(chess.KING)[row], view.them[row]
    return claims(
        Moves(row, rooks.square, squares),
        rook | united(entry, helpers, len(rooks)),
        king | hit & them,
        hit & ~them | way,
        wanted=rook,
        least=0,
        detail=rooks.square,
        about=rooks.square,
        threat=True,
    )


def _tell(instance: Instance) -> str:
    board = instance.board
    third = chess.SquareSet(int(_THEIR_THIRD[0 if instance.side == chess.WHITE else 1]))
    king = board.king(not instance.side)
    assert king is not None
    entries = (instance.squares | instance.targets) & third - chess.SquareSet([king])
    way = instance.squares - third
    rook = instance.detail_square
    others = chess.SquareSet()
    for entry in entries:
        others |= board.attackers(instance.side, entry)
    others.discard(rook)
    stops = way & chess.SquareSet(chess.BB_FILES[chess.square_file(rook)])
    goals = way - stops
    does = "attacks"
    if way:
        over = instance.does("go")
        if stops and goals:
            over = f"{instance.does('come')} over {wording.either(stops)}"
        does = f"{over} to {wording.either(goals or stops)} and {'attacks' if instance.played else 'attack'}"
    return wording.sentence(
        f"{wording.named(board, rook)} {does} {wording.squares(entries)} by {wording.named(board, king)}:"
        f" {wording.men(board, others)} {'hit' if len(others) > 1 else 'hits'}"
        f" {'these squares' if len(entries) > 1 else 'it'} too, and only the king guards"
        f" {'them' if len(entries) > 1 else 'it'}"
    )


MOTIFS = (
    Motif(
        id="heavy-pieces-at-the-king",
        title="Heavy pieces at the king",
        definition=(
            "A rook stands on the file of a castled king or on a neighbouring one, or can safely get there"
            " in one move, or in two over the third or fourth rank, where no pawn can drive it off. It"
            " attacks up this file, with at most its own queen in front of it, a square next to the king that"
            " only the king guards and that another piece attacks too. Its side has a queen that theirs does"
            " not attack."
        ),
        source="Vukovic, The Art of Attack in Chess (attack with the heavy pieces); named from memory",
        find=heavy_pieces_at_the_king,
        tell=_tell,
        taken_up=TakenUp.ACTION,
    ),
)
