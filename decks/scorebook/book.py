"""The scorebook: everything one household or club keeps, in one SQLite file.

The log of answers is the truth: rows are only ever added, and each is on disk before it is acknowledged. They
keep the order in which they come in, whatever the clock said: a study day is never before that of an earlier
answer. Answers under a wrong date can be voided, after which later answers have their own days again.
Memory is derived from it and can be rebuilt; `replay` proves that what is stored agrees with the log.
Every method that fails raises ScorebookError, one line that names the file.
"""

from __future__ import annotations

from pathlib import Path

from decks.scorebook import file as scorebook_file
from decks.scorebook.file import ScorebookError, default_path
from decks.scorebook.log_kept import Difference, Log
from decks.scorebook.log_read import Damage, DamagedMemoryError, Entry
from decks.scorebook.people import DEFAULT_STUDENT, People
from decks.scorebook.played import Played

__all__ = [
    "DEFAULT_STUDENT",
    "Damage",
    "DamagedMemoryError",
    "Difference",
    "Entry",
    "Scorebook",
    "ScorebookError",
    "default_path",
]


class Scorebook(People, Log, Played):
    """An open scorebook. Make one with `Scorebook.open`, in a `with` statement."""

    @classmethod
    def open(cls, path: Path) -> Scorebook:
        """Open the scorebook at `path`; a missing file is made, an older one brought up to date."""
        return cls(path, scorebook_file.connect(path))

    @classmethod
    def open_to_read(cls, path: Path) -> Scorebook:
        """Open the scorebook at `path` to read it only, which works on a read-only medium too."""
        return cls(path, scorebook_file.connect_to_read(path))

    def backup(self, file: Path) -> None:
        """Write a whole copy to `file`; an older scorebook there is replaced, any other file refused."""
        scorebook_file.back_up(self._db, file)

    def restore(self, file: Path) -> Path | None:
        """Put a checked copy in this scorebook's place; returns the file that keeps what stood there.

        Where the scorebook itself no longer opens, use `scorebook_file.restore`.
        """
        self.close()
        try:
            return scorebook_file.restore(self.path, file)
        finally:
            self._db = scorebook_file.connect(self.path)
