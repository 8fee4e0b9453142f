"""Games and findings in the scorebook: stored in batches by a scan, counted for a player."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from itertools import chain
from typing import Literal

from decks.scorebook.database import ScorebookDatabase
from decks.scorebook.rows import FindingRow, GameRecord, finding_from, row_of_finding, row_of_game

GAP_WITHIN_INSTANCE = 2
"""Plies between two findings of one instance: one full move, for motifs only one side to move shows."""


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


def add_games(db: ScorebookDatabase, games: Iterable[GameRecord]) -> list[int]:
    """Numbers of the games, in order; one already stored keeps its number and is not stored twice."""
    games = list(games)
    _recognise(db, games)
    rows = [row_of_game(game) for game in games]
    db.table("games").insert_all(rows, ignore=True)
    contents = [row["content"] for row in rows]
    found = db.query(
        "SELECT content, id FROM games WHERE content IN (SELECT value FROM json_each(?))",
        [json.dumps(contents)],
    )
    numbers = {row["content"]: int(row["id"]) for row in found}
    return [numbers[content] for content in contents]


def _recognise(db: ScorebookDatabase, games: Iterable[GameRecord]) -> None:
    """Give games that the first version stored their present hash; it could have stored one game twice."""
    hashes = [(game.content, game.content_before) for game in games]
    before = [(old,) for _, old in hashes]
    db.conn.executemany("UPDATE OR IGNORE games SET content = ? WHERE content = ?", hashes)
    db.conn.executemany("DELETE FROM findings WHERE game IN (SELECT id FROM games WHERE content = ?)", before)
    db.conn.executemany("DELETE FROM games WHERE content = ?", before)


def replace_findings(db: ScorebookDatabase, games: Collection[int], findings: Iterable[FindingRow]) -> int:
    """Make `findings` the findings of `games`, in place of what an earlier scan found; how many there are."""
    table = db.table("findings")
    table.delete_where("game IN (SELECT value FROM json_each(?))", [json.dumps(list(games))])
    rows = [row_of_finding(finding) for finding in findings]
    table.insert_all(chain([FindingRow._fields], rows))
    return len(rows)


def findings_of(db: ScorebookDatabase, game: int) -> list[FindingRow]:
    """The findings of one game, by ply."""
    rows = db.table("findings").rows_where("game = ?", [game], order_by="ply, motif, side, rowid")
    return [finding_from(row) for row in rows]


def players_games(db: ScorebookDatabase, player: str | None) -> list[tuple[int, str | None]]:
    """Every game with the player's colour in it; without a player all games, with no colour.

    `player` is a name as the games write it; capitals make no difference.
    """
    if player is None:
        return [(row["id"], None) for row in db.table("games").rows_where(select="id")]
    rows = db.query(
        "SELECT id, CASE WHEN white = :player COLLATE NOCASE THEN 'white' ELSE 'black' END AS colour "
        "FROM games WHERE white = :player COLLATE NOCASE OR black = :player COLLATE NOCASE",
        {"player": player},
    )
    return [(row["id"], row["colour"]) for row in rows]


def count_motifs(db: ScorebookDatabase, seats: Iterable[tuple[int, str | None]]) -> list[MotifCount]:
    """Counts by motif and side, most instances first, in games given with a player's colour (or None)."""
    rows = db.query(
        f"""
        WITH counted AS (
            SELECT json_extract(value, '$[0]') AS id, json_extract(value, '$[1]') AS colour
            FROM json_each(?)),
        chosen AS (SELECT id, result, colour FROM counted JOIN games USING (id)),
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
        SELECT motif, profits AS side, sum(instances) AS instances, count(*) AS games,
            sum(outcome IN ('white 1-0', 'black 0-1')) AS won, sum(outcome LIKE '% 1/2-1/2') AS drawn,
            sum(outcome IN ('white 0-1', 'black 1-0')) AS lost
        FROM games_with GROUP BY motif, profits ORDER BY sum(games_with.instances) DESC, motif, profits DESC
        """,
        [json.dumps(list(seats))],
    )
    return [MotifCount(**row) for row in rows]
