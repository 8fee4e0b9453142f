"""Putting scanned games into the scorebook, and telling what arose in them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any, Literal

from decks.scorebook import Scorebook
from decks.scorebook_games import FindingRow, GameRecord
from patterns.bitboards import square_names
from patterns.catalogue import MOTIFS
from patterns.games import Game, sides_of
from patterns.scan import ScannedGame

Colour = Literal["white", "black"]


def store(book: Scorebook, scanned: Sequence[ScannedGame], source: str) -> list[int]:
    """Keep games and findings in one go each; the games' numbers, in order."""
    numbers = book.store_games([record_of(one.game, source) for one in scanned])
    rows = (
        FindingRow(number, *row) for number, one in zip(numbers, scanned, strict=True) for row in rows_of(one)
    )
    book.store_findings(numbers, rows)
    return numbers


def record_of(game: Game, source: str) -> GameRecord:
    """The game as the scorebook keeps it."""
    return GameRecord(source, game.number, game.headers, [move.uci() for move in game.moves])


def rows_of(scanned: ScannedGame) -> Iterator[tuple[int, str, Colour, int, int, int, str]]:
    """The findings as rows: ply, motif, side, actors, targets, squares, detail."""
    ids, found = list(MOTIFS), scanned.findings
    columns = (
        found.position,
        found.motif,
        found.white,
        found.actors,
        found.targets,
        found.squares,
        found.detail,
    )
    for ply, motif, white, actors, targets, squares, detail in zip(
        *(column.tolist() for column in columns), strict=True
    ):
        side: Colour = "white" if white else "black"
        yield ply, ids[motif], side, actors, targets, squares, str(detail)


def colours(game: Game, player: str | None) -> Sequence[Colour | None]:
    """The sides the player had in a game, none if not there; one entry, None, if nobody is named."""
    return [None] if player is None else sides_of(game, player)


def finding_objects(scanned: ScannedGame, source: str) -> Iterator[dict[str, Any]]:
    """The findings as plain data for JSON Lines."""
    for ply, motif, side, actors, targets, squares, _ in rows_of(scanned):
        yield {
            "file": source,
            "game": scanned.game.number,
            "ply": ply,
            "motif": motif,
            "side": side,
            "actors": square_names(actors),
            "targets": square_names(targets),
            "squares": square_names(squares),
        }


def in_bunches(scanned: Iterable[ScannedGame], size: int) -> Iterator[list[ScannedGame]]:
    """The games in lists of `size`."""
    bunch: list[ScannedGame] = []
    for one in scanned:
        bunch.append(one)
        if len(bunch) == size:
            yield bunch
            bunch = []
    if bunch:
        yield bunch
