"""Games and findings in the scorebook: stored in batches by a scan, counted for a player."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

IDENTIFYING_TAGS = ("Event", "Site", "Date", "Round", "White", "Black", "Result", "SetUp", "FEN")
"""Tags that tell games apart: the seven tag roster of the PGN standard (8.1.1), and the set-up (9.7)."""

GAP_WITHIN_INSTANCE = 2
"""Plies between two findings of one instance: one full move, for motifs only one side to move shows."""

_SIGN_BIT = 1 << 63
_ALL_BITS = 1 << 64


@dataclass(frozen=True)
class GameRecord:
    """A game as a scan found it: `number` (from 1) in the file `source`, its tags, its moves in UCI."""

    source: str
    number: int
    headers: Mapping[str, str]
    moves: Sequence[str]

    @property
    def content(self) -> str:
        """A hash of tags and moves: the same game read again, from any file, has the same one."""
        tags = [self.headers.get(tag, "") for tag in IDENTIFYING_TAGS]
        return hashlib.sha256(json.dumps([tags, list(self.moves)]).encode()).hexdigest()


class FindingRow(NamedTuple):
    """One motif in one position: `game` as numbered by the scorebook, `ply` (0 before the first move),
    the side that profits, and square sets as 64-bit integers, a1 the lowest bit."""

    game: int
    ply: int
    motif: str
    side: Literal["white", "black"]
    actors: int
    targets: int
    squares: int
    detail: str = ""


@dataclass(frozen=True)
class MotifCount:
    """How often a motif arose, and how those games ended.

    `side`: who profits, `player` or `opponent` where the counts are one player's, else `white` or `black`.
    `instances`: findings of the same men on successive moves count as one. `won`, `drawn`, `lost`: the
    games' results for the player, or where none is named for the side that profits.
    """

    motif: str
    side: Literal["player", "opponent", "white", "black"]
    instances: int
    games: int
    won: int
    drawn: int
    lost: int


def add_games(db: sqlite3.Connection, games: Iterable[GameRecord]) -> list[int]:
    """Numbers of the games, in order; one already stored keeps its number and is not stored twice."""
    numbers = []
    for game in games:
        tags = [game.headers.get(tag, "") for tag in ("White", "Black", "Date", "Event", "Result")]
        db.execute(
            "INSERT INTO games (content, source, number, white, black, date, event, result) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (content) DO NOTHING",
            (game.content, game.source, game.number, *tags),
        )
        (number,) = db.execute("SELECT id FROM games WHERE content = ?", (game.content,)).fetchone()
        numbers.append(number)
    return numbers


def replace_findings(db: sqlite3.Connection, games: Collection[int], findings: Iterable[FindingRow]) -> int:
    """Make `findings` the findings of `games`, in place of what an earlier scan found; how many there are."""
    db.executemany("DELETE FROM findings WHERE game = ?", ((game,) for game in games))
    return db.executemany(
        "INSERT INTO findings VALUES (?, ?, ?, ?, ?, ?, ?, ?)", map(_storable, findings)
    ).rowcount


def findings_of(db: sqlite3.Connection, game: int) -> list[FindingRow]:
    """The findings of one game, by ply."""
    rows = db.execute(
        "SELECT ply, motif, side, actors, targets, squares, detail FROM findings "
        "WHERE game = ? ORDER BY ply, motif, side, rowid",
        (game,),
    )
    return [
        FindingRow(
            game, ply, motif, side, actors % _ALL_BITS, targets % _ALL_BITS, squares % _ALL_BITS, detail
        )
        for ply, motif, side, actors, targets, squares, detail in rows
    ]


def players_games(db: sqlite3.Connection, player: str | None) -> list[tuple[int, str | None]]:
    """Every game with the player's colour in it; without a player all games, with no colour.

    `player` is a name as the games write it; capitals make no difference.
    """
    if player is None:
        return [(number, None) for (number,) in db.execute("SELECT id FROM games")]
    return db.execute(
        "SELECT id, CASE WHEN white = :player COLLATE NOCASE THEN 'white' ELSE 'black' END FROM games "
        "WHERE white = :player COLLATE NOCASE OR black = :player COLLATE NOCASE",
        {"player": player},
    ).fetchall()


def count_motifs(db: sqlite3.Connection, seats: Iterable[tuple[int, str | None]]) -> list[MotifCount]:
    """Counts by motif and side, most instances first, in games given with a player's colour (or None)."""
    db.execute("CREATE TEMP TABLE IF NOT EXISTS counted (id INTEGER, colour TEXT)")
    db.execute("DELETE FROM counted")
    db.executemany("INSERT INTO counted VALUES (?, ?)", seats)
    rows = db.execute(
        f"""
        WITH chosen AS (SELECT id, result, colour FROM counted JOIN games USING (id)),
        steps AS (
            SELECT game, motif, side, result, colour, ply - lag(ply) OVER (
                PARTITION BY game, colour, motif, side, actors, targets ORDER BY ply) AS gap
            FROM chosen JOIN findings ON findings.game = chosen.id),
        games_with AS (
            SELECT motif,
                CASE WHEN colour IS NULL THEN side WHEN colour = side THEN 'player' ELSE 'opponent' END
                    AS profits,
                coalesce(colour, side) || ' ' || result AS outcome,
                sum(gap IS NULL OR gap > {GAP_WITHIN_INSTANCE}) AS instances
            FROM steps GROUP BY game, colour, motif, side)
        SELECT motif, profits, sum(instances), count(*),
            sum(outcome IN ('white 1-0', 'black 0-1')), sum(outcome LIKE '% 1/2-1/2'),
            sum(outcome IN ('white 0-1', 'black 1-0'))
        FROM games_with GROUP BY motif, profits ORDER BY sum(instances) DESC, motif, profits DESC
        """
    )
    return [MotifCount(*row) for row in rows]


def _storable(row: FindingRow) -> tuple[int | str, ...]:
    """SQLite's integers are signed: the set that holds h8 is stored as a negative number."""
    game, ply, motif, side, actors, targets, squares, detail = row
    return game, ply, motif, side, _signed(actors), _signed(targets), _signed(squares), detail


def _signed(squares: int) -> int:
    squares = int(squares)  # a numpy integer would be stored as bytes
    return squares - _ALL_BITS if squares & _SIGN_BIT else squares
