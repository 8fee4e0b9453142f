"""An open scorebook: its file, its transactions, and faults that name the file."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from decks.scorebook import file as scorebook_file
from decks.scorebook.database import ScorebookDatabase
from decks.scorebook.file import ScorebookError


@dataclass
class Opened:
    """An open scorebook. `path`: its file."""

    path: Path
    _db: ScorebookDatabase

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; closing twice does no harm."""
        self._db.close()

    @contextmanager
    def _naming_faults(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            raise ScorebookError(f"{self.path}: {error}") from error
        except UnicodeEncodeError as error:  # a name from the command line or the file system
            raise ScorebookError(f"{self.path}: can't keep {error.object!r}, which is not UTF-8") from error

    @contextmanager
    def all_or_nothing(self) -> Iterator[None]:
        """What is written within is kept only if nothing within fails."""
        with self._writing():
            yield

    @contextmanager
    def _writing(self) -> Iterator[None]:
        with self._naming_faults():
            if self._db.conn.in_transaction:  # a part of what is kept as a whole
                yield
                return
            with scorebook_file.writing(self._db):
                yield

    @contextmanager
    def _reading(self) -> Iterator[None]:
        """One state of the file, whatever other processes write meanwhile."""
        with self._naming_faults():
            self._db.execute("BEGIN")
            try:
                yield
            finally:
                self._db.conn.rollback()

    def _rows(self, sql: str, *values: object) -> list[dict[str, Any]]:
        with self._naming_faults():
            return list(self._db.query(sql, values))
