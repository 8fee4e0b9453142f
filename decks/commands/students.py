"""`rondeau students`: adds students to a scorebook and lists them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from decks.commands import SUMMARIES, options
from decks.commands.terminal import print_json
from patterns.reading.text import safe

if TYPE_CHECKING:
    from decks.scorebook.book import Scorebook


@click.command("students", help=SUMMARIES["students"])
@click.option("--add", "names", metavar="NAME", multiple=True, help="Add a student first (may be repeated).")
@click.option(
    "--alias",
    "aliases",
    metavar="NAME=PGN-NAME",
    multiple=True,
    help="Note by which name PGN files call a student (may be repeated).",
)
@options.scorebook
@options.as_json
def command(names: tuple[str, ...], aliases: tuple[str, ...], scorebook: Path, as_json: bool) -> None:
    from decks.scorebook.book import Scorebook

    with Scorebook.open(scorebook) if names or aliases else Scorebook.open_to_read(scorebook) as book:
        for name in names:
            book.student(name)
        for text in aliases:
            student, alias = named_and_called(text, book)
            book.add_alias(book.student(student), alias)
        students, known = book.students(), book.aliases()
    if as_json:
        rows = [
            {"student": number, "name": name, "aliases": known.get(number, [])}
            for number, name in students.items()
        ]
        print_json({"students": rows})
        return
    for number, name in students.items():
        also = f" ({'; '.join(known[number])})" if number in known else ""
        click.echo(f"{number:>4}  {safe(name + also)}")
    if not students:
        click.echo("no students yet")


def named_and_called(text: str, book: Scorebook) -> tuple[str, str]:
    """The student and the alias of `NAME=PGN-NAME`. A usage error if it is none or names no student."""
    name, _, alias = text.partition("=")
    student = book.known_student(name)
    if student is None or not alias.strip():
        raise click.BadParameter(
            f"{safe(text)!r} is not the name of a student, =, and a name in PGN files", param_hint="'--alias'"
        )
    return student, alias
