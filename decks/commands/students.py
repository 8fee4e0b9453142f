"""`rondeau students`: adds students to a scorebook and lists them."""

from __future__ import annotations

from pathlib import Path

import click

from decks.commands import SUMMARIES, options
from decks.commands.terminal import print_json
from patterns.reading.text import safe


@click.command("students", help=SUMMARIES["students"])
@click.option("--add", "names", metavar="NAME", multiple=True, help="Add a student first (may be repeated).")
@options.scorebook
@options.as_json
def command(names: tuple[str, ...], scorebook: Path, as_json: bool) -> None:
    from decks.scorebook.book import Scorebook

    with Scorebook.open(scorebook) if names else Scorebook.open_to_read(scorebook) as book:
        for name in names:
            book.student(name)
        students = book.students()
    if as_json:
        print_json({"students": [{"student": number, "name": name} for number, name in students.items()]})
        return
    for number, name in students.items():
        click.echo(f"{number:>4}  {safe(name)}")
    if not students:
        click.echo("no students yet")
