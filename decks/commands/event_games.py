"""The games that a preparation rests on: the student's own, traced, and an opponent's, scanned."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from decks.commands.sources import aliases_of, each_once, people_meant, readable, spelled, warn_left_out
from patterns.reading.text import safe

if TYPE_CHECKING:
    from decks.scorebook.book import Scorebook
    from decks.scorebook.games import MotifCount


def trace_own(pgn: Path, player: str, engine: str | None, scorebook: Path) -> frozenset[str]:
    """Trace a player's games of a file into the scorebook; returns the folded names found there.

    A usage error if the file has no game of the player. Raises EngineError.
    """
    from decks.commands.engines import CommandEngines
    from decks.commands.trace import keep, seats_of, trace_all
    from patterns.reading.pgn import folded_name

    left_out: list[dict[str, object]] = []
    games = each_once(readable(pgn, left_out))
    _, seats = seats_of(games, player, None, aliases_of(player, scorebook))
    warn_left_out(left_out)
    if not seats:
        raise click.BadParameter(f"{safe(player)} does not play in {safe(pgn)}", param_hint="'--player'")
    with CommandEngines(engine, None, None, scorebook) as engines:
        traced, failures = trace_all(seats, engines)
        name = engines.name
    keep(pgn, traced, name, scorebook)
    if failures:
        raise failures[0]
    return frozenset(folded_name(seat.name) for seat in seats)


def scan_opponent(pgn: Path, name: str, book: Scorebook) -> tuple[str, int, list[MotifCount]]:
    """Scan a file into the scorebook; returns the opponent's name, the number of games, and what arose there.

    A usage error if the file has no game of the opponent.
    """
    from decks.commands.scan import Scanned, scan_file

    done = Scanned()
    scan_file(pgn, book, None, done, None)
    warn_left_out(done.left_out)
    who = people_meant(done.names, name, "Give the whole name.", option="--name")
    seats = {seat for each in who for seat in done.seats[each]}
    if not seats:
        raise click.BadParameter(f"{safe(name)} does not play in {safe(pgn)}", param_hint="'--name'")
    return spelled(done.names, who) or name, len(seats), book.motif_counts(seats=seats)
