"""What the log of a scorebook says, and what is derived from it."""

from __future__ import annotations

import json
from collections.abc import Container, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import chain
from typing import Literal

from decks.memory.answers import (
    RIGHT_GRADES,
    Answer,
    Contest,
    Correction,
    Settled,
    Strand,
    parse_item,
)
from decks.memory.day import DaySoFar
from decks.memory.model import Memory
from decks.memory.strands import Learnt, Showing, StrandState
from decks.scorebook import disputes as scorebook_disputes
from decks.scorebook import shown
from decks.scorebook.file import ScorebookError
from decks.scorebook.memories import replayed_memories
from decks.scorebook.opened import Opened
from decks.scorebook.rows import (
    Row,
    answer_from,
    contest_from,
    correction_from,
    day_from,
    memory_from,
)
from decks.tasks.card import Grade

OWN_TIMES = 100
"""A usual time is that of so many last answers, because a student's pace changes."""


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


class DamagedMemoryError(ScorebookError):
    """The stored memories can't be read; they can be worked out anew."""


class LogRead(Opened):
    """The log of an open scorebook, to be read."""

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
        columns = "item, stability, difficulty, last, due, misses, worked"
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

    def seen_before(self, student: int, day: date, starts: Iterable[str]) -> set[str]:
        """Those of these positions that a student had seen before a study day: some first fields of FENs."""
        rows = self._rows(
            "SELECT value FROM json_each(?) WHERE EXISTS (SELECT 1 FROM displays WHERE student = ? "
            "AND fen BETWEEN value AND value || '!' AND fen || ' ' GLOB value || ' *' AND study_day < ?)",
            json.dumps(list(starts)),
            student,
            str(day),
        )
        return {row["value"] for row in rows}

    def last_displayed(self, student: int) -> dict[Strand, str]:
        """The last position (FEN) that was displayed for each strand."""
        with self._naming_faults():
            found = shown.last_displayed(self._db, student)
        return {item: fen for text, fen in found.items() if isinstance(item := parse_item(text), Strand)}

    def learnt_until(self, student: int, day: date) -> dict[str, Learnt]:
        """What was derived for each item when a study day ended."""
        return {item: learnt for (_, item), learnt in self._replayed(student, day).items()}

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
        """The seconds of a student's last right answers to an ask, at most OWN_TIMES, none on paper.

        `parts`: only of answers of so many parts, such as the rows of a ballot. `tier`: only to cards of it.
        """
        filters = {
            "tier = ?": (tier,) if tier is not None else (),
            "(SELECT count(*) FROM json_each(raw)) = ?": (parts,) if parts is not None else (),
        }
        rows = self._rows(
            f"SELECT seconds FROM counted WHERE student = ? AND ask = ? AND NOT on_paper "
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

    def disputes(self) -> list[tuple[Contest, Answer]]:
        """All students' open contests (see `open_contests`) with their answers as they count now; by time."""
        contests = self._rows("SELECT * FROM open_contests ORDER BY time, contest_id")
        return [(contest_from(row), answer) for row, answer in self._with_answers(contests)]

    def decided_disputes(self) -> list[tuple[Contest, Answer, Grade]]:
        """All students' claims that were decided, of each answer the last one, by time.

        With the answers as they count now, and the grade that each claim was about.
        """
        with self._naming_faults():
            contests = scorebook_disputes.decided(self._db)
        found = self._with_answers(contests)
        return [(contest_from(row), answer, row["contested"]) for row, answer in found]

    def _with_answers(self, contests: Sequence[Row]) -> list[tuple[Row, Answer]]:
        ids = json.dumps([row["answer_id"] for row in contests])
        rows = self._rows("SELECT * FROM counted WHERE answer_id IN (SELECT value FROM json_each(?))", ids)
        answers = {row["answer_id"]: answer_from(row) for row in rows}
        return [(row, answers[row["answer_id"]]) for row in contests if row["answer_id"] in answers]

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

    def _replayed(
        self,
        student: int | None = None,
        until: date = date.max,
        seen_before: Container[str] | None = None,
    ) -> dict[tuple[int, str], Learnt]:
        """What is derived from the log up to a day, of one student or all, by student and item.

        `seen_before`: as of `strand_logs`.
        """
        with self._naming_faults():
            memories = replayed_memories(self._db, student, until=until)
            strands = shown.replayed_strands(self._db, student, until=until, seen_before=seen_before)
        return {**memories, **strands}


def item_of(row: Row) -> tuple[int, str]:
    """The student and the item of a row."""
    return row["student"], row["item"]
