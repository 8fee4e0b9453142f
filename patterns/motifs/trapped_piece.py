"""The trapped piece: attacked, or about to be, and losing material wherever it goes.

The rule. A piece of theirs (no pawn, no king), not pinned, loses the exchange at least, by exchange, with
every move it has.
Attacked: we win it by exchange where it stands. To be attacked: it is our move, we are not in check, and one
safe quiet move of ours attacks it so that it falls and still has no good move. Either way the cheapest
attacker must not fall itself nor be shut off by a man that steps between, and if it is worth as much as the
piece or more, no other man of theirs can come to guard it. What the piece can take is counted, and whatever
they take, check or threaten elsewhere, we must come out as much ahead (see `patterns.reckoning`).

A hit: the bishop has taken on a2, the pawn has shut it in, and the king comes to b2.

>>> from patterns.detect import find_in
>>> shut_in = "6k1/5ppp/8/8/8/1P6/b1P2PPP/2K4R w - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(shut_in)], MOTIFS)[0]]
[('trapped-piece', ('c1',), ('a2',), ('b2',))]

A near miss: the pawn has not come to b3, and the bishop is out by c4 or d5.

>>> find_in([chess.Board(shut_in.replace("1P6/b1P", "8/bPP"))], MOTIFS)[0]
[]

Roles. Actors: the attackers, or the men that can attack it. Target: the piece. Squares: from where they
attack it, if they do not yet.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns import wording
from patterns.attacks import Men, attackers, between, men_of, reach
from patterns.bitboards import (
    BIT,
    EMPTY,
    KING_STEPS,
    KNIGHT_STEPS,
    PAWN_DOWN,
    Flags,
    Rows,
    Squares,
    bishop_reach,
    exploded,
    rook_reach,
)
from patterns.exchange import VALUES, can_win, capture_gain, exchange, is_safe
from patterns.findings import Findings, Instance, Motif, findings
from patterns.grouped import joined
from patterns.moves import attack_from, cheapest, pawn_steps
from patterns.positions import Boards
from patterns.pressure import men_of_rows
from patterns.reckoning import pays, together
from patterns.view import View, reversed_sides

ATTACKED, TO_BE_ATTACKED = range(2)
LEAST = 2
"""Who loses less than the exchange, in pawns, has got out: a pawn is a fair ransom."""


def _cornered(view: View) -> Men:
    """Their unpinned pieces without a move to a square that we do not attack."""
    men = view.their_pieces
    good = ~view.them & ~view.our_attacks
    men = men.only(np.flatnonzero((men.attacks & good[men.row]) == EMPTY))
    return men.only((view.their_pinned[men.row] & BIT[men.square]) == EMPTY)


def _loses_with_every_move(boards: Boards, squares: Squares) -> Flags:
    """Whether every move of the piece of theirs on each square loses material by exchange."""
    kind = boards.kind_at(squares)
    goes = reach(kind, squares, boards.occupied, "them") & ~boards.them
    entry, square = exploded(goes)
    seen_by_them = reversed_sides(boards.take(entry))
    escapes = exchange(seen_by_them, squares[entry] ^ 56, square ^ 56, floor=-LEAST) > -LEAST
    result = np.ones(len(squares), dtype=np.bool_)
    result[entry[escapes]] = False
    return result


def _can_be_helped(boards: Boards, squares: Squares, attackers_at: Squares) -> Flags:
    """Whether another man of theirs can step between, or guard the piece where that would be enough.

    A guard is enough against an attacker worth as much as the piece, or more.
    """
    men = men_of(boards, "them")
    piece, attacker = squares[men.row], attackers_at[men.row]
    free = ~boards.occupied[men.row]
    step = pawn_steps(BIT[men.square], boards.take(men.row), "them")
    goes = np.where(men.kind == chess.PAWN, step, men.attacks & free)
    goes[(men.square == piece) | (men.kind == chess.KING)] = EMPTY
    guarding = attack_from(men.kind, piece, boards.occupied[men.row] & ~BIT[men.square], "them")
    cheap = VALUES[boards.kind_at(attackers_at)] < VALUES[boards.kind_at(squares)]
    helping = between(attacker, piece) | np.where(cheap[men.row], EMPTY, guarding)
    result = np.zeros(len(squares), dtype=np.bool_)
    result[men.row[(goes & helping) != EMPTY]] = True
    return result


def _lost(boards: Boards, squares: Squares) -> Flags:
    """Whether the piece on each square falls for good, whatever else they take or threaten."""
    lost = capture_gain(boards, squares, "us", enough=LEAST) >= LEAST
    some = np.flatnonzero(lost)
    lost[some] = _loses_with_every_move(boards.take(some), squares[some])
    some = np.flatnonzero(lost)
    boards, squares = boards.take(some), squares[some]
    lasts = _lasts(boards, squares)
    still = np.flatnonzero(lasts)
    nothing = np.zeros(len(still), dtype=np.int64)
    lasts[still] = pays(boards.take(still), nothing, nothing + LEAST, nothing + LEAST)
    lost[some] = lasts
    return lost


def _lasts(boards: Boards, squares: Squares) -> Flags:
    """Whether one of our cheapest attackers of each square does not fall, and no help can come."""
    entry, attacker = exploded(cheapest(boards, attackers(boards, squares) & boards.us))
    here = boards.take(entry)
    lasting = ~can_win(here, attacker, "them") & ~_can_be_helped(here, squares[entry], attacker)
    result = np.zeros(len(squares), dtype=np.bool_)
    result[entry[lasting]] = True
    return result


def _within_reach(view: View, men: Men) -> Flags:
    """Whether some man of ours could come to attack each of these pieces, as yet attacked by nobody."""
    attacks, occupied = view.our_attacks_of, view.occupied[men.row]
    straight = attacks[chess.ROOK] | attacks[chess.QUEEN]
    diagonal = attacks[chess.BISHOP] | attacks[chess.QUEEN]
    stops = rook_reach(men.square, occupied) & straight[men.row]
    stops |= bishop_reach(men.square, occupied) & diagonal[men.row]
    stops |= KNIGHT_STEPS[men.square] & attacks[chess.KNIGHT][men.row]
    stops |= KING_STEPS[men.square] & attacks[chess.KING][men.row]
    stops |= PAWN_DOWN[men.square] & view.our_pawn_pushes[men.row]
    return (stops & ~occupied & ~view.their_pawn_attacks[men.row]) != EMPTY


def _attacks_to_come(view: View, men: Men) -> tuple[Rows, Squares, Squares]:
    """Quiet moves of ours that attack one of these pieces: which piece, from where, to where."""
    entry, ours = men_of_rows(view.our_men, men.row)
    unpinned = np.flatnonzero((view.our_pinned[ours.row] & BIT[ours.square]) == EMPTY)
    entry, ours = entry[unpinned], ours.only(unpinned)
    piece, free = men.square[entry], ~view.occupied[ours.row]
    step = pawn_steps(BIT[ours.square], view.boards.take(ours.row), "us")
    goes = np.where(ours.kind == chess.PAWN, step, ours.attacks & free) & ~view.their_pawn_attacks[ours.row]
    goes &= np.where(ours.kind == chess.KING, ~view.their_attacks[ours.row], ~EMPTY)
    attacking = attack_from(ours.kind, piece, view.occupied[ours.row] & ~BIT[ours.square], "us")
    new = (ours.attacks & BIT[piece]) == EMPTY
    man, square = exploded(np.where(new, goes & attacking, EMPTY))
    return entry[man], ours.square[man], square


def _safe_attacks(view: View, men: Men) -> tuple[Rows, Squares, Squares]:
    """Those of the attacks to come that are safe: which piece, from where, to where."""
    piece, origin, square = _attacks_to_come(view, men)
    safe = np.flatnonzero(is_safe(view.boards.take(men.row[piece]), origin, square))
    return piece[safe], origin[safe], square[safe]


def trapped_piece(view: View) -> Findings:
    """Pieces that fall where they stand, or after one safe move of ours, and have no good move."""
    men = _cornered(view)
    men = men.only(~view.in_check[men.row])
    is_attacked = (view.our_attacks[men.row] & BIT[men.square]) != EMPTY
    attacked, others = men.only(is_attacked), men.only(~is_attacked & view.boards.our_move[men.row])
    others = others.only(_within_reach(view, others))
    piece, origin, square = _safe_attacks(view, others)
    boards = view.boards.take(attacked.row)
    after = view.boards.take(others.row[piece]).moved(origin, square)
    lost = _lost(together(boards, after), np.concatenate([attacked.square, others.square[piece]]))
    now, soon = np.flatnonzero(lost[: len(boards)]), np.flatnonzero(lost[len(boards) :])
    return joined(
        _now(boards.take(now), attacked.only(now)), _soon(others, piece[soon], origin[soon], square[soon])
    )


def _now(boards: Boards, men: Men) -> Findings:
    """These pieces, with all who attack them."""
    by = attackers(boards, men.square) & boards.us
    return findings(men.row, by, BIT[men.square], detail=np.full(len(by), ATTACKED))


def _soon(men: Men, piece: Rows, origin: Squares, square: Squares) -> Findings:
    """One finding a piece, with all that can come to attack it."""
    first = np.flatnonzero(np.diff(piece, prepend=-1))
    actors, squares = BIT[origin], BIT[square]
    if len(first):
        actors, squares = (np.bitwise_or.reduceat(role, first) for role in (actors, squares))
    men = men.only(piece[first])
    return findings(men.row, actors, BIT[men.square], squares, np.full(len(first), TO_BE_ATTACKED))


def _tell(instance: Instance) -> str:
    board = instance.board
    piece, men = wording.men(board, instance.targets), wording.men(board, instance.actors)
    if instance.detail == ATTACKED:
        return wording.sentence(f"{piece} is attacked by {men} and has no safe square")
    where = " or ".join(chess.SQUARE_NAMES[square] for square in instance.squares)
    return wording.sentence(f"{piece} has no safe square, and {men} can attack it from {where}")


MOTIFS = (
    Motif(
        id="trapped-piece",
        title="Trapped piece",
        definition=(
            "A piece, not pinned, that loses the exchange at least with every move it has, and is attacked,"
            " or can be attacked by one safe move, so that it falls: it cannot be guarded in time, nor the"
            " attack be blocked, nor a capture, a check or a threat elsewhere make up for it."
        ),
        source="Kasparyan, Domination in 2,545 Endgame Studies; named from memory",
        find=trapped_piece,
        tell=_tell,
    ),
)
