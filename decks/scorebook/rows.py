"""What a scorebook keeps, as typed values and as rows: dictionaries from column to what SQLite stores.

Days and moments are stored as text, and sets of squares as signed integers.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import UTC, date, datetime
from functools import cache
from math import inf
from typing import Any, Literal, NamedTuple

from decks.memory.answers import Answer, Contest, Correction, Display, Logged, Withdrawal
from decks.memory.model import Memory
from decks.tasks.card import Grade
from patterns.reading.pgn import Game, folded_name

Row = Mapping[str, Any]

_TAGS_BEFORE = ("Event", "Site", "Date", "Round", "White", "Black", "Result", "SetUp", "FEN")
"""Tags that told games apart in the first version."""

_SIGN_BIT = 1 << 63
_ALL_BITS = 1 << 64


@dataclass(frozen=True)
class GameRecord:
    """A game as a scan found it: `number` (from 1) in the file `source`, its tags, its moves in UCI."""

    source: str
    number: int
    headers: Mapping[str, str]
    moves: Sequence[str]

    @classmethod
    def of(cls, game: Game, source: str) -> GameRecord:
        """The record of a game that was read from a file."""
        headers = {**game.headers, "Result": game.result}
        return cls(source, game.number, headers, [move.uci() for move in game.moves])

    @property
    def content(self) -> str:
        """A hash of players, date, start and moves: the same game has it under any title, in any file."""
        players = [folded_name(self.headers.get(tag, "")) for tag in ("White", "Black")]
        return self._hash([*players, *(self.headers.get(tag, "").strip() for tag in ("Date", "FEN"))])

    @property
    def content_before(self) -> str:
        """The hash that the first version kept of this game."""
        return self._hash([self.headers.get(tag, "") for tag in _TAGS_BEFORE])

    def _hash(self, tags: Sequence[str]) -> str:
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


def row_of(value: Logged | Memory) -> dict[str, object]:
    """The fields by name."""
    return {field.name: _stored(getattr(value, field.name)) for field in fields(value)}


def answer_from(row: Row) -> Answer:
    """The answer of a row of `reviews`; of a row of `counted`, with the grade and study day that hold now."""
    read = {field.name: row[field.name] for field in fields(Answer)}
    read["grade"] = row.get("grade_now", row["grade"])
    read["study_day"] = date.fromisoformat(row.get("day_now", row["study_day"]))
    read["time"] = datetime.fromisoformat(row["time"])
    read["first_sight"] = None if row["first_sight"] is None else bool(row["first_sight"])
    read |= {name: bool(row[name]) for name in ("lookalike", "on_paper")}
    return Answer(**read)


def correction_from(row: Row) -> Correction:
    """The correction of a row of `corrections`."""
    read = {"time": datetime.fromisoformat(row["time"]), "unvoids": bool(row["unvoids"])}
    return Correction(**{**row, **read})


def contest_from(row: Row) -> Contest:
    """The claim of a row of `open_contests` or `contests`."""
    return Contest(**_of_fields(Contest, row))


def withdrawal_from(row: Row) -> Withdrawal:
    """The claim taken back by a row of `contests`."""
    return Withdrawal(**_of_fields(Withdrawal, row))


def display_from(row: Row) -> Display:
    """The display of a row of `displays`."""
    return Display(**{**_of_fields(Display, row), "study_day": date.fromisoformat(row["study_day"])})


def _of_fields(made: type[Contest | Withdrawal | Display], row: Row) -> dict[str, Any]:
    read = {field.name: row[field.name] for field in fields(made)}
    return {**read, "time": datetime.fromisoformat(row["time"])}


def memory_from(stability: Any, difficulty: Any, last: Any, due: Any, misses: Any, worked: Any) -> Memory:
    """The memory of these columns of `memory`; ValueError if they are damaged."""
    if not (isinstance(stability, float) and 0 < stability < inf):
        raise ValueError(f"stability can't be {stability}")
    if not (isinstance(difficulty, float) and 0 < difficulty < inf):
        raise ValueError(f"difficulty can't be {difficulty}")
    if not (isinstance(misses, int) and misses >= 0):
        raise ValueError(f"misses can't be {misses}")
    shown = None if worked is None else day_from(worked)
    return Memory(stability, difficulty, day_from(last), day_from(due), misses, shown)


@cache
def day_from(text: str) -> date:
    """The day that is stored as a text; ValueError if it is none.

    The same few thousand days come again and again.
    """
    if not isinstance(text, str):
        raise ValueError(f"{text!r} is no day")
    return date.fromisoformat(text)


def review_from(row: Row) -> tuple[Grade, date, float]:
    """What a memory is worked out from: grade and study day that hold now, target recall; of `counted`."""
    return row["grade_now"], day_from(row["day_now"]), row["target_recall"]


def row_of_game(game: GameRecord) -> dict[str, object]:
    """A row of `games`; a tag the game lacks is left empty."""
    tags = {tag.lower(): game.headers.get(tag, "") for tag in ("White", "Black", "Date", "Event", "Result")}
    return {"content": game.content, "source": game.source, "number": game.number, **tags}


def row_of_finding(finding: FindingRow) -> tuple[int | str, ...]:
    """The fields in order, each square set as SQLite's signed integer: the set that holds h8 is negative."""
    game, ply, motif, side, actors, targets, squares, detail = finding
    return game, ply, motif, side, _signed(actors), _signed(targets), _signed(squares), detail


def finding_from(row: Row) -> FindingRow:
    """The finding of a row of `findings`."""
    return FindingRow(**{**row, **{men: row[men] % _ALL_BITS for men in ("actors", "targets", "squares")}})


def moment_text(moment: datetime) -> str:
    """UTC with a fixed number of digits (ISO 8601), so that text order is time order."""
    return moment.astimezone(UTC).isoformat(timespec="microseconds")


def _stored(value: object) -> object:
    if isinstance(value, datetime):  # asked first: a datetime is a date too
        return moment_text(value)
    return value.isoformat() if isinstance(value, date) else value


def _signed(squares: int) -> int:
    squares = int(squares)  # a numpy integer would be stored as bytes
    return squares - _ALL_BITS if squares & _SIGN_BIT else squares
