"""Strands: what a student can do with a motif, told by answers in positions that were new to the student.

A strand is a skill and not a fact, so it has no recall. It has a tier from 1 to 3, which says how hard its
positions are, and a date on which it returns. A position that the student has seen before moves this date but
says nothing about the skill. The first meeting is a worked position (the idea is shown, nothing is asked) and
then one that is asked; if that is missed, a second worked one follows.

The numbers are our choices. They were tried on an invented student (`tests/benchmarks/learning.py`), whose
success depends far more on how many new positions are met than on when.

Nothing here reads a clock: the log is an argument, and the same log always gives the same state.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from statistics import median
from typing import Any, NamedTuple

from decks.asks.catalogue import ASKS
from decks.memory.answers import EVERY_MOTIF, RIGHT_GRADES, Strand
from decks.memory.model import REST, Memory
from decks.tasks.card import Grade

TIERS = (1, 2, 3)
"""How hard positions are, the easiest first."""

RETURN_DAYS = (3, 7, 14)
"""Days until a strand returns after an answer that wasn't right, after a right one, after more in a row."""

TIER_WINDOW = 5
DECIDE_A_TIER = 4
"""So many right of the last TIER_WINDOW answers in a tier lead to the next tier, so many wrong ones back."""

STUCK_WINDOW = 8
STUCK_RIGHT = 1
"""A strand is stuck with at most so many right of the last STUCK_WINDOW answers in the lowest tier."""

TURN_WINDOW = 6
"""The turn depends on so many last answers."""

SIGHTS_KEPT = 10
"""Of each tier, and of real positions and lookalikes apart, so many last answers are kept for a rate."""

USUAL_TIME_FROM = 10
"""Right answers from which a student has a usual time; a median of fewer moves too much."""


def strand_of(motif: str | None, ask: str) -> Strand | None:
    """The strand of an ask of a card whose first motif is `motif`; None if it has none and would need one.

    >>> strand_of("fork", "play"), strand_of("fork", "assess"), strand_of(None, "play")
    (Strand(motif='fork', ask='play'), Strand(motif='every-motif', ask='assess'), None)
    """
    if not ASKS[ask].by_motif:
        return Strand(EVERY_MOTIF, ask)
    return None if motif is None else Strand(motif, ask)


@dataclass(frozen=True)
class Showing:
    """A position that was shown for a strand, as the log keeps it.

    `showing_id` and `time` only order the showings of a day. `grade`: the grade that holds now; None if the
    position was shown worked and nothing was asked. `tier`, `lookalike`: of the position. `fresh`: it had
    never been displayed to the student before. `open_contest`: the student claims another grade, and nobody
    has decided yet.
    """

    showing_id: str
    day: date
    time: datetime
    grade: Grade | None
    tier: int = 1
    lookalike: bool = False
    fresh: bool = True
    open_contest: bool = False

    @property
    def right(self) -> bool:
        """Whether it was answered right, without help and without doubt."""
        return self.grade in RIGHT_GRADES and not self.open_contest


class Sight(NamedTuple):
    """An answer in a fresh position: of which tier it was, whether a lookalike, and whether it was right."""

    tier: int
    lookalike: bool
    right: bool


@dataclass(frozen=True)
class StrandState:
    """What a log says of one strand. The default is a strand that was never shown.

    `returns`: the study day from which on it is due. `last`: the one on which it was last asked. `asked`,
    `worked`: how many positions. `row`: right answers in a row up to now. `sights`: the last answers in fresh
    positions, the latest last, SIGHTS_KEPT of each kind; `in_tier`: whether those were right that count since
    it entered its tier. `missed`: whether the last answer was. `stuck_since`: the day on which it got stuck,
    until an answer is right; `rests_until`: the end of the rest, once it was shown worked. `tiers`: each tier
    with the study day from which on it was in it.
    """

    tier: int = 1
    returns: date | None = None
    last: date | None = None
    asked: int = 0
    worked: int = 0
    row: int = 0
    in_tier: tuple[bool, ...] = ()
    sights: tuple[Sight, ...] = ()
    missed: bool = False
    stuck_since: date | None = None
    rests_until: date | None = None
    tiers: tuple[tuple[date, int], ...] = ()

    @property
    def first_sight(self) -> tuple[bool, ...]:
        """Whether the last TURN_WINDOW answers in fresh positions were right, the latest last."""
        return tuple(sight.right for sight in self.sights[-TURN_WINDOW:])

    @property
    def wants_worked(self) -> bool:
        """Whether the next position is shown worked: at the first meeting, after its miss, and when stuck."""
        first_meeting = (
            self.worked == 0 if self.asked == 0 else self.asked == self.worked == 1 and self.missed
        )
        return first_meeting or (self.stuck_since is not None and self.rests_until is None)

    @property
    def in_first_meeting(self) -> bool:
        """Whether the first meeting has begun and isn't over."""
        return (self.asked == 0 and self.worked > 0) or (self.asked == 1 and self.wants_worked)

    def is_due(self, day: date) -> bool:
        """Whether it returns on this study day or should have before."""
        return self.returns is not None and self.returns <= day

    def rests(self, day: date) -> bool:
        """Whether it may not be shown on this study day because the student was stuck."""
        return self.rests_until is not None and day < self.rests_until

    def turn(self, day: date, weight: float = 1.0) -> float:
        """How much its turn it is on a study day: the longer ago and the less often right, the more.

        Days since it was last asked x (1.3 - s) x `weight`, with s = (right + 1.2) / (n + 2) over its last
        answers at first sight. 0 for a strand that was never asked.
        """
        if self.last is None:
            return 0.0
        last = self.first_sight
        success = (sum(last) + 1.2) / (len(last) + 2)
        return (day - self.last).days * (1.3 - success) * weight


Learnt = Memory | StrandState
"""What is derived from the answers to an item: a memory of a card's ask, or the state of a strand."""


def state_of(log: Iterable[Showing]) -> StrandState:
    """The state of a strand after all its showings, in whatever order they are given."""
    state = StrandState()
    for showing in sorted(log, key=lambda each: (each.day, each.time, each.showing_id)):
        state = after(state, showing)
    return state


def after(state: StrandState, showing: Showing) -> StrandState:
    """The state after one more showing. ValueError if it is of an earlier day than the last answer."""
    if state.last is not None and showing.day < state.last:
        raise ValueError(f"a showing of {showing.day} can't follow one of {state.last}")
    if showing.grade is None:
        return _after_worked(state, showing.day)
    row = state.row + 1 if showing.right else 0
    changes: dict[str, Any] = {
        "returns": showing.day + timedelta(days=RETURN_DAYS[min(row, len(RETURN_DAYS) - 1)]),
        "last": showing.day,
        "asked": state.asked + 1,
        "row": row,
        "missed": showing.grade == "missed",
    }
    if showing.fresh:
        changes |= _first_sight(state, showing)
    changes["tiers"] = _tiers(state, changes.get("tier", state.tier), showing.day)
    return StrandState(**(vars(state) | changes))  # half the time of `replace`, for very long logs


def _after_worked(state: StrandState, day: date) -> StrandState:
    if state.stuck_since is not None and state.rests_until is None:
        state = replace(state, rests_until=day + REST, returns=day + REST)
    return replace(state, worked=state.worked + 1, tiers=_tiers(state, state.tier, day))


def _tiers(state: StrandState, tier: int, day: date) -> tuple[tuple[date, int], ...]:
    """The tiers up to a day on which it is in `tier`."""
    return state.tiers if state.tiers and state.tiers[-1][1] == tier else (*state.tiers, (day, tier))


def _first_sight(state: StrandState, showing: Showing) -> dict[str, Any]:
    """What else an answer in a fresh position changes. Fields by name: a log has very many answers."""
    right = showing.right
    changes: dict[str, Any] = {"sights": _and(state.sights, Sight(showing.tier, showing.lookalike, right))}
    if right:
        changes |= {"stuck_since": None, "rests_until": None}
    speaks = showing.tier == state.tier or right == (showing.tier > state.tier)
    if not speaks:  # missing a harder one and solving an easier one were to be expected
        return changes
    in_tier = (*state.in_tier, right)[-STUCK_WINDOW:]
    window = in_tier[-TIER_WINDOW:]
    if sum(window) >= DECIDE_A_TIER and state.tier < TIERS[-1]:
        return changes | {"tier": state.tier + 1, "in_tier": ()}
    if len(window) - sum(window) >= DECIDE_A_TIER and state.tier > TIERS[0]:
        return changes | {"tier": state.tier - 1, "in_tier": ()}
    if state.tier == TIERS[0] and len(in_tier) == STUCK_WINDOW and sum(in_tier) <= STUCK_RIGHT:
        return changes | {
            "in_tier": (),
            "stuck_since": showing.day,
            "rests_until": None,
            "returns": showing.day,
        }
    return changes | {"in_tier": in_tier}


def _and(sights: tuple[Sight, ...], new: Sight) -> tuple[Sight, ...]:
    """One more, in the place of the oldest of its kind if there are enough of these."""
    alike = [place for place, each in enumerate(sights) if each[:2] == new[:2]]
    kept = alike[0] if len(alike) == SIGHTS_KEPT else len(sights)
    return (*sights[:kept], *sights[kept + 1 :], new)


def usual_time(times: Sequence[float]) -> float | None:
    """A student's usual seconds for an ask: the median of the own times. None before there are enough."""
    return median(times) if len(times) >= USUAL_TIME_FROM else None


def fluent_within(times: Sequence[float]) -> float | None:
    """The seconds within which a right answer is fluent: half the usual time. None before there is one.

    `times`: the student's own, of right answers to this ask in this tier.
    """
    usual = usual_time(times)
    return None if usual is None else usual / 2
