"""Preparation for an event, as a student's days follow it: the plan that is kept, and the days ahead."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import partial

from decks.material import Log, Material
from decks.memory.askable import fixed
from decks.memory.day import MINUTES_A_FIRST_MEETING
from decks.memory.minutes import CardStep, FixedCard, Step, Today, as_found, done, next_step
from decks.memory.model import review, shown_worked
from decks.memory.pool import fresh_allowance, has_new, needed_for_sure
from decks.scorebook.book import Scorebook, ScorebookError
from decks.scorebook.games import MotifCount


@dataclass(frozen=True)
class Event:
    """An event that a student prepares for. `minutes`: of each day up to it. `weights`: by motif."""

    day: date
    minutes: float
    weights: Mapping[str, float]

    def written(self) -> str:
        """The plan as the scorebook keeps it."""
        return json.dumps({"minutes": self.minutes, "weights": dict(self.weights)})


def event_ahead(scorebook: Scorebook, student: int, day: date) -> Event | None:
    """The next event that a student prepares for; None if there is none after `day`."""
    found = scorebook.next_preparation(student, day + timedelta(days=1))
    if found is None:
        return None
    event_day, plan = found
    try:
        read = json.loads(plan)
        weights = {str(motif): float(weight) for motif, weight in read["weights"].items()}
        return Event(event_day, float(read["minutes"]), weights)
    except (ValueError, TypeError, LookupError, AttributeError) as error:
        raise ScorebookError(f"{scorebook.path}: the preparation for {event_day} is damaged") from error


def weights_of(scorebook: Scorebook, names: Collection[str]) -> tuple[dict[str, float], int]:
    """How much each motif counts, by what it cost these players in traced games, and in how many games."""
    from decks.memory.motif_weights import weights

    counted = scorebook.count_cases(names)
    lost = {motif: tally.cost for (_, motif), tally in counted.tallies.items() if motif is not None}
    return weights(lost, counted.games), counted.games


def habits_of(counts: Iterable[MotifCount], games: int) -> dict[str, float]:
    """How much each motif counts, by how often it arose for either side in an opponent's games."""
    from decks.memory.motif_weights import weights
    from patterns.catalogue import MOTIFS

    arose = dict.fromkeys(MOTIFS, 0.0)
    for each in counts:
        arose[each.motif] += each.games
    return weights(arose, games)


@dataclass(frozen=True)
class Leaning:
    """What a preparation leans on. `weights`: by motif. `games`: how many of the student's were traced.

    `opponent`: whose games count too, empty if nobody's; `opponent_games`: how many.
    """

    weights: Mapping[str, float]
    games: int
    opponent: str = ""
    opponent_games: int = 0


def leaning_of(
    book: Scorebook, names: Collection[str], met: tuple[str, int, Iterable[MotifCount]] | None
) -> Leaning:
    """Weights by the traced games of the student, who has these names, and by the opponent's, if one is met.

    What costs the student most counts most if it is likely to arise. `met`: the opponent's name, the number
    of games, and what arose in them.
    """
    from decks.memory.motif_weights import within_limits

    own, games = weights_of(book, names)
    if met is None:
        return Leaning(own, games)
    opponent, opponent_games, counts = met
    habits = habits_of(counts, opponent_games)
    both = {motif: within_limits(own.get(motif, 1.0) * habits.get(motif, 1.0)) for motif in {**own, **habits}}
    return Leaning(both, games, opponent, opponent_games)


def prepared(today: Today, cards: Mapping[str, FixedCard], event: Event) -> Today:
    """A study day as it has to be before an event. `cards`: all fixed cards that may be asked, by name."""
    from decks.memory.preparation import before_event, facts_of, plan_cards, seconds_for_cards

    possible = [
        card
        for card in cards.values()
        if today.shown.get(card.position) != today.day and not _rests(card, today.day)
    ]
    left = (event.day - today.day).days
    facts = facts_of(possible, today.day, event.weights)
    plan = plan_cards(facts, left, seconds_for_cards(max(0.0, today.ahead.seconds)))
    return before_event(today, possible, plan, event.weights)


def _rests(card: FixedCard, day: date) -> bool:
    memory = card.memory
    return memory is not None and memory.worked is not None and memory.returns > day


def fixed_cards(material: Material, log: Log, today: Today) -> dict[str, FixedCard]:
    """All fixed cards as they stand on a study day, due or not, by name."""
    found = (fixed(card, log.memories, log.day, early=True) for card in material.fixed)
    return {each.card.name: each.as_card(today.seconds_of) for each in found if each is not None}


def _after_step(card: FixedCard, day: date) -> FixedCard:
    """A fixed card after it was found on a study day, or shown worked."""
    if card.worked and card.memory:
        return replace(card, memory=shown_worked(card.memory, day), worked=False)
    return replace(card, memory=review(card.memory, "found", day))


def days_ahead(
    today: Today, cards: Mapping[str, FixedCard], event: Event
) -> Iterator[tuple[date, list[Step]]]:
    """The days up to an event as they look today: every answer is found and takes its usual time."""
    cards = dict(cards)
    while today.day < event.day:
        today = prepared(today, cards, event)
        steps: list[Step] = []
        while step := next_step(today):
            steps.append(step)
            today = done(today, step, step.seconds, as_found(step, today.day))
            if isinstance(step, CardStep):
                cards[step.card.card] = _after_step(step.card, today.day)
        yield today.day, steps
        tomorrow = today.day + timedelta(days=1)
        unseen = {each.key for pool in today.pools.values() for each in pool} - today.shown.keys()
        seconds = 60 * event.minutes
        ahead = replace(
            today.ahead,
            day=tomorrow,
            seconds=seconds,
            due_seconds=seconds / 2,
            first_meetings=seconds // (60 * MINUTES_A_FIRST_MEETING),
        )
        fresh = max(
            fresh_allowance(len(unseen), max(1, (event.day - tomorrow).days)),
            needed_for_sure(ahead, today.states, partial(has_new, today.pools, today.shown)),
        )
        today = replace(today, ahead=ahead, fresh_left=fresh, came={}, meeting=None, due_cards=())
