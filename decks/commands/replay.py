"""`rondeau replay`: proof that every stored memory follows from the log of answers."""

from __future__ import annotations

from pathlib import Path

import click

from decks.commands import SUMMARIES, options
from decks.commands.terminal import print_json, warn
from patterns.reading.text import safe


@click.command("replay", help=SUMMARIES["replay"])
@click.option("--mend", is_flag=True, help="Set what is stored right by the log.")
@options.scorebook
@options.as_json
def command(mend: bool, scorebook: Path, as_json: bool) -> None:
    from decks.scorebook.book import Scorebook

    with Scorebook.open(scorebook) as book:
        differences = book.replay(mend=mend)
    if as_json:
        items = [{"student": each.student, "item": each.item} for each in differences]
        print_json({"differences": items, "mended": mend and bool(items)})
    elif not differences:
        click.echo("every stored memory follows from the log")
    else:
        for each in differences:
            warn(f"student {each.student}, {safe(each.item)}: stored and replayed memory differ")
        click.echo(f"{len(differences)} {'mended' if mend else 'differ; --mend sets them right'}")
    if differences and not mend:
        raise click.exceptions.Exit(1)
