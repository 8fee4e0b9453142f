"""Traced games in the scorebook, and what the ledger counts of them by motif.

A game is the same whatever its file and title (`GameRecord.content`). If a side of it is traced again, its
cases take the place of the old ones.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Literal

from decks.scorebook.database import ScorebookDatabase
from decks.scorebook.games import add_games
from decks.scorebook.rows import GameRecord
from patterns.reading.pgn import folded_name

if TYPE_CHECKING:  # opening a scorebook must not wait for what a trace needs
    from decks.build.cases import Case

Cut = Literal["phase", "colour", "clock"]

CUTS: Mapping[Cut, str] = {"phase": "phase", "colour": "side", "clock": "clock"}
"""The column of `cases` by which each cut divides them."""


@dataclass(frozen=True)
class TracedSide:
    """A side of a game as it is stored: who played it, which engine judged, and its cases."""

    game: GameRecord
    side: Literal["white", "black"]
    engine: str
    cases: Sequence[Case]

    @property
    def player(self) -> str:
        """The player's name, folded."""
        return folded_name(self.game.headers.get(self.side.title(), ""))


@dataclass(frozen=True)
class Tally:
    """Cases of one motif, or of none: chances taken, chances let slip, how often it was let in, episodes
    that name no motif, and what the episodes cost together (expected score)."""

    took: int = 0
    let_slip: int = 0
    let_in: int = 0
    unnamed: int = 0
    cost: float = 0.0

    @property
    def had(self) -> int:
        """Chances: taken or let slip."""
        return self.took + self.let_slip

    @property
    def episodes(self) -> int:
        """How many episodes the cost rests on."""
        return self.let_slip + self.let_in + self.unnamed

    def __add__(self, other: Tally) -> Tally:
        mine, more = asdict(self), asdict(other)
        return Tally(**{name: mine[name] + more[name] for name in mine})


@dataclass(frozen=True)
class Counted:
    """What was counted of some players: their traced games by colour, and tallies by cut value and motif."""

    white: int
    black: int
    tallies: Mapping[tuple[str, str | None], Tally]

    @property
    def games(self) -> int:
        """How many games; one in which both sides are counted is two."""
        return self.white + self.black

    def of(self, motif: str) -> Tally:
        """The cases of a motif, if they were counted without a cut."""
        return self.tallies.get(("", motif), Tally())


NO_GAMES = Counted(0, 0, {})
"""What is counted of somebody none of whose games was traced."""


def store_traces(db: ScorebookDatabase, sides: Iterable[TracedSide]) -> None:
    """Store traced sides of games, each once."""
    sides = list(sides)
    numbers = add_games(db, [one.game for one in sides])
    for number, one in zip(numbers, sides, strict=True):
        db.table("traces").delete_where("game = ? AND side = ?", [number, one.side])
        key = {"game": number, "side": one.side}
        db.table("traces").insert({**key, "player": one.player, "engine": one.engine})
        db.table("cases").insert_all({**key, **asdict(case)} for case in one.cases)


def traced_names(db: ScorebookDatabase) -> dict[str, str]:
    """A spelling of each traced player's folded name."""
    rows = db.query(
        "SELECT player, min(iif(side = 'white', white, black)) AS name "
        "FROM traces JOIN games ON games.id = game GROUP BY player ORDER BY player"
    )
    return {row["player"]: row["name"] for row in rows}


def count_cases(db: ScorebookDatabase, players: Collection[str], cut: Cut | None = None) -> Counted:
    """The cases of these players (folded names), by motif and by the values of `cut` (else empty)."""
    names = json.dumps(list(players))
    among = "player IN (SELECT value FROM json_each(?))"
    seats = db.query(f"SELECT side, count(*) AS games FROM traces WHERE {among} GROUP BY side", [names])
    games = {row["side"]: row["games"] for row in seats}
    rows = db.query(
        f"""SELECT {CUTS[cut] if cut else "''"} AS value, motif, sum(outcome = 'took') AS took,
            sum(outcome = 'let slip') AS let_slip, sum(outcome = 'let in') AS let_in,
            sum(outcome = 'unnamed') AS unnamed, total(cost) AS cost
        FROM cases JOIN traces USING (game, side) WHERE {among} GROUP BY value, motif""",
        [names],
    )
    tallies = {(row.pop("value"), row.pop("motif")): Tally(**row) for row in rows}
    return Counted(games.get("white", 0), games.get("black", 0), tallies)
