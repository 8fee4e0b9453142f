"""`rondeau hand-in`: writes a student's log to a file, for the coach or for another computer."""

from __future__ import annotations

from pathlib import Path

import click

from decks.commands import SUMMARIES, options
from patterns.reading.text import counted, safe


@click.command("hand-in", help=SUMMARIES["hand-in"])
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@options.student
@click.option(
    "--name", metavar="NAME", help="Your name in your coach's scorebook. Default: the name in yours."
)
@options.scorebook
def command(file: Path, student: str | None, name: str | None, scorebook: Path) -> None:
    from decks.memory.answers import Answer
    from decks.scorebook.book import DEFAULT_STUDENT, Scorebook
    from decks.scorebook.handed_in import is_handed_in, save, written

    own = options.named_or_yourself(student, scorebook)
    if own == DEFAULT_STUDENT and name is None:
        raise click.UsageError("--name NAME must say by which name your coach knows you")
    with Scorebook.open(scorebook) as book:
        log = book.log_of(book.student(own))
        titles = {deck: title for deck, title, _ in book.decks()}
    answers = sum(isinstance(each, Answer) for each in log)
    if not answers:
        raise click.ClickException(f"{safe(scorebook)} has no answers of {safe(own)}")
    if file.exists() and not is_handed_in(file):
        raise click.ClickException(f"{safe(file)}: is another file, and stays as it is")
    save(file, written(name or own, titles, log))
    click.echo(f"{counted(answers, 'answer')} of {safe(name or own)} in {safe(file)}")
