"""Legal moves in whole batches: where each man may go, and the boards after moves have been made.

"Us" is the side to move on every board here, whatever `our_move` says. A promotion is to a queen. Castling is
the king's move, from e1 to g1 or c1.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import chess
import numpy as np

from patterns.boards.attacks import Men, attack_map, attackers, between, in_check, men_of, reach
from patterns.boards.bitboards import (
    ALL,
    BISHOP_LINES,
    BIT,
    EMPTY,
    FILES,
    LINE,
    NORTH,
    RANKS,
    ROOK_LINES,
    SOUTH,
    Bitboards,
    Flags,
    Rows,
    Squares,
    bishop_reach,
    exploded,
    king_ring,
    paired,
    pawn_steps_up,
    rook_reach,
    shifted,
    square_of,
)
from patterns.boards.exchange import QUEENING, VALUES, Values
from patterns.boards.grouping import united
from patterns.boards.moves import Moves
from patterns.boards.positions import PIECES, Boards
from patterns.boards.tables import Table
from patterns.boards.view import reversed_sides

_PAWNS, _QUEENS, _ROOKS = (PIECES.index(name) for name in ("pawns", "queens", "rooks"))
_FIRST_RANK = RANKS[0]
_NO_MOVES = Moves(*np.zeros((3, 0), dtype=np.int64))
_SIDES = (
    (chess.H1, chess.G1, BIT[chess.F1] | BIT[chess.G1], BIT[chess.E1] | BIT[chess.F1] | BIT[chess.G1]),
    (
        chess.A1,
        chess.C1,
        BIT[chess.B1] | BIT[chess.C1] | BIT[chess.D1],
        BIT[chess.E1] | BIT[chess.D1] | BIT[chess.C1],
    ),
)
"""For each side to castle: rook, the king's destination, squares that must be empty, and not attacked."""


@dataclass(frozen=True)
class Made(Table):
    """Legal moves that have been made, one entry each.

    `row`: index of the board before. `gain`: what the move takes, and 8 for a promotion, in pawns. `after`:
    the board as the other side sees it, which is to move.
    """

    row: Rows
    origin: Squares
    square: Squares
    gain: Values
    after: Boards


def legal_men(boards: Boards, goals: Bitboards | None = None, men: Men | None = None) -> Men:
    """Our men, with the squares where each may legally go instead of its attacks.

    `goals`: one bitboard per board. If given, moves to other squares are left out, and so is castling.
    `men`: ours with their attacks, if they are known.
    """
    men = men_of(boards, "us") if men is None else men
    goes = _goes(boards, men)
    men = replace(men, attacks=goes if goals is None else goes & goals[men.row])
    men = _kept_legal(boards, square_of(boards.kings & boards.us), men)
    if goals is None:
        kings = np.flatnonzero(men.kind == chess.KING)
        men.attacks[kings] |= _castling(boards)[men.row[kings]]
    return men


def _kept_legal(boards: Boards, king: Squares, men: Men) -> Men:
    """These men of ours, with those of the squares where they may legally go. `king`: ours, by board."""
    goes = men.attacks.copy()
    checkers = attackers(boards, king) & boards.them
    allowed = np.where(checkers == EMPTY, ALL, checkers | between(king, square_of(checkers) & 63))
    allowed[(checkers & (checkers - np.uint64(1))) != EMPTY] = EMPTY
    is_king = men.kind == chess.KING
    passing = np.where(men.kind == chess.PAWN, boards.en_passant[men.row], EMPTY)
    goes &= allowed[men.row] | np.where(is_king, ALL, passing)
    _keep_pins(boards, king, men, goes)
    kings = np.flatnonzero(is_king & (goes != EMPTY))
    goes[kings] &= king_steps(boards.take(men.row[kings]))
    doubtful = np.flatnonzero(goes & passing & ~boards.occupied[men.row])
    if len(doubtful):
        _drop_exposing_en_passant(boards, men, goes, doubtful)
    return replace(men, attacks=goes)


def _goes(boards: Boards, men: Men) -> Bitboards:
    """Where these men of ours could go, by their way of moving alone."""
    goes = men.attacks & ~boards.us[men.row]
    pawns = np.flatnonzero(men.kind == chess.PAWN)
    goes[pawns] = _pawn_moves(boards, men.take(pawns))
    return goes


def moves_from(boards: Boards, origins: Squares) -> Moves:
    """Every move of our man on each square, pins and checks ignored."""
    row, kind = np.arange(len(origins)), boards.kind_at(origins)
    men = Men(row, origins, kind, reach(kind, origins, boards.occupied, "us"))
    man, square = exploded(_goes(boards, men))
    return Moves(man, origins[man], square)


def _pawn_moves(boards: Boards, pawns: Men) -> Bitboards:
    """Steps and captures of these pawns of ours, en passant included."""
    here, free = BIT[pawns.square], ~boards.occupied[pawns.row]
    one, two = pawn_steps_up(here, free)
    return pawns.attacks & (boards.them | boards.en_passant)[pawns.row] | one | two


def _keep_pins(boards: Boards, king: Squares, men: Men, goes: Bitboards) -> None:
    """Keep pinned men on the line to their king."""
    pinned = _screens(boards, king, boards.them)
    held = np.flatnonzero((pinned[men.row] & BIT[men.square]) != EMPTY)
    goes[held] &= paired(LINE, king[men.row[held]], men.square[held])


def _screens(boards: Boards, king: Squares, side: Bitboards) -> Bitboards:
    """Our men that stand alone between a slider of this side and the king on each board."""
    lined_up = BISHOP_LINES[king] & boards.diagonal_sliders | ROOK_LINES[king] & boards.straight_sliders
    some = np.flatnonzero(lined_up & side)
    here, at = boards.take(some), king[some]
    occupied = here.occupied
    near = (bishop_reach(at, occupied) | rook_reach(at, occupied)) & here.us
    through = bishop_reach(at, occupied & ~near) & here.diagonal_sliders
    through |= rook_reach(at, occupied & ~near) & here.straight_sliders
    row, slider = exploded(through & side[some] & ~near)
    return united(some[row], between(at[row], slider) & near[row], len(boards))


def king_steps(boards: Boards) -> Bitboards:
    """The squares where our king may legally step, castling left out."""
    king = boards.kings & boards.us
    return king_ring(king) & ~boards.us & ~attack_map(boards, "them", boards.occupied & ~king)


def _castling(boards: Boards) -> Bitboards:
    """Where our king may go by castling."""
    result = np.zeros(len(boards), dtype=np.uint64)
    rooks = boards.castling & boards.rooks & boards.us & _FIRST_RANK
    may = np.flatnonzero((rooks != EMPTY) & ((boards.kings & boards.us) == BIT[chess.E1]))
    if len(may):
        here = boards.take(may)
        attacked = attack_map(here, "them", here.occupied)
        for rook, goal, gap, path in _SIDES:
            free = ((here.occupied & gap) | (attacked & path) | (BIT[rook] & ~rooks[may])) == EMPTY
            result[may[free]] |= BIT[goal]
    return result


def _drop_exposing_en_passant(boards: Boards, men: Men, goes: Bitboards, doubtful: Rows) -> None:
    """Take out captures en passant that leave our king attacked: they open two squares at once."""
    row, square = men.row[doubtful], square_of(boards.en_passant[men.row[doubtful]])
    after = _after(boards.take(row), men.square[doubtful], square, men.kind[doubtful])
    exposed = doubtful[in_check(after, "us")]
    goes[exposed] &= ~boards.en_passant[men.row[exposed]]


def _after(boards: Boards, origins: Squares, squares: Squares, kinds: Squares) -> Boards:
    """The boards after these moves, still as the side that moved sees them."""
    after = boards.moved(origins, squares)
    men, passed = after.men, np.zeros(len(origins), dtype=np.uint64)
    pawns = np.flatnonzero(kinds == chess.PAWN)
    origin, square = BIT[origins[pawns]], BIT[squares[pawns]]
    queens = pawns[(square & RANKS[7]) != EMPTY]
    men[_PAWNS, queens] ^= BIT[squares[queens]]
    men[_QUEENS, queens] |= BIT[squares[queens]]
    taking = pawns[(square & boards.en_passant[pawns]) != EMPTY]
    men[:, taking] &= ~shifted(BIT[squares[taking]], SOUTH)
    double = ((origin & RANKS[1]) != EMPTY) & ((square & RANKS[3]) != EMPTY)
    passed[pawns[double]] = shifted(origin[double], NORTH)
    castles = np.flatnonzero((kinds == chess.KING) & (origins == chess.E1) & (abs(squares - chess.E1) == 2))
    if len(castles):
        for rook, goal, _, _ in _SIDES:
            some = castles[squares[castles] == goal]
            for kind in (_ROOKS, len(PIECES)):
                men[kind, some] ^= BIT[rook] | BIT[(chess.E1 + goal) // 2]
    kept = boards.castling & ~BIT[origins] & ~BIT[squares]
    kept = np.where(kinds == chess.KING, kept & ~_FIRST_RANK, kept)
    return Boards(men, kept, passed, after.our_move)


def made(boards: Boards, moves: Moves) -> Made:
    """The boards after these moves, which must be legal (or at least those of a man of ours)."""
    before = boards.take(moves.row)
    if not len(moves):
        return Made(moves.row, moves.origin, moves.square, np.zeros(0, dtype=np.int64), before)
    kind, square = before.kind_at(moves.origin), BIT[moves.square]
    pawn = kind == chess.PAWN
    gain = VALUES[before.kind_at(moves.square)]
    gain = (
        gain
        + (pawn & ((square & before.en_passant) != EMPTY))
        + QUEENING * (pawn & ((square & RANKS[7]) != EMPTY))
    )
    after = _after(before, moves.origin, moves.square, kind)
    return Made(moves.row, moves.origin, moves.square, gain, reversed_sides(after))


def legal_moves(boards: Boards, goals: Bitboards | None = None, men: Men | None = None) -> Moves:
    """Every legal move of ours, or only those to the `goals` of each board. `men` as for `legal_men`."""
    if not len(boards):
        return _NO_MOVES
    men = legal_men(boards, goals, men)
    man, square = exploded(men.attacks)
    return Moves(men.row[man], men.square[man], square)


def gainful(boards: Boards) -> Bitboards:
    """The squares where a move of ours takes a man, or may promote a pawn: goals for `legal_moves`."""
    promoting = shifted(boards.pawns & boards.us & RANKS[6], NORTH)
    promoting &= ~boards.occupied
    return boards.them & ~boards.kings | promoting | boards.en_passant


def checking_squares(boards: Boards, men: Men) -> Bitboards:
    """The squares from which each of these men of ours would check their king (not by opening a line)."""
    king = square_of(boards.kings & boards.them)[men.row]
    return reach(men.kind, king, boards.occupied[men.row] & ~BIT[men.square], "them")


def openers(boards: Boards) -> Bitboards:
    """Our men that are alone between a slider of ours and their king."""
    return _screens(boards, square_of(boards.kings & boards.them), boards.us)


def checks(boards: Boards, men: Men | None = None) -> Moves:
    """Every legal move of ours that may check their king.

    These are direct checks, all moves of men that open a line, promotions and castling. `men` as for
    `legal_men`.
    """
    if not len(boards):
        return _NO_MOVES
    men = men_of(boards, "us") if men is None else men
    opening = (openers(boards)[men.row] & BIT[men.square]) != EMPTY
    direct = checking_squares(boards, men) | np.where(men.kind == chess.PAWN, RANKS[7], EMPTY)
    goes = _goes(boards, men) & np.where(opening, ALL, direct)
    some = np.flatnonzero(goes)
    king = square_of(boards.kings & boards.us)
    men = _kept_legal(boards, king, replace(men, attacks=goes).take(some))
    man, square = exploded(men.attacks)
    # A rook that has castled checks along the first rank, or on the d-file or f-file.
    on_line = np.flatnonzero(boards.kings & boards.them & (_FIRST_RANK | FILES[3] | FILES[5]))
    castling, goal = exploded(_castling(boards.take(on_line)))
    return Moves(
        np.concatenate([men.row[man], on_line[castling]]),
        np.concatenate([men.square[man], np.full(len(goal), chess.E1)]),
        np.concatenate([square, goal]),
    )


def has_move(boards: Boards) -> Flags:
    """Whether we have any legal move on each board."""
    result: Flags = king_steps(boards) != EMPTY
    rest = np.flatnonzero(~result)
    if len(rest):
        men = legal_men(boards.take(rest))
        result[rest[men.row[men.attacks != EMPTY]]] = True
    return result
