"""Preparation for an event: which fixed cards to ask today so that most is known on the date.

For each of several ways to choose the cards of a day, the days up to the event are played through, and the
best way decides about today. So nobody has to tune anything, and days that were missed or went differently
are taken into account the next day. The ways are:

- greedy: the cards that gain most expected recall on the date for each second;
- look-ahead: the same, compared with asking later, if an answer has a price;
- due order: what has fallen to a recall aimed at, least recall first, then unmet cards, until some days
  before the event.

None of them is best everywhere: it depends on how much is met and on how much time is left. Playing through
takes no chances: an answer moves a memory to the mean of what being right and being wrong would do to it.

Strands need no such plan. Up to the event only their turn decides, weighted by what a motif costs the
student.

The objective is the sum of weight x recall on the date. FSRS-6 is the model of recall (`decks.memory.many`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from decks.memory.many import (
    Floats,
    Memories,
    after_first,
    difficulty_after,
    recalls,
    stability_after_found,
    stability_after_missed,
)
from decks.memory.minutes import FixedCard, Today

SHARE_OF_CARDS = 1 / 3
"""The most of the minutes that fixed cards may take before an event."""

AIMS = (0.70, 0.85, 0.90, 0.95, 0.97)
FIRST_MEETINGS_END = (0, 7, 14)
"""Due order is tried with these recalls, and with first meetings up to so many days before the event."""

PRICES = (0.06, 0.2)
"""Look-ahead is tried with these prices of a card of usual length, in recall on the date."""

STRETCHES = 20
"""Playing through, the days are taken together to at most so many stretches."""

FOUND_FIRST = 0.2
"""The chance that an unmet card is found, unless the student's own is known. It was missed in the game: a
guess.
"""

Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Facts:
    """Fixed cards as arrays of one length.

    `weights`: of each. `seconds`: what asking it takes. `met`: whether it was ever answered. `elapsed`: days
    since the last answer. `memories`, `elapsed`: without meaning for unmet cards.
    """

    weights: Floats
    seconds: Floats
    met: Bools
    memories: Memories
    elapsed: Floats

    def __len__(self) -> int:
        return len(self.weights)


def facts_of(cards: Sequence[FixedCard], day: date, weights: Mapping[str, float]) -> Facts:
    """The cards on a study day. `weights`: by motif, 1 for those not named."""
    memories = [card.memory for card in cards]
    return Facts(
        np.array([weights.get(card.motif, 1.0) for card in cards], dtype=np.float64),
        np.array([card.seconds for card in cards], dtype=np.float64),
        np.array([memory is not None for memory in memories], dtype=np.bool_),
        Memories(
            np.array([memory.stability if memory else 1.0 for memory in memories], dtype=np.float64),
            np.array([memory.difficulty if memory else 1.0 for memory in memories], dtype=np.float64),
        ),
        np.array([(day - memory.last).days if memory else 0 for memory in memories], dtype=np.float64),
    )


class Way(NamedTuple):
    """A way to choose a day's cards: by gain at a `price` (0: greedy), or due order with a recall `aim`.

    `end`: days before the event on which due order stops having first meetings.
    """

    price: float = 0.0
    aim: float | None = None
    end: int = 0


PLAIN = Way(aim=0.9)
"""Due order as on usual days."""

WAYS = (
    Way(),
    *(Way(price=price) for price in PRICES),
    *(Way(aim=aim, end=end) for aim in AIMS for end in FIRST_MEETINGS_END),
)


@dataclass(frozen=True)
class CardPlan:
    """`today`: the cards to ask today (indices), in order. `way`: which way chose them. `expected`: the mean
    recall on the date, weighted, if every day goes on like this.
    """

    today: tuple[int, ...]
    way: Way
    expected: float


def plan_cards(
    facts: Facts, days_left: int, seconds: float, found_first: float = FOUND_FIRST, ways: Sequence[Way] = WAYS
) -> CardPlan:
    """The cards of today by the way that ends best. `days_left`: the event is so many days after today.

    `seconds`: for fixed cards, on each day. `found_first`: the chance that an unmet card is found.
    """
    if not len(facts):
        return CardPlan((), ways[0], 0.0)
    ends = expected_at_the_end(facts, days_left, seconds, found_first, ways)
    best = int(np.argmax(ends))
    today = todays_cards(facts, days_left, seconds, found_first, ways[best])
    return CardPlan(today, ways[best], float(ends[best]))


def todays_cards(
    facts: Facts, days_left: int, seconds: float, found_first: float, way: Way
) -> tuple[int, ...]:
    """The cards that one way chooses today (indices), in order."""
    if not len(facts):
        return ()
    values = _values(_State.of(facts, 1, found_first), [way], days_left)
    return tuple(int(index) for index in _chosen(values, facts.seconds, seconds)[0] if index >= 0)


def expected_at_the_end(
    facts: Facts, days_left: int, seconds: float, found_first: float, ways: Sequence[Way]
) -> Floats:
    """The weighted mean recall on the date for each way, if it chose the cards of every day."""
    state = _State.of(facts, len(ways), found_first)
    left, stretch = days_left, -(-days_left // STRETCHES)
    while left > 0:
        days = min(stretch, left)
        values = _values(state, ways, left)
        state.answer(_chosen(values, facts.seconds, days * seconds))
        state.wait(days)
        left -= days
    known = np.where(state.met, recalls(state.stability, state.elapsed), 0.0)
    ends: Floats = (known * facts.weights).sum(axis=1) / facts.weights.sum()
    return ends


@dataclass
class _State:
    """Memories as the ways leave them: arrays of (ways, cards)."""

    facts: Facts
    met: Bools
    stability: Floats
    difficulty: Floats
    elapsed: Floats
    found_first: float

    @classmethod
    def of(cls, facts: Facts, ways: int, found_first: float) -> _State:
        stability, difficulty, elapsed = (
            np.tile(array.astype(np.float32), (ways, 1)) for array in (*facts.memories, facts.elapsed)
        )
        return cls(facts, np.tile(facts.met, (ways, 1)), stability, difficulty, elapsed, found_first)

    def wait(self, days: int) -> None:
        self.elapsed += days

    def answer(self, chosen: npt.NDArray[np.intp]) -> None:
        """Ask cards: for each way their indices, filled up with -1."""
        ways, places = np.nonzero(chosen >= 0)
        asked = ways, chosen[ways, places]
        memories = Memories(self.stability[asked], self.difficulty[asked])
        outcomes = _outcomes(memories, self.elapsed[asked], self.met[asked], self.found_first)
        after = _mean_after(memories, self.met[asked], outcomes)
        self.stability[asked], self.difficulty[asked] = after
        self.elapsed[asked] = 0
        self.met[asked] = True


class _Outcomes(NamedTuple):
    """What an answer can lead to: the chance that it is found, and the stability after either."""

    chance: Floats
    found: Floats
    missed: Floats

    def recall_after(self, days: float) -> Floats:
        """The expected recall so many days after the answer."""
        found, missed = recalls(self.found, days), recalls(self.missed, days)
        return self.chance * found + (1 - self.chance) * missed


def _outcomes(memories: Memories, elapsed: Floats, met: Bools, found_first: float) -> _Outcomes:
    recall = recalls(memories.stability, elapsed)
    found, missed = stability_after_found(memories, recall), stability_after_missed(memories, recall)
    if met.all():
        return _Outcomes(recall, found, missed)
    return _Outcomes(
        _where(met, recall, found_first),
        _where(met, found, after_first("found")[0]),
        _where(met, missed, after_first("missed")[0]),
    )


def _mean_after(memories: Memories, met: Bools, outcomes: _Outcomes) -> Memories:
    """Memories between what an answer makes of them if found and if missed.

    Stabilities are mixed by their logarithms, because recall is nearly a straight line in these.
    """
    share, difficulty = outcomes.chance, memories.difficulty
    found = _where(met, difficulty_after(difficulty, True), after_first("found")[1])
    missed = _where(met, difficulty_after(difficulty, False), after_first("missed")[1])
    return Memories(
        outcomes.found**share * outcomes.missed ** (1 - share), share * found + (1 - share) * missed
    )


def _where(condition: Bools, yes: Floats, no: float) -> Floats:
    return np.where(condition, yes, yes.dtype.type(no))


def _values(state: _State, ways: Sequence[Way], left: int) -> Floats:
    """How much each way wants each card now, -inf if not at all: an array of (ways, cards)."""
    values = np.empty_like(state.stability)
    ordered = [row for row, way in enumerate(ways) if way.aim is not None]
    priced = [row for row, way in enumerate(ways) if way.aim is None]
    if ordered:
        values[ordered] = _by_due_order(state, ordered, [ways[row] for row in ordered], left)
    if priced:
        values[priced] = _by_gain(state, priced, [ways[row].price for row in priced], left)
    return values


def _by_due_order(state: _State, rows: list[int], ways: Sequence[Way], left: int) -> Floats:
    aims = np.array([[way.aim] for way in ways], dtype=np.float32)
    ends = np.array([[way.end] for way in ways])
    met = state.met[rows]
    recall = recalls(state.stability[rows], state.elapsed[rows])
    due = met & (recall <= aims) & (state.elapsed[rows] >= 1)
    place = np.arange(met.shape[1], dtype=np.float32) / met.shape[1]
    values = np.where(due, 1 - recall, np.where(~met & (left > ends), -1 - place, -np.inf))
    return np.asarray(values)


def _by_gain(state: _State, rows: list[int], prices: list[float], left: int) -> Floats:
    """Weighted recall on the date for each second, gained by asking now. With a price: and not later."""
    memories = Memories(state.stability[rows], state.difficulty[rows])
    met, elapsed = state.met[rows], state.elapsed[rows]
    weights, seconds = (array.astype(np.float32) for array in (state.facts.weights, state.facts.seconds))
    now = _outcomes(memories, elapsed, met, state.found_first)
    asked = now.recall_after(left) * weights
    untouched = _where(met, recalls(memories.stability, elapsed + left), 0.0) * weights
    gains = np.where(
        met & (elapsed < 1), -np.inf, asked - untouched
    )  # a second answer of a day doesn't count
    values = np.where(gains > 0, gains, -np.inf)
    ahead = [row for row, price in enumerate(prices) if price > 0]
    later_days = sorted({left // 4, left // 2, 1} - {0, left})
    if ahead and later_days:
        cost = np.array([[prices[row]] for row in ahead], dtype=np.float32) * seconds / seconds.mean()
        mean = Memories(*(part[ahead] for part in _mean_after(memories, met, now)))
        memories = Memories(*(part[ahead] for part in memories))
        met, elapsed, always = met[ahead], elapsed[ahead], np.ones_like(met[ahead])
        today, wait = asked[ahead], untouched[ahead]
        for days in later_days:
            gap = np.full_like(elapsed, left - days)
            again = _outcomes(mean, gap, always, state.found_first).recall_after(days)
            first = _outcomes(memories, elapsed + gap, met, state.found_first).recall_after(days)
            today = np.maximum(today, again * weights - cost)
            wait = np.maximum(wait, first * weights - cost)
        values[ahead] = np.where(gains[ahead] > 0, today - wait, -np.inf)
    return np.asarray(values / seconds)


def _chosen(values: Floats, seconds: Floats, budget: float) -> npt.NDArray[np.intp]:
    """For each way the indices of its cards, the most wanted first, filled up with -1.

    A card is chosen as long as those before it leave some of the `budget` of seconds.
    """
    most = min(values.shape[1], int(budget // seconds.min()) + 1)
    order = np.argsort(-values, axis=1, kind="stable")[:, :most]
    taken = seconds[order]
    before = np.cumsum(taken, axis=1) - taken
    wanted = (before < budget) & (np.take_along_axis(values, order, axis=1) > -np.inf)
    return np.where(wanted, order, -1)


def seconds_for_cards(seconds: float) -> float:
    """What fixed cards may take of a day's seconds before an event."""
    return SHARE_OF_CARDS * seconds


def before_event(
    today: Today, cards: Sequence[FixedCard], plan: CardPlan, weights: Mapping[str, float]
) -> Today:
    """A study day before an event: the planned cards, and then strands by their weighted turn."""
    return replace(
        today,
        due_cards=tuple(cards[index] for index in plan.today),
        unmet_cards=(),
        due_strands_first=False,
        weights=weights,
    )
