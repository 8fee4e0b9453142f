"""The mark of a ballot: each row judged, with the reasons for the program's view of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import chess

from decks.asks.ask import Mark, MarkedRow
from decks.asks.key_against_count import why_they_differ
from decks.tasks.ballot import BALLOT_ROWS, CELLS, cell_words, cells_of, fold
from decks.tasks.evidence import NO_MARKS, Marks, evidence_marks, key_squares
from decks.tasks.layout import Piece, Row
from decks.tasks.marked_cells import MARKED_LEGEND, SIGNS, WORKED_LEGEND, Agreement, agreement, marked_cells
from decks.tasks.scoring import above_chance
from decks.tasks.task import Task
from patterns.engines.scores import shown_score
from patterns.reading.text import counted, safe
from patterns.words.verdicts import FACTORS, LEVEL, Verdict, row_title
from patterns.words.wording import listed, side_name

if TYPE_CHECKING:
    from patterns.factors.assessment import FactorBalance, StatedReason

VERDICT_WEIGHT = 2
"""The overall verdict counts as much as two factors, because it is the purpose of taking stock."""

STRENGTH_WEIGHT, APART_WEIGHT = 2, 3
"""A row weighs 1. Each step of strength in its key adds the first. A factor that favours a side gets the
second as well, for each cell between its key and the verdict's. So what the verdict does not tell counts
most: a ballot that is level everywhere, or that has the verdict in every row, earns little."""

STEP_OFF, NEAR = 0.75, 0.4
"""The credit for the right side one cell off, and for the right side two cells off or level beside slight."""

LABEL = 15
"""Width of a row's label, with the cursor before it, in columns."""

NOTHING_TELLS = "Here the two sides are equal."


@dataclass(frozen=True)
class RowMark(MarkedRow):
    """One marked row of a ballot. `key`, `answer`: signed strengths (None: left blank). `credit`: 0 to 1.

    `key_by`: whose key it is. `computed`: the program's own view, which is the key unless the coach set one.
    `worked`: nobody answered; it is the key that is shown.
    """

    row: str
    key: int
    answer: int | None
    credit: float
    key_by: Literal["coach", "computed"]
    computed: int
    worked: bool = False

    @property
    def name(self) -> str:
        return self.row

    @property
    def agreement(self) -> Agreement:
        """One word for how well the answer agrees with the key."""
        return agreement(self.credit)

    def in_words(self) -> str:
        own = "blank" if self.answer is None else cell_words(self.answer)
        keys = []
        if not self.worked:
            own += f", {self.agreement}"
        if self.answer != self.key:
            keys.append(f"near the border to {cell_words(self.key)}" if self.credit == 1 else self._key())
        elif self.key_by == "coach":
            keys.append("by the card's key")
        if self.key_by == "coach" and self.computed != self.key:
            keys.append(f"the program makes it {cell_words(self.computed)}")
        note = f" ({'; '.join(keys)})" if keys else ""
        return f"{row_title(self.row)}: {own}{note}"

    def _key(self) -> str:
        return f"the {'card' if self.key_by == 'coach' else 'key'} says {cell_words(self.key)}"

    def reasons(self, task: Task, keeping_secret: bool) -> list[str]:
        """The reasons for the program's view of the row, the most important first."""
        if self.row == "verdict":
            asked_later = task.asks[-1:] != ("assess",)
            return [*_what_decides(task), *why_they_differ(task, self.key, may_tell_the_line=not asked_later)]
        shown = _reasons_to_show(task, self.row, keeping_secret)
        texts = [safe(reason) for reason in shown]
        kept_back = len(factor_of(task, self.row).stated) - len(shown)
        if kept_back:
            texts.append(
                f"{counted(kept_back, 'reason')} more: not shown before you have been asked for the motif."
            )
        return texts or [NOTHING_TELLS]

    def marks(self, task: Task, keeping_secret: bool) -> Marks:
        """The squares of the row's reasons; for the verdict, the squares of the card's motifs."""
        if self.row != "verdict":
            return reason_marks(task.card.board, _reasons_to_show(task, self.row, keeping_secret))
        return NO_MARKS if keeping_secret else evidence_marks(task)

    def drawn(self, chosen: bool) -> Row:
        sign = " " if self.worked else SIGNS[self.agreement]
        label = row_label(self.row, (">" if chosen else " ") + sign)
        cells = ((cell, CELLS[cell]) for cell in cells_of(self.row))
        own = None if self.worked else self.answer
        return (Piece(label, "class:row" if chosen else ""), *marked_cells(cells, own, self.key))


@dataclass(frozen=True)
class AssessMark(Mark):
    """The result of a ballot. `raw`: the weighted mean credit; `chance`: the mean of a random ballot."""

    raw: float
    chance: float
    rows: tuple[RowMark, ...]

    @property
    def worked(self) -> bool:
        """Whether it is the key that is shown, to no answer."""
        return self.rows[-1].worked

    def reason(self, task: Task) -> str:
        if self.worked:
            return f"The verdict: {cell_words(self.rows[-1].key)}."
        right = sum(row.credit == 1 for row in self.rows)
        near = sum(0 < row.credit < 1 for row in self.rows)
        verdict = self.rows[-1]
        answer = "blank" if verdict.answer is None else cell_words(verdict.answer)
        verdict_line = (
            f"your verdict, {answer}, is right"
            if verdict.credit == 1
            else f"your verdict was {answer}, the key says {cell_words(verdict.key)}"
        )
        return f"{right} of {len(self.rows)} rows right, {near} nearly right; {verdict_line}."

    def rows_to_look_into(self) -> tuple[MarkedRow, ...]:
        return self.rows

    def rows_title(self) -> str:
        return f"{'The' if self.worked else 'Your'} stock-taking, row by row"

    def rows_legend(self) -> str:
        return WORKED_LEGEND if self.worked else MARKED_LEGEND

    def rows_note(self, task: Task) -> str:
        """The program's view of the rows that a short ballot left out."""
        asked = {mark.row for mark in self.rows}
        if asked == {*BALLOT_ROWS}:
            return ""
        others = [row for row in FACTORS if row not in asked]
        found = [f"{row_title(row)} {cell_words(factor_of(task, row).verdict.signed)}" for row in others]
        return f"Not asked: {', '.join(found)}."


def cell_credit(key: int, answer: int, accepted: Iterable[int] = ()) -> float:
    """The credit of one cell: 1 for the key or an accepted cell, less near it, 0 on the wrong side."""
    if answer == key or answer in accepted:
        return 1.0
    if answer * key > 0:
        return STEP_OFF if abs(answer - key) == 1 else NEAR
    return NEAR if abs(answer - key) == 1 else 0.0


def score_assess(
    computed: Mapping[str, Verdict],
    answer: Mapping[str, int],
    coach: Mapping[str, Verdict] | None = None,
    accepted: Mapping[str, frozenset[int]] | None = None,
    asked: Sequence[str] = BALLOT_ROWS,
) -> AssessMark:
    """Mark a ballot.

    `computed`, `coach`: keys by factor id or `verdict`. The coach's key is used if there is one; a row in
    neither counts as level. `answer`: signed strengths by row; an unmarked row earns nothing. `accepted`:
    cells that are also right, near a border; ignored where the coach set the key. `asked`: the rows of this
    ballot; other rows don't count. A row's weight depends on its key and on the verdict's.
    """
    coach, accepted = coach or {}, accepted or {}
    verdict = coach.get("verdict", computed.get("verdict", LEVEL)).signed
    rows, raw, chance, weights = [], 0.0, 0.0, 0
    for row in asked:
        by_coach = row in coach
        own = fold(row, computed.get(row, LEVEL).signed)
        key = fold(row, coach[row].signed) if by_coach else own
        also = frozenset() if by_coach else frozenset(fold(row, cell) for cell in accepted.get(row, ()))
        weight = _weight(row, key, verdict)
        cells = cells_of(row)
        chance += weight * sum(cell_credit(key, cell, also) for cell in cells) / len(cells)
        weights += weight
        marked = answer.get(row)
        credit = 0.0 if marked is None else cell_credit(key, marked, also)
        raw += weight * credit
        rows.append(RowMark(row, key, marked, credit, "coach" if by_coach else "computed", own))
    raw, chance = raw / weights, chance / weights
    return AssessMark(above_chance(raw, chance), raw, chance, tuple(rows))


def _weight(row: str, key: int, verdict: int) -> int:
    by_strength = 1 + STRENGTH_WEIGHT * abs(key)
    if row == "verdict":
        return VERDICT_WEIGHT * by_strength
    return by_strength + APART_WEIGHT * abs(key - fold(row, verdict)) * (key != 0)


def row_label(row: str, cursor: str) -> str:
    """The label of a row. The verdict's is shorter by one wide cell, because its row has two more of them."""
    width = LABEL - len(f" {CELLS[3]} ") if row == "verdict" else LABEL
    return f"{cursor}{row_title(row)}".ljust(width)


def factor_of(task: Task, factor: str) -> FactorBalance:
    """The program's own stock-taking on one factor."""
    return next(entry for entry in task.explanation.assessment.factors if entry.factor == factor)


def _reasons_to_show(task: Task, factor: str, keeping_secret: bool) -> tuple[StatedReason, ...]:
    """The reasons of a factor, the most important first. `keeping_secret`: without those that show the motif.

    A reason shows the motif if it is about a square that the student will have to point to.
    """
    reasons = factor_of(task, factor).stated
    if not keeping_secret:
        return reasons
    secret = frozenset().union(*key_squares(task).values())
    return tuple(reason for reason in reasons if secret.isdisjoint(reason.squares))


def reason_marks(board: chess.Board, reasons: Iterable[StatedReason]) -> Marks:
    """The squares of the reasons. Men of the side that profits are actors, men of the other side are targets.

    If two reasons give a man different roles, the more important reason, which comes first, decides.
    """
    role_of: dict[str, str] = {}
    for reason in reasons:
        for square in reason.squares:
            colour = board.color_at(chess.parse_square(square))
            role = "squares" if colour is None else "actors" if colour == (reason.worth > 0) else "targets"
            role_of.setdefault(square, role)
    roles = {role: frozenset(name for name in role_of if role_of[name] == role) for role in role_of.values()}
    return Marks(**roles)


def _what_decides(task: Task) -> list[str]:
    """How the factors add up to the program's own verdict."""
    assessment = task.explanation.assessment
    parts = []
    for side in (True, False):
        names = [
            row_title(factor)
            for factor in assessment.deciding
            if (factor_of(task, factor).balance > 0) == side and factor_of(task, factor).balance
        ]
        if names:
            parts.append(f"For {side_name(side)}, the weightiest first: {listed(names)}.")
    score = shown_score(assessment.expected_score)
    return [*parts, f"Together they give White an expected score of {score:.2f}."]
