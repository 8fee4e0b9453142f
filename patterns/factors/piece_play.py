"""Piece play: placement (mobility, outposts, bad bishops), stability (loose, pinned, overloaded), harmony.

Sources: Nimzowitsch, My System, on outposts; Pachman, Modern Chess Strategy, on bad bishops; Nunn, Secrets of
Practical Chess, on loose pieces (from memory).
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.attacks import Men
from patterns.boards.bitboards import (
    BIT,
    DARK,
    DISTANCE,
    EMPTY,
    FILES,
    KNIGHT_STEPS,
    LIGHT,
    LINE,
    RANKS,
    RIM_FILES,
    SOUTH,
    Bitboards,
    bishop_reach,
    count,
    exploded,
    pawn_attacks_up,
    rook_reach,
    shifted,
)
from patterns.boards.grouping import summed, united
from patterns.boards.view import View
from patterns.factors.term import Pawns, Reason, Term, lead, masked, men_by_kind, other_side
from patterns.words.wording import squares

MOBILITY = 0.16
"""Pawns, times (root of a piece's safe squares - root of the usual number): the first squares count most."""
USUAL = np.array([0.0, 0.0, 5.0, 4.0, 5.0, 8.0, 0.0])
"""Safe squares that a piece of each kind has in an ordinary middlegame position (medians of master games)."""
OUTPOST = {chess.KNIGHT: 0.25, chess.BISHOP: 0.12}
NEAR_OUTPOST = 0.1
TRAPPED = np.array([0.0, 0.0, 0.5, 0.5, 0.7, 0.9, 0.0])
"""By kind. Less than the piece is worth, as it may still be rescued or sold dearly."""
BAD_BISHOP = 0.03
"""For each pawn more than two on the bishop's colour, more if centre pawns are rammed."""
LOOSE, PINNED, OVERLOADED, SIDELINED, FAR_FROM_KING = 0.06, 0.12, 0.1, 0.08, 0.03
"""Against us: an unguarded piece attacked, a pinned piece, a second duty, a knight aside, a step too far."""
SHELTERED, MUTUAL, SHARED, ACTIVE_KING = 0.08, 0.02, 0.02, 0.07
"""For us: a minor piece behind a pawn, one more piece guarded, one more square hit twice, a king's step."""


def terms(view: View) -> tuple[Term, ...]:
    """Reasons about our own pieces. Mobility and harmony are compared with theirs."""
    pieces = view.our_pieces
    safe = _safe_squares(view, pieces)
    return (
        _mobility(view, pieces, safe),
        _trapped(view, pieces, safe),
        _outposts(view),
        _near_outposts(view),
        _bad_bishops(view),
        _sheltered(view),
        _loose(view),
        _pinned(view),
        _overloaded(view, pieces),
        _sidelined(view, pieces, safe),
        _far_from_king(view, pieces),
        _mutual_guard(view),
        _shared_targets(view),
        _active_king(view),
    )


def _safe_squares(view: View, pieces: Men) -> Bitboards:
    """The squares that each piece of ours attacks usefully: no enemy pawn or cheaper piece attacks them.

    Our own men on them count, as guarded (not king, queen, or pawns that cannot move). Bishops see through
    queens, rooks through queens and our rooks: a battery works. A pinned piece moves along its pin.
    """
    row, kind = pieces.row, pieces.kind
    reach = pieces.attacks.copy()
    bishops, rooks = np.flatnonzero(kind == chess.BISHOP), np.flatnonzero(kind == chess.ROOK)
    seen = view.occupied & ~view.boards.queens
    reach[bishops] = bishop_reach(pieces.square[bishops], seen[row[bishops]])
    seen &= ~view.our(chess.ROOK)
    reach[rooks] = rook_reach(pieces.square[rooks], seen[row[rooks]])
    stuck = view.our_pawns & (shifted(view.occupied, SOUTH) | RANKS[1] | RANKS[2])
    area = ~(view.their_pawn_attacks | stuck | view.our(chess.KING) | view.our(chess.QUEEN))
    minors = view.their_attacks_of[chess.KNIGHT] | view.their_attacks_of[chess.BISHOP]
    for_queen = area & ~minors & ~view.their_attacks_of[chess.ROOK]
    pinned = (BIT[pieces.square] & view.our_pinned[row]) != EMPTY
    reach = np.where(pinned, reach & LINE[view.our_king[row], pieces.square], reach)
    result: Bitboards = reach & np.where(kind == chess.QUEEN, for_queen[row], area[row])
    return result


def _mobility(view: View, pieces: Men, safe: Bitboards) -> Term:
    surplus = np.sqrt(count(safe)) - np.sqrt(USUAL[pieces.kind])
    mobility = summed(pieces.row, MOBILITY * surplus, len(view))
    very_free, free, cramped = (
        united(pieces.row, np.where(chosen, BIT[pieces.square], EMPTY), len(view))
        for chosen in (surplus >= 0.25, surplus > 0, surplus < 0)
    )
    named = np.where(free != EMPTY, free, view.swapped(cramped))
    named = np.where(very_free != EMPTY, very_free, named)
    return Term("mobility", lead(mobility, other_side(mobility)), named, _tell_mobility)


def _trapped(view: View, pieces: Men, safe: Bitboards) -> Term:
    at, row, kind = BIT[pieces.square], pieces.row, pieces.kind
    minors = view.their_attacks_of[chess.KNIGHT] | view.their_attacks_of[chess.BISHOP]
    unguarded = view.their_attacks & ~view.our_attacks
    hunted = (at & (view.their_pawn_attacks | unguarded)[row]) != EMPTY
    hunted |= (kind >= chess.ROOK) & ((at & minors[row]) != EMPTY)
    # A refuge is a square that is not attacked, or guarded by another man of ours, or a man worth taking in
    # exchange.
    heavy = view.their(chess.ROOK) | view.their(chess.QUEEN)
    worthy = view.their(chess.QUEEN) | view.them & ~view.their_attacks
    worthy_for_rook, worthy_for_minor = worthy | heavy, view.them & ~view.boards.pawns | worthy
    refuge = ~view.us & ~view.their_pawn_attacks & (~view.their_attacks | view.our_double_attacks)
    caught = np.flatnonzero(hunted)
    row, kind, at = row[caught], kind[caught], at[caught]
    worth_taking = np.where(kind == chess.QUEEN, worthy[row], worthy_for_minor[row])
    worth_taking = np.where(kind == chess.ROOK, worthy_for_rook[row], worth_taking)
    free = (safe[caught] & refuge[row] | pieces.attacks[caught] & worth_taking) != EMPTY
    row, kind, at = row[~free], kind[~free], at[~free]
    return Term(
        "trapped",
        -summed(row, TRAPPED[kind], len(view)),
        united(row, at, len(view)),
        lambda reason: (
            f"{reason.ours()} {reason.choose('is', 'are')} attacked and "
            f"{reason.choose('has', 'have')} no safe square to go to"
        ),
    )


def _held(view: View) -> Bitboards:
    return view.our_pawn_attacks & ~view.their_pawn_span & (RANKS[3] | RANKS[4] | RANKS[5])


def _outposts(view: View) -> Term:
    held = _held(view)
    knights, bishops = view.our(chess.KNIGHT) & held & ~RIM_FILES, view.our(chess.BISHOP) & held
    return Term(
        "outpost",
        OUTPOST[chess.KNIGHT] * count(knights) + OUTPOST[chess.BISHOP] * count(bishops),
        knights | bishops,
        _tell_outpost,
    )


def _near_outposts(view: View) -> Term:
    posts = _held(view) & ~RIM_FILES & ~view.us & view.our_attacks_of[chess.KNIGHT]
    row, square = exploded(posts)
    comers = united(row, KNIGHT_STEPS[square], len(view)) & view.our(chess.KNIGHT) & ~_held(view)
    return Term(
        "near-outpost",
        NEAR_OUTPOST * (comers != EMPTY),
        masked(comers != EMPTY, posts),
        lambda reason: f"A knight of {reason.name}'s can reach an outpost ({squares(reason.men)})",
    )


def _bad_bishops(view: View) -> Term:
    bishops, pawns = view.our(chess.BISHOP), view.our_pawns
    # Beyond the middle and held by a pawn it stands outside the chain.
    outside = pawn_attacks_up(pawns) & ~(RANKS[0] | RANKS[1] | RANKS[2])
    rammed = pawns & shifted(view.occupied, SOUTH) & (FILES[2] | FILES[3] | FILES[4] | FILES[5])
    hampered = 1 + count(rammed)
    worth, bad = np.zeros(len(view)), np.zeros(len(view), dtype=np.uint64)
    for colour in (LIGHT, DARK):
        inside = bishops & colour & ~outside
        burden = BAD_BISHOP * np.maximum(0, count(pawns & colour) - 2) * hampered / 2
        worth += np.where(inside != EMPTY, burden, 0.0)
        bad |= masked(burden > 0, inside)
    return Term(
        "bad-bishop",
        -worth,
        bad,
        lambda reason: f"{reason.ours()} {reason.choose('is', 'are')} hampered by pawns of the same colour",
    )


def _sheltered(view: View) -> Term:
    minors = view.our(chess.KNIGHT) | view.our(chess.BISHOP)
    behind = minors & ~RANKS[0] & shifted(view.boards.pawns, SOUTH)
    return Term(
        "sheltered",
        SHELTERED * count(behind),
        behind,
        lambda reason: f"{reason.ours()} {reason.choose('is', 'are')} sheltered by a pawn in front",
    )


def _loose(view: View) -> Term:
    pieces = view.us & ~view.boards.pawns & ~view.boards.kings
    loose = pieces & ~view.our_attacks
    hit = loose & view.their_attacks
    return Term(
        "loose",
        -LOOSE * (0.4 * count(loose) + 0.6 * count(hit)),
        loose,
        lambda reason: f"{reason.ours()} {reason.choose('is', 'are')} unguarded",
    )


def _pinned(view: View) -> Term:
    pinned = view.our_pinned & ~view.boards.pawns
    return Term(
        "pinned",
        -PINNED * count(pinned),
        pinned,
        lambda reason: f"{reason.ours()} {reason.choose('is', 'are')} pinned to the king",
    )


def _overloaded(view: View, pieces: Men) -> Term:
    once = view.us & ~view.boards.kings & view.their_attacks & view.our_attacks & ~view.our_double_attacks
    duties = count(pieces.attacks & once[pieces.row])
    busy = np.flatnonzero(duties >= 2)
    row = pieces.row[busy]
    return Term(
        "overloaded",
        -OVERLOADED * summed(row, duties[busy] - 1.0, len(view)),
        united(row, BIT[pieces.square[busy]], len(view)),
        lambda reason: (
            f"{reason.ours()} {reason.choose('is', 'are')} overloaded: "
            f"the only guard of more than one attacked man"
        ),
    )


def _sidelined(view: View, pieces: Men, safe: Bitboards) -> Term:
    at = BIT[pieces.square]
    aside = (pieces.kind == chess.KNIGHT) & ((at & (RIM_FILES | RANKS[0])) != EMPTY) & (count(safe) <= 3)
    return Term(
        "sidelined",
        -summed(pieces.row, SIDELINED * aside, len(view)),
        united(pieces.row, np.where(aside, at, EMPTY), len(view)),
        lambda reason: f"{reason.ours()} {reason.choose('stands', 'stand')} aside, with few squares to go to",
    )


def _far_from_king(view: View, pieces: Men) -> Term:
    minor = pieces.kind <= chess.BISHOP
    row, square = pieces.row[minor], pieces.square[minor]
    steps = np.maximum(0, DISTANCE[square, view.our_king[row]] - 3)
    far = steps >= 2
    return Term(
        "far-from-king",
        -summed(row, FAR_FROM_KING * steps * far, len(view)),
        united(row, np.where(far, BIT[square], EMPTY), len(view)),
        lambda reason: (
            f"{reason.ours()} {reason.choose('is', 'are')} far from the king "
            f"{reason.choose('it', 'they')} may have to guard"
        ),
    )


def _mutual_guard(view: View) -> Term:
    pieces = view.us & ~view.boards.pawns & ~view.boards.kings
    guarded = count(pieces & view.our_attacks).astype(np.float64)
    return Term(
        "mutual-guard",
        MUTUAL * lead(guarded, other_side(guarded)),
        pieces & view.our_attacks,
        lambda reason: f"More of {reason.name}'s pieces are guarded ({squares(reason.men)})",
    )


def _shared_targets(view: View) -> Term:
    past = RANKS[3] | RANKS[4] | RANKS[5] | RANKS[6] | RANKS[7]
    shared = view.our_double_attacks & past & ~view.their_pawn_attacks
    number = count(shared).astype(np.float64)
    return Term(
        "shared-targets",
        SHARED * lead(number, other_side(number)),
        shared & view.them | masked((shared & view.them) == EMPTY, shared),
        lambda reason: f"{reason.name}'s men work together on {squares(reason.men)}",
    )


def _active_king(view: View) -> Term:
    endgame: Pawns = np.clip(1 - 2.5 * view.middlegame, 0.0, 1.0)
    file, rank = view.our_king & 7, view.our_king >> 3
    remote = (np.maximum(3 - file, file - 4) + np.maximum(3 - rank, rank - 4)).astype(np.float64)
    return Term(
        "active-king",
        ACTIVE_KING * endgame * lead(other_side(remote), remote),
        view.our(chess.KING),
        lambda reason: f"{reason.king} is the more active one in the endgame",
    )


def _tell_mobility(reason: Reason) -> str:
    men = men_by_kind(reason.board, reason.men)
    if any(reason.board.color_at(square) == reason.side for square in reason.men):
        return f"{reason.name}'s pieces have more safe squares to go to, above all the {men}"
    held_back = f", held back above all the {men}" if men else ""
    return f"{reason.opponent}'s pieces have fewer safe squares to go to{held_back}"


def _tell_outpost(reason: Reason) -> str:
    verb = reason.choose("cannot be driven off by a pawn and stands on an outpost", "stand on outposts")
    return f"{reason.ours()} {verb}"
