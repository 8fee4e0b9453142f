"""`rondeau motifs`: lists the catalogue of motifs."""

from __future__ import annotations

import textwrap

import click

from decks.commands import SUMMARIES, options
from decks.commands.terminal import print_json


@click.command("motifs", help=SUMMARIES["motifs"])
@options.as_json
def command(as_json: bool) -> None:
    from patterns.catalogue import MOTIFS

    if as_json:
        entries = [
            {"motif": motif.id, "title": motif.title, "definition": motif.definition, "source": motif.source}
            for motif in MOTIFS.values()
        ]
        print_json({"motifs": entries})
        return
    for motif in MOTIFS.values():
        click.echo(f"{motif.id}: {motif.title}")
        paragraphs = (motif.definition, f"Source: {motif.source}")
        for paragraph in paragraphs:
            click.echo(textwrap.fill(paragraph, 100, initial_indent="    ", subsequent_indent="    "))
        click.echo()
