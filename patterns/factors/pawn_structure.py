"""Pawn structure: isolated, doubled, backward, hanging and passed pawns, islands, majorities.

Definitions after Nimzowitsch, My System, and Kmoch, Pawn Power in Chess (from memory).
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.bitboards import (
    ADVANCED_RANKS,
    BIT,
    DISTANCE,
    EAST,
    EMPTY,
    FILES,
    KING_STEPS,
    NORTH,
    RANKS,
    SOUTH,
    THEIR_HALF,
    WEST,
    Bitboards,
    count,
    exploded,
    filled_down,
    filled_files,
    filled_up,
    neighbour_files,
    shifted,
)
from patterns.boards.exchange import loses_nothing
from patterns.boards.grouping import summed, united
from patterns.boards.view import View
from patterns.factors.term import Reason, Term, lead, masked, men_by_kind, other_side
from patterns.words.wording import number, squares

WINGS = (FILES[0] | FILES[1] | FILES[2] | FILES[3], FILES[4] | FILES[5] | FILES[6] | FILES[7])
ISOLATED, BACKWARD, EXPOSED = 0.08, 0.1, 0.07
"""EXPOSED is added if no enemy pawn stands ahead of it: then the file is open to attack."""
DOUBLED, HANGING, ISLAND, MAJORITY = 0.1, 0.08, 0.07, 0.04
CHAIN = 0.07
"""A pawn that another pawn guards or stands beside, past its own half counted double."""
PASSED = np.array([0.0, 0.1, 0.14, 0.29, 0.57, 1.15, 1.8, 0.0])
"""A passed pawn by its rank (from 0), in an endgame. With all pieces on the board it is worth half."""
BLOCKADED, FREE, ESCORTED, RUNNING = 0.5, 0.35, 0.3, 3.0
"""The part lost to a blockade, gained by a free path, gained by an escort; pawns if nobody can stop it."""


def terms(view: View) -> tuple[Term, ...]:
    """Reasons about our own pawns. Chains, islands and majorities are compared with theirs."""
    pawns = view.our_pawns
    opposed = filled_down(shifted(view.their_pawns, SOUTH))
    isolated = pawns & ~neighbour_files(pawns)
    never_guarded = ~filled_up(shifted(pawns, EAST) | shifted(pawns, WEST))
    stopped = shifted(view.their_pawn_attacks | view.their_pawns, SOUTH)
    backward = _held_back(view, pawns & never_guarded & stopped & ~isolated)
    doubled = pawns & filled_down(shifted(pawns, SOUTH)) & ~view.our_pawn_attacks
    pairs = doubled | pawns & filled_up(shifted(doubled, NORTH))
    hanging = _hanging(view, pawns)
    return (
        Term(
            "isolated",
            -(ISOLATED * count(isolated) + EXPOSED * count(isolated & ~opposed)),
            isolated,
            lambda reason: f"{reason.ours()} {reason.choose('is', 'are')} isolated",
        ),
        Term(
            "backward",
            -(BACKWARD * count(backward) + EXPOSED * count(backward & ~opposed)),
            backward,
            lambda reason: (
                f"{reason.ours()} {reason.choose('is', 'are')} backward: "
                f"no pawn can guard {reason.choose('it', 'them')}, and the way ahead is stopped"
            ),
        ),
        Term(
            "doubled",
            -(DOUBLED * count(doubled)),
            pairs,
            lambda reason: f"{reason.ours()} are doubled",
        ),
        Term(
            "hanging",
            -HANGING * (hanging != EMPTY),
            hanging,
            lambda reason: (
                f"{reason.ours()} are hanging pawns: they hold space, but only pieces can guard them"
            ),
        ),
        _chains(view),
        _passed(view),
        _islands(view),
        _majority(view),
    )


def _held_back(view: View, pawns: Bitboards) -> Bitboards:
    """Those of the pawns whose step forward is no move, or loses something by exchange."""
    steps = pawns & shifted(~view.occupied, SOUTH)
    pinned = view.our_pinned & ~FILES[view.our_king & 7]
    row, square = exploded(steps & ~pinned)
    goes = loses_nothing(view.boards.take(row), square, square + 8)
    return pawns & ~united(row[goes], BIT[square[goes]], len(view))


def _hanging(view: View, pawns: Bitboards) -> Bitboards:
    middle = pawns & (RANKS[3] | RANKS[4]) & ~filled_files(view.their_pawns)
    found = np.zeros(len(view), dtype=np.uint64)
    for file in range(1, 6):
        pair, outer = FILES[file] | FILES[file + 1], FILES[file - 1] | FILES[file + 2]
        alone = (count(middle & pair) == 2) & ((pawns & outer) == EMPTY) & (count(pawns & pair) == 2)
        abreast = (middle & FILES[file] != EMPTY) & (middle & FILES[file + 1] != EMPTY)
        abreast &= (middle & pair & view.our_pawn_attacks) == EMPTY
        found |= masked(alone & abreast, middle & pair)
    return found


def _chains(view: View) -> Term:
    pawns = view.our_pawns
    chained = pawns & (shifted(pawns, EAST) | shifted(pawns, WEST) | view.our_pawn_attacks)
    number = count(chained) + count(chained & ADVANCED_RANKS & THEIR_HALF)
    return Term(
        "chains",
        CHAIN * lead(number.astype(np.float64), other_side(number).astype(np.float64)),
        chained,
        _tell_chains,
    )


def _passed(view: View) -> Term:
    """How far it is, what stands in its way, who goes with it, and whether any man can still stop it."""
    row, square = exploded(view.our_passed_pawns)
    rank, pawn = square >> 3, BIT[square]
    stop, path = pawn << np.uint64(8), filled_up(pawn << np.uint64(8))
    blockaded = (stop & view.them[row]) != EMPTY
    free = (path & (view.them[row] | view.their_attacks[row])) == EMPTY
    beside = (KING_STEPS[view.our_king[row]] & (pawn | stop)) != EMPTY
    escorted = beside | ((pawn & view.our_pawn_attacks[row]) != EMPTY)
    worth = PASSED[rank] * (1 - BLOCKADED * blockaded + FREE * free + ESCORTED * escorted)
    worth *= 1 - 0.5 * view.middlegame[row]
    # Only the king could catch it, and the king comes too late (the rule of the square).
    to_queen_square = DISTANCE[view.their_king[row], (square & 7) + 56] - 1 * ~view.boards.our_move[row]
    runs = (to_queen_square > np.minimum(7 - rank, 5)) & ((path & view.occupied[row]) == EMPTY)
    worth += np.where(runs & (view.their_piece_count[row] == 0), RUNNING, 0.0)
    return Term(
        "passed",
        summed(row, worth, len(view)),
        united(row, pawn, len(view)),
        _tell_passed,
    )


def _islands(view: View) -> Term:
    files = filled_files(view.our_pawns) & RANKS[0]
    islands = count(files & ~shifted(files, EAST)).astype(np.float64)
    return Term("islands", ISLAND * lead(other_side(islands), islands), view.their_pawns, _tell_islands)


def _majority(view: View) -> Term:
    worth, men = np.zeros(len(view)), np.zeros(len(view), dtype=np.uint64)
    for wing in WINGS:
        more = count(view.our_pawns & wing) > count(view.their_pawns & wing)
        flags = more & ((view.their(chess.KING) & wing) == EMPTY)
        worth += MAJORITY * flags
        men |= masked(flags, view.our_pawns & wing)
    return Term(
        "majority",
        worth,
        men,
        lambda reason: f"{reason.ours()} form a majority on the wing away from {reason.opponent_king}",
    )


def _tell_chains(reason: Reason) -> str:
    """Pawns on their first squares are only numbered, if there are others: side by side there says little."""
    ahead = reason.men & ~(chess.BB_RANK_2 if reason.side else chess.BB_RANK_7) or reason.men
    rest = len(reason.men) - len(ahead)
    others = f" and {number(rest)} other{'s' if rest > 1 else ''}" if rest else ""
    have, them = reason.choose("has another pawn", "have other pawns"), reason.choose("it", "them")
    return (
        f"{reason.name}'s {men_by_kind(reason.board, ahead)}{others} {have} beside or behind {them}: "
        f"{reason.name}'s pawns work together better"
    )


def _tell_passed(reason: Reason) -> str:
    text = f"{reason.ours()} {reason.choose('is', 'are')} passed"
    step = 8 if reason.side else -8
    held = [pawn for pawn in reason.men if reason.board.color_at(pawn + step) == (not reason.side)]
    if not held:
        return text
    which = (
        "" if len(held) == len(reason.men) else f"{'that' if len(held) == 1 else 'those'} on {squares(held)} "
    )
    return f"{text}, {which}held up by the {men_by_kind(reason.board, [pawn + step for pawn in held])}"


def _tell_islands(reason: Reason) -> str:
    number = _island_count(reason.board, not reason.side)
    return f"{reason.opponent}'s pawns are split into {number} islands, {reason.name}'s into fewer"


def _island_count(board: chess.Board, side: chess.Color) -> int:
    files = {chess.square_file(square) for square in board.pieces(chess.PAWN, side)}
    return sum(1 for file in files if file - 1 not in files)
