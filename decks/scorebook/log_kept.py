"""The log of a scorebook is added to: answers, displays, contests and corrections.

What is derived from it follows each time, and can be derived anew.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date, datetime, timedelta
from math import isclose
from typing import TYPE_CHECKING
from uuid import uuid4

from decks.memory.answers import (
    Answer,
    Contest,
    Correction,
    Display,
    Logged,
    Strand,
    Withdrawal,
    parse_item,
)
from decks.memory.model import Memory
from decks.memory.strands import Learnt
from decks.scorebook import disputes as scorebook_disputes
from decks.scorebook import joining, shown
from decks.scorebook.file import ScorebookError
from decks.scorebook.first_sights import mark_seen_before, seen_before, was_seen_before
from decks.scorebook.joining import Clash, Joined
from decks.scorebook.log_read import LogRead, item_of
from decks.scorebook.memories import remember_all_memories, remember_memory
from decks.scorebook.rows import (
    Row,
    memory_from,
    row_of,
)
from decks.tasks.card import Grade

if TYPE_CHECKING:
    from decks.scorebook.handed_in import HandedIn

_SAME_NUMBER = 1e-9
"""Relative difference that the arithmetic of another machine may make when a log is replayed there."""

_STORED = """
    SELECT CAST(student AS INTEGER) AS student, iif(typeof(item) = 'text', item, quote(item)) AS item,
        stability, difficulty, last, due, misses, worked
    FROM memory"""
"""All memories; what should be a number or text and isn't becomes some, so that any damage can be told of."""

_GRADES_BEFORE_VOIDED = """
    SELECT answer_id, coalesce(
        (SELECT correction.grade FROM sound_corrections AS correction
         WHERE correction.answer_id = reviews.answer_id AND correction.grade NOT NULL
         ORDER BY correction.time DESC, correction_id DESC LIMIT 1),
        reviews.grade) AS grade_then
    FROM reviews WHERE answer_id IN (SELECT value FROM json_each(?))"""

_A_MOMENT = timedelta(microseconds=1)


@dataclass(frozen=True)
class Difference:
    """An item whose stored memory isn't what the log gives; None stands for none, or for one not readable."""

    student: int
    item: str
    stored: Learnt | None
    replayed: Learnt | None


class Log(LogRead):
    """The log of an open scorebook. Rows are only ever added."""

    def save_display(self, display: Display) -> None:
        """Add a display to the log: from now on the student has seen this position.

        If it was shown worked, the state of its strand follows, or the memory of a card on which the student
        is stuck.
        """
        with self._writing():
            shown.add_display(self._db, display)
            if display.how == "worked" and display.item is not None:
                self._remember(display.student, display.item)

    def save_answer(self, answer: Answer) -> Learnt:
        """Add an answer to the log and return what is now derived for its item.

        Once this returns, the answer is on disk. Answers keep the order in which they come in, whatever their
        dates. An answer id that is in the log already changes nothing; ScorebookError if it is voided there
        and nothing else is known of its item.
        """
        with self._writing():
            if not self._rows("SELECT 1 FROM reviews WHERE answer_id = ?", answer.answer_id):
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

    def note_reading(self, sitting: str, student: int, day: date, seconds: float) -> None:
        """Note what a sitting has taken up to now beside what the log says; it replaces what was noted of it.

        `sitting`: a uuid. `seconds`: below 0 if a worked position took less time than is expected.
        """
        row = {"sitting": sitting, "student": student, "study_day": str(day), "reading": seconds}
        with self._writing():
            self._db.insert("sittings", row, instead=True)

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

    def decide(
        self, contest_id: str, grade: Grade, reason: str, time: datetime, again: bool = False
    ) -> Learnt:
        """Decide an open contest: its answer has this grade from now on, and every claim to it is closed.

        Returns what the student now remembers of the item. The decision counts as later than the claim and
        all earlier corrections, whatever the clock says. A contest that is no longer open changes nothing;
        with `again`, one that was decided is decided anew.
        """
        with self._writing():
            claims = self._rows("SELECT * FROM contests WHERE contest_id = ? AND grade NOT NULL", contest_id)
            if not claims:
                raise ScorebookError(f"{self.path}: there is no contest {contest_id}")
            answer_id = claims[0]["answer_id"]
            is_open = self._rows("SELECT contest_id FROM open_contests WHERE contest_id = ?", contest_id)
            decided = scorebook_disputes.decided(self._db) if again and not is_open else ()
            if is_open or any(row["contest_id"] == contest_id for row in decided):
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

    def replay(self, mend: bool = False) -> list[Difference]:
        """Rebuild every memory from the log, and name each that isn't what is stored; none is the proof.

        With `mend`, what is stored is then set right, however damaged it was.
        """
        with self._writing() if mend else self._reading():
            try:
                stored: dict[tuple[int, str], Learnt | None] = {
                    item_of(row): _readable(row) for row in self._rows(_STORED)
                }
                stored |= shown.stored_strands(self._db)
            except (ScorebookError, sqlite3.Error):  # text that is no UTF-8
                stored = {}
            replayed = self._replayed(seen_before=seen_before(self._db))
            differences = [
                Difference(*key, stored.get(key), replayed.get(key))
                for key in sorted(stored.keys() | replayed.keys())
                if key not in replayed or not _agree(stored.get(key), replayed[key])
            ]
            if mend:
                mark_seen_before(self._db)
                self._remember_all()
        return differences

    def _add_to_log(self, answer: Answer) -> None:
        try:
            ((arrival, clock_back),) = self._db.execute(
                "SELECT (SELECT coalesce(max(arrival), 0) + 1 FROM reviews), "
                "EXISTS (SELECT 1 FROM reviews WHERE student = ? AND study_day > ?)",
                [answer.student, str(answer.study_day)],
            ).fetchall()
            behind = {"arrival": arrival, "clock_back": clock_back}
            seen = bool(answer.first_sight) and was_seen_before(self._db, answer)
            self._db.insert("reviews", {**row_of(answer), **behind, "seen_before": seen})
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
        return item_of(rows[0])

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

    def _remember_all(self, student: int | None = None) -> None:
        """Derive everything from the log, in place of all that is stored, of one student or all."""
        remember_all_memories(self._db, student)
        shown.remember_all_strands(self._db, student)

    def _remember_strand_of(self, answer_id: str) -> None:
        student, item = self._answered(answer_id)
        if isinstance(parse_item(item), Strand):
            shown.remember_strand(self._db, student, item)

    def _remember(self, student: int, item: str) -> None:
        """Derive a memory or a strand's state from the log, always from its start."""
        if isinstance(parse_item(item), Strand):
            shown.remember_strand(self._db, student, item)
        else:
            remember_memory(self._db, student, item)


def _readable(row: Row) -> Memory | None:
    try:
        return memory_from(*(row[field.name] for field in fields(Memory)))
    except ValueError:
        return None


def _agree(one: Learnt | None, other: Learnt) -> bool:
    if not (isinstance(one, Memory) and isinstance(other, Memory)):
        return one == other
    return (
        replace(one, stability=other.stability, difficulty=other.difficulty) == other
        and isclose(one.stability, other.stability, rel_tol=_SAME_NUMBER)
        and isclose(one.difficulty, other.difficulty, rel_tol=_SAME_NUMBER)
    )
