"""PGN files as commands read them: the games that can be read, and whom a name on the command line means."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click

from decks.commands.terminal import MESSAGE_LIMIT, message_of, warn
from patterns.reading.text import counted, safe

if TYPE_CHECKING:
    from patterns.reading.pgn import Game, Unreadable

NAMES_SHOWN = 12
"""Most people that are listed if a part of a name fits several."""


def readable(
    path: Path,
    left_out: list[dict[str, object]],
    report: Callable[[int, int], None] = lambda done, total: None,
) -> Iterator[Game]:
    """The games of a file that can be read. The others are added to `left_out`, as JSON objects.

    `report`: called with the text lines read so far and all of them.
    """
    from patterns.reading.pgn import Game, GamesError, read_games

    try:
        lines = 0
        for found in read_games(path):
            lines = lines or lines_in(path)  # counted only when the first game has been read
            report(found.line, lines)
            if isinstance(found, Game):
                yield found
            else:
                left_out.append(unreadable(path, found))
        report(lines, lines)
    except (GamesError, OSError) as error:
        reason = message_of(error).removeprefix(f"{safe(path)}: ")
        left_out.append({"file": str(path), "game": None, "line": None, "reason": reason})


def lines_in(path: Path) -> int:
    """The number of text lines in a file, at least 1."""
    with path.open("rb") as file:
        return 1 + sum(chunk.count(b"\n") for chunk in iter(lambda: file.read(1 << 20), b""))


def unreadable(path: Path, found: Unreadable) -> dict[str, object]:
    """A game that could not be read, as a JSON object."""
    return {"file": str(path), "game": found.number, "line": found.line, "reason": str(found)}


def tell_left_out(left_out: Collection[Mapping[str, object]]) -> None:
    """Name what was left out, if anything, and exit with status 1."""
    for one in left_out:
        warn(safe(f"{one['file']}: {one['reason']}", MESSAGE_LIMIT))
    if left_out:
        warn(f"{counted(len(left_out), 'unreadable game or file', 'unreadable games or files')} left out")
        raise click.exceptions.Exit(1)


def person_meant(names: Mapping[str, str], asked: str, advice: str) -> str | None:
    """The folded name that equals or contains `asked`. None if there is none.

    `names`: a spelling of each folded name. A usage error, which ends with the advice, if several fit.
    """
    from patterns.reading.pgn import folded_name

    wanted = folded_name(asked)
    fitting = [name for name in names if wanted and wanted in name]
    if wanted in fitting:
        return wanted
    if len(fitting) > 1:
        listed = sorted(safe(names[name]) for name in fitting)
        more = f"; and {len(listed) - NAMES_SHOWN} more" if len(listed) > NAMES_SHOWN else ""
        raise click.BadParameter(
            f"{safe(asked)!r} fits several people: {'; '.join(listed[:NAMES_SHOWN])}{more}. {advice}",
            param_hint="'--player'",
        )
    return fitting[0] if fitting else None
