"""Faults of a deck: where, and what is wrong. They are collected, so that one reading tells all of them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One thing wrong (or, in a check's notes, questionable).

    `path`: the file's name in the deck folder. `line`: counted from 1, None where no line is to blame.
    `card`: its CardId, None where it has none or none is to blame. `message`: what is wrong and what would
    be right; text quoted from a file may hold characters a terminal obeys.
    """

    path: str
    line: int | None
    card: str | None
    message: str

    def __str__(self) -> str:
        line = f" line {self.line}" if self.line is not None else ""
        card = f", card {self.card}" if self.card else ""
        return f"{self.path}{line}{card}: {self.message}"


class DeckError(Exception):
    """A deck with faults: `faults` holds every one; `str()` gives each a line."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(map(str, self.faults)))


def quoted(text: str, limit: int = 60) -> str:
    """`text` in quotes, for a message: control characters escaped, cut after `limit` characters."""
    return repr(text if len(text) <= limit else text[:limit] + "...")
