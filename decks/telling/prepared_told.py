"""A preparation in words: day by day, and what it covers. Pure."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from itertools import chain
from textwrap import wrap

from decks.memory.answers import Strand
from decks.memory.minutes import CardStep, Step
from decks.tasks.evidence import motif_title
from decks.telling.progress_told import strand_title
from patterns.reading.text import counted, safe

BAR = "#"
"""A minute in the plot of the days."""

WIDTH = 80
"""Columns of a line."""

MOST_NAMED = 3
"""So many motifs that count most are named."""


def day_lines(day: date, steps: Sequence[Step]) -> list[str]:
    """A day of the plan: its date, a bar of its minutes, and what is asked.

    >>> day_lines(date(2031, 5, 2), [])
    ['2031-05-02                    0 min  nothing is left to ask']
    """
    minutes = round(sum(step.seconds for step in steps) / 60)
    head = f"{day}  {(BAR * minutes)[:15]:15} {minutes:3} min  "
    return wrap(head + safe(_asked(steps), 400), WIDTH, subsequent_indent=" " * len(head))


def _asked(steps: Sequence[Step]) -> str:
    positions: Counter[str] = Counter()
    for step in steps:
        if not isinstance(step, CardStep):
            positions.update(map(strand_title, step.strands or (step.strand,)))
    cards = sum(isinstance(step, CardStep) for step in steps)
    parts = [f"{title}{f' ({count})' if count > 1 else ''}" for title, count in positions.items()]
    return ", ".join([*parts, *([counted(cards, "card")] if cards else [])]) or "nothing is left to ask"


def positions_of(days: Iterable[Sequence[Step]], strands: Iterable[Strand]) -> dict[Strand, int]:
    """How many positions each strand is shown on these days."""
    found = dict.fromkeys(strands, 0)
    for step in chain.from_iterable(days):
        if not isinstance(step, CardStep):
            for strand in step.strands or (step.strand,):
                found[strand] += 1
    return found


def coverage_lines(met: Mapping[Strand, int], lacking: Mapping[Strand, int]) -> list[str]:
    """What the plan covers: positions by strand, the most first; strands without any; positions lacking."""
    left_out = [strand_title(strand) for strand in sorted(met) if not met[strand]]
    lines = [f"Covered, with positions: {_counts(met) or 'nothing'}."]
    if left_out:
        lines.append(f"Not covered: {', '.join(left_out)}.")
    if lacking:
        lines.append(f"More positions would help: {_counts(lacking)}.")
    return [row for line in lines for row in wrap(line, WIDTH, subsequent_indent="    ")]


def leaning_lines(weights: Mapping[str, float], games: int, opponent: str, opponent_games: int) -> list[str]:
    """By what motifs count, and which count most.

    `games`: the student's traced games. `opponent`: whose games count too, or empty.
    """
    own = [f"what they cost in {counted(games, 'traced game')} of yours"] if games else []
    arose = f"how often they arose in {counted(opponent_games, 'game')} of {safe(opponent)}"
    reasons = [*own, *([arose] if opponent else [])]
    if not reasons:
        return ["Motifs count alike, because no game of yours has been traced."]
    ranked = sorted(weights, key=lambda motif: (-weights[motif], motif))
    first = [motif_title(motif) for motif in ranked[:MOST_NAMED] if weights[motif] > 1]
    most = f" Most: {', '.join(first)}." if first else ""
    return wrap(f"Motifs count by {' and by '.join(reasons)}.{most}", WIDTH, subsequent_indent="    ")


def _counts(numbers: Mapping[Strand, int]) -> str:
    ranked = sorted(numbers, key=lambda strand: (-numbers[strand], strand))
    return ", ".join(f"{strand_title(strand)} ({numbers[strand]})" for strand in ranked if numbers[strand])
