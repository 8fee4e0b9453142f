"""What a student has learned after 90 days, with strands and with fixed cards.

The student is invented, so this shows what follows from assumptions, and nothing about real students. The
assumptions are changed one by one to see which of them the result rests on. They are:

- There are 26 motifs. Success in a new position is a logistic curve of skill minus difficulty; neighbouring
  tiers are `step` apart. At the start the mean success over motifs and tiers is about .36, and motifs differ
  by `spread`.
- Each new position adds `pace` of what is still lacking to a skill (`most` above its start), right or wrong,
  because the explanation follows. A worked one adds `worked` times as much, a second one of the same day
  `massed` times. If `fit` is above 0, a position teaches less, the surer it is to be right or wrong. What was
  learned decays with `half_life` days.
- A position seen before may be recalled as a picture, which is a fact and follows FSRS-6. Otherwise it is
  solved like a new one. It adds `transfer` times what a new one adds, as far as the picture was forgotten.
- A position takes `seconds`. The student comes every day for 15 minutes. One position in four is a lookalike,
  as hard as the others, where a motif has at least four.

The values make a student who starts at .36 and gets to about .89 with more positions than there is time for.

Compared are strands, as the program does them; strands in random order under the same limit on new positions;
and fixed cards under FSRS-6 on the same positions, with the usual limit on first meetings, and, as a stronger
rival, with as many first meetings as the minutes allow. The measure is the true success in new positions at
the end. Beside it stands who meets all positions on the last day, whatever time that takes, and so forgets
nothing: about what these positions can give.

`PYTHONPATH=. python tests/benchmarks/learning.py [--seeds N] [--quick]`; `--quick` changes no assumption.
"""

from __future__ import annotations

import argparse
import math
import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from functools import partial
from statistics import mean

from decks.memory.answers import Strand
from decks.memory.day import USUAL_MINUTES, DayAhead
from decks.memory.minutes import (
    CardStep,
    FixedCard,
    StrandStep,
    Today,
    done,
    due_cards,
    next_step,
)
from decks.memory.model import Memory, recall, review
from decks.memory.pool import Position, choose, fresh_allowance, has_new, needed_for_sure, unseen
from decks.memory.strands import TIERS, Showing, StrandState
from decks.tasks.card import Grade

DAYS = 90
MOTIFS = tuple(f"motif-{number:02}" for number in range(26))
START = date(2031, 1, 6)
MANY = 26 * 120
"""More positions than a student can meet in the time."""

LEAST_GAIN = {78: 0.02, 312: 0.05, 780: 0.08}
"""What strands must be better by than fixed cards, by number of positions."""

UNLIMITED_AT_LEAST = 0.85
MINUTES_AT_LEAST = 14.0
RANDOM_WITHIN = 0.02


@dataclass(frozen=True)
class Assumptions:
    """What is assumed of the student, as above. Skills are log odds."""

    start: float = -0.65
    spread: float = 0.5
    step: float = 0.8
    most: float = 3.6
    pace: float = 1 / 20
    fit: float = 0.0
    massed: float = 1.0
    worked: float = 1.0
    half_life: float = 120.0
    transfer: float = 0.3
    seconds: float = 45.0


@dataclass
class Student:
    """The invented student, who answers and learns."""

    assumptions: Assumptions
    dice: random.Random
    starts: dict[str, float] = field(default_factory=dict)
    learned: dict[str, tuple[float, date]] = field(default_factory=dict)
    pictures: dict[str, Memory] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for motif in MOTIFS:
            self.starts[motif] = self.dice.gauss(self.assumptions.start, self.assumptions.spread)

    def success(self, motif: str, tier: int, day: date) -> float:
        """The true chance to be right in a new position."""
        skill = self.starts[motif] + self._left(motif, day)
        return 1 / (1 + math.exp((tier - 2) * self.assumptions.step - skill))

    def whole_success(self, day: date) -> float:
        """The mean over all motifs and tiers."""
        return mean(self.success(motif, tier, day) for motif in MOTIFS for tier in TIERS)

    def answer(self, motif: str, position: Position, day: date) -> Grade:
        """The grade of an answer. The student learns from it."""
        chance = self.success(motif, position.tier, day)
        picture, new = self.pictures.get(position.key), 1.0
        if picture:
            forgotten = 1 - recall(picture, day)
            chance, new = 1 - forgotten * (1 - chance), self.assumptions.transfer * forgotten
        grade: Grade = "found" if self.dice.random() < chance else "missed"
        self._learn(motif, position.tier, day, new)
        self.pictures[position.key] = review(picture, grade, day)
        return grade

    def look(self, motif: str, position: Position, day: date) -> None:
        """Study a worked position."""
        self._learn(motif, position.tier, day, self.assumptions.worked)
        self.pictures[position.key] = review(self.pictures.get(position.key), "missed", day)

    def _left(self, motif: str, day: date) -> float:
        learned, since = self.learned.get(motif, (0.0, day))
        return learned * math.exp2(-(day - since).days / self.assumptions.half_life)

    def _learn(self, motif: str, tier: int, day: date, share: float) -> None:
        chance = self.success(motif, tier, day)
        share *= 1 - self.assumptions.fit * (1 - 4 * chance * (1 - chance))
        learned, again = self._left(motif, day), self.learned.get(motif, (0, None))[1] == day
        share *= self.assumptions.massed if again else 1.0
        gain = share * self.assumptions.pace * (self.assumptions.most - learned)
        self.learned[motif] = learned + gain, day


@dataclass(frozen=True)
class Outcome:
    """`success`: in new positions at the end. `minutes`: used a day. `fresh`: new positions met."""

    success: float
    minutes: float
    fresh: float


def positions(count: int, dice: random.Random) -> dict[Strand, list[Position]]:
    """Pools of `count` positions in all, the same number for each motif and about for each tier."""
    squares = [f"{file}{rank}" for file in "abcdefgh" for rank in range(1, 9)]
    each = count // len(MOTIFS)
    return {
        (strand := Strand(motif, "play")): [
            Position(
                f"{motif}/{number}",
                (strand,),
                tier=1 + number % 3,
                lookalike=number >= each - each // 4,
                side=dice.choice(("white", "black")),
                squares=frozenset(dice.sample(squares, 3)),
            )
            for number in range(each)
        ]
        for motif in MOTIFS
    }


def days() -> Iterator[date]:
    return (START + timedelta(days=number) for number in range(DAYS))


def study(student: Student, today: Today) -> Today:
    """The day at its end, after the student did all that it asks for."""
    day = today.day
    while step := next_step(today):
        assert isinstance(step, StrandStep)
        motif, shown, grade = step.strand.motif, step.shown, None
        if step.strands:
            grade = student.answer(motif, shown, day)
        else:
            student.look(motif, shown, day)
        moment = datetime.combine(day, time.min)
        showing = Showing("", day, moment, grade, shown.tier, shown.lookalike, step.fresh)
        today = done(today, step, step.seconds, {step.strand: showing})
    return today


def with_strands(student: Student, pools: dict[Strand, list[Position]], seed: int) -> Outcome:
    """The program's way."""
    states = dict.fromkeys(pools, StrandState())
    shown: dict[str, date] = {}
    last_shown: dict[Strand, Position] = {}
    used = 0.0
    for day in days():
        ahead = DayAhead(day, 60 * USUAL_MINUTES, 30 * USUAL_MINUTES, USUAL_MINUTES // 5)
        allowed = fresh_allowance(unseen(pools.values(), shown))
        today = Today(
            ahead,
            states,
            pools,
            shown,
            max(allowed, needed_for_sure(ahead, states, partial(has_new, pools, shown))),
            {"play": student.assumptions.seconds},
            last_shown=last_shown,
            seed=seed,
        )
        today = study(student, today)
        used += 60 * USUAL_MINUTES - today.ahead.seconds
        states, shown, last_shown = dict(today.states), dict(today.shown), dict(today.last_shown)
    return Outcome(student.whole_success(START + timedelta(days=DAYS)), used / 60 / DAYS, len(shown))


def in_random_order(student: Student, pools: dict[Strand, list[Position]], seed: int) -> Outcome:
    """A random strand at any time, in a random tier: as many new positions a day, and then seen ones."""
    shown: dict[str, date] = {}
    used = 0.0
    for day in days():
        left, fresh_left = 60 * USUAL_MINUTES, fresh_allowance(unseen(pools.values(), shown))
        strands = list(pools)
        student.dice.shuffle(strands)
        while left > 0 and strands:
            strand = strands.pop(0)
            tier, lookalike = student.dice.choice(TIERS), student.dice.random() < 0.25
            choice = choose(pools[strand], tier, None, shown, day, fresh_left, lookalike)
            if choice is None:
                continue
            strands.append(strand)
            student.answer(strand.motif, choice.position, day)
            shown[choice.position.key] = day
            fresh_left -= choice.fresh
            left -= student.assumptions.seconds
        used += 60 * USUAL_MINUTES - left
    return Outcome(student.whole_success(START + timedelta(days=DAYS)), used / 60 / DAYS, len(shown))


def with_fixed_cards(
    student: Student, pools: dict[Strand, list[Position]], seed: int, limited: bool = True
) -> Outcome:
    """Every position is a fact to remember. `limited`: first meetings are, as usual."""
    places = {position.key: position for pool in zip(*pools.values(), strict=True) for position in pool}
    memories: dict[str, Memory] = {}
    used = 0.0
    for day in days():
        cards = [
            FixedCard(key, key, key.partition("/")[0], student.assumptions.seconds, memories.get(key))
            for key in places
        ]
        ahead = DayAhead(day, 60 * USUAL_MINUTES)
        if limited:
            ahead = replace(ahead, due_seconds=30 * USUAL_MINUTES, first_meetings=USUAL_MINUTES // 5)
        today = Today(
            ahead,
            {},
            {},
            {},
            0,
            {},
            due_cards=due_cards(cards, day),
            unmet_cards=tuple(card for card in cards if card.memory is None),
        )
        while step := next_step(today):
            assert isinstance(step, CardStep)
            key = step.card.card
            memories[key] = review(memories.get(key), student.answer(step.card.motif, places[key], day), day)
            today = done(today, step, step.seconds)
        used += 60 * USUAL_MINUTES - today.ahead.seconds
    return Outcome(student.whole_success(START + timedelta(days=DAYS)), used / 60 / DAYS, len(memories))


def with_more_fixed_cards(student: Student, pools: dict[Strand, list[Position]], seed: int) -> Outcome:
    """The same with as many first meetings as the minutes allow."""
    return with_fixed_cards(student, pools, seed, limited=False)


def on_the_last_day(student: Student, pools: dict[Strand, list[Position]], seed: int) -> Outcome:
    """All positions at once, at the end."""
    *_, last = days()
    for strand, pool in pools.items():
        for position in pool:
            student.answer(strand.motif, position, last)
    return Outcome(student.whole_success(START + timedelta(days=DAYS)), 0, sum(map(len, pools.values())))


Way = Callable[[Student, dict[Strand, list[Position]], int], Outcome]


WAYS = (with_fixed_cards, with_more_fixed_cards, with_strands, in_random_order, on_the_last_day)


def outcome(way: Way, count: int, seeds: int, assumptions: Assumptions) -> Outcome:
    """The mean over the seeds."""
    each = [
        way(Student(assumptions, random.Random(seed)), positions(count, random.Random(seed)), seed)
        for seed in range(seeds)
    ]
    return Outcome(*(mean(getattr(one, name) for one in each) for name in ("success", "minutes", "fresh")))


VARIED = {
    "as above": Assumptions(),
    "learns half as fast": Assumptions(pace=1 / 40),
    "learns twice as fast": Assumptions(pace=1 / 10),
    "forgets twice as fast": Assumptions(half_life=60),
    "forgets nothing": Assumptions(half_life=1e9),
    "pictures transfer nothing": Assumptions(transfer=0),
    "pictures transfer as much": Assumptions(transfer=1),
    "worked ones teach half as much": Assumptions(worked=0.5),
    "a second one a day .7 of it": Assumptions(massed=0.7),
    "what is in doubt teaches most": Assumptions(fit=0.7, pace=1 / 15),
    "motifs all alike": Assumptions(spread=0),
    "tiers all alike": Assumptions(step=0),
    "starts at about .6": Assumptions(start=0.5),
    "takes 75 seconds": Assumptions(seconds=75),
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--seeds", type=int, default=5)
    parser.add_argument("--quick", action="store_true")
    options = parser.parse_args()
    for name, assumptions in list(VARIED.items())[: 1 if options.quick else None]:
        start = mean(
            Student(assumptions, random.Random(seed)).whole_success(START) for seed in range(options.seeds)
        )
        print(f"\n{name}: success at the start {start:.2f}")
        print("           fixed cards  as many as fit      strands    random        last day")
        print("positions  right  min.     right  min.     right  min.    right   new    right   short of")
        for count in (*LEAST_GAIN, MANY):
            fixed, more, ours, chance, most = (
                outcome(way, count, options.seeds, assumptions) for way in WAYS
            )
            print(
                f"{count:9}  {fixed.success:.3f}  {fixed.minutes:4.1f}"
                f"     {more.success:.3f}  {more.minutes:4.1f}"
                f"     {ours.success:.3f}  {ours.minutes:4.1f}    {chance.success:.3f}  {ours.fresh:4.0f}"
                f"    {most.success:.3f}   {', '.join(shortcomings(count, fixed, more, ours, chance))}",
                flush=True,
            )


def shortcomings(count: int, fixed: Outcome, more: Outcome, ours: Outcome, chance: Outcome) -> list[str]:
    """Against what the aims are missed."""
    aims = {"random": abs(ours.success - chance.success) <= RANDOM_WITHIN}
    if count in LEAST_GAIN:
        aims["fixed"] = ours.success - fixed.success >= LEAST_GAIN[count]
        aims["more fixed"] = ours.success - more.success >= LEAST_GAIN[count]
    else:
        aims["success"] = ours.success >= UNLIMITED_AT_LEAST
        aims["minutes"] = ours.minutes >= MINUTES_AT_LEAST
    return [name for name, reached in aims.items() if not reached]


if __name__ == "__main__":
    main()
