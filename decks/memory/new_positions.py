"""How many new positions the strands need up to an event, and how many their pools lack."""

from __future__ import annotations

import sys
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from datetime import timedelta

from decks.memory.answers import Strand
from decks.memory.minutes import StrandStep, Today, as_found, done, next_step
from decks.memory.pool import Position, unseen


def positions_needed(today: Today, days_left: int) -> dict[Strand, int]:
    """How many new positions each strand would be shown up to the event if no pool ever ran out.

    `today`: the first day, as `before_event` makes it; every day has as much time for strands, and as many
    first meetings. It is counted as if every answer were found.
    """
    needed = dict.fromkeys(today.states, 0)
    seconds = today.ahead.seconds - sum(card.seconds for card in today.due_cards)
    ahead = replace(today.ahead, seconds=seconds)
    today = replace(today, pools={strand: _made_up(strand, 0) for strand in today.states}, due_cards=())
    for number in range(days_left):
        day = replace(ahead, day=ahead.day + timedelta(days=number))
        today = replace(today, ahead=day, fresh_left=sys.maxsize, came={}, meeting=None)
        while step := next_step(today):
            assert isinstance(step, StrandStep)
            needed[step.strand] += 1
            today = done(today, step, step.seconds, as_found(step, today.day))
            pool = _made_up(step.strand, needed[step.strand])
            today = replace(today, pools={**today.pools, step.strand: pool})
    return needed


def positions_lacking(
    needed: Mapping[Strand, int], pools: Mapping[Strand, Sequence[Position]], shown: Collection[str]
) -> dict[Strand, int]:
    """How many more unseen positions each strand would need; strands that have enough are left out."""
    lacking = {strand: count - unseen([pools.get(strand, ())], shown) for strand, count in needed.items()}
    return {strand: count for strand, count in lacking.items() if count > 0}


def _made_up(strand: Strand, number: int) -> tuple[Position, ...]:
    """Two positions that nobody has seen."""
    return tuple(Position(f"{strand} {number + each}", (strand,)) for each in range(2))
