"""`rondeau scan`: tags every position of games, stores them, and counts the motifs and their scores."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

import click

from decks.commands import SUMMARIES, options
from decks.commands.sources import aliases_of, people_meant, readable, seats_told, spelled, tell_left_out
from decks.commands.terminal import MESSAGE_LIMIT, print_json, progress, table
from decks.commands.workers import worker_processes
from patterns.reading.text import counted, safe

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from decks.scorebook.book import Scorebook
    from decks.scorebook.games import MotifCount
    from decks.scorebook.rows import FindingRow, GameRecord
    from patterns.scan import ScannedGame

GAMES_AT_ONCE = 64
"""Games stored in one transaction. An interrupted scan loses only the last of these batches."""

OTHER_SIDE = {"player": "opponent", "opponent": "player", "white": "black", "black": "white"}


@dataclass
class Scanned:
    """What a scan has done so far.

    `sizes`: positions and findings of each game, by its number in the scorebook. `seats`: games and colours
    of each player, by folded name. `names`: a spelling of each folded name. `left_out`: what could not be
    read, as JSON objects.
    """

    sizes: dict[int, tuple[int, int]] = field(default_factory=dict)
    seats: dict[str, set[tuple[int, str]]] = field(default_factory=dict)
    names: dict[str, str] = field(default_factory=dict)
    left_out: list[dict[str, object]] = field(default_factory=list)


@dataclass(frozen=True)
class Counts:
    """The result of a scan: the size of what was counted, and the counts.

    `asked`: the name asked for; None for all games. `player`: the name of the player found, as in the games.
    `scanned`: all games; `colours`: the player's colour in each game that was counted.
    """

    asked: str | None
    player: str | None
    scanned: int
    colours: Sequence[str]
    games: int
    positions: int
    findings: int
    motifs: Sequence[MotifCount]


@click.command("scan", help=SUMMARIES["scan"])
@click.argument("pgn", metavar="PGN...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--player",
    metavar="NAME",
    help="Count only games of this player. A part of the name is enough if it fits nobody else.",
)
@click.option(
    "--workers", metavar="N", type=click.IntRange(1, 256), default=1, help="Number of processes that tag (1)."
)
@click.option(
    "--findings", "stream", is_flag=True, help="Instead print every finding, one JSON object per line."
)
@options.scorebook
@options.as_json
def command(
    pgn: Sequence[Path], player: str | None, workers: int, stream: bool, scorebook: Path, as_json: bool
) -> None:
    from concurrent.futures import BrokenExecutor

    from decks.scorebook.book import Scorebook

    if stream and as_json:
        raise click.UsageError("--findings prints JSON Lines already: leave out --json")
    done = Scanned()
    with ExitStack() as open_things:
        executor = open_things.enter_context(worker_processes(workers)) if workers > 1 else None
        book = open_things.enter_context(Scorebook.open(scorebook))
        for path in pgn:
            try:
                scan_file(path, book, executor, done, print_findings if stream else None)
            except BrokenExecutor as error:
                kept = f"{counted(len(done.sizes), 'game')} kept"
                raise click.ClickException(f"a worker process was killed, {kept}: scan again") from error
        counts = None if stream else counts_of(done, book, player, aliases_of(player, scorebook))
    if counts is not None:
        if as_json:
            print_json(as_object(done, counts))
        else:
            click.echo("\n".join(as_text(counts)))
    tell_left_out(done.left_out)


def scan_file(
    path: Path,
    book: Scorebook,
    executor: Executor | None,
    done: Scanned,
    each: Callable[[Path, ScannedGame], None] | None,
) -> None:
    """Scan one file into the scorebook, a few games at a time; `each` is given every game."""
    from patterns.reading.pgn import folded_name
    from patterns.scan import scan

    with progress(safe(path.name), show_pos=False) as report:
        scanned = scan(readable(path, done.left_out, report), executor)
        while batch := list(islice(scanned, GAMES_AT_ONCE)):
            records, rows = rows_of(batch, safe(path, MESSAGE_LIMIT))
            numbers = book.store_games(records)
            book.store_findings(numbers, rows(numbers))
            for number, one in zip(numbers, batch, strict=True):
                done.sizes[number] = len(one.game.moves) + 1, len(one.findings.position)
                for side in ("white", "black"):
                    name = one.game.headers.get(side.title(), "")
                    done.names.setdefault(folded_name(name), name)
                    done.seats.setdefault(folded_name(name), set()).add((number, side))
                if each is not None:
                    each(path, one)


def rows_of(
    scanned: Sequence[ScannedGame], source: str
) -> tuple[list[GameRecord], Callable[[Sequence[int]], Iterator[FindingRow]]]:
    """The games as the scorebook stores them, and a function from the games' numbers to their findings."""
    from decks.scorebook.rows import FindingRow, GameRecord
    from patterns.catalogue import MOTIFS

    motifs = list(MOTIFS)
    records = [GameRecord.of(one.game, source) for one in scanned]

    def rows(numbers: Sequence[int]) -> Iterator[FindingRow]:
        for number, one in dict(zip(numbers, scanned, strict=True)).items():  # a game may come twice
            found = one.findings
            columns = (found.position, found.motif, found.white, found.actors, found.targets, found.squares)
            for ply, motif, white, *squares in zip(*(column.tolist() for column in columns), strict=True):
                yield FindingRow(number, ply, motifs[motif], "white" if white else "black", *squares)

    return records, rows


def print_findings(path: Path, one: ScannedGame) -> None:
    """Print every finding of a game as a JSON object: its place, and the same keys as in `explain --json`."""
    from dataclasses import asdict

    from patterns.tagging import in_words

    for position in in_words(one).positions:
        place = {"file": str(path), "game": one.game.number, "ply": position.ply}
        for finding in position.findings:
            print_json(place | {"fen": position.board.fen()} | asdict(finding))


def score_of(count: MotifCount) -> float | None:
    """Points per game, 0 to 1. None if no game has a result."""
    finished = count.won + count.drawn + count.lost
    return (count.won + count.drawn / 2) / finished if finished else None


def counts_of(done: Scanned, book: Scorebook, player: str | None, aliases: Collection[str]) -> Counts:
    """The counts for a player, or for all games. A usage error if the name fits several people."""
    advice = "The games are stored; give the whole name."
    who: Collection[str] = ()
    seats: set[tuple[int, str | None]] = {(number, None) for number in done.sizes}
    if player is not None:
        who = people_meant(done.names, player, advice, aliases)
        seats = {seat for name in who for seat in done.seats[name]}
    sizes = [done.sizes[number] for number in {number for number, _ in seats}]
    return Counts(
        player,
        spelled(done.names, who),
        len(done.sizes),
        [str(colour) for _, colour in seats],
        len(sizes),
        sum(positions for positions, _ in sizes),
        sum(findings for _, findings in sizes),
        book.motif_counts(seats=seats),
    )


def as_text(counts: Counts) -> list[str]:
    """The counts as a table."""
    whose = counted(counts.games, "game")
    if counts.asked is not None:
        whose = seats_told(counts.asked, counts.player, counts.colours, counts.scanned)
        if counts.player is None:
            return [whose]
    lines = [f"{whose}, {counted(counts.positions, 'position')}, {counted(counts.findings, 'finding')}", ""]
    if not counts.motifs:
        return [*lines, "no motif of the catalogue was found"]
    rows = [
        (
            each.motif,
            each.side,
            OTHER_SIDE[each.side],
            str(each.instances),
            str(each.games),
            "-" if (score := score_of(each)) is None else f"{score:.0%}",
        )
        for each in counts.motifs
    ]
    lines += table(("motif", "for", "against", "instances", "games", "score"), rows)
    by = "the side that had it" if counts.player is None else f"{safe(counts.player)} in those games"
    return [
        *lines,
        "",
        "for: whom it helps; against: who has the weak pawn, the pinned man, the open king",
        f"score: share of the points won by {by}",
    ]


def as_object(done: Scanned, counts: Counts) -> dict[str, object]:
    """The counts as a JSON object."""
    return {
        **({} if counts.asked is None else {"player": counts.player}),
        "games": counts.games,
        "positions": counts.positions,
        "findings": counts.findings,
        "left_out": done.left_out,
        "motifs": [
            {
                "motif": each.motif,
                "side": each.side,
                "against": OTHER_SIDE[each.side],
                "instances": each.instances,
                "games": each.games,
                "won": each.won,
                "drawn": each.drawn,
                "lost": each.lost,
                "score": score_of(each),
            }
            for each in counts.motifs
        ],
    }
