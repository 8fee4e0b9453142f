"""Scorebooks to begin a test with."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from decks.scorebook.book import Scorebook


def new_scorebook(path: Path) -> Scorebook:
    """A new scorebook: a copy of an empty one, since taking all steps of the schema costs far more."""
    path.write_bytes(_empty())
    return Scorebook.open(path)


@cache
def _empty() -> bytes:
    with TemporaryDirectory() as folder:
        path = Path(folder, "empty.sqlite")
        Scorebook.open(path).close()
        return path.read_bytes()
