"""`rondeau today`: asks today's cards, on the screen or as lines of text."""

from __future__ import annotations

from pathlib import Path

import click

from decks.commands import SUMMARIES, options


@click.command("today", help=SUMMARIES["today"])
@click.option(
    "--deck",
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="Ask only from this deck. Default: every deck used before.",
)
@options.student
@click.option(
    "--minutes",
    metavar="M",
    type=click.FloatRange(0, min_open=True),
    help="Minutes from now. Default: what is left of today's 15.",
)
@click.option("--plain", is_flag=True, help="Ask and answer in lines of text instead of on the screen.")
@click.option(
    "--on-paper",
    is_flag=True,
    help="With --plain: what is typed was answered on paper or at a board, so its time says nothing.",
)
@click.option(
    "--whole-ballot", is_flag=True, help="Ballots ask for all factors, not only for the three that decide."
)
@click.option("--letters", is_flag=True, help="Show men as letters, not as chess symbols.")
@click.option(
    "--clock-is-right",
    is_flag=True,
    help="Trust this computer's date: void answers of later dates, and accept a gap of over a year.",
)
@options.scorebook
def command(
    deck: Path | None,
    student: str | None,
    minutes: float | None,
    plain: bool,
    on_paper: bool,
    whole_ballot: bool,
    letters: bool,
    clock_is_right: bool,
    scorebook: Path,
) -> None:
    from decks.today import run_today

    if on_paper and not plain:
        raise click.UsageError("--on-paper goes with --plain, where answers are typed")
    name = options.practising(student, scorebook)
    status = run_today(
        deck, scorebook, name, minutes, plain, letters, whole_ballot, clock_is_right, on_paper=on_paper
    )
    raise click.exceptions.Exit(status)
