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

    from decks.memory.answers import Strand
    from decks.memory.minutes import Step
    from decks.preparing import Event, Leaning
    from decks.scorebook.book import Scorebook
    from decks.shelf.shelved import ShelvedDeck

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
@click.option(
    "--games", metavar="PGN", type=click.Path(path_type=Path), help="Trace your games in this file first."
)
@click.option("--player", metavar="NAME", help="Your name in these games. Default: the student's names.")
@click.option(
    "--opponent", metavar="PGN", type=click.Path(path_type=Path), help="Games of an opponent at the event."
)
@click.option("--name", "rival", metavar="NAME", help="The opponent's name in these games.")
@click.option("--stop", is_flag=True, help="Follow the plan for this event no longer.")
@options.engine
@options.deck
@options.student
@options.scorebook
@options.as_json
def command(
    event: datetime,
    minutes: float,
    games: Path | None,
    player: str | None,
    opponent: Path | None,
    rival: str | None,
    stop: bool,
    engine: str | None,
    deck: Path | None,
    student: str | None,
    scorebook: Path,
    as_json: bool,
) -> None:
    from decks.commands.event_games import scan_opponent, trace_own
    from decks.preparing import leaning_of
    from decks.today import open_decks, refuse_decks_of_others

    if player and not games:
        raise click.UsageError("--player goes with --games")
    if bool(opponent) != bool(rival):
        raise click.UsageError("--opponent and --name go together")
    name = options.practising(student, scorebook)
    now = datetime.now().astimezone()
    with open_decks(deck, scorebook, name) as (book, decks):
        refuse_decks_of_others(decks, book, name)
        number = book.student(name)
        if stop:
            kept = book.next_preparation(number, event.date())
            if kept is None or kept[0] != event.date():
                raise click.ClickException(f"there is no plan for {event.date()}")
            book.save_preparation(number, event.date(), "", now)
            click.echo(f"the plan for {event.date()} is no longer followed")
            return
        names = trace_own(games, player or name, engine, book.path) if games else book.names_of(name)
        met = scan_opponent(opponent, rival, book) if opponent and rival else None
        leaning = leaning_of(book, names, met)
        plan = planned(book, decks, number, event.date(), minutes, leaning, now)
        book.save_preparation(number, event.date(), plan.event.written(), now)
    if as_json:
        print_json(as_object(plan))
    else:
        click.echo("\n".join(as_text(plan)))


@dataclass(frozen=True)
class Plan:
    """A preparation as it looks now. `days`: the steps of each.

    `met`, `needed`, `lacking`: positions by strand. `feeds`: the command that makes
    more of those that weigh most.
    """

    event: Event
    leaning: Leaning
    days: list[tuple[date, list[Step]]]
    met: Mapping[Strand, int]
    needed: Mapping[Strand, int]
    lacking: Mapping[Strand, int]
    feeds: str


def planned(
    book: Scorebook,
    decks: Sequence[ShelvedDeck],
    student: int,
    event_day: date,
    minutes: float,
    leaning: Leaning,
    now: datetime,
) -> Plan:
    """The plan up to an event. A usage error if it isn't 1 to MOST_DAYS days away."""
    from decks.course import Course
    from decks.memory.day import day_ahead
    from decks.memory.new_positions import positions_lacking, positions_needed
    from decks.preparing import Event, days_ahead, fixed_cards
    from decks.telling.prepared_told import positions_of
    from decks.today import recent_days

    event = Event(event_day, minutes, leaning.weights)
    ahead = day_ahead(recent_days(book, student), now, usual=minutes)
    if not 1 <= (event_day - ahead.day).days <= MOST_DAYS:
        raise click.BadParameter(f"{event_day} is not 1 to {MOST_DAYS} days away", param_hint="'--event'")
    course = Course.begin(decks, book, student, ahead, now, lambda: now, warn, event=event)
    today = course.today
    days = list(days_ahead(today, fixed_cards(course.material, course.log, today), event))
    needed = positions_needed(today, len(days))
    lacking = positions_lacking(needed, today.pools, today.shown)
    weightiest = sorted(lacking, key=lambda each: (-event.weights.get(each.motif, 1.0), -lacking[each], each))
    return Plan(
        event,
        leaning,
        days,
        positions_of((steps for _, steps in days), today.states),
        needed,
        lacking,
        course.feeding(each.motif for each in weightiest),
    )


def as_text(plan: Plan) -> list[str]:
    """The plan day by day, and what it covers."""
    from decks.telling.prepared_told import coverage_lines, day_lines, leaning_lines

    days = counted(len(plan.days), "day")
    lines = [f"{days} up to {plan.event.day}, {plan.event.minutes:g} minutes each, if every answer is right:"]
    lines += [line for each in plan.days for line in day_lines(*each)]
    lines += coverage_lines(plan.met, plan.lacking)
    if plan.lacking:
        lines.append(safe(f"`{plan.feeds}` makes some."))
    leaning = plan.leaning
    lines += leaning_lines(leaning.weights, leaning.games, leaning.opponent, leaning.opponent_games)
    return [*lines, "`rondeau today` follows this plan, and plans anew every day."]


def as_object(plan: Plan) -> dict[str, object]:
    """The plan as a JSON object."""
    return {
        "event": str(plan.event.day),
        "minutes": plan.event.minutes,
        "weights": dict(plan.event.weights),
        "games": plan.leaning.games,
        "opponent": plan.leaning.opponent or None,
        "opponent_games": plan.leaning.opponent_games,
        "days": [
            {"day": str(day), "minutes": sum(step.seconds for step in steps) / 60, "steps": len(steps)}
            for day, steps in plan.days
        ],
        "positions": {str(strand): count for strand, count in plan.met.items()},
        "needed": {str(strand): count for strand, count in plan.needed.items()},
        "lacking": {str(strand): count for strand, count in plan.lacking.items()},
    }
