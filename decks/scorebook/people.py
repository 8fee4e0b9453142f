"""Who keeps a log in a scorebook, by which names, and which decks are asked of whom."""

from __future__ import annotations

from decks.scorebook import students as scorebook_students
from decks.scorebook.file import ScorebookError
from decks.scorebook.opened import Opened
from decks.scorebook.students import Student, spaced
from decks.tasks.card import RecallStep
from patterns.reading.pgn import folded_name

DEFAULT_STUDENT = "me"
"""The student of a scorebook that only one person uses."""


class People(Opened):
    """The students and the decks of an open scorebook."""

    def student(self, name: str = DEFAULT_STUDENT) -> int:
        """The number of the student called `name`, added if new; capitals and spacing don't matter."""
        name = spaced(name)
        with self._naming_faults():
            name.encode()  # if it can't be kept, the message quotes it as it was given
        known = self._rows("SELECT id FROM students WHERE folded_name = ?", name.casefold())
        if known:
            return int(known[0]["id"])
        try:
            scorebook_students.checked(name)
        except ValueError as error:
            raise ScorebookError(f"{self.path}: {error}") from error
        with self._writing():
            return int(self._db.table("students").lookup({"folded_name": name.casefold()}, {"name": name}))

    def known_student(self, name: str) -> str | None:
        """The name, as it is kept, of the student who has this name or number; None if there is none.

        If nobody has it, the beginning of a name or surname is enough if it fits nobody else, but for `me`.
        """
        folded = spaced(name).casefold()
        rows = self._rows("SELECT * FROM students ORDER BY folded_name <> ?", folded)
        fit = [row["name"] for row in rows if folded in (row["folded_name"], str(row["id"]))][:1]
        if not fit and folded not in ("", DEFAULT_STUDENT):
            fit = [row["name"] for row in rows if f" {folded}" in f" {row['folded_name']}"]
        return str(fit[0]) if len(fit) == 1 else None

    def student_called(self, name: str) -> int | None:
        """The number of the student who has this name or alias; None if there is none."""
        with self._naming_faults():
            return scorebook_students.called(self._db, name)

    def roster(self) -> list[Student]:
        """Every student with all that is noted of them, in the order in which they were added."""
        with self._naming_faults():
            return scorebook_students.students(self._db)

    def rename(self, student: int, name: str) -> None:
        """Give a student another name. ScorebookError if another student has it."""
        with self._writing():
            try:
                scorebook_students.rename(self._db, student, name)
            except ValueError as error:
                raise ScorebookError(f"{self.path}: {error}") from error

    def retire(self, student: int, retired: bool = True) -> None:
        """Note that a student is here no longer, or (False) again. The log stays."""
        with self._writing():
            self._db.table("students").update(student, {"retired": retired})

    def set_recall(self, student: int, step: RecallStep) -> None:
        """Note how firmly a student wants cards to be remembered whose decks don't say it."""
        with self._writing():
            self._db.table("students").update(student, {"recall": step})

    def give_deck(self, student: int, deck: str) -> None:
        """Let a deck be a student's own: it is no longer asked of others, unless they were given it too."""
        with self._writing():
            self._db.table("given_decks").insert({"student": student, "deck": deck}, ignore=True)

    def take_deck(self, student: int, deck: str) -> None:
        """Let a deck be a student's own no longer. One that is nobody's is asked of everybody."""
        with self._writing():
            self._db.table("given_decks").delete_where("student = ? AND deck = ?", [student, deck])

    def decks_for(self, student: str) -> list[tuple[str, str, str]]:
        """The decks that a student (by name) is asked from: uuid, title, folder; by title."""
        with self._naming_faults():
            number = scorebook_students.called(self._db, student)
            return scorebook_students.asked_of(self._db, number)

    def students(self) -> dict[int, str]:
        """Every student's name by number, in the order they were added."""
        return {row["id"]: row["name"] for row in self._rows("SELECT * FROM students ORDER BY id")}

    def add_alias(self, student: int, name: str) -> str | None:
        """Note that PGN files call a student so. Returns the name of another student whose alias it was."""
        alias = folded_name(name)
        with self._writing():
            before = self._rows(
                "SELECT students.name FROM aliases JOIN students ON students.id = student "
                "WHERE alias = ? AND student <> ?",
                *(alias, student),
            )
            row = {"alias": alias, "student": student, "name": spaced(name)}
            self._db.table("aliases").insert(row, replace=True)
        return str(before[0]["name"]) if before else None

    def remove_alias(self, student: int, name: str) -> bool:
        """Note that PGN files don't call a student so. Whether they did."""
        held = folded_name(name), student
        with self._writing():
            known = self._rows("SELECT 1 FROM aliases WHERE alias = ? AND student = ?", *held)
            self._db.table("aliases").delete_where("alias = ? AND student = ?", list(held))
        return bool(known)

    def aliases(self) -> dict[int, list[str]]:
        """The aliases of each student who has any."""
        rows = self._rows("SELECT student, name FROM aliases ORDER BY alias")
        return {
            student: [row["name"] for row in rows if row["student"] == student]
            for student in {row["student"] for row in rows}
        }

    def names_of(self, name: str) -> frozenset[str]:
        """All folded names of the student who has this name or alias; empty if nobody has."""
        rows = self._rows(
            "WITH names AS (SELECT id AS student, folded_name AS name FROM students "
            "UNION SELECT student, alias FROM aliases) "
            "SELECT name FROM names WHERE student IN (SELECT student FROM names WHERE name = ?)",
            folded_name(name),
        )
        return frozenset(row["name"] for row in rows)

    def register_deck(self, deck: str, title: str, folder: str) -> None:
        """Note a deck by its uuid, with the title and folder it has now."""
        with self._writing():
            self._db.table("decks").upsert({"deck": deck, "title": title, "folder": folder})

    def decks(self) -> list[tuple[str, str, str]]:
        """The decks noted so far: uuid, title, folder; by title. Those that were never here are left out."""
        rows = self._rows("SELECT * FROM decks WHERE folder <> '' ORDER BY title, deck")
        return [(row["deck"], row["title"], row["folder"]) for row in rows]
