"""Pawn structure: isolated, doubled, backward, hanging and passed pawns, islands, majorities, fixed pawns.

Definitions after Nimzowitsch, My System, and Kmoch, Pawn Power in Chess (from memory).
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.bitboards import (
    BIT,
    DARK,
    DISTANCE,
    EAST,
    EMPTY,
    FILES,
    LIGHT,
    NORTH,
    RANKS,
    SOUTH,
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
from patterns.boards.grouping import summed, united
from patterns.boards.view import View
from patterns.factors.term import Pawns, Reason, Term, lead, masked, men_by_kind, other_side

WINGS = (FILES[0] | FILES[1] | FILES[2] | FILES[3], FILES[4] | FILES[5] | FILES[6] | FILES[7])
ISOLATED, BACKWARD, EXPOSED = 0.1, 0.1, 0.07
"""EXPOSED is added if no enemy pawn stands ahead of it: then the file is open to attack."""
DOUBLED, HANGING, ISLAND, MAJORITY, FIXED = 0.14, 0.1, 0.05, 0.05, 0.05
CONNECTED = np.array([0.0, 0.025, 0.07, 0.1, 0.25, 0.5, 0.7, 0.0])
"""A pawn beside another one, or guarded by one, by its rank (from 0)."""
PASSED = np.array([0.0, 0.1, 0.15, 0.3, 0.6, 1.1, 1.8, 0.0])
"""A passed pawn by its rank (from 0), in an endgame. With all pieces on the board it is worth half."""
NEARER_KING, RUNNING = 0.04, 3.0
"""Each step that our king is nearer to a passed pawn's path, by rank; a pawn that nobody can catch."""


def terms(view: View) -> tuple[Term, ...]:
    """Reasons about our own pawns. Connected pawns, islands and majorities are compared with theirs."""
    pawns = view.our_pawns
    opposed = filled_down(shifted(view.their_pawns, SOUTH))
    isolated = pawns & ~neighbour_files(pawns)
    never_guarded = ~filled_up(shifted(pawns, EAST) | shifted(pawns, WEST))
    stopped = shifted(view.their_pawn_attacks | view.their_pawns, SOUTH)
    backward = pawns & never_guarded & stopped & ~isolated
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
        _connected(view),
        _passed(view),
        _islands(view),
        _majority(view),
        _fixed(view),
    )


def _hanging(view: View, pawns: Bitboards) -> Bitboards:
    middle = pawns & (RANKS[3] | RANKS[4]) & ~filled_files(view.their_pawns)
    found = np.zeros(len(view), dtype=np.uint64)
    for file in range(1, 6):
        pair, outer = FILES[file] | FILES[file + 1], FILES[file - 1] | FILES[file + 2]
        alone = (count(middle & pair) == 2) & ((pawns & outer) == EMPTY) & (count(pawns & pair) == 2)
        abreast = (middle & FILES[file] != EMPTY) & (middle & FILES[file + 1] != EMPTY)
        found |= masked(alone & abreast, middle & pair)
    return found


def _connected(view: View) -> Term:
    pawns = view.our_pawns
    beside = pawns & (shifted(pawns, EAST) | shifted(pawns, WEST))
    connected = beside | pawns & view.our_pawn_attacks
    advanced = connected & ~(RANKS[1] | RANKS[2])
    worth: Pawns = np.zeros(len(view))
    for rank in range(1, 7):
        worth = worth + CONNECTED[rank] * count(connected & RANKS[rank])
    return Term(
        "connected",
        lead(worth, other_side(worth)),
        advanced | masked(advanced == EMPTY, connected),
        lambda reason: (
            f"{reason.ours()} {reason.choose('has', 'have')} other pawns beside or behind "
            f"{reason.choose('it', 'them')}: {reason.name}'s chains are the better ones"
        ),
    )


def passed_pawns(view: View) -> Bitboards:
    """Our pawns that no enemy pawn can stop or take on the way, and that are foremost on their file."""
    front = view.their_pawns | shifted(view.their_pawns, EAST) | shifted(view.their_pawns, WEST)
    return view.our_pawns & ~filled_down(shifted(front, SOUTH)) & ~filled_down(shifted(view.our_pawns, SOUTH))


def _passed(view: View) -> Term:
    row, square = exploded(passed_pawns(view) & ~RANKS[7])
    rank, pawn = square >> 3, BIT[square]
    stop, path = pawn << np.uint64(8), filled_up(pawn << np.uint64(8))
    blocked = (stop & view.them[row]) != EMPTY
    free = (path & (view.them[row] | view.their_attacks[row])) == EMPTY
    guarded = (pawn & view.our_pawn_attacks[row]) != EMPTY
    backed = (stop & view.our_attacks[row]) != EMPTY
    worth = PASSED[rank] * (1 - 0.45 * blocked + 0.35 * free + 0.2 * guarded + 0.15 * backed)
    worth *= 1 - 0.5 * view.middlegame[row]
    # In an endgame the kings decide: which one is nearer to the square ahead?
    ahead = np.minimum(square + 8, 63)
    ours, theirs = (np.minimum(5, DISTANCE[king[row], ahead]) for king in (view.our_king, view.their_king))
    endgame = np.clip(1 - 2 * view.middlegame[row], 0.0, 1.0)
    worth += NEARER_KING * np.maximum(0, rank - 2) * (theirs - ours) * endgame
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


def _fixed(view: View) -> Term:
    rammed = view.our_pawns & shifted(view.their_pawns, SOUTH)
    fixed = np.zeros(len(view), dtype=np.uint64)
    for colour in (LIGHT, DARK):
        rival = ((view.their(chess.BISHOP) & colour) != EMPTY) & ((view.our(chess.BISHOP) & colour) == EMPTY)
        fixed |= masked(rival, rammed & colour)
    return Term(
        "fixed",
        -FIXED * count(fixed),
        fixed,
        lambda reason: (
            f"{reason.ours()} {reason.choose('is', 'are')} fixed on the colour of {reason.opponent}'s bishop"
        ),
    )


def _tell_passed(reason: Reason) -> str:
    ahead = [pawn + (8 if reason.side else -8) for pawn in reason.men]
    stoppers = [square for square in ahead if reason.board.color_at(square) == (not reason.side)]
    text = f"{reason.ours()} {reason.choose('is', 'are')} passed"
    return f"{text}, held up by the {men_by_kind(reason.board, stoppers)}" if stoppers else text


def _tell_islands(reason: Reason) -> str:
    number = _island_count(reason.board, not reason.side)
    return f"{reason.opponent}'s pawns are split into {number} islands, {reason.name}'s into fewer"


def _island_count(board: chess.Board, side: chess.Color) -> int:
    files = {chess.square_file(square) for square in board.pieces(chess.PAWN, side)}
    return sum(1 for file in files if file - 1 not in files)
