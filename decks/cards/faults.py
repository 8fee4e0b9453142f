"""Faults of a deck: where they are, and what is wrong. They are collected, so one reading shows them all."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from patterns.reading.text import counted

MOST_SHOWN = 20
"""Faults of one file that are shown singly: more than a person corrects between two checks."""

MOST_COUNTED = 1000
"""Faults after which reading stops, because it is probably the wrong file."""


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong or, in a check's notes, doubtful.

    `path`: the file's name in the deck folder. `line`: the text line, counted from 1; None if there is none.
    `card`: the CardId; None if the fault belongs to no card, or the card has no id. `message`: what is wrong
    and what would be right. It may quote control characters from the file.
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
    """Collects the faults of one file. The first MOST_SHOWN are kept, the others are only counted."""

    def __init__(self, path: str) -> None:
        self._path = path
        self._first: list[Fault] = []
        self._count = 0

    @property
    def too_many(self) -> bool:
        """Whether to stop reading, because MOST_COUNTED faults were found."""
        return self._count >= MOST_COUNTED

    def add(self, fault: Fault) -> None:
        """Add a fault."""
        self._count += 1
        if len(self._first) < MOST_SHOWN:
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
    """A deck has faults. `faults`: all of them. `str()` gives one line for each."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(map(str, self.faults)))


def quoted(text: str, limit: int = 60) -> str:
    """`text` in quotes for a message, with control characters escaped, shortened to `limit` characters."""
    return repr(text if len(text) <= limit else text[:limit] + "...")
