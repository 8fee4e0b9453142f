"""Engine searches kept in the scorebook, so that none is made twice. They can all be thrown away at any time.

A search is kept by position, engine and effort, as compressed JSON: about a quarter of its plain size.
"""

from __future__ import annotations

import json
import re
import zlib
from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Any

from decks.cards.verdicts_file import read_verdicts, write_verdicts
from decks.scorebook.database import ScorebookDatabase
from patterns.engines.questions import Answer
from patterns.engines.scores import CENTIPAWN_CAP, Compared, Evaluation, PositionVerdicts

_MOVE = re.compile(r"[a-h][1-8][a-h][1-8][nbrq]?")


class Searches:
    """The kept searches of an open scorebook: a `patterns.engines.engine_pass.Kept`.

    `reading` and `writing`: context managers for what is done with `db`. They raise ScorebookError for what
    goes wrong, and `writing` makes it one transaction.
    """

    def __init__(
        self,
        db: ScorebookDatabase,
        reading: Callable[[], AbstractContextManager[None]],
        writing: Callable[[], AbstractContextManager[None]],
    ) -> None:
        self._db, self._reading, self._writing = db, reading, writing

    def get(self, epd: str, engine: str, effort: str) -> Answer | None:
        """What was kept for a position (four-field EPD). None if nothing was, or if it can't be read."""
        sql = "SELECT found FROM searches WHERE epd = ? AND engine = ? AND effort = ?"
        with self._reading():
            rows = list(self._db.query(sql, [epd, engine, effort]))
        return unpacked(rows[0]["found"], epd) if rows else None

    def put(self, epd: str, engine: str, effort: str, found: Answer) -> None:
        """Keep what was found, in place of what was kept under the same names. It is on disk at return."""
        row = {"epd": epd, "engine": engine, "effort": effort, "found": packed(found)}
        with self._writing():
            self._db.table("searches").insert(row, replace=True)


def packed(found: Answer) -> bytes:
    """What was found as bytes for the store."""
    if isinstance(found, PositionVerdicts):
        text = write_verdicts([found])
    elif isinstance(found, Compared):
        text = json.dumps([_parts(found.best), _parts(found.played)])
    else:
        text = json.dumps(_parts(found))
    return zlib.compress(text.encode(), level=9)


def unpacked(stored: object, epd: str) -> Answer | None:
    """What `packed` packed. None if it is anything else, or verdicts on another position."""
    try:
        text = zlib.decompress(stored).decode() if isinstance(stored, bytes) else ""
    except (zlib.error, UnicodeDecodeError):
        return None
    if not text.startswith("["):
        return read_verdicts(text).by_epd.get(epd)
    try:
        found = json.loads(text)
        if isinstance(found[0], list):
            best, played = map(_evaluation, found)
            return Compared(best, played)
        return _evaluation(found)
    except (ValueError, TypeError, LookupError):
        return None


def _parts(found: Evaluation) -> list[object]:
    return [found.score, found.centipawns, list(found.line)]


def _evaluation(parts: Any) -> Evaluation:
    """What `_parts` gave. ValueError or TypeError for anything else."""
    score, centipawns, line = parts
    sound = (
        0 <= score <= 1
        and (centipawns is None or abs(centipawns) <= CENTIPAWN_CAP)
        and all(_MOVE.fullmatch(move) for move in line)
    )
    if not sound:
        raise ValueError("no search says this")
    return Evaluation(float(score), centipawns, tuple(line))
