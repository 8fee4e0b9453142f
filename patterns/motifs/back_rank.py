"""The weak back rank: a check on the enemy king's first rank that the king cannot escape.

The rule. No king is in check. Their king stands on its first rank and has other men. Our rook or queen can
check along that rank from an entry square: at once, or after another man of ours has opened its file by a
capture that loses nothing. (That man may be recaptured. No rook or queen of theirs may stand on the entry
square.) After the check the king has no flight square: its own men stand there, or we cover the squares. The
strength depends on what they can do:

- mate: they can neither take the checking piece nor interpose;
- wins: our rooks and queens outlast their guards on the entry square (a king next to it counts as a guard),
  and the guards' old squares are no flights; or an interposing man is captured with profit;
- tied guard: one man alone guards the entry square. We can take it, or draw it away by a capture on another
  square that it alone guards, if they cannot take our checking man first. Then it must be mate: no man behind
  the guard, no interposition, no flight.

A hit: the rook mates on e8.

>>> from patterns.detect import find_in
>>> mate = "6k1/5ppp/8/8/8/8/5PPP/4R1K1 w - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(mate)], MOTIFS)[0]]
[('back-rank', ('e1',), ('g8',), ('e8',))]

A near miss: the king has a flight square on h7.

>>> find_in([chess.Board(mate.replace("5ppp/8", "5pp1/7p"))], MOTIFS)[0]
[]

Roles. Actors: the checking piece, and the man that opens its line or supports it. Targets: the king, and the
overworked guard. Squares: the entry squares.
"""

from __future__ import annotations

from dataclasses import dataclass

import chess
import numpy as np

from patterns.boards.attacks import absolute_pins, attackers, between, reach
from patterns.boards.bitboards import (
    ALL,
    BIT,
    EMPTY,
    KING_STEPS,
    LINE,
    NORTH,
    RANKS,
    RAYS,
    Bitboards,
    Flags,
    Rows,
    Squares,
    bishop_reach,
    count,
    exploded,
    rook_reach,
    square_of,
)
from patterns.boards.exchange import Binding, Values, can_win, loses_nothing
from patterns.boards.grouping import all_of, any_of, greatest, summed
from patterns.boards.positions import Boards
from patterns.boards.tables import Table
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, findings
from patterns.words import wording

TIED_GUARD, WINS, MATE = range(3)
NOTHING = -1
"""Strengths of a check. The `detail` of a finding is twice the strength, plus one if the check is at once."""


@dataclass(frozen=True)
class _Checks(Table):
    """Possible checks, one entry each: `boards` before the check (file already opened), origin, entry square.

    `opener`: the man that opened the line, on its old square, or empty.
    """

    row: Rows
    boards: Boards
    origin: Squares
    entry: Squares
    opener: Bitboards


@dataclass(frozen=True)
class _Strengths(Table):
    """How strong each check is (`NOTHING` if it does not count), its supporting men, the overworked guard."""

    strength: Values
    support: Bitboards
    guard: Bitboards


def _entry_squares(view: View) -> Bitboards:
    """Squares of the king's rank from which a rook or queen of ours would check along it. Otherwise empty."""
    on_rank = (view.their(chess.KING) & RANKS[7]) != EMPTY
    checked = view.in_check | ((view.our_attacks & view.their(chess.KING)) != EMPTY)
    bare = (view.them & ~view.boards.kings) == EMPTY
    ready = np.flatnonzero(on_rank & ~checked & ~bare)
    entries = np.zeros(len(view), dtype=np.uint64)
    entries[ready] = rook_reach(view.their_king[ready], view.occupied[ready]) & RANKS[7] & ~view.us[ready]
    return entries


def _at_once(view: View, entries: Bitboards) -> _Checks:
    men = view.our_pieces
    heavy = np.flatnonzero((men.kind >= chess.ROOK) & (entries != EMPTY)[men.row])
    which, entry = exploded(men.attacks[heavy] & entries[men.row[heavy]])
    row, origin = men.row[heavy[which]], men.square[heavy[which]]
    held = (view.our_pinned[row] & BIT[origin]) != EMPTY
    held &= (LINE[view.our_king[row], origin] & BIT[entry]) == EMPTY
    row, origin, entry = row[~held], origin[~held], entry[~held]
    return _Checks(row, view.boards.take(row), origin, entry, np.zeros(len(row), dtype=np.uint64))


def _after_an_opening_capture(view: View, entries: Bitboards) -> _Checks:
    """Rooks and queens behind one man of ours on a file, which can leave it by a capture that loses nothing.

    A rook or queen of theirs on the entry square would only oppose ours on the opened file.
    """
    lines = view.our_sight_lines
    lines = lines.only((lines.direction == NORTH) & (entries[lines.row] != EMPTY))
    lines = lines.only((lines.front & view.us[lines.row]) != EMPTY)
    front_square = square_of(lines.front)
    beyond = RAYS[NORTH][front_square] & ~RAYS[NORTH][square_of(lines.rear)]
    reachable = beyond & entries[lines.row]
    faced = (reachable & view.them[lines.row] & view.boards.straight_sliders[lines.row]) != EMPTY
    chosen = np.flatnonzero((reachable != EMPTY) & ~faced)
    row, origin, front = lines.row[chosen], lines.square[chosen], front_square[chosen]
    entry = square_of(reachable[chosen])
    seen = reach(view.boards.take(row).kind_at(front), front, view.occupied[row], "us")
    takes = seen & (view.them & ~view.boards.kings)[row] & ~LINE[origin, front]
    takes &= np.where((view.our_pinned[row] & BIT[front]) != EMPTY, EMPTY, ALL)
    which, square = exploded(takes)
    harmless = loses_nothing(view.boards.take(row[which]), front[which], square)
    harmless &= ((KING_STEPS[view.their_king[row[which]]] | RANKS[7]) & BIT[square]) == EMPTY
    which, square = which[harmless], square[harmless]
    boards = view.boards.take(row[which]).moved(front[which], square)
    taken_back = (attackers(boards, square) & boards.them) != EMPTY
    boards = boards.without(np.where(taken_back, BIT[square], EMPTY))
    return _Checks(row[which], boards, origin[which], entry[which], BIT[front[which]])


def _no_flight(after: Boards, king: Squares, held: Bitboards) -> Flags:
    """Whether the king, in check, has no square to go to. It cannot go to the squares in `held`."""
    flights = KING_STEPS[king] & ~after.them & ~held
    which, square = exploded(flights)
    boards = after.take(which)
    covered = (attackers(boards, square, boards.occupied & ~BIT[king[which]]) & boards.us) != EMPTY
    return all_of(which, covered, len(king))


def _able(after: Boards, squares: Squares) -> Bitboards:
    """Their men that may legally go to each square, except the king and quiet pawn moves."""
    pins = absolute_pins(after, "them")
    men = attackers(after, squares) & after.them & ~after.kings
    off_line = np.where(
        (LINE[square_of(pins.pinner) & 63, squares] & pins.pinned) == EMPTY, pins.pinned, EMPTY
    )
    return men & ~np.bitwise_or.reduce(off_line, axis=0)


def _interposing_helps(after: Boards, king: Squares, entry: Squares) -> Flags:
    """Whether a man of theirs can interpose without being captured with profit."""
    which, square = exploded(between(entry, king))
    men = _able(after.take(which), square) & ~after.pawns[which]
    pair, origin = exploded(men)
    which, square = which[pair], square[pair]
    stands = after.take(which).moved(origin, square)
    return any_of(which, ~can_win(stands, square, "us"), len(king))


def _outnumbered(after: Boards, king: Squares, entry: Squares) -> Flags:
    """Whether our men on the entry square, x-rays included, outlast theirs and still give mate.

    A king next to the square is one more guard. After all others have captured, at least a rook of ours
    stands there, and the old squares of their guards must not have become flights.
    """
    occupied = after.occupied
    straight = rook_reach(entry, occupied & ~after.straight_sliders) & after.straight_sliders
    diagonal = bishop_reach(entry, occupied & ~after.diagonal_sliders) & after.diagonal_sliders
    all_men = (attackers(after, entry) | straight | diagonal) & ~after.kings & ~BIT[entry]
    guards = all_men & after.them
    needed = count(guards) + ((KING_STEPS[king] & BIT[entry]) != EMPTY)
    outlast = count(all_men & after.us & after.straight_sliders) >= needed
    some = np.flatnonzero(outlast)
    end, entry, king = after.take(some).without(all_men[some] | BIT[entry[some]]), entry[some], king[some]
    held = rook_reach(entry, end.occupied & ~BIT[king]) | BIT[entry]
    outlast[some] = _no_flight(end, king, held)
    return outlast


def _overworked(checks: _Checks, king: Squares, guard: Bitboards) -> Flags:
    """Whether the only guard can be taken, or drawn away by a capture on another square that it alone guards.

    We assume that our capturing man is lost in the end. Without it the king must still have no flight.
    """
    boards, entry = checks.boards, checks.entry
    which, square = exploded(np.where(guard == EMPTY, EMPTY, boards.them & ~boards.kings & ~BIT[entry]))
    boards, guard = boards.take(which), guard[which]
    all_men, origin = attackers(boards, square), BIT[checks.origin[which]]
    ours = all_men & boards.us & ~origin
    itself = BIT[square] == guard
    some = np.flatnonzero((ours != EMPTY) & (itself | ((all_men & guard) != EMPTY)))
    which, square, boards, guard, ours = which[some], square[some], boards.take(some), guard[some], ours[some]
    itself, origin, entry, king = itself[some], origin[some], entry[which], king[which]
    without_checker = Binding.of(len(which), idle=origin)
    without_both = Binding.of(len(which), idle=origin | guard)
    drawn = ~can_win(boards, square, "us", without_checker)
    drawn &= can_win(boards, square, "us", without_both)
    guard_square = square_of(guard)
    still = reach(boards.kind_at(guard_square), square, boards.occupied & ~origin & ~guard, "them")
    drawn &= (still & BIT[entry]) == EMPTY
    falls = itself & ~_replaced(boards, square, entry)
    # Before the guard captures, a man of theirs could take our checking man.
    drawn &= (attackers(boards, square_of(origin)) & boards.them) == EMPTY
    end = boards.moved(square_of(origin), entry).without(guard | ours)
    held = rook_reach(entry, end.occupied & ~BIT[king])
    alone = (_able(end, entry) == EMPTY) & (_interposers(end, king, entry) == 0)
    return any_of(which, (falls | drawn) & alone & _no_flight(end, king, held), len(checks))


def _replaced(boards: Boards, guard: Squares, entry: Squares) -> Flags:
    """Whether a man that recaptures on the guard's square guards the entry square from there."""
    takers = attackers(boards, guard) & boards.them
    straight = (rook_reach(guard, boards.occupied) & BIT[entry]) != EMPTY
    diagonal = (bishop_reach(guard, boards.occupied) & BIT[entry]) != EMPTY
    along = straight & ((takers & boards.straight_sliders) != EMPTY)
    return along | diagonal & ((takers & boards.diagonal_sliders) != EMPTY)


def _strengths(view: View, checks: _Checks) -> _Strengths:
    """How strong each check is. A tied guard counts only for a check at once."""
    size = len(checks)
    strength = np.full(size, NOTHING)
    support, guard = np.zeros(size, dtype=np.uint64), np.zeros(size, dtype=np.uint64)
    king = view.their_king[checks.row]
    after = checks.boards.moved(checks.origin, checks.entry)
    boxed = np.flatnonzero(_no_flight(after, king, np.zeros(size, dtype=np.uint64)))
    after, king, checks = after.take(boxed), king[boxed], checks.take(boxed)
    entry = checks.entry
    takers = _able(after, entry)
    stuck = ~_interposing_helps(after, king, entry)
    wins = stuck & (takers != EMPTY)
    some = np.flatnonzero(wins)
    wins[some] = _outnumbered(after.take(some), king[some], entry[some])
    interposed = stuck & (takers == EMPTY)
    mate = interposed & (_interposers(after, king, entry) == 0)
    tied = stuck & ~wins & (count(takers) == 1) & (checks.opener == EMPTY)
    some = np.flatnonzero(tied)
    tied[some] = _overworked(checks.take(some), king[some], takers[some])
    found = np.select([mate, wins | interposed, tied], [MATE, WINS, TIED_GUARD], NOTHING)
    strength[boxed] = found
    bearing = attackers(after, entry) & view.us[checks.row]
    support[boxed] = np.where(found == WINS, bearing, EMPTY)
    guard[boxed] = np.where(found == TIED_GUARD, takers, EMPTY)
    return _Strengths(strength, support, guard)


def _interposers(after: Boards, king: Squares, entry: Squares) -> Values:
    """How many moves of theirs interpose a man."""
    which, square = exploded(between(entry, king))
    men = count(_able(after.take(which), square) & ~after.pawns[which])
    return summed(which, men, len(king)).astype(np.int64)


def back_rank(view: View) -> Findings:
    """Weak back ranks, one instance per row: its strongest checks together, those at once before others."""
    entries = _entry_squares(view)
    checks = _Checks.joined(_at_once(view, entries), _after_an_opening_capture(view, entries))
    found = _strengths(view, checks)
    at_once = checks.opener == EMPTY
    strength = np.where(found.strength == NOTHING, NOTHING, 2 * found.strength + at_once)
    best = greatest(checks.row, strength, len(view), NOTHING)
    actors = BIT[checks.origin] | checks.opener | found.support
    targets = view.their(chess.KING)[checks.row] | found.guard
    every = findings(checks.row, actors, targets, BIT[checks.entry], strength)
    return every.only((strength > NOTHING) & (strength == best[checks.row])).merged()


def _tell(instance: Instance) -> str:
    board = instance.board
    king = board.king(not instance.side)
    assert king is not None
    strength, at_once = divmod(instance.detail, 2)
    entry = wording.squares(instance.squares)
    guards = [square for square in instance.targets if square != king]
    rank = f"{wording.named(board, king)} has no flight from a check on its back rank"
    if not at_once:
        openers = [square for square in instance.actors if _opens(instance, square)]
        rank += f" once {wording.men(board, openers)} has opened the line by a capture"
        actors = [square for square in instance.actors if square not in openers]
    else:
        actors = [
            square for square in instance.actors if board.piece_type_at(square) in (chess.ROOK, chess.QUEEN)
        ]
    who = wording.men(board, actors)
    if strength == MATE:
        return wording.sentence(f"{rank}: {who} would mate on {entry}")
    if strength == TIED_GUARD and guards:
        return wording.sentence(f"{rank}: {wording.men(board, guards)} alone guards {entry} against {who}")
    return wording.sentence(f"{rank}: {who} would break in on {entry}, with mate or a gain")


def _opens(instance: Instance, square: chess.Square) -> bool:
    """Whether the man is the first on the file of an entry square, in front of the rook or queen."""
    on_file = [entry for entry in instance.squares if chess.square_file(entry) == chess.square_file(square)]
    return any(not chess.SquareSet(chess.between(entry, square)) & instance.actors for entry in on_file)


MOTIFS = (
    Motif(
        id="back-rank",
        title="Weak back rank",
        definition=(
            "The enemy king stands on its first rank, and a rook or queen can check there from an entry"
            " square, at once or after a capture that opens its line. The king then has no flight square,"
            " and every guard or interposition still leaves mate or a gain by exchange. Or the one guard of"
            " the entry square is overworked."
        ),
        source="Renaud and Kahn, The Art of the Checkmate; named from memory",
        find=back_rank,
        tell=_tell,
    ),
)
