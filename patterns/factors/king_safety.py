"""King safety: pawn cover and the colours it holds, guardians, attackers, open lines, storms, back rank.

Each reason is about one's own king. It counts more the more pieces the other side has left to attack with.
Sources: Vukovic, The Art of Attack in Chess; Euwe and Kramer, The Middle Game (from memory).
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.bitboards import (
    BIT,
    DARK,
    EMPTY,
    FILES,
    KING_STEPS,
    KNIGHT_STEPS,
    LIGHT,
    NORTH,
    RANKS,
    ZONE_2,
    Bitboards,
    bishop_reach,
    count,
    filled_files,
    filled_up,
    rook_reach,
    shifted,
)
from patterns.boards.grouping import summed, united
from patterns.boards.view import View
from patterns.factors.term import Pawns, Reason, Term, file_names, masked, men_by_kind, without_owner
from patterns.words.wording import squares

KINGSIDE, QUEENSIDE = FILES[5] | FILES[6] | FILES[7], FILES[0] | FILES[1] | FILES[2]
_INNER = np.clip(np.arange(8), 1, 6)
COVER_FILES = FILES[_INNER - 1] | FILES[_INNER] | FILES[_INNER + 1]
"""By the king's file: the three files of its cover, moved inwards for a king at the edge of the board."""
WING = FILES[np.clip(_INNER - 1, 0, 4)] | COVER_FILES | FILES[np.clip(_INNER + 1, 3, 7)]
"""By the king's file: the part of the board from which the king is attacked."""
FROM_RANK = np.bitwise_or.accumulate(RANKS[::-1])[::-1].copy()
"""By rank: that rank and all ranks above it."""

MISSING, MOVED, ADVANCED = 0.22, 0.1, 0.2
"""A file of the cover without a pawn; a cover pawn that moved one step; one that moved further."""
OPEN_LINE = 0.1
STORM = {4: 0.05, 3: 0.12, 2: 0.2}
"""An enemy pawn in front of the king, by its rank as we see it. If our pawn blocks it, it counts a third."""
CENTRE_KING, GUARDIAN = 0.25, 0.06
WEAK_SQUARE, SAFE_CHECK, BARE_WING, PRESSURE, WEAK_COLOUR = 0.1, 0.4, 0.3, 0.032, 0.05
UNITS = np.array([0.0, 0.0, 2.0, 1.5, 1.5, 2.0, 0.0])
"""Weight of an attacker of the zone, by kind (attack units, common practice)."""
ATTACK = 0.016
"""The attack is worth this times its units squared, as attackers help each other."""


def terms(view: View) -> tuple[Term, ...]:
    """Reasons about our own king."""
    force = attack_force(view)
    cover_files = COVER_FILES[view.our_king & 7]
    ahead = cover_files & FROM_RANK[view.our_king >> 3]
    weak = _weakly_held(view)
    checks = _safe_checks(view, force, weak)
    return (
        *_cover(view, force, cover_files, ahead),
        _storm(view, force, ahead),
        _open_lines(view, force, cover_files),
        _in_the_centre(view, force),
        _weak_colour(view, force),
        _guardian(view, force),
        _weak_squares(view, force, weak),
        _attackers(view, force, weak, checks),
        checks,
        _pressure(view, force),
        _bare_wing(view, force),
        _back_rank(view),
    )


def attack_force(view: View) -> Pawns:
    """How much they have to attack with: 0 (a bare king) to 1 (all men), halved without a queen."""
    queens, rooks = count(view.their(chess.QUEEN)), count(view.their(chess.ROOK))
    minors = count(view.their(chess.KNIGHT) | view.their(chess.BISHOP))
    force = np.minimum(1.0, (4 * queens + 2 * rooks + minors) / 12)
    return force * np.where(queens > 0, 1.0, 0.5)


def _cover(view: View, force: Pawns, cover_files: Bitboards, ahead: Bitboards) -> tuple[Term, ...]:
    file = view.our_king & 7
    # In the centre, if we may still castle, the cover in front of the king is not the one that matters.
    castled = np.where((file < 3) | (file > 4), 1.0, np.where(_may_castle(view), 0.3, 0.7))
    scale = force * castled
    pawns = view.our_pawns & ahead
    nearest = pawns & ~filled_up(pawns << np.uint64(8))
    moved, advanced = nearest & RANKS[2], nearest & FROM_RANK[3]
    bare = cover_files & RANKS[1] & ~filled_files(pawns)
    return (
        Term(
            "cover-missing",
            -scale * MISSING * count(bare),
            bare,
            lambda reason: f"{reason.king} has no pawn in front of it on the {file_names(reason.men)}",
        ),
        Term(
            "cover-moved",
            -scale * (MOVED * count(moved) + ADVANCED * count(advanced)),
            moved | advanced,
            _moved,
        ),
    )


def _storm(view: View, force: Pawns, ahead: Bitboards) -> Term:
    ours, theirs = view.our(chess.KING), view.their(chess.KING)
    opposite = ((ours & KINGSIDE) != EMPTY) & ((theirs & QUEENSIDE) != EMPTY)
    opposite |= ((ours & QUEENSIDE) != EMPTY) & ((theirs & KINGSIDE) != EMPTY)
    pawns = view.their_pawns & ahead
    rammed = pawns & shifted(view.our_pawns, NORTH)
    worth, storming = np.zeros(len(view)), np.zeros(len(view), dtype=np.uint64)
    for rank, step in STORM.items():
        worth += step * (count(pawns & RANKS[rank]) - count(rammed & RANKS[rank]) * 2 / 3)
        storming |= pawns & RANKS[rank]
    return Term("storm", -force * worth * np.where(opposite, 1.6, 1.0), storming, _tell_storm)


def _open_lines(view: View, force: Pawns, cover_files: Bitboards) -> Term:
    heavy = view.their(chess.ROOK) | view.their(chess.QUEEN)
    men = heavy & cover_files & ~filled_files(view.our_pawns)
    return Term(
        "open-lines",
        -force * OPEN_LINE * count(men),
        men,
        lambda reason: (
            f"{reason.theirs()} {reason.choose('stands', 'stand')} on a file beside {reason.king}"
            f" that none of {reason.name}'s pawns closes"
        ),
    )


def _in_the_centre(view: View, force: Pawns) -> Term:
    king = view.our(chess.KING)
    central = (king & (FILES[3] | FILES[4])) != EMPTY
    opened = np.maximum(0, 4 - count(view.boards.pawns & (FILES[3] | FILES[4])))
    worth = CENTRE_KING * np.where(_may_castle(view), 0.4, 1.0) * (1 + 0.3 * opened)
    return Term("in-the-centre", np.where(central, -force * worth, 0.0), masked(central, king), _tell_centre)


def _may_castle(view: View) -> np.typing.NDArray[np.bool_]:
    return (view.boards.castling & view.us & RANKS[0]) != EMPTY


def _weak_colour(view: View, force: Pawns) -> Term:
    zone = ZONE_2[view.our_king] & (RANKS[1] | RANKS[2]) & COVER_FILES[view.our_king & 7]
    holes = zone & ~view.our_pawn_span & ~view.our_pawns
    weak = np.zeros(len(view), dtype=np.uint64)
    for colour in (LIGHT, DARK):
        unguarded = (view.our(chess.BISHOP) & colour) == EMPTY
        rival = (view.their(chess.BISHOP) & colour) != EMPTY
        enough = (count(holes & colour) >= 2) & (view.our_king >> 3 < 2)
        weak |= masked(unguarded & rival & enough, holes & colour)
    return Term("weak-colour", -force * WEAK_COLOUR * count(weak), weak, _tell_colour)


def _guardian(view: View, force: Pawns) -> Term:
    near = view.our(chess.BISHOP) & ZONE_2[view.our_king] & (RANKS[1] | RANKS[2])
    castled = (view.our_king & 7 < 3) | (view.our_king & 7 > 4)
    # It must stand where a pawn of the cover stood. Then it holds the colour that this pawn no longer holds.
    fianchettoed = near & (BIT[chess.B2] | BIT[chess.G2]) & masked(castled, near)
    return Term("guardian", GUARDIAN * force * count(fianchettoed), fianchettoed, _tell_guardian)


def _weakly_held(view: View) -> Bitboards:
    """Squares that they attack and that only our king or queen guards, if any man does."""
    others = np.bitwise_or.reduce([view.our_attacks_of[kind] for kind in range(chess.PAWN, chess.QUEEN)])
    return view.their_attacks & ~view.our_double_attacks & ~others


def _weak_squares(view: View, force: Pawns, weak: Bitboards) -> Term:
    squares_near = KING_STEPS[view.our_king] & weak
    return Term(
        "weak-squares",
        -force * WEAK_SQUARE * count(squares_near),
        squares_near,
        lambda reason: (
            f"Beside {reason.king} {reason.opponent} attacks {squares(reason.men)}, "
            f"and hardly anything guards {reason.choose('it', 'them')}"
        ),
    )


def _attackers(view: View, force: Pawns, weak: Bitboards, checks: Term) -> Term:
    size, zone = len(view), KING_STEPS[view.our_king]
    theirs, ours = view.their_pieces, view.our_pieces
    on_zone = ((theirs.attacks & zone[theirs.row]) != EMPTY).nonzero()[0]
    kinds, rows = theirs.kind[on_zone], theirs.row[on_zone]
    guards = (((ours.attacks & zone[ours.row]) != EMPTY) & (ours.kind < chess.QUEEN)).nonzero()[0]
    units = summed(rows, UNITS[kinds], size)
    attackers = np.bincount(rows, minlength=size)
    units += (
        count(zone & weak) + 1.5 * count(checks.men) - 0.7 * np.bincount(ours.row[guards], minlength=size)
    )
    units = np.where(attackers >= 2, np.maximum(0.0, units), 0.0)
    men = masked(attackers >= 2, united(rows, BIT[theirs.square[on_zone]], size))
    return Term("attackers", -force * np.minimum(2.5, ATTACK * units**2), men, _tell_attackers)


def _safe_checks(view: View, force: Pawns, weak: Bitboards) -> Term:
    safe = ~view.them & (~view.our_attacks | weak & view.their_double_attacks)
    seen_through = view.occupied & ~view.our(chess.QUEEN)
    straight = rook_reach(view.our_king, seen_through)
    diagonal = bishop_reach(view.our_king, seen_through)
    attacks = view.their_attacks_of
    lines = {
        chess.KNIGHT: KNIGHT_STEPS[view.our_king],
        chess.BISHOP: diagonal,
        chess.ROOK: straight,
        chess.QUEEN: straight | diagonal,
    }
    worth, found = np.zeros(len(view)), np.zeros(len(view), dtype=np.uint64)
    for kind, line in lines.items():
        checks = line & attacks[kind] & safe
        worth += SAFE_CHECK * (checks != EMPTY) * (0.5 if kind == chess.BISHOP else 1.0)
        found |= checks
    return Term(
        "safe-checks",
        -force * worth,
        found,
        lambda reason: f"{reason.opponent} can safely check {reason.king} on {squares(reason.men)}",
    )


def _pressure(view: View, force: Pawns) -> Term:
    camp = WING[view.our_king & 7] & ~FROM_RANK[5]
    hit, twice = camp & view.their_attacks, camp & view.their_double_attacks
    excess = count(hit) + count(twice) - 0.7 * count(camp & view.our_attacks)
    return Term(
        "pressure",
        -force * PRESSURE * np.maximum(0.0, excess + 4.0),
        hit,
        lambda reason: f"{reason.opponent}'s men bear on the squares around {reason.king}",
    )


def _bare_wing(view: View, force: Pawns) -> Term:
    bare = (WING[view.our_king & 7] & view.boards.pawns) == EMPTY
    return Term(
        "bare-wing",
        np.where(bare, -force * BARE_WING, 0.0),
        masked(bare, view.our(chess.KING)),
        lambda reason: f"No pawn is left on the wing of {reason.king}",
    )


def _back_rank(view: View) -> Term:
    king = view.our(chess.KING) & RANKS[0]
    flight = KING_STEPS[view.our_king] & RANKS[1] & ~view.our_pawns & ~view.their_attacks
    heavy = view.their(chess.ROOK) | view.their(chess.QUEEN)
    access = heavy & ~filled_files(view.our_pawns)
    guards = count(RANKS[0] & (view.our(chess.ROOK) | view.our(chess.QUEEN)))
    flags = (king != EMPTY) & (flight == EMPTY) & (access != EMPTY) & (guards < 2)
    return Term(
        "back-rank",
        np.where(flags, -0.15 * (2 - guards), 0.0),
        masked(flags, king),
        lambda reason: f"{reason.king} has no flight square off its back rank",
    )


def _moved(reason: Reason) -> str:
    verb = reason.choose("has moved and leaves", "have moved and leave")
    return f"{reason.ours()} {verb} {without_owner(reason.king)} with less cover"


def _tell_storm(reason: Reason) -> str:
    verb = reason.choose("storms", "storm")
    return f"{reason.theirs()} {verb} the position of {reason.king}"


def _tell_centre(reason: Reason) -> str:
    castling = reason.board.has_castling_rights(reason.side)
    return f"{reason.king} is still in the centre" + ("" if castling else " and can no longer castle")


def _tell_colour(reason: Reason) -> str:
    light = any(chess.BB_SQUARES[square] & chess.BB_LIGHT_SQUARES for square in reason.men)
    dark = any(chess.BB_SQUARES[square] & chess.BB_DARK_SQUARES for square in reason.men)
    colour = "" if light and dark else "light " if light else "dark "
    return (
        f"Neither a pawn nor a bishop of {reason.name}'s holds the {colour}squares {squares(reason.men)} "
        f"near {without_owner(reason.king)}, and {reason.opponent} has a bishop of that colour"
    )


def _tell_guardian(reason: Reason) -> str:
    return f"{reason.ours()} guards the squares of its colour around the king"


def _tell_attackers(reason: Reason) -> str:
    board, king = reason.board, reason.board.king(reason.side)
    assert king is not None
    zone = board.attacks(king)
    guards = [
        square
        for kind in (chess.KNIGHT, chess.BISHOP, chess.ROOK)
        for square in board.pieces(kind, reason.side)
        if board.attacks(square) & zone
    ]
    against = f"only {men_by_kind(board, guards)} {'helps' if len(guards) == 1 else 'help'} to guard it"
    return f"{reason.theirs()} attack the squares around {reason.king}; " + (
        against if guards else "no piece guards it"
    )
