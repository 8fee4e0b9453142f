"""King safety: pawn cover and its colours, guardians, attackers against defenders, lines, storms, back rank.

Each reason is for or against our own king, and weighs as much as the other side has pieces to attack with.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.bitboards import (
    DARK,
    EMPTY,
    FILES,
    KNIGHT_STEPS,
    LIGHT,
    RANKS,
    ZONE_2,
    Bitboards,
    bishop_reach,
    count,
    filled_down,
    filled_up,
    king_ring,
    rook_reach,
)
from patterns.factors.term import Pawns, Reason, Term, only
from patterns.view import View

KINGSIDE = FILES[5] | FILES[6] | FILES[7]
QUEENSIDE = FILES[0] | FILES[1] | FILES[2]
COVER_FILES = np.array(
    [
        FILES[max(0, min(f, 6) - 1)] | FILES[max(1, min(f, 6))] | FILES[max(1, min(f, 6)) + 1]
        for f in range(8)
    ],
    dtype=np.uint64,
)
"""By the king's file: its three files of cover, moved inwards at the rim."""
MISSING, ADVANCED, FAR_ADVANCED = 0.35, 0.1, 0.25
OPEN_FILE = 0.25
CENTRE_KING = 0.3
UNITS = {chess.KNIGHT: 2.0, chess.BISHOP: 2.0, chess.ROOK: 3.0, chess.QUEEN: 4.0}
"""Weight of an attacker of the zone (attack units, common practice)."""


def attack_force(view: View) -> Pawns:
    """How much they have to attack with: 0 (bare king) to 1 (everything); without a queen less than half."""
    queens, rooks = count(view.their(chess.QUEEN)), count(view.their(chess.ROOK))
    minors = count(view.their(chess.KNIGHT) | view.their(chess.BISHOP))
    force = np.minimum(1.0, (4 * queens + 2 * rooks + minors) / 12)
    return force * np.where(queens > 0, 1.0, 0.5)


def terms(view: View) -> tuple[Term, ...]:
    """Reasons about our own king."""
    force = attack_force(view)
    king = view.our(chess.KING)
    cover_files = COVER_FILES[view.our_king & 7]
    return (
        *_cover(view, force, king, cover_files),
        _open_files(view, force, cover_files),
        _in_the_centre(view, force, king),
        *_colours(view, force),
        _attackers(view, force),
        _safe_checks(view, force),
        _storm(view, force, cover_files),
        _back_rank(view, king),
    )


def _cover(view: View, force: Pawns, king: Bitboards, cover_files: Bitboards) -> tuple[Term, ...]:
    sheltered = (view.our_king & 7 < 3) | (view.our_king & 7 > 4)
    ahead = cover_files & filled_up(
        king | (king & ~FILES[0]) >> np.uint64(1) | (king & ~FILES[7]) << np.uint64(1)
    )
    ahead |= cover_files & (RANKS[1] | RANKS[2])
    pawns = view.our_pawns & ahead
    bare = cover_files & RANKS[1] & ~filled_down(pawns)
    foremost = pawns & ~filled_up(pawns << np.uint64(8))
    moved, far = foremost & RANKS[2], foremost & ~(RANKS[1] | RANKS[2])
    advanced = moved | far
    scale = np.where(sheltered, force, 0.0)
    missing = count(bare).astype(np.float64)
    return (
        Term("cover-missing", -scale * (MISSING * missing + 0.15 * (missing > 1)), bare, _tell_missing),
        Term(
            "cover-advanced",
            -scale * (ADVANCED * count(moved) + FAR_ADVANCED * count(far)),
            advanced,
            lambda reason: f"The pawn cover of {reason.king} has moved up ({_names(reason)})",
        ),
    )


def _open_files(view: View, force: Pawns, cover_files: Bitboards) -> Term:
    ours, theirs = filled_down(filled_up(view.our_pawns)), filled_down(filled_up(view.their_pawns))
    heavy = view.their(chess.ROOK) | view.their(chess.QUEEN)
    used = cover_files & ~ours & filled_down(filled_up(heavy))
    men = heavy & used
    worth = OPEN_FILE * (count(men & ~theirs) + 0.5 * count(men & theirs))
    return Term(
        "open-files",
        -force * worth,
        men,
        lambda reason: f"{reason.theirs()} {reason.choose('has', 'have')} an open line to {reason.king}",
    )


def _in_the_centre(view: View, force: Pawns, king: Bitboards) -> Term:
    central = (king & (FILES[3] | FILES[4])) != EMPTY
    rights = (view.boards.castling & view.us & RANKS[0]) != EMPTY
    pawns = count(view.boards.pawns & (FILES[3] | FILES[4]))
    worth = CENTRE_KING * np.where(rights, 0.4, 1.0) * (1 + 0.5 * np.maximum(0, 3 - pawns))
    return Term(
        "in-the-centre",
        np.where(central, -force * worth, 0.0),
        only(central, king),
        lambda reason: f"{reason.king} stands in the centre",
    )


def _colours(view: View, force: Pawns) -> tuple[Term, ...]:
    bishops, rivals = view.our(chess.BISHOP), view.their(chess.BISHOP)
    zone = ZONE_2[view.our_king] & (RANKS[1] | RANKS[2] | RANKS[3])
    home = (view.our_king >> 3) < 2
    guardians = np.zeros(len(view), dtype=np.uint64)
    weak = np.zeros(len(view), dtype=np.uint64)
    for colour in (LIGHT, DARK):
        holes = zone & colour & ~view.our_pawn_span & ~view.our_pawns
        guard = (bishops & colour) != EMPTY
        facing = ((rivals & colour) != EMPTY) | (view.their(chess.QUEEN) != EMPTY)
        bad = home & facing & ~guard & (count(holes) >= 2) & ((rivals & colour) != EMPTY)
        weak |= only(bad, holes)
        near = bishops & colour & ZONE_2[view.our_king]
        guardians |= only(home & (count(zone & colour & ~view.our_pawn_span) >= 1), near)
    hit = view.our_attacks_of[chess.BISHOP] & zone
    guarding = (guardians != EMPTY) & (count(hit) >= 2)
    return (
        Term(
            "weak-colour",
            -force * 0.08 * np.minimum(4, count(weak)),
            weak,
            lambda reason: f"No pawn and no bishop guards {_names(reason)} around {reason.king}",
        ),
        Term(
            "guardian",
            np.where(guarding, 0.15 * force, 0.0),
            only(guarding, guardians),
            lambda reason: f"{reason.ours()} guards the squares around the king",
        ),
    )


def _attackers(view: View, force: Pawns) -> Term:
    zone = view.our_king_zone
    units, men = np.zeros(len(view)), np.zeros(len(view), dtype=np.uint64)
    theirs = view.their_men
    on_zone = theirs.attacks & zone[theirs.row]
    bears = np.flatnonzero((on_zone != EMPTY) & (theirs.kind > chess.PAWN) & (theirs.kind < chess.KING))
    weights = np.array([0, 0, *UNITS.values(), 0])[theirs.kind[bears]]
    units = np.bincount(theirs.row[bears], weights=weights, minlength=len(view))
    attackers = np.bincount(theirs.row[bears], minlength=len(view))
    np.bitwise_or.at(men, theirs.row[bears], np.uint64(1) << theirs.square[bears].astype(np.uint64))
    weak = (
        king_ring(view.our(chess.KING))
        & view.their_attacks
        & ~view.our_double_attacks
        & ~view.our_pawn_attacks
    )
    ours = view.our_men
    piece = (ours.kind > chess.PAWN) & (ours.kind < chess.KING)
    near = np.flatnonzero(((ours.attacks & zone[ours.row]) != EMPTY) & piece)
    defenders = np.bincount(ours.row[near], minlength=len(view))
    units = units + 1.5 * count(weak) - 1.0 * defenders
    worth = np.where(attackers >= 2, 0.012 * np.maximum(0.0, units) ** 2, 0.0)
    return Term(
        "attackers",
        -force * np.minimum(3.0, worth),
        men,
        lambda reason: f"{reason.theirs()} bear on {reason.king}",
    )


def _safe_checks(view: View, force: Pawns) -> Term:
    guarded = view.our_attacks_of[chess.PAWN] | view.our_double_attacks
    king_only = view.our_attacks & ~guarded & view.our_attacks_of[chess.KING]
    for kind in (chess.KNIGHT, chess.BISHOP, chess.ROOK, chess.QUEEN):
        king_only &= ~view.our_attacks_of[kind]
    safe = ~view.them & (~view.our_attacks | king_only & view.their_double_attacks)
    straight = rook_reach(view.our_king, view.occupied)
    diagonal = bishop_reach(view.our_king, view.occupied)
    attacks = view.their_attacks_of
    by_kind = {
        chess.KNIGHT: KNIGHT_STEPS[view.our_king] & attacks[chess.KNIGHT],
        chess.BISHOP: diagonal & attacks[chess.BISHOP],
        chess.ROOK: straight & attacks[chess.ROOK],
        chess.QUEEN: (straight | diagonal) & attacks[chess.QUEEN],
    }
    worth, squares = np.zeros(len(view)), np.zeros(len(view), dtype=np.uint64)
    for kind, checks in by_kind.items():
        worth += np.where((checks & safe) != EMPTY, 0.2 if kind != chess.BISHOP else 0.1, 0.0)
        squares |= checks & safe
    return Term(
        "safe-checks",
        -force * worth,
        squares,
        lambda reason: f"{reason.foe} can check {reason.king} safely on {_names(reason)}",
    )


def _storm(view: View, force: Pawns, cover_files: Bitboards) -> Term:
    ours, theirs = view.our(chess.KING), view.their(chess.KING)
    opposite = (((ours & KINGSIDE) != EMPTY) & ((theirs & QUEENSIDE) != EMPTY)) | (
        ((ours & QUEENSIDE) != EMPTY) & ((theirs & KINGSIDE) != EMPTY)
    )
    pawns = view.their_pawns & cover_files
    # Their pawns come down the board: rank 5 is where a storm begins, rank 3 is contact.
    ahead = 0.05 * count(pawns & RANKS[4]) + 0.12 * count(pawns & RANKS[3]) + 0.2 * count(pawns & RANKS[2])
    storming = pawns & (RANKS[4] | RANKS[3] | RANKS[2])
    return Term(
        "storm",
        -force * ahead * np.where(opposite, 2.0, 1.0),
        storming,
        lambda reason: f"{reason.theirs()} {reason.choose('advances', 'advance')} against {reason.king}",
    )


def _back_rank(view: View, king: Bitboards) -> Term:
    on_first = (king & RANKS[0]) != EMPTY
    front = king_ring(king) & RANKS[1]
    shut = (front & ~view.our_pawns & ~view.their_attacks) == EMPTY
    heavy = (view.their(chess.ROOK) | view.their(chess.QUEEN)) != EMPTY
    files = ~filled_down(filled_up(view.boards.pawns))
    access = (files & filled_down(filled_up(view.their(chess.ROOK) | view.their(chess.QUEEN)))) != EMPTY
    guards = count(RANKS[0] & (view.our(chess.ROOK) | view.our(chess.QUEEN)))
    flags = on_first & shut & heavy & access & (guards < 2)
    return Term(
        "back-rank",
        np.where(flags, -0.15 * (2 - guards), 0.0),
        only(flags, king),
        lambda reason: f"{reason.king} has no flight square off the back rank",
    )


def _tell_missing(reason: Reason) -> str:
    return f"{reason.king} has no pawn in front of it on the {_files(reason)}"


def _files(reason: Reason) -> str:
    from patterns.wording import listed

    letters = [chess.FILE_NAMES[chess.square_file(square)] for square in sorted(reason.men)]
    return f"{letters[0]}-file" if len(letters) == 1 else listed(letters) + "-files"


def _names(reason: Reason) -> str:
    from patterns.wording import squares

    return squares(reason.men)
