"""Initiative: the move, threats that stand up to a reply, safe checks, and development.

A threat is what a side would win if it were to move, whatever the answer (`patterns.proof.lookahead`). The
side to move can carry it out. The other side's threat can be parried, but hardly two of them.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.attacks import in_check
from patterns.boards.bitboards import BIT, EMPTY, FILES, Flags, count
from patterns.boards.exchange import Values, exchange
from patterns.boards.grouping import greatest, grouped, summed, united
from patterns.boards.legal import legal_moves, made
from patterns.boards.moves import Moves
from patterns.boards.positions import Boards
from patterns.boards.view import View
from patterns.factors.king_attack import sound_checks
from patterns.factors.king_safety import attack_force
from patterns.factors.term import Reason, Term, lead, masked, men_by_kind, other_side
from patterns.proof.aims import MATE, Aims
from patterns.proof.claims import WORTHS
from patterns.proof.gains import wins
from patterns.proof.lookahead import forces_mate, holds
from patterns.words.wording import either, listed, squares

MOVE = 0.2
"""The right to move, with all pieces on the board. With none it is worth half. A little less than fitted, as
it changes sides with every move."""
TAKES, TAKES_LITTLE, LITTLE = 0.7, 0.2, 3
"""The part of a gain that counts for the side to move. Of less than `LITTLE` points, a pawn or the exchange,
little counts: after quiet moves such gains come and go."""
THREATENS, SECOND_THREAT = 0.05, 0.1
"""The part of a gain that counts for the other side: of its best threat, and of its others."""
MOST = 8
"""Points: more than a queen is not won at once."""
MATES, THREATENS_MATE = 6.0, 0.3
CHECK, DEVELOPMENT = 0.3, 0.19
"""A safe check counts the same whoever is to move, and more the more pieces there are to follow it up."""


def terms(view: View) -> tuple[Term, ...]:
    """The move, mate, what can be won, safe checks, development."""
    free = ~other_side(in_check(view.boards, "us"))
    mates = _mates(view, free)
    return (
        Term(
            "move",
            np.where(view.boards.our_move, MOVE * (0.5 + 0.5 * view.middlegame), 0.0),
            np.zeros(len(view), dtype=np.uint64),
            lambda reason: f"{reason.name} is to move",
        ),
        Term(
            "mate",
            np.where(mates, np.where(view.boards.our_move, MATES, THREATENS_MATE), 0.0),
            masked(mates, view.their(chess.KING)),
            lambda reason: f"{reason.name} {_can(reason)} mate {reason.opponent_king} at once",
        ),
        _wins(view, free & ~mates),
        _checks(view),
        _development(view),
    )


def _mates(view: View, free: Flags) -> Flags:
    result = free.copy()
    result[free] = forces_mate(view.boards.take(np.flatnonzero(free)), 1)
    return result


def _wins(view: View, free: Flags) -> Term:
    """Men and promotion squares on which we win something for good."""
    rows = np.flatnonzero(free)
    boards, nothing = view.boards.take(rows), np.zeros(len(rows), dtype=np.int64)
    at, square, _ = wins(boards, nothing, nothing + 1)
    moves = legal_moves(boards, united(at, BIT[square], len(rows)))
    pays = exchange(boards.take(moves.row), moves.origin, moves.square) > 0
    moves, kept = _kept(boards, moves.only(pays))
    targets = grouped(moves.row, moves.square)
    row, square = rows[moves.row[targets.first]], moves.square[targets.first]
    gain = greatest(targets.group, kept, len(row)).astype(np.float64)
    best = greatest(row, gain, len(view))
    more = np.minimum(summed(row, gain, len(view)) - best, MOST)
    taken = np.where(best < LITTLE, TAKES_LITTLE, TAKES) * best
    counted = np.where(view.boards.our_move, taken, THREATENS * best + SECOND_THREAT * more)
    return Term("wins", counted, united(row, BIT[square], len(view)), _tell_wins)


def _kept(boards: Boards, moves: Moves) -> tuple[Moves, Values]:
    """The moves that win something for good, and the most of `WORTHS` that each wins."""
    after = made(boards, moves)
    some = np.flatnonzero(holds(after.after, Aims.of(1 - after.gain)))
    moves, after = moves.take(some), after.take(some)
    amounts = np.array([least for least in WORTHS if 1 < least < MATE])
    which, least = np.repeat(np.arange(len(some)), len(amounts)), np.tile(amounts, len(some))
    stands = holds(after.after.take(which), Aims.of(least - after.gain[which]))
    return moves, np.maximum(1, greatest(which[stands], least[stands], len(some)))


def _checks(view: View) -> Term:
    found = sound_checks(view)
    return Term(
        "checks",
        CHECK * np.minimum(2, count(found)) * (0.3 + 0.7 * other_side(attack_force(view))),
        found,
        lambda reason: f"{reason.name} has a safe check on {either(reason.men)}",
    )


def _development(view: View) -> Term:
    back = view.our(chess.KNIGHT) & (BIT[chess.B1] | BIT[chess.G1])
    back |= view.our(chess.BISHOP) & (BIT[chess.C1] | BIT[chess.F1])
    uncastled = ((view.our(chess.KING) & FILES[4]) != EMPTY) & ((view.boards.castling & view.us) != EMPTY)
    late = (count(back) + uncastled).astype(np.float64)
    early = np.clip(2.5 * view.middlegame - 1.5, 0.0, 1.0)
    # Where we have as many at home, it is their king that makes the difference.
    theirs_at_home = masked(other_side(count(back)) > count(back), view.swapped(back))
    return Term(
        "development", DEVELOPMENT * early * lead(other_side(late), late), theirs_at_home, _tell_development
    )


def _can(reason: Reason) -> str:
    return "can" if reason.board.turn == reason.side else "threatens to"


def _tell_wins(reason: Reason) -> str:
    return f"{reason.name} {_can(reason)} win material on {squares(reason.men)}"


def _tell_development(reason: Reason) -> str:
    """What makes the difference: more men at home, the king, or both."""
    board, late = reason.board, list[str]()
    if reason.men:
        ours = _at_home(reason)
        few = f" (of {reason.name}'s only the {men_by_kind(board, ours)})" if ours else ""
        late.append(f"{reason.theirs()} {reason.choose('is', 'are')} still at home{few}")
    if _is_uncastled(board, not reason.side) and not _is_uncastled(board, reason.side):
        late.append(f"{reason.opponent_king} has not castled yet")
    return f"{reason.name} is ahead in development: {listed(late)}"


def _at_home(reason: Reason) -> chess.SquareSet:
    """The bishops and knights of the reason's side that are still at home."""
    knights = reason.board.pieces(chess.KNIGHT, reason.side) & (chess.BB_FILE_B | chess.BB_FILE_G)
    bishops = reason.board.pieces(chess.BISHOP, reason.side) & (chess.BB_FILE_C | chess.BB_FILE_F)
    return (knights | bishops) & (chess.BB_RANK_1 if reason.side else chess.BB_RANK_8)


def _is_uncastled(board: chess.Board, side: chess.Color) -> bool:
    king = board.king(side)
    return king is not None and chess.square_file(king) == 4 and board.has_castling_rights(side)
