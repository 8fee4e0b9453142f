"""Piece play: useful squares, outposts, bad bishops, loose, pinned and overloaded men, harmony.

Nimzowitsch, My System, writes about outposts, Pachman, Modern Chess Strategy, about bad bishops, and Nunn,
Secrets of Practical Chess, about loose pieces (from memory). The counts are our own.
"""

from __future__ import annotations

import chess
import numpy as np
import numpy.typing as npt

from patterns.boards.attacks import Men
from patterns.boards.bitboards import BIT, EMPTY, RANKS, RIM_FILES, THEIR_HALF, Bitboards, Flags, count
from patterns.boards.exchange import can_win
from patterns.boards.grouping import summed, united
from patterns.boards.view import View
from patterns.factors.term import Pawns, Reason, Term, lead, masked, men_by_kind, other_side
from patterns.factors.useful import useful_squares
from patterns.motifs.bishops import bad_bishop
from patterns.words.wording import squares

MOBILITY = 0.09
"""Pawns, times (root of a piece's useful squares - root of the usual number): the first count most."""
USUAL = np.array([0.0, 0.0, 5.0, 4.0, 5.0, 8.0, 0.0])
"""Useful squares that a piece of each kind has in an ordinary middlegame (medians of master games)."""
OUTPOST = {chess.KNIGHT: 0.25, chess.BISHOP: 0.12}
TRAPPED = np.array([0.0, 0.0, 0.5, 0.5, 0.7, 0.9, 0.0])
"""By kind. Less than the piece is worth, as it may still be rescued or sold dearly."""
LOOSE, PINNED, OVERLOADED, SIDELINED, BAD_BISHOP = 0.06, 0.06, 0.08, 0.18, 0.1
"""Against us: an unguarded piece attacked, a pinned piece, a second duty, a knight aside, a bad bishop."""
ACTIVE_GUARD, SHARED, ACTIVE_KING = 0.07, 0.05, 0.09
"""For us: a guard that attacks as well, one more square hit twice, a king's step."""

NAMED = 3
"""How many pieces are named as those with the most or the fewest useful squares."""

KNIGHTS_AT_HOME = BIT[chess.B1] | BIT[chess.G1]


def terms(view: View) -> tuple[Term, ...]:
    """Reasons about our own pieces. Useful squares and harmony are compared with theirs."""
    useful = view.once(useful_squares)
    return (
        _mobility(view, useful),
        _trapped(view, useful),
        _outposts(view),
        _bad_bishops(view),
        _loose(view),
        _pinned(view),
        _overloaded(view),
        _active_guards(view),
        *_sidelined(view, useful),
        _shared_targets(view),
        _active_king(view),
    )


def _mobility(view: View, useful: Men) -> Term:
    surplus = np.sqrt(count(useful.attacks)) - np.sqrt(USUAL[useful.kind])
    mobility = summed(useful.row, MOBILITY * surplus, len(view))
    number = summed(useful.row, count(useful.attacks), len(view))
    worth = np.where(number > other_side(number), lead(mobility, other_side(mobility)), 0.0)
    at_risk = (BIT[useful.square] & view.their_attacks[useful.row]) != EMPTY
    free = _foremost(useful, surplus, (surplus > 0) & ~at_risk, len(view))
    cramped = _foremost(useful, -surplus, surplus < 0, len(view))
    named = np.where(free != EMPTY, free, view.swapped(cramped))
    return Term("mobility", worth, named, _tell_mobility)


def _foremost(men: Men, by: Pawns, among: Flags, size: int) -> Bitboards:
    """The men of each row that come first, up to `NAMED`; equal ones by their squares."""
    some = np.flatnonzero(among)
    order = some[np.lexsort((men.square[some], -by[some], men.row[some]))]
    row = men.row[order]
    place = np.arange(len(row)) - np.searchsorted(row, row)
    first = order[place < NAMED]
    return united(men.row[first], BIT[men.square[first]], size)


def _trapped(view: View, useful: Men) -> Term:
    """Pieces that can be won by exchange and have no useful square."""
    stuck = useful.only(
        (useful.attacks == EMPTY) & ((BIT[useful.square] & view.their_attacks[useful.row]) != EMPTY)
    )
    lost = stuck.only(can_win(view.boards.take(stuck.row), stuck.square, "them"))
    return Term(
        "trapped",
        -summed(lost.row, TRAPPED[lost.kind], len(view)),
        united(lost.row, BIT[lost.square], len(view)),
        lambda reason: (
            f"{reason.ours()} {reason.choose('is', 'are')} attacked and "
            f"{reason.choose('has', 'have')} no safe square to go to"
        ),
    )


def _outposts(view: View) -> Term:
    held = view.our_pawn_attacks & ~view.their_pawn_span & (RANKS[3] | RANKS[4] | RANKS[5])
    knights, bishops = view.our(chess.KNIGHT) & held & ~RIM_FILES, view.our(chess.BISHOP) & held
    return Term(
        "outpost",
        OUTPOST[chess.KNIGHT] * count(knights) + OUTPOST[chess.BISHOP] * count(bishops),
        knights | bishops,
        _tell_outpost,
    )


def _bad_bishops(view: View) -> Term:
    found = bad_bishop(view)  # reported for the other side
    bad = view.swapped(united(found.row, found.targets, len(view))) & view.our(chess.BISHOP)
    return Term(
        "bad-bishop",
        -BAD_BISHOP * count(bad),
        bad,
        lambda reason: (
            f"{reason.ours()} {reason.choose('is', 'are')} bad: "
            f"fixed pawns of {reason.choose('its', 'their')} own colour shut {reason.choose('it', 'them')} in"
        ),
    )


def _loose(view: View) -> Term:
    # On the first rank nobody minds, as long as nothing attacks them.
    pieces = view.us & ~view.boards.pawns & ~view.boards.kings & (~RANKS[0] | view.their_attacks)
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


def _overloaded(view: View) -> Term:
    pieces, duties = view.our_pieces, _duties(view)
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


def _duties(view: View) -> npt.NDArray[np.int64]:
    """Of how many attacked men each of our pieces is the only guard."""
    once = view.us & ~view.boards.kings & view.their_attacks & view.our_attacks & ~view.our_double_attacks
    return count(view.our_pieces.attacks & once[view.our_pieces.row])


def _active_guards(view: View) -> Term:
    """A minor piece looks tied to the man that only it guards. It is not, if it attacks as well."""
    pieces = view.our_pieces
    row, at = pieces.row, BIT[pieces.square]
    free = (at & (view.our_pinned | view.their_attacks)[row]) == EMPTY
    attacks = (pieces.attacks & (view.them & ~view.boards.kings & ~view.their_pawn_attacks)[row]) != EMPTY
    active = (pieces.kind < chess.ROOK) & (_duties(view) == 1) & free & attacks
    return Term(
        "active-guard",
        ACTIVE_GUARD * summed(row, active, len(view)),
        united(row, np.where(active, at, EMPTY), len(view)),
        _tell_active_guard,
    )


def _sidelined(view: View, useful: Men) -> tuple[Term, ...]:
    """Knights aside: those beside a bishop that works, which they look no worse than, and the others.

    On its first square a knight is undeveloped, which is another reason (`patterns.factors.initiative`).
    """
    at = BIT[useful.square]
    aside = (
        (useful.kind == chess.KNIGHT)
        & ((at & (RIM_FILES | RANKS[0]) & ~KNIGHTS_AT_HOME) != EMPTY)
        & (count(useful.attacks) <= 3)
    )
    knights = united(useful.row, np.where(aside, at, EMPTY), len(view))
    idle = knights & ~THEIR_HALF & ~_taking_part(view, useful)
    bishops = view.our_men_of[chess.BISHOP]
    afar = (count(bishops.attacks & THEIR_HALF) >= 2) & ((BIT[bishops.square] & THEIR_HALF) == EMPTY)
    working = united(bishops.row, np.where(afar, BIT[bishops.square], EMPTY), len(view))
    bystanders = masked(working != EMPTY, idle)
    return (
        Term(
            "bystander",
            -SIDELINED * count(bystanders),
            bystanders | masked(bystanders != EMPTY, working),
            _tell_bystander,
        ),
        Term(
            "sidelined",
            -SIDELINED * count(knights & ~bystanders),
            knights & ~bystanders,
            lambda reason: (
                f"{reason.ours()} {reason.choose('stands', 'stand')} aside, with few squares to go to"
            ),
        ),
    )


def _taking_part(view: View, useful: Men) -> Bitboards:
    """Pieces that attack a man, guard an attacked man, or can go to the other half."""
    of_note = view.them | view.us & view.their_attacks & ~view.boards.kings
    pieces = view.our_pieces
    part = ((pieces.attacks & of_note[pieces.row]) | (useful.attacks & THEIR_HALF)) != EMPTY
    return united(pieces.row, np.where(part, BIT[pieces.square], EMPTY), len(view))


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
        lambda reason: f"{reason.king} is nearer to the centre than {reason.opponent_king}",
    )


def _tell_mobility(reason: Reason) -> str:
    men = men_by_kind(reason.board, reason.men)
    if any(reason.board.color_at(square) == reason.side for square in reason.men):
        return f"{reason.name}'s pieces have more useful squares to go to, above all the {men}"
    held_back = f", held back above all the {men}" if men else ""
    return f"{reason.opponent}'s pieces have fewer useful squares to go to{held_back}"


def _tell_outpost(reason: Reason) -> str:
    verb = reason.choose("cannot be driven off by a pawn and stands on an outpost", "stand on outposts")
    return f"{reason.ours()} {verb}"


def _tell_active_guard(reason: Reason) -> str:
    board, ours, theirs = reason.board, reason.side, not reason.side
    reached = chess.SquareSet()
    for man in reason.men:
        reached |= board.attacks(man)
    held = [
        square
        for square in reached & board.occupied_co[ours] & ~board.kings
        if board.is_attacked_by(theirs, square) and len(board.attackers(ours, square)) == 1
    ]
    hit = [
        square
        for square in reached & board.occupied_co[theirs] & ~board.kings
        if not board.attackers(theirs, square) & board.pawns
    ]
    looks, attacks = reason.choose("looks", "look"), reason.choose("attacks", "attack")
    return f"{reason.ours()} {looks} tied to guarding {squares(held)}, but also {attacks} {squares(hit)}"


def _tell_bystander(reason: Reason) -> str:
    knights, bishops = reason.men & reason.board.knights, reason.men & reason.board.bishops
    look, take = ("looks", "takes") if len(knights) == 1 else ("look", "take")
    bishop = "bishop works" if len(bishops) == 1 else "bishops work"
    return (
        f"{reason.name}'s {men_by_kind(reason.board, knights)} {look} no worse than the "
        f"{men_by_kind(reason.board, bishops)}, but {take} part nowhere: only the {bishop} from afar"
    )
