"""Faults of a deck: where, and what is wrong. They are collected, so that one reading tells all of them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from patterns.reading.text import counted

MOST_TOLD = 20
"""Faults of one file that are told one by one: more than a person mends between two checks."""

MOST_COUNTED = 1000
"""Faults after which a file is not read on: it is another sort of file."""


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


class Faults:
    """Faults of one file as they are found: the first MOST_TOLD are kept, the others counted."""

    def __init__(self, path: str) -> None:
        self._path = path
        self._first: list[Fault] = []
        self._count = 0

    @property
    def too_many(self) -> bool:
        """Whether reading on is of no use: MOST_COUNTED faults were found."""
        return self._count >= MOST_COUNTED

    def add(self, fault: Fault) -> None:
        """One more."""
        self._count += 1
        if len(self._first) < MOST_TOLD:
            self._first.append(fault)

    def __iter__(self) -> Iterator[Fault]:
        yield from self._first
        more = self._count - len(self._first)
        if self.too_many:
            message = f"{more} more faults, and the rest was not read: is this the right file?"
            yield Fault(self._path, None, None, message)
        elif more:
            yield Fault(self._path, None, None, f"{counted(more, 'more fault', 'more faults')}")


class DeckError(Exception):
    """A deck with faults: `faults` holds every one; `str()` gives each a line."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(map(str, self.faults)))


def quoted(text: str, limit: int = 60) -> str:
    """`text` in quotes, for a message: control characters escaped, cut after `limit` characters."""
    return repr(text if len(text) <= limit else text[:limit] + "...")
