"""`rondeau today`: today's cards, on the screen or as lines."""

from __future__ import annotations

from pathlib import Path

import click

from decks.commands import SUMMARIES, options


@click.command("today", help=SUMMARIES["today"])
@click.option(
    "--deck",
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="Ask from this deck, not from every deck used before.",
)
@options.student
@click.option(
    "--minutes",
    metavar="M",
    type=click.FloatRange(0, min_open=True),
    help="So many minutes from now, not what is left of today's 15.",
)
@click.option("--plain", is_flag=True, help="Question and answer as lines, without the screen.")
@click.option(
    "--whole-ballot", is_flag=True, help="Take stock of every factor, not of the three that decide."
)
@click.option("--letters", is_flag=True, help="Men as letters, not as chess symbols.")
@click.option(
    "--clock-is-right",
    is_flag=True,
    help="Today's date is right: answers of later dates no longer count, and a year or more has passed.",
)
@options.scorebook
def command(
    deck: Path | None,
    student: str | None,
    minutes: float | None,
    plain: bool,
    whole_ballot: bool,
    letters: bool,
    clock_is_right: bool,
    scorebook: Path,
) -> None:
    from decks.scorebook.book import DEFAULT_STUDENT
    from decks.today import run_today

    name = options.student_named(student, scorebook) if student else DEFAULT_STUDENT
    status = run_today(deck, scorebook, name, minutes, plain, letters, whole_ballot, clock_is_right)
    raise click.exceptions.Exit(status)
