"""Which position of a strand is shown.

The pool of a strand is every card whose first motif is the strand's and that has its ask. A position is used
up once it has been displayed in any way, answered or not. New positions are spent slowly, because nothing
teaches like them, but first meetings and strands that return always get theirs. When none may be spent, a
position returns that was last displayed long ago; if there is none either, the strand is dry.

Nothing here draws a random number: where chance must decide, a seed and the names decide.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Container, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from hashlib import blake2b
from typing import NamedTuple

from decks.memory.answers import Strand
from decks.memory.day import DayAhead
from decks.memory.strands import RETURN_DAYS, StrandState

FRESH_SHARE = 30
FRESH_AT_LEAST = 3
"""A day uses at most one in FRESH_SHARE of the unseen positions, but may use FRESH_AT_LEAST."""

SHOWN_AT_FIRST = 2
"""Positions of a first meeting: one worked and one asked."""

SEEN_AGAIN = timedelta(days=RETURN_DAYS[-1])
"""A position may return so long after it was last displayed. No strand has to wait longer for one.

With 30 days a small deck left most of a day's minutes unused. The invented student of
`tests/benchmarks/learning.py` learned no more by that, nor were more new positions met.
"""

WITHOUT_LOOKALIKES = 3
"""A strand is asked so often before the first lookalike."""

LOOKALIKE_EVERY = 4
"""One in so many positions asked is a lookalike."""


def position_key(fen: str) -> str:
    """What tells positions apart: men, side to move, castling rights and en-passant square."""
    return " ".join(fen.split()[:4])


class Position(NamedTuple):
    """A position of a pool. `key`: by `position_key`, whichever card or deck it is in.

    `strands`: those of all asks of its card, in the order of a sitting. `lookalike`: the motif seems present
    and is not. `side`: the one that profits. `squares`: those of the motif.

    A named tuple, because thousands of them are made before the first board is on the screen.
    """

    key: str
    strands: tuple[Strand, ...]
    tier: int = 1
    lookalike: bool = False
    side: str = "white"
    squares: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Choice:
    """A position to show. `fresh`: it has never been displayed to the student."""

    position: Position
    fresh: bool


def fresh_allowance(unseen: int, days: int = FRESH_SHARE) -> int:
    """How many unseen positions a study day may use. `unseen`: in all pools when the day began.

    What returns and first meetings need is always allowed (`needed_for_sure`). `days`:
    those that are left before an event, today among them. What is unseen then helps nobody, so that fewer
    days share it.

    >>> [fresh_allowance(unseen) for unseen in (0, 119, 120, 780)]
    [3, 3, 4, 26]
    >>> [fresh_allowance(120, days) for days in (1, 10, 200)]
    [120, 12, 4]
    """
    return max(FRESH_AT_LEAST, unseen // min(FRESH_SHARE, days))


def needed_for_sure(
    ahead: DayAhead, states: Mapping[Strand, StrandState], has_new: Callable[[Strand], bool]
) -> int:
    """How many unseen positions what must not wait on a study day needs, however few there are.

    That is one for each strand that is due and has any, and SHOWN_AT_FIRST for each first meeting. `has_new`:
    as below, for these pools; a parameter, because very large pools know it without making their positions.
    """
    due = (strand for strand, state in states.items() if state.is_due(ahead.day))
    unmet = sum(state.asked == 0 for state in states.values())
    meetings = max(0, min(unmet, ahead.first_meetings))
    returning = sum(map(has_new, due))
    return returning + int(SHOWN_AT_FIRST * meetings)


def has_new(pools: Mapping[Strand, Sequence[Position]], shown: Container[str], strand: Strand) -> bool:
    """Whether the pool of a strand has a position, lookalikes among them, that was never displayed."""
    return any(position.key not in shown for position in pools[strand])


def unseen(pools: Collection[Sequence[Position]], shown: Collection[str]) -> int:
    """The number of different positions in all pools that were never displayed."""
    return len({position.key for pool in pools for position in pool} - set(shown))


def shows_on(pool: Sequence[Position], shown: Mapping[str, date], day: date) -> date | None:
    """The first study day, from `day` on, on which a pool has a position to show; None if it never has.

    That is `day` as long as a position is unseen, and else a day on which one may be shown again.
    """
    if has_unseen_real(pool, shown):
        return day
    seen = [shown[position.key] for position in pool if not position.lookalike]
    return max(day, min(seen) + SEEN_AGAIN) if seen else None


def has_unseen_real(pool: Sequence[Position], shown: Container[str]) -> bool:
    """Whether a pool has a real position that was never displayed: a lookalike never comes in its place."""
    return any(position.key not in shown for position in pool if not position.lookalike)


def has_only_lookalikes(pool: Sequence[Position]) -> bool:
    """Whether a pool has positions, but none that really shows its motif. Nothing is asked of it then."""
    return bool(pool) and all(position.lookalike for position in pool)


def is_dry(pool: Sequence[Position], shown: Mapping[str, date], day: date) -> bool:
    """Whether a pool has nothing to show on this day or the days after, until more time has passed."""
    return shows_on(pool, shown, day) != day


def asks_lookalike(strand: Strand, asked: int, seed: int = 0) -> bool:
    """Whether the next position of a strand is a lookalike. `asked`: how many have been asked so far.

    None of the first WITHOUT_LOOKALIKES is. Then one in each LOOKALIKE_EVERY is, at a place that can't be
    guessed.
    """
    block, place = divmod(asked - WITHOUT_LOOKALIKES, LOOKALIKE_EVERY)
    return block >= 0 and place == _lot(seed, str(strand), str(block)) % LOOKALIKE_EVERY


def choose(
    pool: Sequence[Position],
    tier: int,
    before: Position | None,
    shown: Mapping[str, date],
    day: date,
    fresh_left: int,
    lookalike: bool = False,
    seed: int = 0,
) -> Choice | None:
    """The position of a pool to show on a study day; None if there is none today.

    `before`: the strand's last one. `shown`: when each position was last displayed in any way. `fresh_left`:
    how many unseen positions the day may still use. `lookalike`: whether one is wanted. If there is none, a
    real position is shown instead, but never a lookalike instead of a real one.

    Of the unseen positions comes one of the tier, or else of the nearest tier (a harder one before an easier
    one), and of these the one that is least like the last.
    """
    wanted = [position for position in pool if lookalike or not position.lookalike]
    unseen = [position for position in wanted if position.key not in shown] if fresh_left > 0 else []
    if lookalike and any(position.lookalike for position in unseen):
        unseen = [position for position in unseen if position.lookalike]
    if unseen:
        nearest = min(_from_tier(position, tier) for position in unseen)
        of_tier = [position for position in unseen if _from_tier(position, tier) == nearest]
        return Choice(min(of_tier, key=lambda each: _rank(each, before, seed)), fresh=True)
    rested = [
        position for position in wanted if position.key in shown and day - shown[position.key] >= SEEN_AGAIN
    ]
    if lookalike and any(position.lookalike for position in rested):
        rested = [position for position in rested if position.lookalike]
    if rested:
        return Choice(min(rested, key=lambda each: (shown[each.key], _lot(seed, each.key))), fresh=False)
    return None


def likeness(one: Position, other: Position) -> float:
    """How much alike two positions are, 0 to 3: the same side, squares and pawns in common (0 to 1 each)."""
    pawns = _in_common(_pawns(one.key), _pawns(other.key))
    return (one.side == other.side) + _in_common(one.squares, other.squares) + pawns


def _from_tier(position: Position, tier: int) -> tuple[int, bool]:
    """How far its tier is from the one wanted; of two as near, the easier one is farther."""
    return abs(position.tier - tier), position.tier < tier


def _rank(position: Position, before: Position | None, seed: int) -> tuple[float, int]:
    return likeness(position, before) if before else 0.0, _lot(seed, position.key)


@lru_cache(maxsize=10_000)
def _pawns(key: str) -> frozenset[tuple[int, str]]:
    """The pawns of both sides: the number of the square, from a8 to h1, and `P` or `p`."""
    squares = key.partition(" ")[0].translate(_SPREAD)
    return frozenset((square, man) for square, man in enumerate(squares) if man in "Pp")


_SPREAD = str.maketrans({"/": "", **{str(number): "." * number for number in range(1, 9)}})
"""Writes a rank of a FEN with one character for each square."""


def _in_common(one: frozenset[object], other: frozenset[object]) -> float:
    """The share of what either has that both have."""
    return len(one & other) / len(one | other) if one or other else 0.0


def _lot(seed: int, *names: str) -> int:
    """A number that depends only on the seed and the names, the same on every machine."""
    text = "\n".join((str(seed), *names))
    return int.from_bytes(blake2b(text.encode(), digest_size=4).digest(), "big")
