"""`assess`: take stock on a ballot, with a row for each factor that decides (or for all) and the verdict."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING

from decks.asks.ask import Answer, Ask, Reaction, Size
from decks.asks.assess_mark import AssessMark, factor_of, row_label, score_assess
from decks.tasks.ballot import (
    BALLOT_ROWS,
    CELLS,
    FACTOR_CELLS,
    SHORT_BALLOT_FACTORS,
    cell_words,
    cells_of,
    short_rows,
)
from decks.tasks.card import Card
from decks.tasks.hints import Hint, about_the_motif
from decks.tasks.layout import BLANK, Key, Layout, MessageAt, Paragraph, Piece, Row
from decks.tasks.messages import Enter, Message, MoveRow, Submit
from patterns.reading.text import safe
from patterns.words.verdicts import Verdict, row_title
from patterns.words.wording import side_name

if TYPE_CHECKING:
    pass

CELLS_IN_WORDS = "W White clear, w White slight, = level, b Black slight, B Black clear"
VERDICT_IN_WORDS = "and on the verdict WW White decisive, BB Black decisive"
STRENGTHS_BY_EXAMPLE = (
    "Slight is a small advantage: on material, two bishops against a bishop and a knight.",
    "Clear is a large one: on material, an extra pawn.",
    "Decisive is enough to win the game, such as an extra knight.",
)
LEGEND = "W clear, w slight for White; b slight, B clear for Black; = level; WW, BB decisive"
SETTING_OUT = "Preparing the ballot ..."


@dataclass(frozen=True)
class SetCell(Message):
    """Mark a cell (a signed strength) of a row. `advance`: go on to the next blank row."""

    row: str
    cell: int
    advance: bool = True


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
        pieces = [Piece(row_label(row, ">" if in_hand else " "), "class:row" if in_hand else "")]
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
        title, balance = row_title(heaviest), factor_of(self.task, heaviest).balance
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


def _choices(row: str) -> str:
    return " ".join(CELLS[cell] for cell in cells_of(row))


def _set(row: str, cell: int, advance: bool = True) -> MessageAt:
    return lambda at: SetCell(at, row, cell, advance)


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
