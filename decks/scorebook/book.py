"""The scorebook: everything one household or club keeps, in one SQLite file.

The log of answers is the truth: rows are only ever added, and each is on disk before it is acknowledged. They
keep the order in which they come in, whatever the clock said: a study day is never before that of an earlier
answer. Answers under a wrong date can be voided, after which later answers have their own days again.
Memory is derived from it and can be rebuilt; `replay` proves that what is stored agrees with the log.
Every method that fails raises ScorebookError, one line that names the file.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import chain, groupby
from math import isclose
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Literal
from uuid import uuid4

from decks.memory.answers import (
    RIGHT_GRADES,
    Answer,
    Contest,
    Correction,
    Display,
    Logged,
    Settled,
    Strand,
    Withdrawal,
    parse_item,
)
from decks.memory.day import DaySoFar
from decks.memory.model import Memory, replay_log
from decks.memory.strands import Learnt, Showing, StrandState
from decks.scorebook import disputes as scorebook_disputes
from decks.scorebook import file as scorebook_file
from decks.scorebook import games as scorebook_games
from decks.scorebook import joining, shown
from decks.scorebook import ledger as scorebook_ledger
from decks.scorebook import students as scorebook_students
from decks.scorebook.file import ScorebookError, default_path
from decks.scorebook.games import MotifCount
from decks.scorebook.joining import Clash, Joined
from decks.scorebook.ledger import Counted, Cut, TracedSide
from decks.scorebook.rows import (
    FindingRow,
    GameRecord,
    Row,
    answer_from,
    contest_from,
    correction_from,
    day_from,
    memory_from,
    moment_text,
    review_from,
    row_of,
)
from decks.scorebook.schema import ScorebookDatabase
from decks.scorebook.searches import Searches
from decks.scorebook.students import Student, spaced
from decks.tasks.card import Grade, RecallStep
from patterns.reading.pgn import folded_name

if TYPE_CHECKING:
    from decks.scorebook.handed_in import HandedIn

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

DEFAULT_STUDENT = "me"
"""The student of a scorebook that only one person uses."""

OWN_TIMES = 100
"""A usual time is that of so many last answers, because a student's pace changes."""

_SAME_NUMBER = 1e-9
"""Relative difference that the arithmetic of another machine may make when a log is replayed there."""

_STORED = """
    SELECT CAST(student AS INTEGER) AS student, iif(typeof(item) = 'text', item, quote(item)) AS item,
        stability, difficulty, last, due
    FROM memory"""
"""All memories; what should be a number or text and isn't becomes some, so that any damage can be told of."""

_REMEMBERED_FROM = "student, item, grade_now, day_now, target_recall"
"""Columns of the log that memories are worked out from; the answers themselves are far longer."""


_GRADES_BEFORE_VOIDED = """
    SELECT answer_id, coalesce(
        (SELECT correction.grade FROM sound_corrections AS correction
         WHERE correction.answer_id = reviews.answer_id AND correction.grade NOT NULL
         ORDER BY correction.time DESC, correction_id DESC LIMIT 1),
        reviews.grade) AS grade_then
    FROM reviews WHERE answer_id IN (SELECT value FROM json_each(?))"""

_A_MOMENT = timedelta(microseconds=1)


@dataclass(frozen=True)
class Entry:
    """A row of the log as it stands there, read or damaged. `voided`: why it takes no part, or None."""

    answer_id: str
    student: int
    item: str
    study_day: str
    grade: str
    voided: str | None


@dataclass(frozen=True)
class Damage:
    """A row of the log that can't be read, and so takes no part: which, and what is wrong with it."""

    kind: Literal["answer", "correction"]
    id: str
    wrong: str

    def __str__(self) -> str:
        return f"{self.kind} {self.id} is damaged and takes no part: {self.wrong}"


@dataclass(frozen=True)
class Difference:
    """An item whose stored memory isn't what the log gives; None stands for none, or for one not readable."""

    student: int
    item: str
    stored: Learnt | None
    replayed: Learnt | None


class DamagedMemoryError(ScorebookError):
    """The stored memories can't be read; they can be worked out anew."""


@dataclass
class Scorebook:
    """An open scorebook. `path`: its file. Make one with `Scorebook.open`, in a `with` statement."""

    path: Path
    _db: ScorebookDatabase

    @classmethod
    def open(cls, path: Path) -> Scorebook:
        """Open the scorebook at `path`; a missing file is made, an older one brought up to date."""
        return cls(path, scorebook_file.connect(path))

    @classmethod
    def open_to_read(cls, path: Path) -> Scorebook:
        """Open the scorebook at `path` to read it only, which works on a read-only medium too."""
        return cls(path, scorebook_file.connect_to_read(path))

    def __enter__(self) -> Scorebook:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; closing twice does no harm."""
        self._db.close()

    # Students and decks

    def student(self, name: str = DEFAULT_STUDENT) -> int:
        """The number of the student called `name`, added if new; capitals and spacing don't matter."""
        name = spaced(name)
        if not name:
            raise ScorebookError(f"{self.path}: a student needs a name")
        with self._writing():
            name.encode()  # if it can't be kept, the message quotes it as it was given
            return int(self._db.table("students").lookup({"folded_name": name.casefold()}, {"name": name}))

    def known_student(self, name: str) -> str | None:
        """The name, as it is kept, of the student who has this name or number; None if there is none."""
        rows = self._rows(
            "SELECT name FROM students WHERE ? IN (folded_name, CAST(id AS TEXT)) ORDER BY folded_name <> ?",
            *[spaced(name).casefold()] * 2,
        )
        return str(rows[0]["name"]) if rows else None

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

    def add_alias(self, student: int, name: str) -> None:
        """Note that PGN files call a student so. If it was another student's alias, it is no longer."""
        with self._writing():
            row = {"alias": folded_name(name), "student": student, "name": spaced(name)}
            self._db.table("aliases").insert(row, replace=True)

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

    # Answers and memory

    def save_display(self, display: Display) -> None:
        """Add a display to the log: from now on the student has seen this position.

        If it was shown worked, the state of its strand follows.
        """
        with self._writing():
            shown.add_display(self._db, display)
            if display.how == "worked" and display.item is not None:
                shown.remember_strand(self._db, display.student, display.item)

    def save_answer(self, answer: Answer) -> Learnt:
        """Add an answer to the log and return what is now derived for its item.

        Once this returns, the answer is on disk. Answers keep the order in which they come in, whatever their
        dates. An answer id that is in the log already changes nothing; ScorebookError if it is voided there
        and nothing else is known of its item.
        """
        with self._writing():
            if not self._db.table("reviews").count_where("answer_id = ?", [answer.answer_id]):
                self._add_to_log(answer)
                if isinstance(parse_item(answer.item), Strand):
                    shown.remember_next(self._db, answer.student, answer.item, answer.answer_id)
                else:
                    self._remember(answer.student, answer.item)
            return self._learnt_after(answer.answer_id)

    def contest(self, answer_id: str, grade: Grade, time: datetime) -> str:
        """Note that a student claims `grade` for an answer, and return the claim's id.

        The answer's grade and a memory stay as they are until `correct` changes them. For a strand the answer
        is not right while the contest is open.
        """
        contest = Contest(str(uuid4()), answer_id, grade, time)
        with self._writing():
            self._answered(answer_id)
            self._db.table("contests").insert(row_of(contest))
            self._remember_strand_of(answer_id)
        return contest.contest_id

    def withdraw(self, contest_id: str, time: datetime) -> None:
        """Take a claim back: a row of its own says so. Withdrawing it twice changes nothing."""
        with self._writing():
            claims = self._rows("SELECT * FROM contests WHERE contest_id = ? AND grade NOT NULL", contest_id)
            if not claims:
                raise ScorebookError(f"{self.path}: there is no contest {contest_id}")
            withdrawal = Withdrawal(str(uuid4()), claims[0]["answer_id"], contest_id, time)
            if not self._db.table("contests").count_where("withdraws = ?", [contest_id]):
                self._db.table("contests").insert(row_of(withdrawal))
                self._remember_strand_of(withdrawal.answer_id)

    def disputes(self) -> list[tuple[Contest, Answer]]:
        """All students' open contests (see `open_contests`) with their answers as they count now; by time."""
        contests = self._rows("SELECT * FROM open_contests ORDER BY time, contest_id")
        ids = json.dumps([row["answer_id"] for row in contests])
        rows = self._rows("SELECT * FROM counted WHERE answer_id IN (SELECT value FROM json_each(?))", ids)
        answers = {row["answer_id"]: answer_from(row) for row in rows}
        return [
            (contest_from(row), answers[row["answer_id"]]) for row in contests if row["answer_id"] in answers
        ]

    def open_contests(self, student: int) -> list[Contest]:
        """A student's claims that are neither withdrawn nor decided by a later correction, oldest first.

        Those on a voided answer are left out until it counts again.
        """
        rows = self._rows(
            "SELECT open_contests.* FROM open_contests JOIN reviews USING (answer_id) WHERE student = ? "
            "ORDER BY open_contests.time, contest_id",
            student,
        )
        return [contest_from(row) for row in rows]

    def settled(self) -> list[Settled]:
        """All students' claims that were decided, in the order of the decisions."""
        with self._naming_faults():
            return list(scorebook_disputes.settled(self._db))

    # Logs that travel

    def log_of(self, student: int) -> list[Logged]:
        """All that a student's log holds, in order; what is damaged is left out."""
        with self._reading():
            return joining.log_of(self._db, student)

    def collect(self, handed_in: Sequence[tuple[int, HandedIn]]) -> list[Joined]:
        """Join logs that were handed in with those of these students, all of them or none.

        HandInError, and nothing is changed, if a line doesn't fit what is here.
        """
        with self._writing():
            joined = [self._join(student, each) for student, each in handed_in]
            for student, _ in handed_in:
                self._remember_all(student)
        return joined

    def _join(self, student: int, handed: HandedIn) -> Joined:
        known = {row["deck"] for row in self._rows("SELECT deck FROM decks")}
        named = dict(handed.decks) | {
            each.deck: handed.decks.get(each.deck, "")
            for _, each in handed.lines
            if isinstance(each, Answer | Display) and each.deck
        }
        self._db.table("decks").insert_all(
            {"deck": deck, "title": title, "folder": ""} for deck, title in named.items() if deck not in known
        )
        try:
            return joining.join(self._db, student, [each for _, each in handed.lines])
        except Clash as clash:
            raise handed.wrong(handed.lines[clash.place][0], str(clash)) from clash

    def correct(
        self, answer_id: str, grade: Grade, reason: str, time: datetime, correction_id: str | None = None
    ) -> Learnt:
        """Correct the grade of an answer and work out its item's memory anew; the answer stays in the log.

        `correction_id`: a uuid, made here if none is given; one that is in the log already changes nothing.
        """
        correction = Correction(correction_id or str(uuid4()), answer_id, grade, reason, time)
        with self._writing():
            student, item = self._answered(answer_id)
            if not self._db.table("corrections").count_where("correction_id = ?", [correction.correction_id]):
                was_voided = answer_id in self._voided()
                self._correct(correction)
                if was_voided:
                    self._remember_all()
                else:
                    self._remember(student, item)
            return self._learnt_after(answer_id)

    def decide(self, contest_id: str, grade: Grade, reason: str, time: datetime) -> Learnt:
        """Decide an open contest: its answer has this grade from now on, and every claim to it is closed.

        Returns what the student now remembers of the item. The decision counts as later than the claim and
        all earlier corrections, whatever the clock says. A contest that is no longer open changes nothing.
        """
        with self._writing():
            claims = self._rows("SELECT * FROM contests WHERE contest_id = ? AND grade NOT NULL", contest_id)
            if not claims:
                raise ScorebookError(f"{self.path}: there is no contest {contest_id}")
            answer_id = claims[0]["answer_id"]
            if self._rows("SELECT contest_id FROM open_contests WHERE contest_id = ?", contest_id):
                claimed = self._rows("SELECT max(time) AS last FROM contests WHERE answer_id = ?", answer_id)
                last = datetime.fromisoformat(claimed[0]["last"])
                self._correct_now({answer_id: grade}, reason, max(time, last))
            return self._learnt_after(answer_id)

    def void(self, answer_ids: Iterable[str], reason: str, time: datetime) -> int:
        """Let answers take no part any more, as if never given; they stay in the log, and `unvoid` undoes it.

        Returns how many there were to void. ScorebookError, and nothing is changed, if one isn't in the log.
        """
        with self._writing():
            counting = set(answer_ids) - self._voided()
            self._correct_now(dict.fromkeys(sorted(counting)), reason, time)
        return len(counting)

    def unvoid(self, answer_ids: Iterable[str], reason: str, time: datetime) -> int:
        """Let voided answers count again, with the grades they had; returns how many there were."""
        with self._writing():
            voided = sorted(self._voided() & set(answer_ids))
            grades = self._rows(_GRADES_BEFORE_VOIDED, json.dumps(voided))
            again = {row["answer_id"]: row["grade_then"] for row in grades}
            self._correct_now(again, reason, time, unvoids=True)
        return len(voided)

    def entries(self, day: date | None = None) -> list[Entry]:
        """The log of all sittings that began on a date, or with None every voided answer; in order."""
        rows = self._rows(
            "SELECT answer_id, student, item, study_day, grade, voided.reason AS voided "
            "FROM reviews LEFT JOIN voided USING (answer_id) "
            f"WHERE {'voided NOT NULL' if day is None else 'study_day = ?'} ORDER BY arrival",
            *(() if day is None else (str(day),)),
        )
        return [Entry(**row) for row in rows]

    def has_answers(self) -> bool:
        """Whether any student's log holds an answer."""
        return bool(self._rows("SELECT 1 FROM reviews LIMIT 1"))

    def last_answer(self, student: int) -> Answer | None:
        """The answer of a student that came in last, with the study day that holds now."""
        rows = self._rows("SELECT * FROM counted WHERE student = ? ORDER BY arrival DESC LIMIT 1", student)
        return answer_from(rows[0]) if rows else None

    def answered_since(self, student: int, day: date) -> list[str]:
        """The positions (FEN) of a student's answers of this study day and later ones."""
        rows = self._rows(
            "SELECT DISTINCT fen FROM reviews WHERE student = ? AND study_day >= ?", student, str(day)
        )
        return [str(row["fen"]) for row in rows]

    def dated_after(self, student: int, day: date) -> list[str]:
        """The ids of a student's answers, not voided, whose sitting began on a date after `day`."""
        rows = self._rows(
            "SELECT answer_id FROM counted WHERE student = ? AND study_day > ? ORDER BY arrival",
            student,
            str(day),
        )
        return [row["answer_id"] for row in rows]

    def memory_of(self, student: int, items: Iterable[str] | None = None) -> dict[str, Memory]:
        """What a student remembers of `items` (of everything, if None); unmet items are left out.

        DamagedMemoryError if what is stored can't be read; `replay` with `mend` then sets it right.
        """
        wanted = "" if items is None else " AND item IN (SELECT value FROM json_each(?))"
        values = () if items is None else (json.dumps(list(items)),)
        columns = "item, stability, difficulty, last, due"
        try:
            with self._naming_faults():
                rows = self._db.execute(
                    f"SELECT {columns} FROM memory WHERE student = ?{wanted} ORDER BY item",
                    [student, *values],
                )
                return {item: memory_from(*found) for item, *found in rows}
        except (ValueError, ScorebookError) as error:
            raise DamagedMemoryError(f"{self.path}: the stored memories are damaged ({error})") from error

    def strand_states(self, student: int) -> dict[Strand, StrandState]:
        """What the log says of each strand that a student has met. DamagedMemoryError as of `memory_of`."""
        with self._naming_faults():
            stored = shown.stored_strands(self._db, student)
        states: dict[Strand, StrandState] = {}
        for (_, item), state in stored.items():
            strand = parse_item(item)
            if state is None or not isinstance(strand, Strand):
                raise DamagedMemoryError(f"{self.path}: the stored strands are damaged ({item!r})")
            states[strand] = state
        return states

    def strand_logs(self, student: int) -> dict[Strand, list[Showing]]:
        """What was shown for each strand, in the order in which it came in, with the grades that hold now."""
        with self._naming_faults():
            logs = [(item, log) for (_, item), log in shown.strand_logs(self._db, student)]
        return {strand: log for item, log in logs if isinstance(strand := parse_item(item), Strand)}

    def last_seen(self, student: int) -> dict[str, date]:
        """Every position (FEN) that a student has seen, and the last study day on which it was displayed."""
        with self._naming_faults():
            return {fen: day_from(day) for fen, day in shown.last_seen(self._db, student).items()}

    def seen_before(self, student: int, day: date, fens: Iterable[str]) -> set[str]:
        """Those of these positions (FEN) that a student had seen before a study day."""
        rows = self._rows(
            "SELECT DISTINCT fen FROM displays WHERE student = ? AND study_day < ? "
            "AND fen IN (SELECT value FROM json_each(?))",
            student,
            str(day),
            json.dumps(list(fens)),
        )
        return {row["fen"] for row in rows}

    def last_displayed(self, student: int) -> dict[Strand, str]:
        """The last position (FEN) that was displayed for each strand."""
        with self._naming_faults():
            found = shown.last_displayed(self._db, student)
        return {item: fen for text, fen in found.items() if isinstance(item := parse_item(text), Strand)}

    def learnt_until(self, student: int, day: date) -> dict[str, Learnt]:
        """What was derived for each item when a study day ended."""
        return {item: learnt for (_, item), learnt in self._replayed(student, day).items()}

    def grades(self, student: int, items: Iterable[str]) -> dict[str, list[tuple[date, Grade]]]:
        """Study day and grade of every answer to these items, oldest first, as they hold now."""
        rows = self._rows(
            "SELECT item, day_now, grade_now FROM counted "
            "WHERE student = ? AND item IN (SELECT value FROM json_each(?)) ORDER BY item, arrival",
            student,
            json.dumps(list(items)),
        )
        return {
            item: [(date.fromisoformat(row["day_now"]), row["grade_now"]) for row in found]
            for item, found in groupby(rows, key=lambda row: str(row["item"]))
        }

    def damage(self, latest: int | None = None) -> list[Damage]:
        """The rows of the log that can't be read; nothing else here takes account of them.

        `latest`: only look at so many answers that came in last.
        """
        since = "SELECT coalesce(max(arrival), 0) - ? FROM reviews"
        recent = f"WHERE id IN (SELECT answer_id FROM reviews WHERE arrival > ({since}))"
        rows = self._rows(
            f"SELECT kind, id, wrong FROM damaged {'' if latest is None else recent} ORDER BY kind, id",
            *(() if latest is None else (latest,)),
        )
        return [Damage(**row) for row in rows]

    def answers(
        self,
        student: int,
        *,
        deck: str | None = None,
        item: str | None = None,
        ask: str | None = None,
        since: date | None = None,
        as_corrected: bool = True,
    ) -> list[Answer]:
        """A student's answers in the order in which they came in, from study day `since` on.

        Grades and study days are those that hold now, and voided answers are left out; with `as_corrected`
        off, everything is as it was first kept.
        """
        table, day = ("counted", "day_now") if as_corrected else ("reviews", "study_day")
        filters = {"deck = ?": deck, "item = ?": item, "ask = ?": ask, f"{day} >= ?": since and str(since)}
        used = {condition: value for condition, value in filters.items() if value is not None}
        rows = self._rows(
            f"SELECT * FROM {table} WHERE {' AND '.join(['student = ?', *used])} ORDER BY arrival",
            student,
            *used.values(),
        )
        return [answer_from(row) for row in rows]

    def corrections(self, student: int) -> list[Correction]:
        """Every correction of a student's answers, oldest first."""
        rows = self._rows(
            "SELECT corrections.* FROM corrections JOIN reviews USING (answer_id) WHERE student = ? "
            "ORDER BY corrections.time, correction_id",
            student,
        )
        return [correction_from(row) for row in rows]

    def dates_studied(self, student: int, since: date) -> list[date]:
        """The dates from `since` on, on which sittings of a student began whose answers count, in order."""
        rows = self._rows(
            "SELECT DISTINCT study_day FROM reviews WHERE student = ? AND study_day >= ? "
            "AND answer_id NOT IN (SELECT answer_id FROM voided) AND study_day IS date(study_day) "
            "ORDER BY study_day",
            student,
            str(since),
        )
        return [date.fromisoformat(row["study_day"]) for row in rows]

    def study_days(self, student: int, since: date = date.min) -> list[DaySoFar]:
        """What the log holds of every day from `since` on, on which a student answered, in order."""
        with self._naming_faults():
            rows = list(self._db.query(shown.DAYS, {"student": student, "since": str(since)}))
        return [DaySoFar(date.fromisoformat(row.pop("day")), **row) for row in rows]

    def own_times(
        self, student: int, ask: str, *, parts: int | None = None, tier: int | None = None
    ) -> list[float]:
        """The seconds of a student's last right answers to an ask, at most OWN_TIMES.

        `parts`: only of answers of so many parts, such as the rows of a ballot. `tier`: only to cards of it.
        """
        filters = {
            "tier = ?": (tier,) if tier is not None else (),
            "(SELECT count(*) FROM json_each(raw)) = ?": (parts,) if parts is not None else (),
        }
        rows = self._rows(
            f"SELECT seconds FROM counted WHERE student = ? AND ask = ? "
            f"AND grade_now IN ({', '.join('?' * len(RIGHT_GRADES))}) "
            f"{''.join(f'AND {condition} ' for condition, values in filters.items() if values)}"
            f"ORDER BY arrival DESC LIMIT ?",
            student,
            ask,
            *RIGHT_GRADES,
            *chain.from_iterable(filters.values()),
            OWN_TIMES,
        )
        return [float(row["seconds"]) for row in rows]

    def replay(self, mend: bool = False) -> list[Difference]:
        """Rebuild every memory from the log, and name each that isn't what is stored; none is the proof.

        With `mend`, what is stored is then set right, however damaged it was.
        """
        with self._writing() if mend else self._reading():
            try:
                stored: dict[tuple[int, str], Learnt | None] = {
                    _item_of(row): _readable(row) for row in self._rows(_STORED)
                }
                stored |= shown.stored_strands(self._db)
            except (ScorebookError, sqlite3.Error):  # text that is no UTF-8
                stored = {}
            replayed = self._replayed()
            differences = [
                Difference(*key, stored.get(key), replayed.get(key))
                for key in sorted(stored.keys() | replayed.keys())
                if key not in replayed or not _agree(stored.get(key), replayed[key])
            ]
            if mend:
                self._remember_all()
        return differences

    # Games

    def store_games(self, games: Iterable[GameRecord]) -> list[int]:
        """Store games, each once however often it is scanned; their numbers, in order."""
        with self._writing():
            return scorebook_games.add_games(self._db, games)

    def store_findings(self, games: Collection[int], findings: Iterable[FindingRow]) -> int:
        """Store all findings of `games` (numbers from `store_games`), in place of any earlier scan's."""
        with self._writing():
            return scorebook_games.replace_findings(self._db, games, findings)

    def findings(self, game: int) -> list[FindingRow]:
        """The findings of one game, by ply."""
        with self._naming_faults():
            return scorebook_games.findings_of(self._db, game)

    def motif_counts(
        self, player: str | None = None, *, seats: Iterable[tuple[int, str | None]] | None = None
    ) -> list[MotifCount]:
        """How often each motif arose and how those games ended: for one player, or in all games.

        `seats`: instead, in these games only (numbers), for the colour named with each; None for both.
        """
        with self._naming_faults():
            if seats is None:
                seats = scorebook_games.players_games(self._db, player)
            return scorebook_games.count_motifs(self._db, seats)

    def games_with(self, motifs: Sequence[str]) -> str | None:
        """The file of scanned games in which these motifs arose most often; None if they arose in none."""
        rows = self._rows(
            "SELECT source FROM findings JOIN games ON game = id "
            "WHERE motif IN (SELECT value FROM json_each(?)) GROUP BY source "
            "ORDER BY count(*) DESC, source LIMIT 1",
            json.dumps(motifs),
        )
        return str(rows[0]["source"]) if rows else None

    # Traced games

    def store_traces(self, sides: Iterable[TracedSide]) -> None:
        """Store traced sides of games with their cases, in place of an earlier trace's."""
        with self._writing():
            scorebook_ledger.store_traces(self._db, sides)

    def traced_names(self) -> dict[str, str]:
        """A spelling of each traced player's folded name."""
        with self._naming_faults():
            return scorebook_ledger.traced_names(self._db)

    def count_cases(self, players: Collection[str], cut: Cut | None = None) -> Counted:
        """The cases of these players (folded names) by motif, and by the values of `cut`."""
        with self._naming_faults():
            return scorebook_ledger.count_cases(self._db, players, cut)

    # Searches

    def searches(self) -> Searches:
        """The engine searches that are kept here."""
        return Searches(self._db, self._naming_faults, self._writing)

    # Preparations

    def save_preparation(self, student: int, event_day: date, plan: str, made: datetime) -> None:
        """Keep a plan (JSON text) for an event; the newest for that day is the one in force."""
        with self._writing():
            self._db.table("preparations").insert(
                {
                    "student": student,
                    "event_day": event_day.isoformat(),
                    "made": moment_text(made),
                    "plan": plan,
                }
            )

    def preparation(self, student: int, event_day: date) -> str | None:
        """The plan (JSON text) in force for an event, None if there is none."""
        rows = self._rows(
            "SELECT plan FROM preparations WHERE student = ? AND event_day = ? "
            "ORDER BY made DESC, id DESC LIMIT 1",
            student,
            event_day.isoformat(),
        )
        return str(rows[0]["plan"]) if rows else None

    def next_preparation(self, student: int, day: date) -> tuple[date, str] | None:
        """The next event on or after a day whose newest plan isn't empty text: its day and this plan."""
        rows = self._rows(
            "SELECT event_day, plan FROM preparations AS this WHERE student = ? AND event_day >= ? "
            "AND plan <> '' AND NOT EXISTS (SELECT 1 FROM preparations AS other "
            "WHERE other.student = this.student AND other.event_day = this.event_day AND other.id > this.id) "
            "ORDER BY event_day LIMIT 1",
            student,
            str(day),
        )
        return (date.fromisoformat(rows[0]["event_day"]), str(rows[0]["plan"])) if rows else None

    # Copies

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

    # Inside

    @contextmanager
    def _naming_faults(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            raise ScorebookError(f"{self.path}: {error}") from error
        except UnicodeEncodeError as error:  # a name from the command line or the file system
            raise ScorebookError(f"{self.path}: can't keep {error.object!r}, which is not UTF-8") from error

    @contextmanager
    def _writing(self) -> Iterator[None]:
        with self._naming_faults(), scorebook_file.writing(self._db):
            yield

    @contextmanager
    def _reading(self) -> Iterator[None]:
        """One state of the file, whatever other processes write meanwhile."""
        with self._naming_faults():
            self._db.execute("BEGIN")
            try:
                yield
            finally:
                self._db.rollback()

    def _rows(self, sql: str, *values: object) -> list[dict[str, Any]]:
        with self._naming_faults():
            return list(self._db.query(sql, values))

    def _add_to_log(self, answer: Answer) -> None:
        try:
            ((arrival, clock_back),) = self._db.execute(
                "SELECT (SELECT coalesce(max(arrival), 0) + 1 FROM reviews), "
                "EXISTS (SELECT 1 FROM reviews WHERE student = ? AND study_day > ?)",
                [answer.student, str(answer.study_day)],
            ).fetchall()
            self._db.table("reviews").insert({**row_of(answer), "arrival": arrival, "clock_back": clock_back})
        except sqlite3.IntegrityError as error:
            raise ScorebookError(
                f"{self.path}: an answer names student {answer.student} and deck {answer.deck}, "
                f"and one of them isn't in the scorebook"
            ) from error

    def _learnt_after(self, answer_id: str) -> Learnt:
        student, item = self._answered(answer_id)
        parsed = parse_item(item)
        learnt: Learnt | None
        if isinstance(parsed, Strand):
            learnt = self.strand_states(student).get(parsed)
        else:
            learnt = self.memory_of(student, [item]).get(item)
        if learnt is None:
            raise ScorebookError(f"{self.path}: answer {answer_id} is voided")
        return learnt

    def _answered(self, answer_id: str) -> tuple[int, str]:
        """The student and the item of an answer. ScorebookError if it isn't in the log."""
        rows = self._rows("SELECT student, item FROM reviews WHERE answer_id = ?", answer_id)
        if not rows:
            raise ScorebookError(f"{self.path}: there is no answer {answer_id}")
        return _item_of(rows[0])

    def _voided(self) -> set[str]:
        return {row["answer_id"] for row in self._rows("SELECT answer_id FROM voided")}

    def _correct(self, correction: Correction) -> None:
        self._db.table("corrections").insert(row_of(correction))

    def _correct_now(
        self, grades: Mapping[str, Grade | None], reason: str, time: datetime, unvoids: bool = False
    ) -> None:
        """Correct answers so that it holds from now on, whatever the clock said at an earlier correction.

        Every memory is worked out anew: the study days of other answers may change with it.
        """
        for answer_id, grade in grades.items():
            self._answered(answer_id)
            ((last,),) = self._db.execute(
                "SELECT max(time) FROM sound_corrections WHERE answer_id = ?", [answer_id]
            ).fetchall()
            moment = time if last is None else max(time, datetime.fromisoformat(last) + _A_MOMENT)
            self._correct(Correction(str(uuid4()), answer_id, grade, reason, moment, unvoids))
        if grades:
            self._remember_all()

    def _replayed(self, student: int | None = None, until: date = date.max) -> dict[tuple[int, str], Learnt]:
        """What is derived from the log up to a day, of one student or all, by student and item."""
        log = self._rows(
            f"SELECT {_REMEMBERED_FROM} FROM counted "
            f"WHERE item NOT GLOB 'motif:*' AND ? IN (student, 0) AND day_now <= ? "
            f"ORDER BY student, item, arrival",
            student or 0,
            str(until),
        )
        memories = {
            item: replay_log(review_from(row) for row in rows) for item, rows in groupby(log, key=_item_of)
        }
        with self._naming_faults():
            strands = shown.replayed_strands(self._db, student, until=until)
        return {**{item: memory for item, memory in memories.items() if memory}, **strands}

    def _remember_all(self, student: int | None = None) -> None:
        """Derive everything from the log, in place of all that is stored, of one student or all."""
        table = self._db.table("memory")
        table.delete_where("? IN (student, 0)", [student or 0])
        table.insert_all(
            {"student": number, "item": item, **row_of(memory)}
            for (number, item), memory in self._replayed(student).items()
            if isinstance(memory, Memory)
        )
        shown.remember_all_strands(self._db, student)

    def _remember_strand_of(self, answer_id: str) -> None:
        student, item = self._answered(answer_id)
        if isinstance(parse_item(item), Strand):
            shown.remember_strand(self._db, student, item)

    def _remember(self, student: int, item: str) -> None:
        """Derive a memory or a strand's state from the log, always from its start."""
        if isinstance(parse_item(item), Strand):
            shown.remember_strand(self._db, student, item)
            return
        log = self._rows(
            f"SELECT {_REMEMBERED_FROM} FROM counted WHERE student = ? AND item = ? ORDER BY arrival",
            student,
            item,
        )
        memory = replay_log(map(review_from, log))
        if memory is None:
            self._db.table("memory").delete_where("student = ? AND item = ?", [student, item])
        else:
            self._db.table("memory").upsert({"student": student, "item": item, **row_of(memory)})


def _item_of(row: Row) -> tuple[int, str]:
    return row["student"], row["item"]


def _readable(row: Row) -> Memory | None:
    try:
        return memory_from(row["stability"], row["difficulty"], row["last"], row["due"])
    except ValueError:
        return None


def _agree(one: Learnt | None, other: Learnt) -> bool:
    if not (isinstance(one, Memory) and isinstance(other, Memory)):
        return one == other
    return (
        (one.last, one.due) == (other.last, other.due)
        and isclose(one.stability, other.stability, rel_tol=_SAME_NUMBER)
        and isclose(one.difficulty, other.difficulty, rel_tol=_SAME_NUMBER)
    )
