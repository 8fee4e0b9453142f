"""Pawn structure: isolated, doubled, backward, hanging and passed pawns, islands, majorities, fixed pawns."""

from __future__ import annotations

import chess
import numpy as np

from patterns.bitboards import (
    DARK,
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
    filled_down,
    filled_files,
    filled_up,
    neighbour_files,
    shifted,
)
from patterns.factors.term import Term, lead, only, other_side
from patterns.view import View

WINGS = {
    "queenside": FILES[0] | FILES[1] | FILES[2] | FILES[3],
    "kingside": FILES[4] | FILES[5] | FILES[6] | FILES[7],
}
ISOLATED, BACKWARD, DOUBLED, HANGING, ISLAND = 0.15, 0.12, 0.15, 0.1, 0.08
PASSED = (0.0, 0.05, 0.1, 0.25, 0.5, 0.9, 1.5, 0.0)
"""Worth of a passed pawn by its rank (from 0), in an endgame; half of it with all pieces on."""


def terms(view: View) -> tuple[Term, ...]:
    """Reasons about our own pawns; majorities and islands against theirs."""
    pawns = view.our_pawns
    isolated = pawns & ~neighbour_files(pawns)
    behind = pawns & filled_down(shifted(pawns, SOUTH))
    doubled = behind
    half_open = ~filled_files(view.their_pawns)
    supported = pawns & view.our_pawn_attacks
    level = filled_up(shifted(pawns, EAST) | shifted(pawns, WEST))
    stop_held = shifted(view.their_pawn_attacks & ~view.our_pawn_attacks, SOUTH)
    backward = pawns & ~level & stop_held & ~isolated & ~supported
    hanging = _hanging(view, pawns, half_open)
    exposed = count(isolated & half_open)
    return (
        Term(
            "isolated",
            -(ISOLATED * count(isolated) + 0.1 * exposed),
            isolated,
            lambda reason: f"{reason.ours()} {reason.choose('is', 'are')} isolated",
        ),
        Term(
            "doubled",
            -(DOUBLED * count(doubled) + 0.1 * count(doubled & isolated)),
            doubled | doubled_partners(pawns, doubled),
            lambda reason: f"{reason.ours()} are doubled",
        ),
        Term(
            "backward",
            -(BACKWARD * count(backward) + 0.12 * count(backward & half_open)),
            backward,
            lambda reason: (
                f"{reason.ours()} {reason.choose('is', 'are')} backward: its square ahead is not ours to use"
            ),
        ),
        Term(
            "hanging",
            -HANGING * (count(hanging) > 0),
            hanging,
            lambda reason: f"{reason.ours()} are hanging pawns",
        ),
        *_passed(view),
        _islands(view),
        _majority(view),
        _fixed(view),
        Term(
            "chain",
            0.04 * lead(count(supported).astype(np.float64), other_side(count(supported).astype(np.float64))),
            supported,
            lambda reason: f"{reason.ours()} {reason.choose('is', 'are')} guarded by pawns",
        ),
    )


def doubled_partners(pawns: Bitboards, behind: Bitboards) -> Bitboards:
    """The pawns in front of doubled ones."""
    return pawns & filled_up(shifted(behind, NORTH))


def _hanging(view: View, pawns: Bitboards, half_open: Bitboards) -> Bitboards:
    middle = pawns & (RANKS[3] | RANKS[4]) & half_open
    found = np.zeros(len(view), dtype=np.uint64)
    for file in range(1, 6):
        pair, outer = (
            FILES[file] | FILES[file + 1],
            FILES[file - 1] | (FILES[file + 2] if file < 6 else FILES[7]),
        )
        both = ((middle & FILES[file]) != EMPTY) & ((middle & FILES[file + 1]) != EMPTY)
        found |= only(both & ((pawns & outer) == EMPTY), middle & pair)
    return found


def passed_pawns(view: View) -> Bitboards:
    """Our pawns that no enemy pawn can stop or take on the way, foremost of their file."""
    theirs = filled_down(view.their_pawns | shifted(view.their_pawns, EAST) | shifted(view.their_pawns, WEST))
    return view.our_pawns & ~shifted(theirs, SOUTH) & ~filled_down(shifted(view.our_pawns, SOUTH))


def _passed(view: View) -> tuple[Term, ...]:
    passed = passed_pawns(view)
    stop = shifted(passed, NORTH)
    blocked = passed & shifted(view.them, SOUTH)
    guarded = passed & view.our_pawn_attacks
    phase = 1.0 - 0.5 * view.middlegame
    worth = np.zeros(len(view))
    for rank in range(1, 7):
        worth += PASSED[rank] * count(passed & RANKS[rank])
        worth -= 0.4 * PASSED[rank] * count(blocked & RANKS[rank])
        worth += 0.3 * PASSED[rank] * count(guarded & RANKS[rank])
    del stop
    return (
        Term(
            "passed",
            phase * worth,
            passed,
            lambda reason: f"{reason.ours()} {reason.choose('is', 'are')} passed",
        ),
    )


def _islands(view: View) -> Term:
    files = filled_files(view.our_pawns) & RANKS[0]
    islands = count(files & ~shifted(files, EAST)).astype(np.float64)
    extra = lead(other_side(islands), islands)
    return Term(
        "islands",
        ISLAND * extra,
        view.their_pawns,
        lambda reason: f"{reason.foe}'s pawns form more islands than {reason.name}'s",
    )


def _majority(view: View) -> Term:
    worth, men = np.zeros(len(view)), np.zeros(len(view), dtype=np.uint64)
    for wing in WINGS.values():
        more = count(view.our_pawns & wing) > count(view.their_pawns & wing)
        away = (view.their(chess.KING) & wing) == EMPTY
        flags = more & away
        worth += np.where(flags, 0.08, 0.0)
        men |= only(flags, view.our_pawns & wing)
    return Term(
        "majority",
        worth,
        men,
        lambda reason: f"{reason.name} has a pawn majority away from {reason.foe_king}",
    )


def _fixed(view: View) -> Term:
    blocked = view.our_pawns & shifted(view.them, SOUTH)
    worth, men = np.zeros(len(view)), np.zeros(len(view), dtype=np.uint64)
    for colour in (LIGHT, DARK):
        rival = (view.their(chess.BISHOP) & colour) != EMPTY
        fixed = only(rival & ((view.our(chess.BISHOP) & colour) == EMPTY), blocked & colour)
        worth += 0.06 * count(fixed)
        men |= fixed
    return Term(
        "fixed",
        -worth,
        men,
        lambda reason: (
            f"{reason.ours()} {reason.choose('is', 'are')} fixed on the colour of {reason.foe}'s bishop"
        ),
    )
