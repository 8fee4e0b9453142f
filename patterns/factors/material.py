"""Material: men by value, the bishop pair, and the imbalances that plain values miss.

Values after Larry Kaufman, "The Evaluation of Material Imbalances" (Chess Life, 1999; from memory): pawn 1,
knight and bishop 3 1/4, rook 5, queen 9 3/4, the bishop pair half a pawn; a knight gains and a rook loses
with every pawn of its own above five.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.bitboards import DARK, EMPTY, LIGHT, count
from patterns.factors.term import Pawns, Reason, Term, lead, only
from patterns.view import View
from patterns.wording import listed

VALUES = {chess.PAWN: 1.0, chess.KNIGHT: 3.25, chess.BISHOP: 3.25, chess.ROOK: 5.0, chess.QUEEN: 9.75}
PAIR = 0.5
OPEN_PAIR = 0.02
"""What the pair gains with every pawn fewer than ten on the board (and loses with every one more)."""
KNIGHT_PER_PAWN = 0.06
ROOK_PER_PAWN = 0.12
NUMBERS = ("no", "a", "two", "three", "four", "five", "six", "seven", "eight")


def terms(view: View) -> tuple[Term, ...]:
    """Men, bishop pair, pawns behind the minor pieces and rooks, a queen against several pieces."""
    ours = {kind: count(view.our(kind)).astype(np.float64) for kind in VALUES}
    theirs = {kind: count(view.their(kind)).astype(np.float64) for kind in VALUES}
    total = sum((ours[kind] * worth for kind, worth in VALUES.items()), np.zeros(len(view)))
    their_total = sum((theirs[kind] * worth for kind, worth in VALUES.items()), np.zeros(len(view)))
    return (
        Term("men", lead(total, their_total), view.us & ~view.boards.kings, _tell_men),
        _bishop_pair(view, ours, theirs),
        _pawns_behind(view, ours, theirs),
        _queen_against_pieces(view, ours, theirs),
    )


def _bishop_pair(view: View, ours: dict[int, Pawns], theirs: dict[int, Pawns]) -> Term:
    bishops, rival = view.our(chess.BISHOP), view.their(chess.BISHOP)
    pair = ((bishops & LIGHT) != EMPTY) & ((bishops & DARK) != EMPTY)
    their_pair = ((rival & LIGHT) != EMPTY) & ((rival & DARK) != EMPTY)
    alone = pair & ~their_pair
    worth = PAIR + OPEN_PAIR * (10 - ours[chess.PAWN] - theirs[chess.PAWN])
    return Term("bishop-pair", np.where(alone, worth, 0.0), only(alone, bishops), _tell_pair)


def _pawns_behind(view: View, ours: dict[int, Pawns], theirs: dict[int, Pawns]) -> Term:
    def correction(side: dict[int, Pawns]) -> Pawns:
        per_pawn: Pawns = KNIGHT_PER_PAWN * side[chess.KNIGHT] - ROOK_PER_PAWN * side[chess.ROOK]
        return per_pawn * (side[chess.PAWN] - 5)

    # Only where the pieces differ: with equal pieces this would price the pawns a second time.
    same = np.ones(len(view), dtype=np.bool_)
    for kind in (chess.KNIGHT, chess.BISHOP, chess.ROOK):
        same &= ours[kind] == theirs[kind]
    worth = np.where(same, 0.0, lead(correction(ours), correction(theirs)))
    return Term("pawns-behind", worth, view.us & ~view.boards.kings & ~view.boards.queens, _tell_behind)


def _queen_against_pieces(view: View, ours: dict[int, Pawns], theirs: dict[int, Pawns]) -> Term:
    pieces = view.our_piece_count - view.their_piece_count
    flags = (ours[chess.QUEEN] == theirs[chess.QUEEN] - 1) & (pieces >= 1)
    # Two pieces more than the queen gone: together they attack what the queen alone cannot guard.
    worth = np.where(flags, 0.25 * np.minimum(2, pieces), 0.0)
    return Term("queen-against-pieces", worth, only(flags, view.us & ~view.boards.pawns), _tell_queen)


def _tell_men(reason: Reason) -> str:
    board, more, fewer = reason.board, [], []
    for kind in sorted(VALUES, reverse=True):
        name = chess.piece_name(kind)
        gap = len(board.pieces(kind, reason.side)) - len(board.pieces(kind, not reason.side))
        if gap:
            amount = NUMBERS[abs(gap)] if abs(gap) < len(NUMBERS) else str(abs(gap))
            (more if gap > 0 else fewer).append(f"{amount} {name}{'s' if abs(gap) > 1 else ''}")
    if fewer:
        return f"{reason.name} has {listed(more)} for {listed(fewer)}"
    return f"{reason.name} is ahead by {listed(more)}"


def _tell_pair(reason: Reason) -> str:
    names = listed(chess.SQUARE_NAMES[square] for square in sorted(reason.men))
    return f"{reason.name} has the bishop pair ({names}), {reason.foe} has not"


def _tell_behind(reason: Reason) -> str:
    pawns = chess.popcount(reason.board.pawns)
    state = "many" if pawns > 10 else "few"
    gains = "knights gain and rooks lose" if pawns > 10 else "rooks gain and knights lose"
    return f"With {state} pawns on the board ({pawns}) {gains}, which helps {reason.name}'s pieces"


def _tell_queen(reason: Reason) -> str:
    return (
        f"{reason.name}'s pieces outnumber those of {reason.foe}, whose queen alone cannot guard everything"
    )
