"""`rondeau ledger`: which motifs a player takes, lets slip and lets in, and what they cost."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from decks.commands import SUMMARIES, options
from decks.commands.sources import people_meant, spelled
from decks.commands.terminal import print_json, table
from patterns.reading.text import counted, safe

if TYPE_CHECKING:
    from decks.scorebook.ledger import Counted, Cut


@click.command("ledger", help=SUMMARIES["ledger"])
@click.option(
    "--player",
    metavar="NAME",
    help="Count this player: a student by all aliases, or a name, or a part that fits nobody else.",
)
@click.option(
    "--by",
    "cut",
    type=click.Choice(["phase", "colour", "clock"]),
    help="Divide by the phase of the game, the player's colour, or the clock.",
)
@options.scorebook
@options.as_json
def command(player: str | None, cut: Cut | None, scorebook: Path, as_json: bool) -> None:
    from decks.scorebook.book import Scorebook
    from decks.telling.ledger_told import EXPLAINED, HEADS, part_lines, part_object, part_title, parts

    with Scorebook.open_to_read(scorebook) as book:
        names = book.traced_names()
        chosen = frozenset(names)
        if player is not None:
            chosen = people_meant(names, player, "Give the whole name.", book.names_of(player))
        own, others = (book.count_cases(some, cut) for some in (chosen, names.keys() - chosen))
    found = parts(own, others, cut)
    if as_json:
        told = {
            **({} if player is None else {"player": spelled(names, chosen)}),
            "games": own.games,
            "white": own.white,
            "black": own.black,
            "parts": [part_object(part, cut) for part in found],
        }
        print_json(told)
        return
    click.echo(counted_line(player, spelled(names, chosen), len(chosen), own))
    for part in found:
        click.echo("\n".join(["", part_title(part, cut), "", *table(HEADS, part_lines(part))]))
    if found:
        click.echo("\n".join(["", *EXPLAINED]))


def counted_line(asked: str | None, who: str | None, players: int, own: Counted) -> str:
    """Whom the ledger counts, and in how many traced games."""
    if not own.games:
        whose = "" if asked is None else f" of {safe(asked)}"
        return f"no game{whose} has been traced: `rondeau trace PGN` does it"
    whose = counted(players, "player") if asked is None else safe(who or "")
    return f"{whose}: {counted(own.games, 'traced game')} ({own.white} as White, {own.black} as Black)"
