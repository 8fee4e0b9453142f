"""Pieces that are attacked, or can be, and lose by exchange wherever they go.

`patterns.motifs.trapped_piece` states the rules. `patterns.proof.wins` tests what else they can do.
"""

from __future__ import annotations

from dataclasses import dataclass

import chess
import numpy as np

from patterns.boards.attacks import Men, attack_from, attackers, between, men_of, reach
from patterns.boards.bitboards import (
    BIT,
    EMPTY,
    KING_STEPS,
    KNIGHT_STEPS,
    PAWN_DOWN,
    Bitboards,
    Flags,
    Rows,
    Squares,
    bishop_reach,
    exploded,
    rook_reach,
)
from patterns.boards.exchange import VALUES, can_win, capture_gain, exchange, is_safe
from patterns.boards.grouping import any_of
from patterns.boards.moves import Moves, cheapest, pawn_steps
from patterns.boards.positions import Boards
from patterns.boards.pressure import men_of_rows
from patterns.boards.tables import Table
from patterns.boards.view import View, reversed_sides

LEAST = 2
"""The least that a trapped piece must cost them, in pawns: the exchange. If it costs a pawn, it escapes."""


@dataclass(frozen=True)
class Traps(Table):
    """Ways in which a piece of theirs falls, one entry each.

    `row` and `piece`: where it stands. `by`: our men that attack it, or the man that will. `where`: the
    square from which that man will attack; empty if the piece is attacked already. `boards`: after this
    attack.
    """

    row: Rows
    piece: Squares
    by: Bitboards
    where: Bitboards
    boards: Boards


def _cornered(view: View) -> Men:
    """Their unpinned pieces that cannot move to any square that we do not attack."""
    ours = view.our_pieces
    good = ~view.us & ~view.their_attacks
    cornered = ours.only((ours.attacks & good[ours.row]) == EMPTY)
    men = view.as_theirs(cornered)
    return men.only((view.their_pinned[men.row] & BIT[men.square]) == EMPTY)


def _loses_with_every_move(boards: Boards, squares: Squares) -> Flags:
    """Whether every move of their piece on each square loses material by exchange."""
    kind = boards.kind_at(squares)
    goes = reach(kind, squares, boards.occupied, "them") & ~boards.them
    entry, square = exploded(goes)
    seen_by_them = reversed_sides(boards.take(entry))
    escapes = exchange(seen_by_them, squares[entry] ^ 56, square ^ 56, floor=-LEAST) > -LEAST
    return ~any_of(entry, escapes, len(squares))


def _can_be_helped(boards: Boards, squares: Squares, attackers_at: Squares) -> Flags:
    """Whether another man of theirs can interpose, or guard the piece where that would be enough.

    A guard is enough if the attacker is worth at least as much as the piece.
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
    return any_of(men.row, (goes & helping) != EMPTY, len(squares))


def _lost(boards: Boards, squares: Squares) -> Rows:
    """The rows in which the piece on the square falls by exchange and cannot be saved."""
    lost = np.flatnonzero(capture_gain(boards, squares, "us", enough=LEAST) >= LEAST)
    lost = lost[_loses_with_every_move(boards.take(lost), squares[lost])]
    return lost[_cannot_be_saved(boards.take(lost), squares[lost])]


def _cannot_be_saved(boards: Boards, squares: Squares) -> Flags:
    """Whether one of our cheapest attackers of each square does not fall, and no man can help the piece."""
    entry, attacker = exploded(cheapest(boards, attackers(boards, squares) & boards.us))
    here = boards.take(entry)
    certain = ~can_win(here, attacker, "them") & ~_can_be_helped(here, squares[entry], attacker)
    return any_of(entry, certain, len(squares))


def _within_reach(view: View, men: Men) -> Flags:
    """Whether a man of ours could come to attack each of these pieces, which we do not attack yet."""
    attacks, occupied = view.our_attacks_of, view.occupied[men.row]
    straight = attacks[chess.ROOK] | attacks[chess.QUEEN]
    diagonal = attacks[chess.BISHOP] | attacks[chess.QUEEN]
    stops = rook_reach(men.square, occupied) & straight[men.row]
    stops |= bishop_reach(men.square, occupied) & diagonal[men.row]
    stops |= KNIGHT_STEPS[men.square] & attacks[chess.KNIGHT][men.row]
    stops |= KING_STEPS[men.square] & attacks[chess.KING][men.row]
    stops |= PAWN_DOWN[men.square] & view.our_pawn_pushes[men.row]
    return (stops & ~occupied & ~view.their_pawn_attacks[men.row]) != EMPTY


def _attacks_to_come(view: View, men: Men) -> Moves:
    """Quiet moves of ours that attack one of these pieces. Their `row` is the index of the piece."""
    entry, ours = men_of_rows(view.our_men, men.row)
    unpinned = np.flatnonzero((view.our_pinned[ours.row] & BIT[ours.square]) == EMPTY)
    entry, ours = entry[unpinned], ours.take(unpinned)
    piece, free = men.square[entry], ~view.occupied[ours.row]
    step = pawn_steps(BIT[ours.square], view.boards.take(ours.row), "us")
    goes = np.where(ours.kind == chess.PAWN, step, ours.attacks & free) & ~view.their_pawn_attacks[ours.row]
    goes &= np.where(ours.kind == chess.KING, ~view.their_attacks[ours.row], ~EMPTY)
    attacking = attack_from(ours.kind, piece, view.occupied[ours.row] & ~BIT[ours.square], "us")
    new = (ours.attacks & BIT[piece]) == EMPTY
    man, square = exploded(np.where(new, goes & attacking, EMPTY))
    return Moves(entry[man], ours.square[man], square)


def _safe_attacks(view: View, men: Men) -> Moves:
    """Those of these attacks that are safe."""
    moves = _attacks_to_come(view, men)
    return moves.only(is_safe(view.boards.take(men.row[moves.row]), moves.origin, moves.square))


def closed_traps(view: View) -> Traps:
    """Pieces without a good move that fall by exchange where they stand or after one safe move of ours."""
    men = _cornered(view)
    men = men.only(~view.in_check[men.row])
    is_attacked = (view.our_attacks[men.row] & BIT[men.square]) != EMPTY
    attacked, others = men.only(is_attacked), men.only(~is_attacked & view.boards.our_move[men.row])
    others = others.only(_within_reach(view, others))
    moves = _safe_attacks(view, others)
    others = others.take(moves.row)
    boards = view.boards.take(attacked.row)
    by, nowhere = attackers(boards, attacked.square) & boards.us, np.zeros(len(boards), dtype=np.uint64)
    after = view.boards.take(others.row).moved(moves.origin, moves.square)
    traps = Traps.joined(
        Traps(attacked.row, attacked.square, by, nowhere, boards),
        Traps(others.row, others.square, BIT[moves.origin], BIT[moves.square], after),
    )
    return traps.take(_lost(traps.boards, traps.piece))
