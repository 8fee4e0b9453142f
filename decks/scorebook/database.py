"""An open database file. SQL runs on the connection; the library that changes tables is imported when needed.

That import costs more than all else that a scorebook needs, and the first board of a session would wait for
it. So what comes before the first board, and the transaction of a single answer, does without it.
"""

from __future__ import annotations

import sqlite3
import sys
from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from importlib import import_module
from types import TracebackType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sqlite_utils import Database
    from sqlite_utils.db import Table

Values = Sequence[object] | Mapping[str, object]
"""What stands for the parameters of a statement."""


class ScorebookDatabase:
    """A connection to the tables of a scorebook, every statement committed unless a transaction was begun."""

    def __init__(self, conn: sqlite3.Connection) -> None:
        self.conn = conn

    def __enter__(self) -> ScorebookDatabase:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the connection; closing twice does no harm."""
        self.conn.close()

    def execute(self, sql: str, values: Values = ()) -> sqlite3.Cursor:
        """Run one statement."""
        return self.conn.execute(sql, values)

    def query(self, sql: str, values: Values = ()) -> Iterator[dict[str, Any]]:
        """The rows that a statement gives, by column. It runs at once; the rows are read one by one."""
        found = self.execute(sql, values)
        names = [column[0] for column in found.description]
        return (dict(zip(names, row, strict=True)) for row in found)

    def insert(self, table: str, row: Mapping[str, object], instead: bool = False) -> None:
        """Put a row into a table; `instead`: in the place of one with the same key."""
        verb = "INSERT OR REPLACE" if instead else "INSERT"
        values = ", ".join(f":{name}" for name in row)
        self.execute(f"{verb} INTO {table} ({', '.join(row)}) VALUES ({values})", row)

    def table_names(self) -> list[str]:
        """The names of all tables."""
        return [row["name"] for row in self.query("SELECT name FROM sqlite_master WHERE type = 'table'")]

    @cached_property
    def library(self) -> Database:
        """The same connection for the library. It runs no plugins."""
        database: Database = _library().Database(self.conn, execute_plugins=False)
        return database

    def table(self, name: str) -> Table:
        """A table of the library's. It must be there: the library would make a new one of the first row."""
        table = self.library.table(name)
        if not table.exists():
            from sqlite_utils.db import NoTable

            raise NoTable(f"a scorebook has no table {name}")
        return table


def _library() -> Any:
    """The library, imported while numpy and pandas can't be found.

    It would import them to know their numbers as types of columns, which no scorebook needs, and numpy alone
    costs more than all the rest of it.
    """
    unneeded = {"numpy", "pandas"} - sys.modules.keys()
    for name in unneeded:
        sys.modules[name] = None  # type: ignore[assignment]  # to an import: there is no such module
    try:
        return import_module("sqlite_utils")
    finally:
        for name in unneeded:
            del sys.modules[name]
