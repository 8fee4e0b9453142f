"""What is known on the date of an event, by the plan and by due order: `python tests/benchmarks/preparation.py`.

300 fixed cards, 15 answers of 20 seconds a day, 20 seeds. Compared are plain due order (what has fallen to .90,
least recall first, then unmet cards), the best due order for each case, chosen with hindsight, and the plan,
which is made again every day and isn't told the case. The measure is the mean recall on the date. Answers are
drawn by the model; the student who forgets twice as fast is one whose days count twice, which no plan is told.

Cards that were met have stabilities around ten days. Backlog means that nothing was asked for ten days.

For strands the invented student of `learning.py` prepares five minutes a day for 40 days, with weights that
differ as much as they may. The measure is the weighted mean success in new positions on the date.

`--seeds N` (20), `--quick` leaves out what takes long.
"""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from dataclasses import replace
from datetime import timedelta
from random import Random
from statistics import mean

import numpy as np
from learning import MANY, MOTIFS, START, Assumptions, Student, positions, study
from numpy.random import Generator, default_rng

from decks.memory.day import MINUTES_A_FIRST_MEETING, DayAhead
from decks.memory.many import (
    Floats,
    Memories,
    after_first,
    difficulty_after,
    recalls,
    stability_after_found,
    stability_after_missed,
)
from decks.memory.minutes import Today
from decks.memory.pool import fresh_allowance, unseen
from decks.memory.preparation import (
    FOUND_FIRST,
    PLAIN,
    WAYS,
    Bools,
    CardPlan,
    Facts,
    Way,
    before_event,
    plan_cards,
    todays_cards,
)
from decks.memory.strands import TIERS, StrandState

NO_CARDS = CardPlan((), PLAIN, 0.0)

CARDS = 300
SECONDS = 20.0
ANSWERS_A_DAY = 15

STARTS = ("all unmet", "half unmet", "all known, backlog")
EVENTS = (1, 14, 40, 120)

OVER_PLAIN = {14: 0.5, 40: 0.5, 120: 0.2}
"""All unmet: the plan must be better than plain due order by this share, by days to the event."""

UNDER_TUNED = 0.005
UNDER_TUNED_DOUBLE = 0.015
"""The plan may be worse than the tuned due order by this share; the second if the model doesn't hold."""


def start_of(start: str, dice: Generator) -> Facts:
    """The cards on the first day."""
    met = np.arange(CARDS) < {"all unmet": 0, "half unmet": CARDS // 2}.get(start, CARDS)
    stability = np.exp(dice.normal(np.log(10), 1, CARDS))
    elapsed = np.ceil(stability * dice.uniform(0, 1, CARDS)) + (10 if "backlog" in start else 0)
    memories = Memories(stability, dice.uniform(2, 9, CARDS))
    return Facts(np.ones(CARDS), np.full(CARDS, SECONDS), met, memories, elapsed)


def on_the_date(
    way: Way | None, start: str, days: int, seed: int, *, speed: float = 1.0, missed: float = 0.0
) -> float:
    """The true mean recall on the date, by one way to choose or (None) by the plan. `speed`: how fast the student forgets. `missed`: share of days."""
    dice = default_rng(seed)
    facts = start_of(start, dice)
    truth = Memories(facts.memories.stability.copy(), facts.memories.difficulty.copy())
    for left in range(days, 0, -1):
        if dice.random() >= missed:
            if way:
                today = todays_cards(facts, left, SECONDS * ANSWERS_A_DAY, FOUND_FIRST, way)
            else:
                today = plan_cards(facts, left, SECONDS * ANSWERS_A_DAY).today
            facts, truth = answered(facts, truth, list(today), speed, dice)
        facts = replace(facts, elapsed=facts.elapsed + 1)
    known = np.where(facts.met, recalls(truth.stability, speed * facts.elapsed), 0.0)
    return float(known.mean())


def answered(
    facts: Facts, truth: Memories, asked: list[int], speed: float, dice: Generator
) -> tuple[Facts, Memories]:
    """The cards after a day's answers, as the log tells them and as they are."""
    if not asked:
        return facts, truth
    met = facts.met[asked]
    real = recalls(truth.stability[asked], speed * facts.elapsed[asked])
    found = dice.random(len(asked)) < np.where(met, real, FOUND_FIRST)
    thought = recalls(facts.memories.stability[asked], facts.elapsed[asked])
    after = [
        after_answers(Memories(one.stability[asked], one.difficulty[asked]), recall, met, found)
        for one, recall in ((facts.memories, thought), (truth, real))
    ]
    memories, truth = (
        Memories(put(one.stability, asked, new.stability), put(one.difficulty, asked, new.difficulty))
        for one, new in zip((facts.memories, truth), after, strict=True)
    )
    elapsed, known = facts.elapsed.copy(), facts.met.copy()
    elapsed[asked], known[asked] = 0, True
    return replace(facts, met=known, memories=memories, elapsed=elapsed), truth


def after_answers(before: Memories, recall: Floats, met: Bools, found: Bools) -> Memories:
    """The memories after answers, each found or missed."""
    stability = np.where(found, stability_after_found(before, recall), stability_after_missed(before, recall))
    difficulty = np.where(
        found, difficulty_after(before.difficulty, True), difficulty_after(before.difficulty, False)
    )
    right, wrong = after_first("found"), after_first("missed")
    return Memories(
        np.where(met, stability, np.where(found, right[0], wrong[0])),
        np.where(met, difficulty, np.where(found, right[1], wrong[1])),
    )


def put(array: Floats, places: list[int], values: Floats) -> Floats:
    changed = array.copy()
    changed[places] = values
    return changed


def compare(name: str, start: str, days: int, seeds: int, *, speed: float = 1.0, missed: float = 0.0) -> None:
    """Print one case."""
    due = [way for way in WAYS if way.aim is not None]

    def result(way: Way | None) -> float:
        return mean(on_the_date(way, start, days, seed, speed=speed, missed=missed) for seed in range(seeds))

    plain, planned = result(PLAIN), result(None)
    tuned = max(result(way) for way in due)
    print(
        f"{name:24} {start:20} {days:4}   {plain:.3f}  {tuned:.3f}  {planned:.3f}"
        f"   {planned / plain - 1:+7.1%} {planned / tuned - 1:+7.1%}",
        flush=True,
    )


SKEWED = {motif: 2.0 if number < 8 else 0.55 for number, motif in enumerate(MOTIFS)}
"""Weights that differ about as much as they may, with mean 1: eight of 26 motifs cost most of the points."""


def weighted_success(
    seed: int, minutes: float, days: int, weights: Mapping[str, float], assumptions: Assumptions
) -> float:
    """The mean success by the weights SKEWED, after days on which the turn is weighted by `weights`."""
    student = Student(assumptions, Random(seed))
    pools = positions(MANY, Random(seed))
    today = Today(
        DayAhead(START), dict.fromkeys(pools, StrandState()), pools, {}, 0, {"play": 45.0}, seed=seed
    )
    for number in range(days):
        day = START + timedelta(days=number)
        ahead = DayAhead(day, 60 * minutes, 30 * minutes, minutes // MINUTES_A_FIRST_MEETING)
        today = replace(today, ahead=ahead, fresh_left=fresh_allowance(unseen(pools.values(), today.shown)))
        today = study(student, before_event(replace(today, came={}, meeting=None), (), NO_CARDS, weights))
    on_the_date = START + timedelta(days=days)
    return sum(
        SKEWED[motif] * mean(student.success(motif, tier, on_the_date) for tier in TIERS) for motif in MOTIFS
    ) / sum(SKEWED.values())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--seeds", type=int, default=20)
    parser.add_argument("--quick", action="store_true")
    options = parser.parse_args()
    print("case                     start                days   plain  tuned   plan  over plain, tuned")
    for days in EVENTS[: 3 if options.quick else None]:
        for start in STARTS:
            compare("every day", start, days, options.seeds)
    for start in STARTS:
        compare("half of the days missed", start, 40, options.seeds, missed=0.5)
        compare("forgets twice as fast", start, 40, options.seeds, speed=2.0)


if __name__ == "__main__":
    main()
