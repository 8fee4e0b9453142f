"""`rondeau trace`: where a player's games went wrong, episode by episode, with the root of each."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from decks.commands import SUMMARIES, options
from decks.commands.sources import aliases_of, people_meant, readable, seats_told, spelled, tell_left_out
from decks.commands.terminal import MESSAGE_LIMIT, print_json, warn
from decks.commands.work_bar import work_bar
from patterns.reading.text import counted, safe

if TYPE_CHECKING:
    from decks.build.tracing import Seat, TracedGame
    from decks.commands.engines import CommandEngines
    from patterns.engines.judging import EngineError
    from patterns.reading.pgn import Game

MOST_FAILURES = 3
"""Games in which an engine may fail before the command stops: it probably fails in all of them."""


@click.command("trace", help=SUMMARIES["trace"])
@click.argument("pgn", metavar="PGN", type=click.Path(path_type=Path))
@click.option(
    "--player",
    metavar="NAME",
    help="Trace only this player's moves. A part of the name is enough if it fits nobody else.",
)
@click.option(
    "--game", "number", metavar="N", type=click.IntRange(1), help="Trace only this game of the file."
)
@options.engine
@options.workers
@options.scorebook
@options.as_json
def command(
    pgn: Path,
    player: str | None,
    number: int | None,
    engine: str | None,
    workers: int | None,
    scorebook: Path,
    as_json: bool,
) -> None:
    from decks.commands.engines import CommandEngines
    from decks.telling.episodes_told import game_lines

    left_out: list[dict[str, object]] = []
    games = list(readable(pgn, left_out))
    who, seats = seats_of(games, player, number, aliases_of(player, scorebook))
    with CommandEngines(engine, None, workers, scorebook) as engines:
        traced, failures = trace_all(seats, engines)
        name = engines.name
    keep(pgn, traced, name, scorebook)
    if as_json:
        print_json(
            {
                **({} if player is None else {"player": who}),
                "engine": name or None,
                "games": [as_object(pgn, one) for one in traced],
                "left_out": left_out,
            }
        )
    else:
        click.echo("\n".join(counted_lines(player, who, seats, games, name)))
        for one in traced:
            click.echo("\n" + "\n".join(game_lines(one)))
    if failures:
        raise failures[0]
    tell_left_out(left_out)


def seats_of(
    games: Sequence[Game], player: str | None, number: int | None, aliases: Collection[str]
) -> tuple[str | None, list[Seat]]:
    """The player's name as the games write it, and the sides to trace: the player's, or both of each game.

    A usage error if the name fits several people, or if there is no game with this number.
    """
    from decks.build.tracing import SIDES, Seat
    from patterns.reading.pgn import folded_name

    both = [Seat(game, side) for game in games for side in SIDES]
    every = [(folded_name(seat.name), seat) for seat in both]
    names: dict[str, str] = {}
    for folded, seat in every:
        names.setdefault(folded, seat.name)
    who = {*names} if player is None else people_meant(names, player, "Give the whole name.", aliases)
    if number is not None and number not in {game.number for game in games}:
        raise click.BadParameter(f"the file has no readable game {number}", param_hint="'--game'")
    seats = [seat for folded, seat in every if folded in who and number in (None, seat.game.number)]
    return spelled(names, who), seats


def trace_all(seats: Sequence[Seat], engines: CommandEngines) -> tuple[list[TracedGame], list[EngineError]]:
    """Trace the seats as far as the engines do not fail, with a bar."""
    from decks.build.tracing import TracedGame, trace

    traced: list[TracedGame] = []
    failures: list[EngineError] = []
    kept = 0  # moves that were done before the first search: what was kept takes no time
    with work_bar("Tracing moves") as report:

        def told(done: int, total: int) -> None:
            nonlocal kept
            if not engines.searched:
                kept = done
            left = engines.searched / (done - kept) * (total - done) if done > kept else None
            report(done, total, searched=engines.searched, left=left)

        for found in trace(seats, engines, told):
            if isinstance(found, TracedGame):
                traced.append(found)
            else:
                failures.append(found)
                if len(failures) >= MOST_FAILURES:
                    break
    return traced, failures


def keep(pgn: Path, traced: Sequence[TracedGame], engine: str, scorebook: Path) -> None:
    """Store what was traced for the ledger. If there is no scorebook to store it in, a line says so."""
    from decks.build.cases import cases_of
    from decks.scorebook.book import Scorebook, ScorebookError
    from decks.scorebook.ledger import TracedSide
    from decks.scorebook.rows import GameRecord

    source = safe(pgn, MESSAGE_LIMIT)
    sides = [
        TracedSide(GameRecord.of(one.seat.game, source), one.seat.side, engine, cases_of(one))
        for one in traced
    ]
    try:
        with Scorebook.open(scorebook) as book:
            book.store_traces(sides)
    except ScorebookError as error:
        warn(f"not kept for the ledger: {safe(error)}")


def counted_lines(
    asked: str | None, who: str | None, seats: Sequence[Seat], games: Sequence[Game], engine: str
) -> list[str]:
    """Whom the command counted, in how many games, and who judged."""
    by = f", judged by {safe(engine)}" if engine else ""
    if asked is None:
        return [f"Both players of {counted(len({seat.game.number for seat in seats}), 'game')}{by}"]
    return [seats_told(asked, who, [seat.side for seat in seats], len(games)) + by]


def as_object(pgn: Path, traced: TracedGame) -> dict[str, object]:
    """A traced game as the JSON object that README.md describes."""
    from decks.telling.episodes_told import episode_object, slip_object

    game = traced.seat.game
    return {
        "file": str(pgn),
        "game": game.number,
        **{tag.lower(): game.headers.get(tag, "?") for tag in ("White", "Black", "Date")},
        "result": game.result,
        "side": traced.seat.side,
        "moves": len(traced.moves),
        "episodes": [episode_object(traced, one) for one in traced.episodes],
        "other_slips": [slip_object(slip) for slip in traced.slips_apart],
    }
