"""What a detector found, kept in the scorebook as bytes under names. It can be thrown away at any time."""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Mapping
from contextlib import AbstractContextManager

from decks.scorebook.database import ScorebookDatabase


class Detections:
    """What rules of this name found: a `decks.build.detector.Kept`. What other rules found is thrown away.

    `reading` and `writing`: as for `decks.scorebook.searches.Searches`.
    """

    def __init__(
        self,
        db: ScorebookDatabase,
        reading: Callable[[], AbstractContextManager[None]],
        writing: Callable[[], AbstractContextManager[None]],
        rules: str,
    ) -> None:
        self._db, self._reading, self._writing, self._rules = db, reading, writing, rules
        with self._writing():
            self._db.execute("DELETE FROM detections WHERE rules <> ?", [rules])

    def get(self, names: Collection[str]) -> Mapping[str, bytes]:
        """What was kept under these names. A name under which nothing was kept is left out."""
        sql = (
            "SELECT name, found FROM detections "
            "WHERE rules = ? AND name IN (SELECT value FROM json_each(?)) AND typeof(found) = 'blob'"
        )
        with self._reading():
            rows = list(self._db.query(sql, [self._rules, json.dumps(list(names))]))
        return {row["name"]: row["found"] for row in rows}

    def put(self, found: Mapping[str, bytes]) -> None:
        """Keep this, by name. It is on disk at return."""
        rows = [{"name": name, "rules": self._rules, "found": one} for name, one in found.items()]
        with self._writing():
            self._db.table("detections").insert_all(rows, replace=True)
