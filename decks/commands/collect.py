"""`rondeau collect`: takes logs that students have handed in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import click

from decks.commands import SUMMARIES, options
from decks.commands.terminal import print_json
from patterns.reading.text import counted, safe
from patterns.words.wording import listed

if TYPE_CHECKING:
    from decks.scorebook.book import Scorebook
    from decks.scorebook.handed_in import HandedIn
    from decks.scorebook.joining import Joined


@click.command("collect", help=SUMMARIES["collect"])
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--student", metavar="NAME", help="Whose logs they are. Default: the students that they name.")
@options.scorebook
@options.as_json
def command(files: Sequence[Path], student: str | None, scorebook: Path, as_json: bool) -> None:
    from decks.scorebook.book import Scorebook
    from decks.scorebook.handed_in import read

    name = options.student_named(student, scorebook) if student else None
    tomorrow = date.today() + timedelta(days=1)  # where a student lives it may be the next day already
    handed_in = [read(file, tomorrow) for file in files]
    with Scorebook.open(scorebook) as book:
        whose = [(owner(book, each, name), each) for each in handed_in]
        joined = book.collect(whose)
        names = book.students()
    found = [(each, names[number], came) for (number, each), came in zip(whose, joined, strict=True)]
    if as_json:
        print_json({"collected": [as_object(*each) for each in found]})
    else:
        click.echo("\n".join(as_line(*each) for each in found))


def owner(book: Scorebook, handed: HandedIn, name: str | None) -> int:
    """The number of the student whose log this is. HandInError if nobody here has the name in the file."""
    number = book.student_called(name or handed.student)
    if number is None:
        raise handed.wrong(
            1,
            f"there is no student {safe(handed.student)!r} here: `rondeau students --add NAME` adds one, and "
            f"--student NAME says whose log it is",
        )
    return number


def as_line(handed: HandedIn, student: str, came: Joined) -> str:
    """What came of a file: `anna.log: new of Anna Wren: 12 answers and 1 contest`."""
    counts = [
        counted(number, each) for each, number in of_kinds(came).items() if number and each != "display"
    ]
    new = listed(counts) if counts else "nothing"
    return safe(f"{handed.file}: new of {student}: {new}")


def of_kinds(came: Joined) -> Mapping[str, int]:
    return {
        "answer": came.answers,
        "display": came.displays,
        "correction": came.corrections,
        "contest": came.contests,
    }


def as_object(handed: HandedIn, student: str, came: Joined) -> dict[str, object]:
    """What came of a file, for JSON."""
    new = {f"{each}s": number for each, number in of_kinds(came).items()}
    return {"file": str(handed.file), "student": student, "new": new, "known": came.known}
