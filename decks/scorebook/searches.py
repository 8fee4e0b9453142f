"""Engine searches kept in the scorebook, so that none is made twice. They can all be thrown away at any time.

A search is kept by position, engine and effort, as compressed JSON: about a quarter of its plain size.
"""

from __future__ import annotations

import json
import re
import zlib
from collections.abc import Callable
from contextlib import AbstractContextManager

from sqlite_utils import Database

from decks.cards.verdicts_file import read_verdicts, write_verdicts
from patterns.engines.scores import CENTIPAWN_CAP, Evaluation, PositionVerdicts

_MOVE = re.compile(r"[a-h][1-8][a-h][1-8][nbrq]?")


class Searches:
    """The kept searches of an open scorebook: a `patterns.engines.engine_pass.Kept`.

    `reading` and `writing`: context managers for what is done with `db`. They raise ScorebookError for what
    goes wrong, and `writing` makes it one transaction.
    """

    def __init__(
        self,
        db: Database,
        reading: Callable[[], AbstractContextManager[None]],
        writing: Callable[[], AbstractContextManager[None]],
    ) -> None:
        self._db, self._reading, self._writing = db, reading, writing

    def get(self, epd: str, engine: str, effort: str) -> PositionVerdicts | Evaluation | None:
        """What was kept for a position (four-field EPD). None if nothing was, or if it can't be read."""
        where = "epd = ? AND engine = ? AND effort = ?"
        with self._reading():
            rows = list(self._db.table("searches").rows_where(where, [epd, engine, effort], select="found"))
        return unpacked(rows[0]["found"], epd) if rows else None

    def put(self, epd: str, engine: str, effort: str, found: PositionVerdicts | Evaluation) -> None:
        """Keep what was found, in place of what was kept under the same names. It is on disk at return."""
        row = {"epd": epd, "engine": engine, "effort": effort, "found": packed(found)}
        with self._writing():
            self._db.table("searches").insert(row, replace=True)


def packed(found: PositionVerdicts | Evaluation) -> bytes:
    """What was found as bytes for the store."""
    if isinstance(found, PositionVerdicts):
        text = write_verdicts([found])
    else:
        text = json.dumps([found.score, found.centipawns, list(found.line)])
    return zlib.compress(text.encode(), level=9)


def unpacked(stored: object, epd: str) -> PositionVerdicts | Evaluation | None:
    """What `packed` packed. None if it is anything else, or verdicts on another position."""
    try:
        text = zlib.decompress(stored).decode() if isinstance(stored, bytes) else ""
    except (zlib.error, UnicodeDecodeError):
        return None
    return _evaluation(text) if text.startswith("[") else read_verdicts(text).by_epd.get(epd)


def _evaluation(text: str) -> Evaluation | None:
    try:
        score, centipawns, line = json.loads(text)
        sound = (
            0 <= score <= 1
            and (centipawns is None or abs(centipawns) <= CENTIPAWN_CAP)
            and all(_MOVE.fullmatch(move) for move in line)
        )
    except (ValueError, TypeError):
        return None
    return Evaluation(float(score), centipawns, tuple(line)) if sound else None
