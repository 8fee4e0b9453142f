"""What a student does in the minutes of a study day, one step after the other.

1. What is due: fixed cards, least recall first, and strands, longest waiting first, alternately. Something
   with the motif of the step before gives way to the next one (interleaving: Kornell & Bjork 2008; Rohrer
   2014).
2. First meetings, if nothing due is left and what was due took at most half of the minutes; strands first.
3. The strands whose turn it is, as long as there are minutes.

A fixed card is a fact that is remembered or forgotten, such as an own mistake. A strand is a skill
(`decks.memory.strands`), shown in a position of its pool (`decks.memory.pool`).

Nothing begins once the minutes are used, so a day takes at most one step longer. Two asks of a position never
come on one day, unless they are steps of one card.

Nothing here reads a clock: `next_step` says what comes, and `done` takes what came of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time
from operator import itemgetter
from types import MappingProxyType

from decks.memory.answers import EVERY_MOTIF, Strand
from decks.memory.day import DayAhead
from decks.memory.model import LONGEST_INTERVAL, REST, Memory
from decks.memory.pool import Choice, Position, asks_lookalike, choose
from decks.memory.strands import Showing, StrandState, after
from decks.tasks.card import Why

WORKED_SECONDS = 30.0
"""The time we expect for a worked position. Our guess."""


@dataclass(frozen=True)
class FixedCard:
    """A card that is remembered as a fact, with those of its asks that come next, in one sitting.

    `card`: its id. `position`: the key of its position, as in the pools. `seconds`: what the sitting takes.
    `memory`: the one of these asks that is least likely to be recalled; None if the card is unmet. `worked`:
    it is shown worked, because the student is stuck on these asks.
    """

    card: str
    position: str
    motif: str
    seconds: float
    memory: Memory | None = None
    worked: bool = False

    def is_due(self, day: date) -> bool:
        """Whether it returns on this study day or should have before."""
        return self.memory is not None and self.memory.returns <= day


@dataclass(frozen=True)
class CardStep:
    """A fixed card to ask or to show worked. `seconds`: what it is expected to take."""

    card: FixedCard
    why: Why
    seconds: float

    @property
    def position(self) -> str:
        """The key of the position shown."""
        return self.card.position


@dataclass(frozen=True)
class StrandStep:
    """A position to show for a strand. `seconds`: what it is expected to take.

    `strands`: whose asks are asked, in the order of a sitting: `strand` and the others of the same card that
    have had their first meetings. Empty if the position is shown worked. `fresh`: it was never displayed.
    """

    strand: Strand
    shown: Position
    fresh: bool
    strands: tuple[Strand, ...]
    why: Why
    seconds: float

    @property
    def position(self) -> str:
        """The key of the position shown."""
        return self.shown.key


Step = CardStep | StrandStep


@dataclass(frozen=True)
class Today:
    """A study day as far as it has come.

    `ahead`: what there is still time for. `states`: of all strands that have a pool; `pools`: theirs.
    `shown`: when each position was last displayed in any way. `fresh_left`: unseen positions the day may
    still use. `seconds_of`: the usual time of an ask. `due_cards`, `unmet_cards`: in the order in which
    they are asked. `may_meet`: whether first meetings are allowed at all (see `clear_again`).
    `due_strands_first`: strands that are due come before those whose turn it is. `weights`: of strands, by
    motif, 1 for those not named. `last_shown`: the last position of each strand. `seed`: decides where
    chance must.

    `done` keeps the other fields: whether a strand came last (or else a card), and with which motifs; how
    often each motif came today; and the strand whose first meeting isn't over.
    """

    ahead: DayAhead
    states: Mapping[Strand, StrandState]
    pools: Mapping[Strand, Sequence[Position]]
    shown: Mapping[str, date]
    fresh_left: int
    seconds_of: Mapping[str, float]
    due_cards: tuple[FixedCard, ...] = ()
    unmet_cards: tuple[FixedCard, ...] = ()
    may_meet: bool = True
    due_strands_first: bool = True
    weights: Mapping[str, float] = field(default_factory=dict)
    last_shown: Mapping[Strand, Position] = field(default_factory=dict)
    seed: int = 0
    strand_came_last: bool = True
    came_last: frozenset[str] = frozenset()
    came: Mapping[str, int] = field(default_factory=dict)
    meeting: Strand | None = None

    @property
    def day(self) -> date:
        """The study day."""
        return self.ahead.day


def due_cards(cards: Iterable[FixedCard], day: date) -> tuple[FixedCard, ...]:
    """Those that are due on a study day, least recall first."""
    ranked = [(-forgotten(card.memory, day), card) for card in cards if card.memory and card.is_due(day)]
    return tuple(card for _, card in sorted(ranked, key=lambda pair: (pair[0], pair[1].card)))


def forgotten(memory: Memory, day: date) -> float:
    """Days since the last answer, in stabilities. The more, the less likely is recall, which takes longer."""
    return (day - memory.last).days / memory.stability


def most_forgotten(memories: Mapping[str, Memory], day: date) -> list[tuple[float, str]]:
    """The items that are due on a study day, with how far they are `forgotten`: most of all first.

    There may be very many, so nothing is called for each of them.
    """
    long_ago, rested = day - LONGEST_INTERVAL, day - REST
    due = [
        ((day - memory.last).days / memory.stability, item)
        for item, memory in memories.items()
        if (  # `Memory.returns`
            memory.due <= day or memory.last <= long_ago if memory.worked is None else memory.worked <= rested
        )
    ]
    return sorted(due, key=itemgetter(0), reverse=True)


def next_step(today: Today) -> Step | None:
    """What comes next; None if the minutes are used or there is nothing left to do today."""
    if today.ahead.seconds <= 0:
        return None
    if today.meeting and (step := _strand_step(today, today.meeting, "first meeting")):
        return step
    return _due_step(today) or _first_meeting(today) or _turn(today)


def done(
    today: Today, step: Step, seconds: float, showings: Mapping[Strand, Showing] = MappingProxyType({})
) -> Today:
    """The day after a step that took `seconds`. `showings`: what the log keeps of it, by strand."""
    states = {
        **today.states,
        **{strand: after(today.states[strand], new) for strand, new in showings.items()},
    }
    first = step.why == "first meeting"
    begins = first and today.meeting is None
    kinds = _kinds(step)
    times = {kind: today.came.get(kind, 0) + (begins or not first) for kind in kinds}
    today = replace(
        today,
        ahead=replace(
            today.ahead,
            seconds=today.ahead.seconds - seconds,
            due_seconds=today.ahead.due_seconds - (seconds if step.why == "due" else 0),
            first_meetings=today.ahead.first_meetings - begins,
        ),
        states=states,
        shown={**today.shown, step.position: today.day},
        came={**today.came, **times},
        came_last=kinds,
        strand_came_last=isinstance(step, StrandStep),
        meeting=None,
    )
    if isinstance(step, CardStep):
        return today
    return replace(
        today,
        fresh_left=today.fresh_left - step.fresh,
        last_shown={**today.last_shown, **dict.fromkeys((step.strand, *step.strands), step.shown)},
        meeting=step.strand if first and states[step.strand].in_first_meeting else None,
    )


def plan_day(today: Today) -> list[Step]:
    """The steps of the day as it looks from here: every answer is `found` and takes the usual time."""
    steps: list[Step] = []
    while step := next_step(today):
        steps.append(step)
        today = done(today, step, step.seconds, as_found(step, today.day))
    return steps


def as_found(step: Step, day: date) -> dict[Strand, Showing]:
    """What the log would keep of a step if its answers were `found`."""
    if isinstance(step, CardStep):
        return {}
    showing = Showing(
        "",
        day,
        datetime.combine(day, time.min),
        "found" if step.strands else None,
        step.shown.tier,
        step.shown.lookalike,
        step.fresh,
    )
    return dict.fromkeys(step.strands or (step.strand,), showing)


def clear_again(ahead: DayAhead, due_on: Mapping[date, bool]) -> bool:
    """Whether first meetings are allowed: after a long absence one day must have ended with nothing due.

    `due_on`: for each of the days `ahead.clear_one_of`, whether anything was due when it ended.
    """
    return not ahead.clear_one_of or not all(due_on[day] for day in ahead.clear_one_of)


def _due_step(today: Today) -> Step | None:
    """The next due step: of the kind that didn't come last, or else of the other."""
    card = _card_step(today, today.due_cards, "due")
    if card and today.strand_came_last:
        return card
    return _due_strand(today) or card


def _due_strand(today: Today) -> StrandStep | None:
    if not today.due_strands_first:
        return None
    waiting = sorted(
        (_kind(strand) in today.came_last, state.returns, strand)
        for strand, state in today.states.items()
        if state.returns is not None and state.is_due(today.day)
    )
    return _first_to_show(today, (strand for *_, strand in waiting), "due")


def _first_meeting(today: Today) -> Step | None:
    if not today.may_meet or today.ahead.due_seconds < 0 or today.ahead.first_meetings < 1:
        return None
    unmet = [strand for strand, state in today.states.items() if state.asked == 0]
    unmet.sort(key=lambda strand: -_weight(today, strand))
    possible = (strand for strand in unmet if _can_be_met(today, strand))
    step = _first_to_show(today, possible, "first meeting")
    return step or _card_step(today, today.unmet_cards, "first meeting")


def _card_step(today: Today, cards: Iterable[FixedCard], why: Why) -> CardStep | None:
    """The first of these cards whose position wasn't displayed today; after its own motif the next one."""
    possible = (card for card in cards if today.shown.get(card.position) != today.day)
    first = next(possible, None)
    if first and first.motif in today.came_last:
        first = next((card for card in possible if card.motif not in today.came_last), first)
    return CardStep(first, why, first.seconds) if first else None


def _can_be_met(today: Today, strand: Strand) -> bool:
    """Whether the day still has a position to show worked and one to ask, or the pool never has two."""
    worked = _choice(today, strand)
    if worked is None or len(today.pools[strand]) == 1 or not today.states[strand].wants_worked:
        return worked is not None
    after_it = replace(
        today,
        shown={**today.shown, worked.position.key: today.day},
        fresh_left=today.fresh_left - worked.fresh,
    )
    return _choice(after_it, strand) is not None


def _turn(today: Today) -> StrandStep | None:
    """A strand whose turn it is. A motif comes again only after every other."""
    met = [
        (today.came.get(_kind(strand), 0), -state.turn(today.day, _weight(today, strand)), strand)
        for strand, state in today.states.items()
        if state.asked > 0
    ]
    return _first_to_show(today, (strand for *_, strand in sorted(met)), "turn")


def _first_to_show(today: Today, strands: Iterable[Strand], why: Why) -> StrandStep | None:
    """The step of the first of these strands that has a position to show today."""
    return next((step for strand in strands if (step := _strand_step(today, strand, why))), None)


def _strand_step(today: Today, strand: Strand, why: Why) -> StrandStep | None:
    state = today.states[strand]
    choice = None if state.rests(today.day) else _choice(today, strand)
    if choice is None:
        return None
    if state.wants_worked and (state.asked > 0 or len(today.pools[strand]) > 1):
        return StrandStep(strand, choice.position, choice.fresh, (), why, WORKED_SECONDS)
    asked = tuple(
        each
        for each in choice.position.strands
        if each == strand or (each in today.states and _is_met(today, each))
    )
    seconds = sum(today.seconds_of[each.ask] for each in asked)
    return StrandStep(strand, choice.position, choice.fresh, asked, why, seconds)


def _is_met(today: Today, strand: Strand) -> bool:
    state = today.states[strand]
    return state.asked > 0 and not state.wants_worked and not state.rests(today.day)


def _choice(today: Today, strand: Strand) -> Choice | None:
    state = today.states[strand]
    return choose(
        today.pools[strand],
        state.tier,
        today.last_shown.get(strand),
        today.shown,
        today.day,
        today.fresh_left,
        not state.wants_worked and asks_lookalike(strand, state.asked, today.seed),
        today.seed,
    )


def _kinds(step: Step) -> frozenset[str]:
    """The motifs of a step, which may come twice a day only after every other."""
    if isinstance(step, CardStep):
        return frozenset({step.card.motif})
    return frozenset(map(_kind, (step.strand, *step.strands)))


def _kind(strand: Strand) -> str:
    return str(strand) if strand.motif == EVERY_MOTIF else strand.motif


def _weight(today: Today, strand: Strand) -> float:
    return today.weights.get(strand.motif, 1.0)
