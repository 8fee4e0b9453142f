"""The weak back rank: a check on the enemy king's first rank that it cannot leave.

The rule. Their king stands on its first rank, and our rook or queen can give check along that rank from an
entry square, at once or after another man of ours has opened its line with a capture that loses nothing.
After that check the king has no flight square (its own men, or squares we then cover). What they can do
decides the strength:

- mate: nobody can take the checking piece or interpose;
- wins: whoever takes is outnumbered on the entry square, or (where it is empty) loses by exchange, and
  whoever interposes is taken with profit;
- ties: one man alone guards the entry square and is overworked: we attack it, or it alone guards another
  man of theirs that we attack.

A hit: the rook mates on e8.

>>> from patterns.detect import find_in
>>> mate = "6k1/5ppp/8/8/8/8/5PPP/4R1K1 w - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(mate)], MOTIFS)[0]]
[('back-rank', ('e1',), ('g8',), ('e8',))]

A near miss: the king has a flight square on h7.

>>> find_in([chess.Board(mate.replace("5ppp/8", "5pp1/7p"))], MOTIFS)[0]
[]

Roles. Actors: the checking piece, who opens its line or supports it. Targets: the king, and the overworked
guard. Squares: the entry squares.
"""

from __future__ import annotations

from dataclasses import dataclass

import chess
import numpy as np

from patterns import wording
from patterns.attacks import absolute_pins, attackers, between
from patterns.bitboards import (
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
from patterns.exchange import Binding, capture_gain, exchange
from patterns.findings import Findings, Instance, Motif, findings
from patterns.positions import Boards
from patterns.view import View

TIES, WINS, MATE = range(3)
NOTHING = -1


@dataclass(frozen=True)
class _Checks:
    """Checks to try, one an entry: `boards` before the check (the line already opened), who goes where.

    `opener`: the man that opened the line, where it stands before that, or empty.
    """

    row: Rows
    boards: Boards
    origin: Squares
    entry: Squares
    opener: Bitboards

    def only(self, chosen: Rows) -> _Checks:
        return _Checks(
            self.row[chosen],
            self.boards.take(chosen),
            self.origin[chosen],
            self.entry[chosen],
            self.opener[chosen],
        )


def _entry_squares(view: View) -> Bitboards:
    """Squares of the king's rank from which a heavy piece of ours would check along it; empty elsewhere."""
    on_rank = (view.their(chess.KING) & RANKS[7]) != EMPTY
    ready = np.flatnonzero(on_rank & ~view.in_check)
    entries = np.zeros(len(view), dtype=np.uint64)
    entries[ready] = rook_reach(view.their_king[ready], view.occupied[ready]) & RANKS[7] & ~view.us[ready]
    return entries


def _at_once(view: View, entries: Bitboards) -> _Checks:
    men = view.our_men
    heavy = np.flatnonzero((men.kind == chess.ROOK) | (men.kind == chess.QUEEN))
    which, entry = exploded(men.attacks[heavy] & entries[men.row[heavy]])
    row, origin = men.row[heavy[which]], men.square[heavy[which]]
    held = (view.our_pinned[row] & BIT[origin]) != EMPTY
    held &= (LINE[view.our_king[row], origin] & BIT[entry]) == EMPTY
    row, origin, entry = row[~held], origin[~held], entry[~held]
    return _Checks(row, view.boards.take(row), origin, entry, np.zeros(len(row), dtype=np.uint64))


def _after_an_opening_capture(view: View, entries: Bitboards) -> _Checks:
    """Heavy pieces behind one man of ours on a file, which can leave it by a capture that loses nothing."""
    lines = view.our_lines
    behind = ((lines.front & view.us[lines.row]) != EMPTY) & (lines.direction == NORTH)
    front_square = square_of(lines.front)
    beyond = RAYS[NORTH][front_square & 63] & ~np.where(
        lines.rear == EMPTY, EMPTY, RAYS[NORTH][square_of(lines.rear) & 63]
    )
    reachable = beyond & entries[lines.row]
    chosen = np.flatnonzero(behind & (reachable != EMPTY))
    row, origin, front = lines.row[chosen], lines.square[chosen], front_square[chosen]
    entry = square_of(reachable[chosen])
    first = np.searchsorted(view.our_men.row, row)
    index = first + count(view.us[row] & (BIT[front] - np.uint64(1)))
    takes = view.our_men.attacks[index] & (view.them & ~view.boards.kings)[row] & ~LINE[origin, front]
    takes &= np.where((view.our_pinned[row] & BIT[front]) != EMPTY, EMPTY, ALL)
    which, square = exploded(takes)
    fair = exchange(view.boards.take(row[which]), front[which], square) >= 0
    which, square = which[fair], square[fair]
    boards = view.boards.take(row[which]).moved(front[which], square)
    return _Checks(row[which], boards, origin[which], entry[which], BIT[front[which]])


def _no_flight(after: Boards, king: Squares) -> Flags:
    """Whether the king, in check, has no square to go to."""
    flights = KING_STEPS[king] & ~after.them
    which, square = exploded(flights)
    boards = after.take(which)
    covered = (attackers(boards, square, boards.occupied & ~BIT[king[which]]) & boards.us) != EMPTY
    boxed = np.ones(len(king), dtype=np.bool_)
    boxed[which[~covered]] = False
    return boxed


def _able(after: Boards, squares: Squares) -> Bitboards:
    """Their men, king and pawns' quiet moves aside, that may legally go to each square."""
    pins = absolute_pins(after, "them")
    men = attackers(after, squares) & after.them & ~after.kings
    off_line = np.where(
        (LINE[square_of(pins.pinner) & 63, squares] & pins.pinned) == EMPTY, pins.pinned, EMPTY
    )
    return men & ~np.bitwise_or.reduce(off_line, axis=0)


def _interposing_helps(after: Boards, king: Squares, entry: Squares) -> Flags:
    """Whether some man of theirs can stand in between without being taken with profit."""
    helps = np.zeros(len(king), dtype=np.bool_)
    which, square = exploded(between(entry, king))
    men = _able(after.take(which), square) & ~after.pawns[which]
    pair, origin = exploded(men)
    which, square = which[pair], square[pair]
    stands = after.take(which).moved(origin, square)
    helps[which[capture_gain(stands, square, "us") <= 0]] = True
    return helps


def _outnumbered(after: Boards, entry: Squares) -> Flags:
    """Whether on the entry square our men, those behind others included, outlast theirs."""
    occupied = after.occupied
    straight = rook_reach(entry, occupied & ~after.straight_sliders) & after.straight_sliders
    diagonal = bishop_reach(entry, occupied & ~after.diagonal_sliders) & after.diagonal_sliders
    everyone = (attackers(after, entry) | straight | diagonal) & ~after.kings & ~BIT[entry]
    return count(everyone & after.us) >= count(everyone & after.them)


def _overworked(checks: _Checks, guard: Bitboards) -> Flags:
    """Whether the only guard is attacked by another man of ours, or alone guards another man we attack."""
    boards = checks.boards
    hit = attackers(boards, square_of(guard) & 63) & boards.us & ~BIT[checks.origin] & ~boards.pawns
    result = (hit != EMPTY) & (guard != EMPTY)
    others = boards.them & ~boards.kings & ~guard & ~BIT[checks.entry]
    which, square = exploded(np.where(result | (guard == EMPTY), EMPTY, others))
    boards = boards.take(which)
    everyone = attackers(boards, square)
    attacked = ((everyone & boards.us & ~BIT[checks.origin[which]]) != EMPTY) & (
        (everyone & guard[which]) != EMPTY
    )
    which, square, boards = which[attacked], square[attacked], boards.take(np.flatnonzero(attacked))
    bound = Binding.of(len(which), idle=guard[which])
    duty = (capture_gain(boards, square, "us") <= 0) & (capture_gain(boards, square, "us", bound) > 0)
    result[which[duty]] = True
    return result


def _strengths(view: View, checks: _Checks) -> tuple[np.typing.NDArray[np.int64], Bitboards, Bitboards]:
    """Strength of each check (`NOTHING` if none), the men supporting it, the overworked guard."""
    size = len(checks.row)
    strength = np.full(size, NOTHING)
    support, guard = np.zeros(size, dtype=np.uint64), np.zeros(size, dtype=np.uint64)
    king = view.their_king[checks.row]
    after = checks.boards.moved(checks.origin, checks.entry)
    boxed = np.flatnonzero(_no_flight(after, king))
    after, king, checks = after.take(boxed), king[boxed], checks.only(boxed)
    entry = checks.entry
    takers = _able(after, entry)
    stuck = ~_interposing_helps(after, king, entry)
    wins = stuck & (takers != EMPTY)
    some = np.flatnonzero(wins)
    empty = (checks.boards.occupied[some] & BIT[entry[some]]) == EMPTY
    profit = exchange(checks.boards.take(some), checks.origin[some], entry[some]) > 0
    wins[some] = empty & profit | _outnumbered(after.take(some), entry[some])
    interposed = stuck & (takers == EMPTY)
    mate = interposed & (_interposers(after, king, entry) == 0)
    ties = stuck & ~wins & (count(takers) == 1)
    some = np.flatnonzero(ties)
    ties[some] = _overworked(checks.only(some), takers[some])
    found = np.select([mate, wins | interposed, ties], [MATE, WINS, TIES], NOTHING)
    strength[boxed] = found
    support[boxed] = np.where(found == WINS, attackers(after, entry) & after.us, EMPTY)
    guard[boxed] = np.where(found == TIES, takers, EMPTY)
    return strength, support, guard


def _interposers(after: Boards, king: Squares, entry: Squares) -> np.typing.NDArray[np.int64]:
    """How many moves of theirs put a man in between."""
    which, square = exploded(between(entry, king))
    men = count(_able(after.take(which), square) & ~after.pawns[which])
    return np.bincount(which, weights=men, minlength=len(king)).astype(np.int64)


def back_rank(view: View) -> Findings:
    """Weak back ranks, one instance a row: its strongest checks together."""
    entries = _entry_squares(view)
    rows, strengths, roles = [], [], []
    for checks in (_at_once(view, entries), _after_an_opening_capture(view, entries)):
        strength, support, guard = _strengths(view, checks)
        strength = np.where((checks.opener != EMPTY) & (strength == TIES), NOTHING, strength)
        rows.append(checks.row)
        strengths.append(strength)
        roles.append((BIT[checks.origin] | checks.opener | support, guard, BIT[checks.entry]))
    row, strength = np.concatenate(rows), np.concatenate(strengths)
    actors, guard, squares = (np.concatenate(role) for role in zip(*roles, strict=True))
    best = np.full(len(view), NOTHING)
    np.maximum.at(best, row, strength)
    chosen = np.flatnonzero((strength > NOTHING) & (strength == best[row]))
    together = [np.zeros(len(view), dtype=np.uint64) for _ in range(3)]
    for role, part in zip(together, (actors, guard, squares), strict=True):
        np.bitwise_or.at(role, row[chosen], part[chosen])
    shown = np.flatnonzero(best > NOTHING)
    targets = view.their(chess.KING) | together[1]
    return findings(shown, together[0][shown], targets[shown], together[2][shown], best[shown])


def _tell(instance: Instance) -> str:
    board = instance.board
    king = board.king(not instance.side)
    assert king is not None
    entry = wording.squares(instance.squares)
    actors = [
        square for square in instance.actors if board.piece_type_at(square) in (chess.ROOK, chess.QUEEN)
    ]
    who = wording.men(board, actors or instance.actors)
    rank = f"{wording.named(board, king)} has no flight from a check on its back rank"
    guards = [square for square in instance.targets if square != king]
    if instance.detail == MATE:
        return wording.sentence(f"{rank}: {who} would mate on {entry}")
    if instance.detail == TIES and guards:
        return wording.sentence(f"{rank}: {wording.men(board, guards)} alone guards {entry} against {who}")
    return wording.sentence(f"{rank}: {who} would win material on {entry}")


MOTIFS = (
    Motif(
        id="back-rank",
        title="Weak back rank",
        definition=(
            "The enemy king stands on its first rank, and a rook or queen can give check there from an entry"
            " square, at once or after a capture that opens its line, such that the king has no flight square"
            " and every guard or interposition still leaves mate or a gain by exchange; or the one guard of"
            " the entry square is overworked."
        ),
        source="Renaud and Kahn, The Art of the Checkmate; named from memory",
        find=back_rank,
        tell=_tell,
    ),
)
