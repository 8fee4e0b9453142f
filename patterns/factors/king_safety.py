"""King safety: pawn cover and the colours it holds, guardians, the attack on the king, storms, back rank.

Each reason is about one's own king. It counts more the more pieces the other side has left to attack with.
Vukovic, The Art of Attack in Chess, and Euwe and Kramer, The Middle Game, judge by such features (from
memory). How they are counted, and what they are worth, is our own.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.bitboards import (
    BIT,
    CENTRE,
    DARK,
    EAST,
    EMPTY,
    FILES,
    KING_STEPS,
    KINGSIDE,
    LIGHT,
    NORTH,
    OUR_HOME,
    QUEENSIDE,
    RANKS,
    WEST,
    ZONE_2,
    Bitboards,
    Flags,
    count,
    filled_files,
    filled_up,
    neighbour_files,
    shifted,
)
from patterns.boards.grouping import united
from patterns.boards.view import View
from patterns.factors.king_attack import attack, tell_attack
from patterns.factors.term import Pawns, Reason, Term, file_names, masked, other_side, without_owner
from patterns.words.wording import squares

COVER_FILES = np.array(
    [QUEENSIDE] * 3 + [FILES[2] | CENTRE, CENTRE | FILES[5]] + [KINGSIDE] * 3, dtype=np.uint64
)
"""By the king's file: the three files of its cover."""
FROM_RANK = np.bitwise_or.accumulate(RANKS[::-1])[::-1].copy()
"""By rank: that rank and all ranks above it."""

MISSING, MOVED, ADVANCED = 0.45, 0.06, 0.12
"""A file of the cover without a pawn; a cover pawn that moved one step; one that moved further."""
STORM, OPPOSITE = 0.11, 1.5
"""An enemy pawn that storms the cover; the factor if the kings have castled to opposite sides."""
FILE, CENTRE_KING, GUARDIAN, WEAK_COLOUR, THIN, BACK_RANK = 0.08, 0.6, 0.09, 0.08, 0.08, 0.11
ATTACKER = 0.27
"""Each further piece aimed at the king, where they can come in near it."""


def terms(view: View) -> tuple[Term, ...]:
    """Reasons about our own king."""
    force = attack_force(view)
    cover_files = COVER_FILES[view.our_king & 7]
    ahead = cover_files & FROM_RANK[view.our_king >> 3]
    return (
        *_cover(view, force, cover_files, ahead),
        _storm(view, force, ahead),
        _files(view, force),
        _in_the_centre(view, force),
        _weak_colour(view, force),
        _thin_cover(view, force, cover_files),
        _guardian(view, force),
        _attack(view, force),
        _back_rank(view),
    )


def attack_force(view: View) -> Pawns:
    """How much they have to attack with: 0 (a bare king) to 1 (all men), halved without a queen."""
    queens, rooks = count(view.their(chess.QUEEN)), count(view.their(chess.ROOK))
    minors = count(view.their(chess.KNIGHT) | view.their(chess.BISHOP))
    force = np.minimum(1.0, (4 * queens + 2 * rooks + minors) / 12)
    return force * np.where(queens > 0, 1.0, 0.5)


def _cover(view: View, force: Pawns, cover_files: Bitboards, ahead: Bitboards) -> tuple[Term, ...]:
    # In the centre, if we may still castle, the cover in front of the king is not the one that matters.
    castled = np.where(_on_a_wing(view), 1.0, np.where(_may_castle(view), 0.3, 0.7))
    scale = force * castled
    pawns = view.our_pawns & ahead
    nearest = pawns & ~filled_up(pawns << np.uint64(8))
    # In the centre the pawns are there to advance.
    cover = masked(_on_a_wing(view), nearest)
    moved, advanced = cover & RANKS[2], cover & FROM_RANK[3]
    king = view.our(chess.KING)
    # On h1 the f-file belongs to the wing, but nothing that comes down it hits the king.
    near = cover_files & (filled_files(king) | neighbour_files(king))
    bare = near & RANKS[1] & ~filled_files(pawns)
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


def _on_a_wing(view: View) -> Flags:
    return (view.our(chess.KING) & (QUEENSIDE | KINGSIDE)) != EMPTY


def _may_castle(view: View) -> Flags:
    return (view.boards.castling & view.us & RANKS[0]) != EMPTY


def _storm(view: View, force: Pawns, ahead: Bitboards) -> Term:
    king, theirs = view.our(chess.KING), view.their(chess.KING)
    wing = np.where((king & KINGSIDE) != EMPTY, KINGSIDE, masked(_on_a_wing(view), QUEENSIDE))
    opposite = ((theirs & (KINGSIDE | QUEENSIDE)) != EMPTY) & ((theirs & wing) == EMPTY)
    area = RANKS[2] | RANKS[3] | masked(opposite, RANKS[4])
    stopped = shifted(view.our_pawns, NORTH)
    pawns = view.their_pawns & ahead & wing & area & ~stopped
    worth = STORM * count(pawns) * np.where(opposite, OPPOSITE, 1.0)
    return Term("storm", -force * worth, pawns, _tell_storm)


def _files(view: View, force: Pawns) -> Term:
    """Heavy pieces ahead of the king, on its file or beside it, with no pawn between."""
    king = view.our(chess.KING)
    beside = king | shifted(king, EAST) | shifted(king, WEST)
    free, seen = ~view.boards.pawns, beside
    for _ in range(7):
        seen = seen | shifted(seen & free, NORTH)
    men = (view.their(chess.ROOK) | view.their(chess.QUEEN)) & seen & ~beside
    return Term(
        "files",
        -force * FILE * count(men),
        men,
        lambda reason: (
            f"{reason.theirs()} {reason.choose('looks', 'look')} down the {file_names(reason.men)} "
            f"at {reason.king} or a square beside it, with no pawn between"
        ),
    )


def _in_the_centre(view: View, force: Pawns) -> Term:
    king = view.our(chess.KING)
    # Without queens the centre is where a king belongs.
    central = ((king & CENTRE & OUR_HOME) != EMPTY) & (count(view.their(chess.QUEEN)) > 0)
    opened = np.maximum(0, 4 - count(view.boards.pawns & CENTRE))
    worth = CENTRE_KING * np.where(_may_castle(view), 0.4, 1.0) * (1 + 0.3 * opened)
    return Term("in-the-centre", np.where(central, -force * worth, 0.0), masked(central, king), _tell_centre)


def _weak_colour(view: View, force: Pawns) -> Term:
    """Two or more squares of one colour that no pawn of ours can guard, where only they have the bishop."""
    zone = ZONE_2[view.our_king] & (RANKS[1] | RANKS[2]) & COVER_FILES[view.our_king & 7]
    holes = zone & ~view.our_pawn_span & ~view.our_pawns
    weak = np.zeros(len(view), dtype=np.uint64)
    for colour in (LIGHT, DARK):
        unguarded = (view.our(chess.BISHOP) & colour) == EMPTY
        rival = (view.their(chess.BISHOP) & colour) != EMPTY
        enough = (count(holes & colour) >= 2) & (view.our_king >> 3 < 2)
        weak |= masked(unguarded & rival & enough, holes & colour)
    return Term("weak-colour", -force * WEAK_COLOUR * count(weak), weak, _tell_colour)


def _thin_cover(view: View, force: Pawns, cover_files: Bitboards) -> Term:
    """An unmoved cover looks safe. On a colour that only the other side has a bishop of, it may not be."""
    cover = view.our_pawns & cover_files & RANKS[1]
    unmoved = (count(cover) == 3) & _on_a_wing(view) & ((view.our(chess.KING) & RANKS[0]) != EMPTY)
    pieces = view.our_pieces
    by_the_king_alone = ~(view.our_pawn_attacks | united(pieces.row, pieces.attacks, len(view)))
    thin = np.zeros(len(view), dtype=np.uint64)
    for colour in (LIGHT, DARK):
        alone = unmoved & ((view.our(chess.BISHOP) & colour) == EMPTY)
        rival = (view.their(chess.BISHOP) & colour) != EMPTY
        thin |= masked(alone & rival, cover & colour & by_the_king_alone & KING_STEPS[view.our_king])
    return Term("thin-cover", -force * THIN * count(thin), thin, _tell_thin)


def _guardian(view: View, force: Pawns) -> Term:
    near = view.our(chess.BISHOP) & ZONE_2[view.our_king] & masked(_on_a_wing(view), RANKS[1])
    # It must stand where a pawn of the cover stood. Then it holds the colour that this pawn no longer holds.
    fianchettoed = near & (BIT[chess.B2] | BIT[chess.G2])
    return Term("guardian", GUARDIAN * force * count(fianchettoed), fianchettoed, _tell_guardian)


def _attack(view: View, force: Pawns) -> Term:
    """Two pieces or more aimed at our king, and a square near it where they can come in."""
    men, ways_in = attack(view)
    further = other_side(np.maximum(0, count(men) - 1))
    return Term("attack", -force * ATTACKER * further, view.swapped(men | ways_in), tell_attack)


def _back_rank(view: View) -> Term:
    king = view.our(chess.KING) & RANKS[0]
    flight = KING_STEPS[view.our_king] & RANKS[1] & ~view.our_pawns & ~view.their_attacks
    heavy = view.their(chess.ROOK) | view.their(chess.QUEEN)
    access = heavy & ~filled_files(view.our_pawns)
    guards = count(RANKS[0] & (view.our(chess.ROOK) | view.our(chess.QUEEN)))
    flags = (king != EMPTY) & (flight == EMPTY) & (access != EMPTY) & (guards < 2)
    return Term(
        "back-rank",
        np.where(flags, -BACK_RANK * (2 - guards), 0.0),
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
    return (
        f"Neither a pawn nor a bishop of {reason.name}'s holds the {_colour(reason.men)}squares "
        f"{squares(reason.men)} near {without_owner(reason.king)}, and {reason.opponent} has a bishop of "
        "that colour"
    )


def _tell_thin(reason: Reason) -> str:
    return (
        f"The cover of {reason.king} has not moved, but is thin on the {_colour(reason.men)}squares: only "
        f"the king guards {squares(reason.men)}, and only {reason.opponent} has a bishop of that colour"
    )


def _colour(of: chess.SquareSet) -> str:
    """`light ` or `dark `, nothing for squares of both colours."""
    light, dark = of & chess.BB_LIGHT_SQUARES, of & chess.BB_DARK_SQUARES
    return "" if light and dark else "light " if light else "dark "


def _tell_guardian(reason: Reason) -> str:
    return f"{reason.ours()} guards the squares of its colour around the king"
