"""What a scorebook keeps of games: findings, traced sides, engine searches, and preparations for an event."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Sequence
from datetime import date, datetime

from decks.scorebook import games as scorebook_games
from decks.scorebook import ledger as scorebook_ledger
from decks.scorebook.detections import Detections
from decks.scorebook.games import MotifCount
from decks.scorebook.ledger import Counted, Cut, TracedSide
from decks.scorebook.opened import Opened
from decks.scorebook.rows import (
    FindingRow,
    GameRecord,
    moment_text,
)
from decks.scorebook.searches import Searches


class Played(Opened):
    """The games of an open scorebook."""

    def store_games(self, games: Iterable[GameRecord]) -> list[int]:
        """Store games, each once however often it is scanned; their numbers, in order."""
        with self._writing():
            return scorebook_games.add_games(self._db, games)

    def store_findings(self, games: Collection[int], findings: Iterable[FindingRow]) -> int:
        """Store all findings of `games` (numbers from `store_games`), in place of any earlier scan's."""
        with self._writing():
            return scorebook_games.replace_findings(self._db, games, findings)

    def findings(self, game: int) -> list[FindingRow]:
        """The findings of one game, by ply."""
        with self._naming_faults():
            return scorebook_games.findings_of(self._db, game)

    def motif_counts(
        self, player: str | None = None, *, seats: Iterable[tuple[int, str | None]] | None = None
    ) -> list[MotifCount]:
        """How often each motif arose and how those games ended: for one player, or in all games.

        `seats`: instead, in these games only (numbers), for the colour named with each; None for both.
        """
        with self._naming_faults():
            if seats is None:
                seats = scorebook_games.players_games(self._db, player)
            return scorebook_games.count_motifs(self._db, seats)

    def games_with(self, motifs: Sequence[str]) -> str | None:
        """The file of scanned games in which these motifs arose most often; None if they arose in none."""
        rows = self._rows(
            "SELECT source FROM findings JOIN games ON game = id "
            "WHERE motif IN (SELECT value FROM json_each(?)) GROUP BY source "
            "ORDER BY count(*) DESC, source LIMIT 1",
            json.dumps(motifs),
        )
        return str(rows[0]["source"]) if rows else None

    # Traced games

    def store_traces(self, sides: Iterable[TracedSide]) -> None:
        """Store traced sides of games with their cases, in place of an earlier trace's."""
        with self._writing():
            scorebook_ledger.store_traces(self._db, sides)

    def traced_names(self) -> dict[str, str]:
        """A spelling of each traced player's folded name."""
        with self._naming_faults():
            return scorebook_ledger.traced_names(self._db)

    def count_cases(self, players: Collection[str], cut: Cut | None = None) -> Counted:
        """The cases of these players (folded names) by motif, and by the values of `cut`."""
        with self._naming_faults():
            return scorebook_ledger.count_cases(self._db, players, cut)

    # Searches

    def searches(self) -> Searches:
        """The engine searches that are kept here."""
        return Searches(self._db, self._naming_faults, self._writing)

    # Findings of builds

    def detections(self, rules: str) -> Detections:
        """What the detector found by these rules and is kept here."""
        return Detections(self._db, self._naming_faults, self._writing, rules)

    # Preparations

    def save_preparation(self, student: int, event_day: date, plan: str, made: datetime) -> None:
        """Keep a plan (JSON text) for an event; the newest for that day is the one in force."""
        with self._writing():
            self._db.table("preparations").insert(
                {
                    "student": student,
                    "event_day": event_day.isoformat(),
                    "made": moment_text(made),
                    "plan": plan,
                }
            )

    def preparation(self, student: int, event_day: date) -> str | None:
        """The plan (JSON text) in force for an event, None if there is none."""
        rows = self._rows(
            "SELECT plan FROM preparations WHERE student = ? AND event_day = ? "
            "ORDER BY made DESC, id DESC LIMIT 1",
            student,
            event_day.isoformat(),
        )
        return str(rows[0]["plan"]) if rows else None

    def next_preparation(self, student: int, day: date) -> tuple[date, str] | None:
        """The next event on or after a day whose newest plan isn't empty text: its day and this plan."""
        rows = self._rows(
            "SELECT event_day, plan FROM preparations AS this WHERE student = ? AND event_day >= ? "
            "AND plan <> '' AND NOT EXISTS (SELECT 1 FROM preparations AS other "
            "WHERE other.student = this.student AND other.event_day = this.event_day AND other.id > this.id) "
            "ORDER BY event_day LIMIT 1",
            student,
            str(day),
        )
        return (date.fromisoformat(rows[0]["event_day"]), str(rows[0]["plan"])) if rows else None
