"""`assess`: take stock on a ballot, with a row for each factor that decides (or for all) and the verdict."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Literal

import chess

from decks.asks.ask import Answer, Ask, Mark, MarkedRow, Reaction, Size
from decks.asks.key_against_count import why_they_differ
from decks.tasks.ballot import (
    BALLOT_ROWS,
    CELLS,
    FACTOR_CELLS,
    SHORT_BALLOT_FACTORS,
    cell_words,
    cells_of,
    fold,
    short_rows,
)
from decks.tasks.card import Card
from decks.tasks.evidence import NO_MARKS, Marks, evidence_marks, key_squares
from decks.tasks.hints import Hint, about_the_motif
from decks.tasks.layout import BLANK, Key, Layout, MessageAt, Paragraph, Piece, Row
from decks.tasks.marked_cells import MARKED_LEGEND, SIGNS, WORKED_LEGEND, Agreement, agreement, marked_cells
from decks.tasks.messages import Enter, Message, MoveRow, Submit
from decks.tasks.scoring import above_chance
from decks.tasks.task import Task
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

CELLS_IN_WORDS = "W White clear, w White slight, = level, b Black slight, B Black clear"
VERDICT_IN_WORDS = "and on the verdict WW White decisive, BB Black decisive"
STRENGTHS_BY_EXAMPLE = (
    "Slight is a small advantage: on material, two bishops against a bishop and a knight.",
    "Clear is a large one: on material, an extra pawn.",
    "Decisive is enough to win the game, such as an extra knight.",
)
LEGEND = "W clear, w slight for White; b slight, B clear for Black; = level; WW, BB decisive"
SETTING_OUT = "Preparing the ballot ..."
NOTHING_TELLS = "Here the two sides are equal."


@dataclass(frozen=True)
class SetCell(Message):
    """Mark a cell (a signed strength) of a row. `advance`: go on to the next blank row."""

    row: str
    cell: int
    advance: bool = True


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
            asked_later = task.asks[-1:] != (ASK.id,)
            return [*_what_decides(task), *why_they_differ(task, self.key, may_tell_the_line=not asked_later)]
        shown = _reasons_to_show(task, self.row, keeping_secret)
        texts = [safe(reason) for reason in shown]
        kept_back = len(_factor_of(task, self.row).stated) - len(shown)
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
        label = _label(self.row, (">" if chosen else " ") + sign)
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
        found = [f"{row_title(row)} {cell_words(_factor_of(task, row).verdict.signed)}" for row in others]
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


@dataclass(frozen=True)
class AssessAnswer(Answer):
    """A ballot. `ballot`: the marked cells (signed strengths) by row; `row`: the index of the current row."""

    ballot: Mapping[str, int] = field(default_factory=dict)
    row: int = 0

    takes_text = False
    help = (
        "Mark each row with one cell:",
        f"{CELLS_IN_WORDS};",
        f"{VERDICT_IN_WORDS}.",
        *STRENGTHS_BY_EXAMPLE,
    )
    plain_help = ("Write the cell alone for the row asked for, or name the row: space = w",)

    @cached_property
    def rows(self) -> tuple[str, ...]:
        """The rows of the ballot, from the top."""
        if self.task.whole_ballot:
            return BALLOT_ROWS
        return short_rows(self.task.explanation.assessment.deciding, self.task.card.factors)

    @property
    def blank_rows(self) -> tuple[str, ...]:
        """Rows not marked yet, from the top."""
        return tuple(row for row in self.rows if row not in self.ballot)

    @property
    def question(self) -> str:
        return f"{self.to_move} Take stock{f', {self.then}' if self.then else ''}."

    @property
    def prompt(self) -> str:
        if not self.blank_rows:
            return "Enter to hand in, or a row to change: "
        row = self.blank_rows[0]
        return f"{row_title(row)} ({_choices(row)}): "

    def react(self, message: Message) -> Reaction:
        match message:
            case SetCell(row=row, cell=cell, advance=advance):
                return Reaction(self._with_cell(row, cell, advance))
            case MoveRow(by=by):
                return Reaction(replace(self, row=max(0, min(len(self.rows) - 1, self.row + by))))
            case Submit() | Enter(text=""):
                if blank := self.blank_rows:
                    return Reaction(self, f"Still to mark: {', '.join(row_title(row) for row in blank)}.")
                return Reaction(self, handed_in=True)
            case Enter(text=text):
                return self._entered(text)
        return Reaction(self)

    def _with_cell(self, row: str, cell: int, advance: bool) -> AssessAnswer:
        if row not in self.rows or cell not in cells_of(row):
            return self
        marked = replace(self, ballot={**self.ballot, row: cell}, row=self.rows.index(row))
        if advance and (blank := marked.blank_rows):
            below = [other for other in blank if self.rows.index(other) > marked.row]
            marked = replace(marked, row=self.rows.index((below or blank)[0]))
        return marked

    def _entered(self, text: str) -> Reaction:
        """Reads a cell for the current row (`w`), or for a row by name (`space = w`)."""
        row, cell = (*self.blank_rows, self.rows[-1])[0], text
        for name in self.rows:
            for spelling in (name, row_title(name)):
                if text.lower().startswith(spelling):
                    row, cell = name, text[len(spelling) :].strip()
        if len(cell) > 1 and cell[0] in "=:":
            cell = cell[1:].strip()
        signed = next((signed for signed in cells_of(row) if CELLS[signed] == cell), None)
        if signed is None:
            wrong = f"'{safe(cell, 40)}' is not a cell of {row_title(row)}"
            return Reaction(self, f"{wrong}: write one of {_choices(row)}")
        return Reaction(self._with_cell(row, signed, advance=True))

    def layout(self) -> Layout:
        if not (self.task.whole_ballot or self.task.is_explained):
            return Layout((BLANK, (Piece(SETTING_OUT),)))
        legend = Paragraph(LEGEND, "faint")
        return Layout((BLANK, *map(self._drawn, self.rows)), (BLANK, legend))

    def _drawn(self, row: str) -> Row:
        in_hand = self.rows[self.row] == row
        marked = self.ballot.get(row)
        pieces = [Piece(_label(row, ">" if in_hand else " "), "class:row" if in_hand else "")]
        for cell in cells_of(row):
            letters = CELLS[cell]
            if cell == marked:
                pieces.append(Piece(f"[{letters}]", "class:chosen", _set(row, cell)))
            else:
                pieces.append(Piece(f" {letters} ", "", _set(row, cell)))
        return tuple(pieces)

    def keys(self) -> tuple[Key, ...]:
        """A cell's letter marks the current row; arrows move between rows and cells.

        The current row is looked up only when a key is pressed, because choosing the rows of a short ballot
        takes a moment.
        """
        return (
            Key("enter", "Enter", "hand in", Submit),
            Key("up", "", "", lambda at: MoveRow(at, -1)),
            Key("down", "", "", lambda at: MoveRow(at, 1)),
            Key("left", "", "", lambda at: self._beside(at, -1)),
            Key("right", "", "", lambda at: self._beside(at, 1)),
            *(Key(CELLS[cell], "", "", self._cell_by_letter(cell)) for cell in FACTOR_CELLS),
        )

    def _beside(self, at: float, by: int) -> SetCell:
        """The cell left or right of the marked one in the current row; level if none is marked."""
        row = self.rows[self.row]
        cells = cells_of(row)
        place = cells.index(self.ballot[row]) + by if row in self.ballot else cells.index(0)
        return SetCell(at, row, cells[max(0, min(len(cells) - 1, place))], advance=False)

    def _cell_by_letter(self, cell: int) -> MessageAt:
        """The same letter twice means decisive: W on a verdict marked W makes it WW."""

        def mark(at: float) -> SetCell:
            row, signed = self.rows[self.row], cell
            if row == "verdict" and self.ballot.get(row) == signed and abs(signed) == 2:
                signed += 1 if signed > 0 else -1
            return SetCell(at, row, signed, advance=row != "verdict")

        return mark

    def keys_in_words(self) -> Row:
        key = "class:key"
        return (Piece("arrows", key), Piece(" and "), Piece("W w = b B", key), Piece(" mark"))

    def news(self, before: Answer | None) -> list[str]:
        return [self.question, *self.help[1:3]] if before is None else []

    def hints(self, keeping_secret: bool) -> list[Hint]:
        """Adds two hints: which factor on the ballot weighs most, then which side that factor favours."""
        assessment = self.task.explanation.assessment
        heaviest = next(factor for factor in assessment.deciding if factor in self.rows)
        title, balance = row_title(heaviest), _factor_of(self.task, heaviest).balance
        favours = f"{side_name(balance > 0)} is better" if balance else "neither side is better"
        return [
            *about_the_motif(self.task, keeping_secret),
            Hint(f"The factor that weighs most is {title}."),
            Hint(f"On {title} {favours}."),
        ]

    def worked(self) -> AssessMark:
        key = replace(self, ballot={}).marked()
        rows = tuple(replace(row, answer=row.key, credit=1.0, worked=True) for row in key.rows)
        return AssessMark(1.0, 1.0, key.chance, rows)

    def marked(self) -> AssessMark:
        from patterns.factors.assessment import accepted  # array code, imported only when a ballot is marked

        assessment = self.task.explanation.assessment
        computed = {balance.factor: balance.verdict for balance in assessment.factors}
        computed["verdict"] = assessment.verdict
        return score_assess(computed, self.ballot, self.task.card.factors, accepted(assessment), self.rows)

    def raw(self) -> dict[str, str]:
        return {row: str(Verdict.from_signed(cell)) for row, cell in self.ballot.items()}


def _label(row: str, cursor: str) -> str:
    """The label of a row. The verdict's is shorter by one wide cell, because its row has two more of them."""
    width = LABEL - len(f" {CELLS[3]} ") if row == "verdict" else LABEL
    return f"{cursor}{row_title(row)}".ljust(width)


def _choices(row: str) -> str:
    return " ".join(CELLS[cell] for cell in cells_of(row))


def _set(row: str, cell: int, advance: bool = True) -> MessageAt:
    return lambda at: SetCell(at, row, cell, advance)


def _factor_of(task: Task, factor: str) -> FactorBalance:
    """The program's own stock-taking on one factor."""
    return next(entry for entry in task.explanation.assessment.factors if entry.factor == factor)


def _reasons_to_show(task: Task, factor: str, keeping_secret: bool) -> tuple[StatedReason, ...]:
    """The reasons of a factor, the most important first. `keeping_secret`: without those that show the motif.

    A reason shows the motif if it is about a square that the student will have to point to.
    """
    reasons = _factor_of(task, factor).stated
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
            if (_factor_of(task, factor).balance > 0) == side and _factor_of(task, factor).balance
        ]
        if names:
            parts.append(f"For {side_name(side)}, the weightiest first: {listed(names)}.")
    return [*parts, f"Together they give White an expected score of {assessment.expected_score:.2f}."]


def _in_words(card: Card, raw: Mapping[str, str]) -> str:
    return ", ".join(f"{row_title(row)} {cell_words(Verdict.parse(raw[row]).signed)}" for row in raw)


ASK = Ask(
    id="assess",
    title="stock-taking",
    place=10,
    begin=AssessAnswer,
    in_words=_in_words,
    size=Size(seconds=90, parts=SHORT_BALLOT_FACTORS + 1),  # four verdicts; our guess
    whole_size=Size(seconds=180, parts=len(BALLOT_ROWS)),  # more than twice the rows
    asks_of_a_position=True,
    has_own_positions=True,
    built_key=lambda whole: {"verdict": whole},
)
