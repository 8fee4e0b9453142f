"""`rondeau prepare`: plans the days up to an event; `rondeau today` then follows the plan."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from decks.commands import SUMMARIES, options
from decks.commands.terminal import print_json, warn
from decks.memory.day import USUAL_MINUTES
from patterns.reading.text import counted, safe

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date

    from decks.cards.deck import Deck
    from decks.memory.answers import Strand
    from decks.memory.minutes import Step
    from decks.preparing import Event
    from decks.scorebook.book import Scorebook

MOST_DAYS = 366
"""An event may be so many days away."""


@click.command("prepare", help=SUMMARIES["prepare"])
@click.option(
    "--event", metavar="DATE", type=click.DateTime(["%Y-%m-%d"]), required=True, help="The day of the event."
)
@click.option(
    "--minutes",
    metavar="M",
    type=click.FloatRange(1, 600),
    default=USUAL_MINUTES,
    help=f"Minutes of each day. Default: {USUAL_MINUTES:.0f}.",
)
@click.option("--stop", is_flag=True, help="Follow the plan for this event no longer.")
@options.deck
@options.student
@options.scorebook
@options.as_json
def command(
    event: datetime,
    minutes: float,
    stop: bool,
    deck: Path | None,
    student: str | None,
    scorebook: Path,
    as_json: bool,
) -> None:
    from decks.scorebook.book import DEFAULT_STUDENT
    from decks.today import open_decks

    name = options.student_named(student, scorebook) if student else DEFAULT_STUDENT
    now = datetime.now().astimezone()
    with open_decks(deck, scorebook) as (book, decks):
        if stop:
            book.save_preparation(book.student(name), event.date(), "", now)
            click.echo(f"the plan for {event.date()} is no longer followed")
            return
        plan = planned(book, decks, book.student(name), event.date(), minutes, now)
        book.save_preparation(book.student(name), event.date(), plan.event.written(), now)
    if as_json:
        print_json(as_object(plan))
    else:
        click.echo("\n".join(as_text(plan)))


@dataclass(frozen=True)
class Plan:
    """A preparation as it looks now. `games`: how many the weights come from. `days`: the steps of each.

    `met`, `needed`, `lacking`: positions by strand. `feeds`: the command that makes more of them.
    """

    event: Event
    games: int
    days: list[tuple[date, list[Step]]]
    met: Mapping[Strand, int]
    needed: Mapping[Strand, int]
    lacking: Mapping[Strand, int]
    feeds: str


def planned(
    book: Scorebook, decks: Sequence[Deck], student: int, event_day: date, minutes: float, now: datetime
) -> Plan:
    """The plan up to an event. A usage error if it isn't 1 to MOST_DAYS days away."""
    from decks.course import Course
    from decks.memory.day import day_ahead
    from decks.memory.new_positions import positions_lacking, positions_needed
    from decks.preparing import Event, days_ahead, fixed_cards, weights_of
    from decks.telling.prepared_told import positions_of
    from decks.today import recent_days

    weights, games = weights_of(book, student)
    event = Event(event_day, minutes, weights)
    ahead = day_ahead(recent_days(book, student), now, usual=minutes)
    if not 1 <= (event_day - ahead.day).days <= MOST_DAYS:
        raise click.BadParameter(f"{event_day} is not 1 to {MOST_DAYS} days away", param_hint="'--event'")
    course = Course.begin(decks, book, student, ahead, now, lambda: now, warn, event=event)
    today = course.today
    days = list(days_ahead(today, fixed_cards(course.material, course.log, today), event))
    needed = positions_needed(today, len(days))
    return Plan(
        event,
        games,
        days,
        positions_of((steps for _, steps in days), today.states),
        needed,
        positions_lacking(needed, today.pools, today.shown),
        course.outlook().feeds,
    )


def as_text(plan: Plan) -> list[str]:
    """The plan day by day, and what it covers."""
    from decks.telling.prepared_told import coverage_lines, day_line

    days = counted(len(plan.days), "day")
    lines = [f"{days} up to {plan.event.day}, {plan.event.minutes:g} minutes each, if every answer is right:"]
    lines += [day_line(*each) for each in plan.days]
    lines += coverage_lines(plan.met, plan.lacking)
    if plan.lacking:
        lines.append(safe(f"`{plan.feeds}` makes some."))
    games = counted(plan.games, "traced game")
    by = f"by what they cost in {games}" if plan.games else "alike, because no game of yours has been traced"
    return [*lines, f"Motifs count {by}. `rondeau today` follows this plan, and plans anew every day."]


def as_object(plan: Plan) -> dict[str, object]:
    """The plan as a JSON object."""
    return {
        "event": str(plan.event.day),
        "minutes": plan.event.minutes,
        "weights": dict(plan.event.weights),
        "days": [
            {"day": str(day), "minutes": sum(step.seconds for step in steps) / 60, "steps": len(steps)}
            for day, steps in plan.days
        ],
        "positions": {str(strand): count for strand, count in plan.met.items()},
        "needed": {str(strand): count for strand, count in plan.needed.items()},
        "lacking": {str(strand): count for strand, count in plan.lacking.items()},
    }
