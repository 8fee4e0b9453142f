"""`rondeau due`: what returns when."""

from __future__ import annotations

from datetime import datetime
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

import click

from decks.commands import SUMMARIES, options
from decks.commands.terminal import MESSAGE_LIMIT, print_json, warn
from patterns.reading.text import safe

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from decks.material import Returning


@click.command("due", help=SUMMARIES["due"])
@options.deck
@options.student
@options.scorebook
@options.as_json
def command(deck: Path | None, student: str | None, scorebook: Path, as_json: bool) -> None:
    from decks.material import Log, Material, returning
    from decks.today import open_decks, refuse_decks_of_others, study_day_now

    name = options.named_or_yourself(student, scorebook)
    with open_decks(deck, scorebook, name, to_ask=False) as (book, decks):
        refuse_decks_of_others(decks, book, name)
        number = book.student(name)
        day = study_day_now(book, number, datetime.now())
        log = Log.read(book, number, day, warn)
        found = returning(Material.of(decks, warn), log)
    if as_json:
        print_json({"returns": [as_dictionary(each) for each in found]})
    else:
        met = log.states or log.memories
        nothing = "no deck here has what was met" if met else "nothing has been met yet"
        click.echo("\n".join(as_text(found, day)) or nothing)


def as_text(found: Sequence[Returning], day: date) -> list[str]:
    """A line for each day on which something returns."""
    from decks.memory.answers import Strand
    from decks.telling.progress_told import strand_title, when_or_today

    lines = []
    for returns, those in groupby(found, key=lambda each: each.day):
        names = [
            strand_title(what) if isinstance(what, Strand) else f"card {what.card_id}" for _, what in those
        ]
        lines.append(safe(f"{when_or_today(returns, day)}: {', '.join(names)}", MESSAGE_LIMIT))
    return lines


def as_dictionary(each: Returning) -> dict[str, object]:
    """One that returns, for JSON."""
    from decks.memory.answers import Strand

    what = each.what
    if isinstance(what, Strand):
        return {"day": str(each.day), "motif": what.motif, "ask": what.ask}
    return {"day": str(each.day), "deck": what.deck, "card": what.card_id}
