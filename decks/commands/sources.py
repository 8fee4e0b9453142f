"""PGN files as commands read them: the games that can be read, and whom a name on the command line means."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
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


def warn_left_out(left_out: Collection[Mapping[str, object]]) -> None:
    """Name what was left out, if anything."""
    for one in left_out:
        warn(safe(f"{one['file']}: {one['reason']}", MESSAGE_LIMIT))
    if left_out:
        warn(f"{counted(len(left_out), 'unreadable game or file', 'unreadable games or files')} left out")


def tell_left_out(left_out: Collection[Mapping[str, object]]) -> None:
    """Name what was left out, if anything, and exit with status 1."""
    warn_left_out(left_out)
    if left_out:
        raise click.exceptions.Exit(1)


def people_meant(
    names: Mapping[str, str],
    asked: str,
    advice: str,
    aliases: Collection[str] = (),
    option: str = "--player",
) -> frozenset[str]:
    """Those of `aliases` that are among the names, else the name that equals or contains `asked`, else none.

    `names`: a spelling of each folded name. `aliases`: folded names of the student who is called as asked. A
    usage error of the `option`, which ends with the advice, if several names contain it.
    """
    from patterns.reading.pgn import folded_name

    wanted = folded_name(asked)
    fitting = [name for name in names if wanted and wanted in name]
    if known := frozenset(name for name in (*aliases, wanted) if name in names):
        return known
    if len(fitting) > 1:
        listed = sorted(safe(names[name]) for name in fitting)
        more = f"; and {len(listed) - NAMES_SHOWN} more" if len(listed) > NAMES_SHOWN else ""
        raise click.BadParameter(
            f"{safe(asked)!r} fits several people: {'; '.join(listed[:NAMES_SHOWN])}{more}. {advice}",
            param_hint=f"'{option}'",
        )
    return frozenset(fitting)


def each_once(games: Iterable[Game]) -> list[Game]:
    """The games, without those that are the same as one before."""
    from decks.scorebook.rows import GameRecord

    found: dict[str, Game] = {}
    for game in games:
        found.setdefault(GameRecord.of(game, "").content, game)
    return list(found.values())


def aliases_of(player: str | None, scorebook: Path) -> frozenset[str]:
    """The folded names of the student who is called so, from the scorebook. None if there is no scorebook."""
    from decks.scorebook.book import Scorebook, ScorebookError

    if player is None or not scorebook.exists():
        return frozenset()
    try:
        with Scorebook.open_to_read(scorebook) as book:
            return book.names_of(player)
    except ScorebookError:  # whoever must read it will say so
        return frozenset()


def spelled(names: Mapping[str, str], who: Collection[str]) -> str | None:
    """The names as the games write them. None if there are none."""
    return "; ".join(sorted(names[name] for name in who)) or None


def seats_told(asked: str, who: str | None, colours: Collection[str], games: int) -> str:
    """Whom a command counted, and in how many of all the games.

    `who`: the names found, None if none. `colours`: the player's colour in each game counted.
    """
    if who is None:
        return f"{safe(asked)} does not play in any of these games"
    white = sum(colour == "white" for colour in colours)
    of = f"{len(colours)} of {counted(games, 'game')}"
    return f"{safe(who)}: {of} ({white} as White, {len(colours) - white} as Black)"
