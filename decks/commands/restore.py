"""`rondeau restore`: put a copy back in the scorebook's place."""

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

    kept = restore(scorebook, file)  # the scorebook itself stays shut: it may be what no longer opens
    click.echo(f"{safe(scorebook)} restored from {safe(file)}")
    if kept:
        click.echo(f"what stood there before is kept in {safe(kept)}")
