"""`rondeau replay`: checks that every stored memory follows from the log of answers."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from decks.commands import SUMMARIES, options
from decks.commands.terminal import MESSAGE_LIMIT, print_json, warn
from patterns.reading.text import counted, safe

if TYPE_CHECKING:
    from collections.abc import Sequence

    from decks.scorebook.book import Damage, Difference, Entry, Scorebook

REASON = "voided by hand"
REASON_BACK = "counted again by hand"


@click.command("replay", help=SUMMARIES["replay"])
@click.option("--mend", is_flag=True, help="Correct stored memories that differ from the log.")
@click.option(
    "--day",
    metavar="DATE",
    type=click.DateTime(["%Y-%m-%d"]),
    help="Only list the answers of this day, with their ids.",
)
@click.option(
    "--void",
    metavar="ID|DATE",
    multiple=True,
    help="Void an answer, or all of a day: it stays in the log but does not count (may be repeated).",
)
@click.option(
    "--unvoid", metavar="ID|DATE", multiple=True, help="Let voided answers count again (may be repeated)."
)
@options.scorebook
@options.as_json
def command(
    mend: bool,
    day: datetime | None,
    void: Sequence[str],
    unvoid: Sequence[str],
    scorebook: Path,
    as_json: bool,
) -> None:
    from decks.scorebook.book import Scorebook

    writes = mend or void or unvoid
    with Scorebook.open(scorebook) if writes else Scorebook.open_to_read(scorebook) as book:
        if day is not None:
            list_entries(book.entries(day.date()), as_json)
            return
        now = datetime.now().astimezone()
        voided_now = book.void(meant(book, void), REASON, now) if void else 0
        back = book.unvoid(meant(book, unvoid), REASON_BACK, now) if unvoid else 0
        differences = book.replay(mend=mend)
        voided, damaged = book.entries(), book.damage()
    if as_json:
        print_json(as_object(differences, voided, damaged, mend))
    else:
        for number, done in ((voided_now, "voided"), (back, "counted again")):
            if number:
                click.echo(f"{counted(number, 'answer')} {done}")
        for damage in damaged:
            warn(safe(damage, MESSAGE_LIMIT))
        click.echo("\n".join(as_text(differences, voided, mend)))
    if damaged or (differences and not mend):
        raise click.exceptions.Exit(1)


def meant(book: Scorebook, named: Sequence[str]) -> list[str]:
    """The ids of the named answers. A name is the id of an answer, or a date for all answers of this day."""
    ids: list[str] = []
    for name in named:
        try:
            day = date.fromisoformat(name)
        except ValueError:
            ids.append(name)
            continue
        found = [entry.answer_id for entry in book.entries(day)]
        if not found:
            raise click.ClickException(f"there is no answer of {day}")
        ids += found
    return ids


def list_entries(entries: Sequence[Entry], as_json: bool) -> None:
    """Print answers of the log, one on each line."""
    if as_json:
        print_json({"answers": [as_dictionary(entry) for entry in entries]})
    else:
        click.echo("\n".join(map(entry_as_line, entries)) or "no answer of this day")


def as_text(differences: Sequence[Difference], voided: Sequence[Entry], mended: bool) -> list[str]:
    """The voided answers, and the result of the check. The differences go to standard error."""
    for each in differences:
        warn(f"student {each.student}, {safe(each.item)}: stored and replayed memory differ")
    lines = [entry_as_line(entry) for entry in voided]
    if differences:
        return [*lines, f"{len(differences)} {'corrected' if mended else 'differ; --mend corrects them'}"]
    return [*lines, "every stored memory follows from the log"]


def entry_as_line(entry: Entry) -> str:
    voided = "" if entry.voided is None else f" (voided: {entry.voided})"
    what = f"student {entry.student}, {entry.study_day}, {entry.item}, {entry.grade}"
    return safe(f"{entry.answer_id}  {what}{voided}", MESSAGE_LIMIT)


def as_dictionary(row: Entry | Damage) -> dict[str, object]:
    from dataclasses import asdict

    return asdict(row)


def as_object(
    differences: Sequence[Difference], voided: Sequence[Entry], damaged: Sequence[Damage], mend: bool
) -> dict[str, object]:
    """The result of the check as a JSON object."""
    items = [{"student": each.student, "item": each.item} for each in differences]
    return {
        "differences": items,
        "mended": mend and bool(items),
        "voided": [as_dictionary(entry) for entry in voided],
        "damaged": [as_dictionary(damage) for damage in damaged],
    }
