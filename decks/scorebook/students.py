"""The students of a scorebook: names, decks of their own. The functions take a database of this version."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass

from decks.scorebook.database import ScorebookDatabase
from decks.tasks.card import RECALL_STEPS, RecallStep
from patterns.reading.pgn import folded_name


@dataclass(frozen=True)
class Student:
    """A student. `recall`: how firmly fixed cards are to be remembered. `decks`: uuids of those given."""

    number: int
    name: str
    retired: bool
    recall: RecallStep
    aliases: tuple[str, ...]
    decks: tuple[str, ...]

    @property
    def target_recall(self) -> float:
        """The recall (0..1) at which a card returns whose deck doesn't say otherwise."""
        return RECALL_STEPS[self.recall]


def spaced(name: str) -> str:
    """A name as it is kept: the same letters in one form, one space between words."""
    return " ".join(unicodedata.normalize("NFKC", name).split())


def students(db: ScorebookDatabase) -> list[Student]:
    """Every student, in the order in which they were added."""
    aliases = _by_student(db, "SELECT student, name AS value FROM aliases ORDER BY alias")
    decks = _by_student(db, "SELECT student, deck AS value FROM given_decks ORDER BY deck")
    return [
        Student(
            row["id"],
            row["name"],
            bool(row["retired"]),
            row["recall"],
            aliases.get(row["id"], ()),
            decks.get(row["id"], ()),
        )
        for row in db.query("SELECT * FROM students ORDER BY id")
    ]


def checked(name: str) -> str:
    """A name as it is kept, that a student may have. ValueError if it is none, or would be misread."""
    name = spaced(name)
    if not name:
        raise ValueError("a student needs a name")
    if name.isdigit() or "=" in name:
        raise ValueError(f"{name!r} can't be a name: students have numbers too, and `=` ends a name")
    return name


def _by_student(db: ScorebookDatabase, sql: str) -> Mapping[int, tuple[str, ...]]:
    found: dict[int, tuple[str, ...]] = {}
    for row in db.query(sql):
        found[row["student"]] = (*found.get(row["student"], ()), row["value"])
    return found


def called(db: ScorebookDatabase, name: str) -> int | None:
    """The number of the student who has this name or alias; None if there is none."""
    rows = db.query(
        "SELECT id FROM students WHERE folded_name = ? UNION ALL SELECT student FROM aliases WHERE alias = ?",
        [spaced(name).casefold(), folded_name(name)],
    )
    return next((int(row["id"]) for row in rows), None)


def rename(db: ScorebookDatabase, student: int, name: str) -> None:
    """Give a student another name. ValueError if it is another student's, or can't be a name."""
    name = checked(name)
    other = db.query("SELECT 1 FROM students WHERE folded_name = ? AND id <> ?", [name.casefold(), student])
    if next(other, None):
        raise ValueError(f"another student is called {name!r}")
    db.table("students").update(student, {"name": name, "folded_name": name.casefold()})


def asked_of(db: ScorebookDatabase, student: int | None) -> list[tuple[str, str, str]]:
    """The decks that a student is asked from: uuid, title, folder; by title.

    Those that the student was given, and those that nobody was given. None: a student who is not known yet.
    """
    rows = db.query(
        "SELECT * FROM decks WHERE folder <> '' AND "
        "(deck IN (SELECT deck FROM given_decks WHERE student = ?) "
        "OR deck NOT IN (SELECT deck FROM given_decks)) ORDER BY title, deck",
        [student],
    )
    return [(row["deck"], row["title"], row["folder"]) for row in rows]
