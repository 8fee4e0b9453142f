"""`rondeau restore`: puts a copy back in place of the scorebook."""

from __future__ import annotations

from pathlib import Path

import click

from decks.commands import SUMMARIES, options
from patterns.reading.text import safe


@click.command("restore", help=SUMMARIES["restore"])
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@options.scorebook
def command(file: Path, scorebook: Path) -> None:
    from decks.scorebook.file import restore

    kept = restore(scorebook, file)  # not opened first: it may be damaged
    click.echo(f"{safe(scorebook)} restored from {safe(file)}")
    if kept:
        click.echo(f"the old file is kept as {safe(kept)}")
