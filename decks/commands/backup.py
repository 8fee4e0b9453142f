"""`rondeau backup`: copies the whole scorebook."""

from __future__ import annotations

from pathlib import Path

import click

from decks.commands import SUMMARIES, options
from patterns.reading.text import safe


@click.command("backup", help=SUMMARIES["backup"])
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@options.scorebook
def command(file: Path, scorebook: Path) -> None:
    from decks.scorebook.book import Scorebook, ScorebookError

    if not scorebook.exists():
        raise ScorebookError(f"{scorebook}: there is no scorebook to copy")
    with Scorebook.open_to_read(scorebook) as book:
        book.backup(file)
    click.echo(f"{safe(scorebook)} copied to {safe(file)}")
