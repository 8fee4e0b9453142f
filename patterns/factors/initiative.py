"""Initiative: the move, possible captures, forks and checks, tempo threats, development, besieged men.

It looks one forcing move ahead: what could be taken now, and what a safe move would threaten. The side to
move can carry out a threat. The other side's single threat can be parried, but a second one cannot.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.bitboards import (
    BIT,
    EAST,
    EMPTY,
    FILES,
    KNIGHT_STEPS,
    SOUTH,
    WEST,
    Bitboards,
    Rows,
    bishop_reach,
    count,
    exploded,
    pawn_attacks_down,
    rook_reach,
    shifted,
)
from patterns.boards.exchange import VALUES, capture_gain
from patterns.boards.grouping import greatest, once_and_twice, summed, united
from patterns.boards.view import View
from patterns.factors.term import Pawns, Reason, Term, lead, masked, other_side
from patterns.words.wording import squares

MOVE = 0.2
"""The right to move, with all pieces on the board. With none it is worth half."""
TAKES, THREATENS, SECOND_THREAT = 0.7, 0.05, 0.1
"""The part of an exchange gain that counts: for the side to move; for the other side's best; for its others.

Small for a side that waits: in quiet positions of real games its threats did not change the search."""
FORK, TEMPO, CHECK, DEVELOPMENT = 0.4, 0.07, 0.05, 0.1
BESIEGED_PAWN, BESIEGED_PIECE = 0.06, 0.12
WAITING = 0.4
"""The part of a worth that remains when the other side is to move."""


def terms(view: View) -> tuple[Term, ...]:
    """The move, winning captures, forks, tempo threats, checks, development, besieged men."""
    landing = _landing_squares(view)
    return (
        Term(
            "move",
            np.where(view.boards.our_move, MOVE * (0.5 + 0.5 * view.middlegame), 0.0),
            np.zeros(len(view), dtype=np.uint64),
            lambda reason: f"{reason.name} is to move",
        ),
        _captures(view),
        _forks(view, landing),
        _tempo(view, landing),
        _checks(view, landing),
        _development(view),
        _besieged(view),
    )


def _landing_squares(view: View) -> Bitboards:
    """Squares where a piece of ours can go and stay, judged by counting attackers."""
    return ~view.us & ~view.their_pawn_attacks & (~view.their_attacks | _backed(view))


def _backed(view: View) -> Bitboards:
    return view.our_double_attacks & ~view.their_double_attacks


def _turn(view: View) -> Pawns:
    return np.where(view.boards.our_move, 1.0, WAITING)


def _captures(view: View) -> Term:
    attacks, size = view.our_attacks_of, len(view)
    minors = attacks[chess.KNIGHT] | attacks[chess.BISHOP]
    cheaper = view.our_pawn_attacks & ~view.their_pawns
    cheaper |= minors & (view.boards.rooks | view.boards.queens) | attacks[chess.ROOK] & view.boards.queens
    outnumbered = view.our_double_attacks & ~view.their_double_attacks & ~view.their_pawn_attacks
    targets = view.them & ~view.boards.kings & view.our_attacks
    row, square = exploded(targets & (cheaper | ~view.their_attacks | outnumbered))
    # A man that nobody guards is won at its full worth. Only the others need an exchange.
    free = ~view.their_attacks & masked(view.our_pinned == EMPTY, view.them)
    gain = np.zeros(len(row))
    for kind in (chess.PAWN, chess.KNIGHT, chess.BISHOP, chess.ROOK, chess.QUEEN):
        gain += VALUES[kind] * (((free & view.their(kind))[row] & BIT[square]) != EMPTY)
    asked = np.flatnonzero(gain == 0)
    gain[asked] = capture_gain(view.boards.take(row[asked]), square[asked], "us")
    wins = np.flatnonzero(gain)
    row, square, gain = row[wins], square[wins], gain[wins]
    best = greatest(row, gain, size)
    more = np.minimum(summed(row, gain, size) - best, 9.0)
    worth = np.where(view.boards.our_move, TAKES * best, THREATENS * best + SECOND_THREAT * more)
    return Term("captures", worth, united(row, BIT[square], size), _tell_captures)


def _forks(view: View, landing: Bitboards) -> Term:
    size, attacks = len(view), view.our_attacks_of
    loose = view.them & ~view.their_attacks & ~view.boards.kings & ~view.boards.pawns
    heavy = view.them & (view.boards.kings | view.boards.queens | view.boards.rooks)
    goes = attacks[chess.KNIGHT] & landing
    row, square = exploded(masked(goes != EMPTY, heavy | loose))
    by_knight = _hit_twice(row, KNIGHT_STEPS[square] & goes[row], size)
    # We don't compute which knight reaches which square, so no knight counts if one of them is pinned.
    by_knight = masked((view.our(chess.KNIGHT) & view.our_pinned) == EMPTY, by_knight)
    pieces = view.them & ~view.boards.pawns
    by_pawn = shifted(shifted(pieces, SOUTH), EAST) & shifted(shifted(pieces, SOUTH), WEST)
    by_pawn &= view.our_pawn_pushes & ~view.their_pawn_attacks & (~view.their_attacks | view.our_attacks)
    goes = attacks[chess.QUEEN] & ~view.us & ~view.their_attacks
    row, square = exploded(masked((goes != EMPTY) & (loose != EMPTY), loose | view.their(chess.KING)))
    seen = view.occupied[row]
    by_queen = _hit_twice(row, (bishop_reach(square, seen) | rook_reach(square, seen)) & goes[row], size)
    squares_found = by_knight | by_pawn | by_queen
    number = np.minimum(2, count(by_knight)) + np.minimum(1, count(by_pawn))
    number = number + 0.5 * np.minimum(2, count(by_queen))
    return Term(
        "forks",
        FORK * number * _turn(view),
        squares_found,
        lambda reason: f"{reason.name} can hit two men at once from {squares(reason.men)}",
    )


def _hit_twice(rows: Rows, boards: Bitboards, size: int) -> Bitboards:
    """For each row, the squares on two or more of its boards. Rows must ascend."""
    some = np.flatnonzero(boards != EMPTY)
    _, twice = once_and_twice(rows[some], boards[some], size)
    return twice


def _tempo(view: View, landing: Bitboards) -> Term:
    size, attacks = len(view), view.our_attacks_of
    pieces = view.them & ~view.boards.pawns & ~view.boards.kings
    pushed = view.our_pawn_pushes & pawn_attacks_down(pieces & ~view.our_pawn_attacks)
    pushed &= ~view.their_pawn_attacks & (~view.their_attacks | view.our_attacks)
    theirs = view.their_pieces
    heavy = (theirs.kind >= chess.ROOK).nonzero()[0]
    row, square, queen = theirs.row[heavy], theirs.square[heavy], theirs.kind[heavy] == chess.QUEEN
    for_knights = united(row, KNIGHT_STEPS[square], size) & attacks[chess.KNIGHT]
    for_bishops = united(row, bishop_reach(square, view.occupied[row]), size) & attacks[chess.BISHOP]
    along = rook_reach(square[queen], view.occupied[row[queen]])
    for_rooks = united(row[queen], along, size) & attacks[chess.ROOK]
    found = pushed | (for_knights | for_bishops | for_rooks) & landing
    return Term(
        "tempo",
        TEMPO * np.minimum(5, count(found)) * _turn(view),
        found,
        lambda reason: f"{reason.name} can gain time by attacking a bigger man from {squares(reason.men)}",
    )


def _checks(view: View, landing: Bitboards) -> Term:
    straight = rook_reach(view.their_king, view.occupied)
    diagonal = bishop_reach(view.their_king, view.occupied)
    attacks = view.our_attacks_of
    checks: Bitboards = KNIGHT_STEPS[view.their_king] & attacks[chess.KNIGHT]
    checks |= diagonal & (attacks[chess.BISHOP] | attacks[chess.QUEEN])
    checks |= straight & (attacks[chess.ROOK] | attacks[chess.QUEEN])
    checks &= landing
    return Term(
        "checks",
        CHECK * np.minimum(3, count(checks)) * _turn(view),
        checks,
        lambda reason: f"{reason.name} has a check on {squares(reason.men)}",
    )


def _development(view: View) -> Term:
    back = view.our(chess.KNIGHT) & (BIT[chess.B1] | BIT[chess.G1])
    back |= view.our(chess.BISHOP) & (BIT[chess.C1] | BIT[chess.F1])
    uncastled = ((view.our(chess.KING) & FILES[4]) != EMPTY) & ((view.boards.castling & view.us) != EMPTY)
    late = (count(back) + uncastled).astype(np.float64)
    early = np.clip(2.5 * view.middlegame - 1.5, 0.0, 1.0)
    theirs_at_home = view.swapped(back)
    return Term(
        "development", DEVELOPMENT * early * lead(other_side(late), late), theirs_at_home, _tell_development
    )


def _besieged(view: View) -> Term:
    men = view.them & ~view.boards.kings & view.our_attacks & ~view.their_pawn_attacks
    besieged = men & (~view.their_attacks | _backed(view))
    pawns = besieged & view.boards.pawns
    worth = BESIEGED_PAWN * count(pawns) + BESIEGED_PIECE * count(besieged & ~pawns)
    return Term(
        "besieged",
        worth,
        besieged,
        lambda reason: (
            f"{reason.name} attacks {reason.theirs()} with more than guards {reason.choose('it', 'them')}"
        ),
    )


def _tell_captures(reason: Reason) -> str:
    verb = "can win material on" if reason.board.turn == reason.side else "threatens to win material on"
    return f"{reason.name} {verb} {squares(reason.men)}"


def _tell_development(reason: Reason) -> str:
    if reason.men:
        late = f"{reason.theirs()} {reason.choose('is', 'are')} still at home"
    else:
        late = f"{reason.opponent_king} has not castled yet"
    return f"{reason.name} is ahead in development: {late}"
