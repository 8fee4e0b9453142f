"""Hunting their king: checks, mating threats and captures a few moves ahead, for a small number of boards.

It is our move on every board. A hunt works out, whatever they answer, when it

- wins the wanted material by a capture, minus their best capture after it;
- threatens mate: a queen move to a square that nobody attacks, after which the queen could mate next to the
  king. A man that stands firm guards the queen there, and no piece of theirs can come to guard that square
  or stop the queen on her way;
- has the king in the open: the king is past its first two ranks, our queen can check on a square that nobody
  attacks, and three or more of our men are after the king, more than their minor pieces that guard it. That
  is worth a minor piece. A man is after a king if it bears on a square next to it, or can check it. A man
  guards it if it bears on such a square;
- or has a check, safe or discovered, that leaves five answers or fewer, and works out after each of them.

Castling, promotion, captures en passant and double steps that allow them are left out. Rules of thumb:
common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import chess
import numpy as np

from patterns.boards.attacks import Men, Owner, attack_from, attacked_by, attackers, between, in_check, men_of
from patterns.boards.bitboards import (
    BIT,
    EMPTY,
    KING_STEPS,
    THEIR_HOME,
    Bitboards,
    Flags,
    Rows,
    Squares,
    bishop_reach,
    count,
    exploded,
    king_ring,
    pawn_attacks_up,
    rook_reach,
    square_of,
)
from patterns.boards.exchange import VALUES, Values, capture_gain, is_safe
from patterns.boards.grouping import all_of, any_of, greatest, marked, united
from patterns.boards.moves import Moves, cheapest, is_piece, pawn_steps
from patterns.boards.positions import PIECES, Boards
from patterns.boards.tables import Table

HUNTERS = 3
"""How many of our men, pawns included, it takes to hunt a king in the open."""
HUNT_IS_WORTH = 3
"""What a king in the open is worth, in pawns."""
ANSWERS = 5
"""A check that leaves more answers than this does not force anything."""


@dataclass(frozen=True)
class MovesMade(Table):
    """Legal moves, one entry each: index of the board, origin, board after the move, worth captured."""

    board: Rows
    origin: Squares
    after: Boards
    taken: Values


def _made(boards: Boards, moves: Moves, mover: Owner) -> MovesMade:
    """These moves on these boards, without those that leave the moving side's king attacked."""
    here = boards.take(moves.row)
    after = here.moved(moves.origin, moves.square)
    made = MovesMade(moves.row, moves.origin, after, VALUES[here.kind_at(moves.square)])
    return made.only(~in_check(after, mover))


def best_capture(boards: Boards, side: Owner) -> Values:
    """The most that a side wins by a capture on one square."""
    enemy = boards.them if side == "us" else boards.us
    board, square = exploded(enemy & ~boards.kings & attacked_by(men_of(boards, side), len(boards)))
    return greatest(board, capture_gain(boards.take(board), square, side), len(boards))


def wins(boards: Boards, wanted: Values) -> Flags:
    """Whether a capture of ours wins as many pawns as `wanted`, minus their best capture after it.

    In check only the checking man can be captured.
    """
    checking = attackers(boards, square_of(boards.kings & boards.us)) & boards.them
    targets = np.where(checking != EMPTY, checking, boards.them & ~boards.kings)
    for kind in (chess.PAWN, chess.KNIGHT, chess.BISHOP, chess.ROOK):
        men = getattr(boards, PIECES[kind - 1])
        targets &= ~np.where(VALUES[kind] < wanted, men, EMPTY)
    board, square = exploded(targets)
    here = boards.take(board)
    by = attackers(here, square) & here.us
    taken = np.flatnonzero(by != EMPTY)
    board, square = board[taken], square[taken]
    origin = square_of(cheapest(here.take(taken), by[taken]))
    captures = _made(boards, Moves(board, origin, square), "us")
    left = captures.taken - best_capture(captures.after, "them")
    return marked(captures.board[left >= wanted[captures.board]], len(boards))


def _openers(boards: Boards, king: Squares) -> Bitboards:
    """Our men that are alone between a slider of ours and the king."""
    occupied = boards.occupied
    near = (bishop_reach(king, occupied) | rook_reach(king, occupied)) & boards.us
    through = bishop_reach(king, occupied & ~near) & boards.diagonal_sliders
    through |= rook_reach(king, occupied & ~near) & boards.straight_sliders
    board, slider = exploded(through & boards.us & ~near)
    return united(board, between(king[board], slider) & near[board], len(boards))


def safe_checks(boards: Boards) -> MovesMade:
    """Our checks that are safe, or discovered."""
    men = men_of(boards, "us")
    men = men.only(men.kind != chess.KING)
    king = square_of(boards.kings & boards.them)
    discovers = (_openers(boards, king)[men.row] & BIT[men.square]) != EMPTY
    goes = np.where(discovers, men.attacks, men.attacks & _checking_squares(boards, men))
    goes &= np.where(men.kind == chess.PAWN, boards.them[men.row], ~boards.us[men.row])
    man, square = exploded(goes & ~boards.kings[men.row])
    board, origin = men.row[man], men.square[man]
    fit = discovers[man]
    doubtful = np.flatnonzero(~fit)
    fit[doubtful] = is_safe(boards.take(board[doubtful]), origin[doubtful], square[doubtful])
    moves = _made(boards, Moves(board[fit], origin[fit], square[fit]), "us")
    return moves.only(in_check(moves.after, "them"))


def _checking_squares(boards: Boards, men: Men) -> Bitboards:
    """The squares from which each of our men would check their king."""
    king = square_of(boards.kings & boards.them)[men.row]
    return attack_from(men.kind, king, boards.occupied[men.row] & ~BIT[men.square], "us")


def _answers(boards: Boards) -> MovesMade:
    """Their legal answers to a check: king moves, captures of the checking man, and interpositions."""
    king = square_of(boards.kings & boards.them)
    checkers = attackers(boards, king) & boards.us
    goals = np.where(count(checkers) == 1, checkers | between(king, square_of(checkers) & 63), EMPTY)
    return replies(boards, goals, KING_STEPS[king])


def replies(boards: Boards, goals: Bitboards, king_goals: Bitboards) -> MovesMade:
    """Their legal moves to `king_goals` with the king and to `goals` with other men. One bitboard each."""
    men = men_of(boards, "them")
    goes = men.attacks & np.where(men.kind == chess.KING, king_goals[men.row], goals[men.row])
    goes &= ~boards.them[men.row]
    pawns = np.flatnonzero((men.kind == chess.PAWN) & (goals[men.row] != EMPTY))
    row, square = men.row[pawns], men.square[pawns]
    steps = pawn_steps(BIT[square], boards.take(row), "them")
    goes[pawns] = (goes[pawns] & boards.us[row]) | (steps & goals[row])
    man, square = exploded(goes)
    return _made(boards, Moves(men.row[man], men.square[man], square), "them")


def recaptures(boards: Boards, square: Squares) -> MovesMade:
    """Their legal captures on one square per board."""
    board, origin = exploded(attackers(boards, square) & boards.them)
    return _made(boards, Moves(board, origin, square[board]), "them")


def _mating_squares(boards: Boards) -> tuple[Rows, Squares]:
    """Squares next to their king where our queen, guarded there and attacked only by the king, would mate."""
    king, queen = square_of(boards.kings & boards.them), boards.queens & boards.us
    ready = (count(queen) == 1) & ~in_check(boards, "us")
    board, square = exploded(np.where(ready, KING_STEPS[king] & ~boards.us, EMPTY))
    others = boards.take(board).without(queen[board])
    by = attackers(others, square) & ~others.kings
    fit = np.flatnonzero(((by & others.us) != EMPTY) & ((by & others.them) == EMPTY))
    board, square = board[fit], square[fit]
    there = boards.take(board).moved(square_of(queen)[board], square)
    way, flight = exploded(KING_STEPS[king[board]] & ~there.them & ~BIT[square])
    after = there.take(way)
    covered = attackers(after, flight, after.occupied & ~BIT[king[board[way]]]) & after.us
    mates = all_of(way, covered != EMPTY, len(board))
    return board[mates], square[mates]


def threatens_mate(boards: Boards) -> Flags:
    """Whether a queen move of ours threatens mate, as the module explains."""
    board, mate = _mating_squares(boards)
    queen = square_of(boards.queens & boards.us)[board]
    occupied = boards.occupied[board]
    goes = (bishop_reach(queen, occupied) | rook_reach(queen, occupied)) & ~BIT[mate]
    goes &= ~boards.us[board] & ~boards.kings[board]
    occupied = occupied & ~BIT[queen]
    way, square = exploded(goes & (bishop_reach(mate, occupied) | rook_reach(mate, occupied)))
    after = boards.take(board[way]).moved(queen[way], square)
    safe = ((attackers(after, square) & after.them) == EMPTY) & ~in_check(after, "us")
    fit = np.flatnonzero(safe)
    way, square, after = way[fit], square[fit], after.take(fit)
    sure = ~_can_guard(after, mate[way], between(square, mate[way]))
    sure &= _support_stands(after, mate[way], square)
    return any_of(board[way], sure, len(boards))


def _can_guard(boards: Boards, square: Squares, way: Bitboards) -> Flags:
    """Whether a piece of theirs can come to guard the square or block the way, safe from our pawns."""
    men = men_of(boards, "them")
    men = men.only(is_piece(men.kind))
    occupied = boards.occupied[men.row] & ~BIT[men.square]
    goals = attack_from(men.kind, square[men.row], occupied, "them") | way[men.row]
    shunned = boards.them | pawn_attacks_up(boards.pawns & boards.us)
    return any_of(men.row, (men.attacks & goals & ~shunned[men.row]) != EMPTY, len(boards))


def _support_stands(boards: Boards, square: Squares, queen: Squares) -> Flags:
    """Whether a man of ours (not queen or king) guards the square, and is itself guarded or not attacked."""
    by = attackers(boards, square) & boards.us & ~boards.kings & ~BIT[queen]
    board, man = exploded(by)
    near = attackers(boards.take(board), man)
    stands = ((near & boards.them[board]) == EMPTY) | ((near & boards.us[board]) != EMPTY)
    return any_of(board, stands, len(boards))


def _in_the_open(boards: Boards) -> Flags:
    """Whether their king is in the open, as the module explains."""
    result = np.zeros(len(boards), dtype=np.bool_)
    out = np.flatnonzero((boards.kings & boards.them & THEIR_HOME) == EMPTY)
    boards = boards.take(out)
    men = men_of(boards, "us")
    checks = (
        men.attacks
        & _checking_squares(boards, men)
        & ~attacked_by(men_of(boards, "them"), len(boards))[men.row]
    )
    queens = men.only((men.kind == chess.QUEEN) & ((checks & ~boards.us[men.row]) != EMPTY))
    result[out] = marked(queens.row, len(boards)) & outnumbered(boards)
    return result


def outnumbered(boards: Boards) -> Flags:
    """Whether enough of our men are after their king, and more than their minor pieces that guard it."""
    men = men_of(boards, "them")
    ring = king_ring(boards.kings & boards.them)[men.row]
    guarding = ((men.kind == chess.KNIGHT) | (men.kind == chess.BISHOP)) & ((men.attacks & ring) != EMPTY)
    guards = np.bincount(men.row[guarding], minlength=len(boards))
    return count(hunters(boards)) > np.maximum(guards, HUNTERS - 1)


def hunters(boards: Boards) -> Bitboards:
    """Our men, without the king, that bear on a square next to their king or can check it."""
    men = men_of(boards, "us")
    goals = king_ring(boards.kings & boards.them)[men.row]
    goals = goals | _checking_squares(boards, men) & ~boards.us[men.row]
    joins = np.flatnonzero((men.kind != chess.KING) & ((men.attacks & goals) != EMPTY))
    return united(men.row[joins], BIT[men.square[joins]], len(boards))


def _succeeds(boards: Boards, wanted: Values, checks: int) -> Flags:
    """Whether a hunt with this many checks left works out, as the module explains."""
    done = wanted <= 0
    left = np.flatnonzero(~done & (wanted <= HUNT_IS_WORTH))
    done[left] = _in_the_open(boards.take(left))
    left = np.flatnonzero(~done)
    done[left] = threatens_mate(boards.take(left))
    left = np.flatnonzero(~done)
    done[left] = wins(boards.take(left), wanted[left])
    if checks:
        left = np.flatnonzero(~done)
        done[left] = won_by_checks(boards.take(left), wanted[left], checks)
    return done


def won_by_checks(boards: Boards, wanted: Values, checks: int) -> Flags:
    """Whether a check of ours works out, if necessary followed by others, at most `checks` in all.

    `wanted`: how many pawns a capture must win in the end, shape (M,). The module explains the rule.
    """
    given = safe_checks(boards)
    if not len(given):
        return np.zeros(len(boards), dtype=np.bool_)
    answers = _answers(given.after)
    few = np.bincount(answers.board, minlength=len(given)) <= ANSWERS
    answers = answers.only(few[answers.board])
    missing = (wanted[given.board] - given.taken)[answers.board] + answers.taken
    works = few & all_of(answers.board, _succeeds(answers.after, missing, checks - 1), len(given))
    return any_of(given.board, works, len(boards))
