"""What a student has done in the last weeks, as a coach looks at it. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from decks.memory.answers import CardItem, Strand, parse_item
from decks.memory.day import DaySoFar
from decks.memory.model import Memory
from decks.memory.progress import Rate
from decks.memory.strands import TIERS, Showing, StrandState

PERIOD = timedelta(days=28)
"""Four weeks, so that each day of the week counts alike."""


@dataclass(frozen=True)
class Results:
    """What a student did in the PERIOD up to a day.

    `days`: on how many there were answers. `minutes`: of one of these days, on average. `at_first_sight`: the
    answers in new positions by tier, lookalikes among them; different tiers are never put together. `stuck`:
    the strands, and then the asks of fixed cards, on which the student is stuck.
    """

    days: int
    minutes: float
    at_first_sight: Mapping[int, Rate]
    stuck: tuple[Strand | CardItem, ...]


def results_of(
    days: Sequence[DaySoFar],
    logs: Mapping[Strand, Iterable[Showing]],
    states: Mapping[Strand, StrandState],
    memories: Mapping[str, Memory],
    today: date,
) -> Results:
    """The results at the end of `today`. `days`: those with answers. `logs`, `states`: of all strands.

    `memories`: of fixed cards, by item.
    """
    since = today - PERIOD
    recent = [each for each in days if since < each.day <= today]
    fresh = [
        showing
        for log in logs.values()
        for showing in log
        if showing.fresh and showing.grade is not None and since < showing.day <= today
    ]
    of_tier = {tier: [each.right for each in fresh if each.tier == tier] for tier in TIERS}
    return Results(
        len(recent),
        sum(each.seconds for each in recent) / 60 / max(1, len(recent)),
        {tier: Rate(sum(right), len(right)) for tier, right in of_tier.items()},
        (
            *sorted(strand for strand, state in states.items() if state.stuck_since is not None),
            *(parse_item(item) for item, memory in sorted(memories.items()) if memory.is_stuck),
        ),
    )
