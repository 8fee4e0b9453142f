"""The mark of a `count` answer: each part judged, and man by man who takes part in the exchange."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import chess

from decks.asks.ask import Mark, MarkedRow
from decks.tasks.card import Card
from decks.tasks.evidence import Marks, key_squares
from decks.tasks.layout import Piece, Row
from decks.tasks.marked_cells import MARKED_LEGEND, SIGNS, WORKED_LEGEND, agreement, marked_cells
from decks.tasks.scoring import above_chance
from decks.tasks.task import Task
from patterns.reading.text import counted
from patterns.words.wording import named, number, sentence, side_name

if TYPE_CHECKING:
    from patterns.square_count import Bearer, SquareCount

SQUARE_TAG, KEY_TAG = "Square", "Count"

ATTACKERS, DEFENDERS, WINNER = ROWS = ("attackers", "defenders", "winner")
"""The three parts of an answer, in the order in which they are written."""

MOST = 7
"""The largest number that can be answered; it also stands for more men, which real games hardly show."""

SIDES: Mapping[int, str] = {1: "white", 0: "nobody", -1: "black"}
"""Who wins the exchange, as signs: White, nobody, Black. Nobody lies between the sides."""

LABEL = 11
"""Width of a row's label, with the cursor before it, in columns."""


@dataclass(frozen=True)
class CountRow(MarkedRow):
    """One part of a marked answer. `computed`: the program's own key, which a coach may have overruled.

    `worked`: nobody answered; it is the key that is shown.
    """

    row: str
    key: int
    answer: int
    computed: int
    worked: bool = False

    @property
    def name(self) -> str:
        return self.row

    @property
    def credit(self) -> float:
        return credit(self.key, self.answer)

    def in_words(self) -> str:
        notes = [] if self.credit == 1 else [f"the key says {value_in_words(self.row, self.key)}"]
        if self.computed != self.key:
            notes.append(f"the program makes it {value_in_words(self.row, self.computed)}")
        note = f" ({'; '.join(notes)})" if notes else ""
        own = value_in_words(self.row, self.answer)
        return f"{self.row}: {own}{'' if self.worked else f', {agreement(self.credit)}'}{note}"

    def reasons(self, task: Task, keeping_secret: bool) -> list[str]:
        """Man by man, who takes part and who does not; for the winner, what the exchange comes to."""
        count = count_of(task.card)
        if self.row == WINNER:
            return [_outcome(count)]
        board, bearers = task.card.board, _bearers(count, self.row)
        shown = [one for one in bearers if not keeping_secret or not _shows_the_motif(task, one)]
        texts = [sentence(judged(board, one)) for one in shown]
        if len(shown) < len(bearers):
            kept_back = counted(len(bearers) - len(shown), "man", "men")
            texts.append(f"{kept_back} more: not shown before you have been asked for the motif.")
        return texts or ["No man can take part."]

    def marks(self, task: Task, keeping_secret: bool) -> Marks:
        """The men that count as actors, the others and what keeps them away as squares."""
        count = count_of(task.card)
        bearers = [one for row in ROWS[:2] if self.row in (row, WINNER) for one in _bearers(count, row)]
        shown = [one for one in bearers if not keeping_secret or not _shows_the_motif(task, one)]
        takes_part = square_names(one.square for one in shown if one.counts)
        about = square_names(square for one in shown if not one.counts for square in (one.square, *one.about))
        return Marks(takes_part, square_names([count.square]), about - takes_part)

    def drawn(self, chosen: bool) -> Row:
        sign = " " if self.worked else SIGNS[agreement(self.credit)]
        label = f"{'>' if chosen else ' '}{sign}{self.row}".ljust(LABEL)
        own = None if self.worked else self.answer
        cells = ((cell, value_in_words(self.row, cell)) for cell in cells_of_row(self.row))
        return (Piece(label, "class:row" if chosen else ""), *marked_cells(cells, own, self.key))


@dataclass(frozen=True)
class CountMark(Mark):
    """The result: one marked row for each part."""

    rows: tuple[CountRow, ...]

    @property
    def worked(self) -> bool:
        """Whether it is the key that is shown, to no answer."""
        return self.rows[-1].worked

    def reason(self, task: Task) -> str:
        right = sum(row.credit == 1 for row in self.rows)
        found = "" if self.worked else f"{sentence(number(right))[:-1]} of three right. "
        key = parts_in_words({row.row: row.key for row in self.rows})
        return f"{found}The key: {key}. {_outcome(count_of(task.card))}"

    def marks(self, task: Task) -> Marks:
        return Marks(targets=square_names([square_of(task.card)]))

    def rows_to_look_into(self) -> tuple[MarkedRow, ...]:
        return self.rows

    def rows_title(self) -> str:
        return f"{'The' if self.worked else 'Your'} count, man by man"

    def rows_legend(self) -> str:
        return WORKED_LEGEND if self.worked else MARKED_LEGEND


def credit(key: int, answer: int) -> float:
    """The credit of one part: 1 for the key, half for a neighbour of it, else 0."""
    return {0: 1.0, 1: 0.5}.get(abs(key - answer), 0.0)


def score_count(
    computed: Mapping[str, int], answer: Mapping[str, int], coach: Mapping[str, int] | None = None
) -> CountMark:
    """Mark an answer. `computed`, `coach`: the keys by row; the coach's key is used if there is one.

    Each part is a third of the score.
    """
    keys = {**computed, **(coach or {})}
    rows = tuple(CountRow(row, keys[row], answer[row], computed[row]) for row in ROWS)
    raw = sum(row.credit for row in rows) / len(rows)
    cells = {row: cells_of_row(row) for row in ROWS}
    chance = sum(sum(credit(keys[row], cell) for cell in cells[row]) / len(cells[row]) for row in ROWS)
    return CountMark(above_chance(raw, chance / len(rows)), rows)


def parts_in_words(values: Mapping[str, int]) -> str:
    """The parts of an answer in words: `attackers 3, defenders 2, winner white`."""
    return ", ".join(f"{row} {value_in_words(row, values[row])}" for row in ROWS if row in values)


def value_in_words(row: str, value: int) -> str:
    return SIDES[value] if row == WINNER else str(value)


def cells_of_row(row: str) -> tuple[int, ...]:
    return tuple(SIDES) if row == WINNER else tuple(range(MOST + 1))


def square_names(squares: Iterable[chess.Square]) -> frozenset[str]:
    return frozenset(chess.SQUARE_NAMES[square] for square in squares)


def square_of(card: Card) -> chess.Square:
    return chess.parse_square(card.own_tags[SQUARE_TAG])


def count_of(card: Card) -> SquareCount:
    return _counted(card.fen, square_of(card))


@lru_cache(maxsize=16)
def _counted(fen: str, square: chess.Square) -> SquareCount:
    from patterns.square_count import count_square  # array code, imported only when a count is asked for

    return count_square(chess.Board(fen), square)


def _bearers(count: SquareCount, row: str) -> tuple[Bearer, ...]:
    return count.attackers if row == ATTACKERS else count.defenders


def judged(board: chess.Board, one: Bearer) -> str:
    """Whether a man counts, and why: `the knight on c6 does not count: pinned to its king by ...`."""
    return f"{named(board, one.square)} {'counts ' if one.counts else 'does not count: '}{one.reason}"


def _shows_the_motif(task: Task, one: Bearer) -> bool:
    """Whether a man or what is said about it is where the student will have to point."""
    secret = frozenset().union(*key_squares(task).values())
    return not secret.isdisjoint(square_names((one.square, *one.about)))


def _outcome(count: SquareCount) -> str:
    """What the exchange comes to if the attacker takes first, as a sentence."""
    side, square = side_name(count.attacker), chess.SQUARE_NAMES[count.square]
    if count.first_capture is None:
        return f"{side} has no man that can take on {square}."
    won = abs(count.exchange) or count.first_capture
    pawns = counted(round(abs(won)), "pawn")
    comes_out = "even" if not won else f"{pawns} {'ahead' if won > 0 else 'behind'}"
    return f"If {side} takes on {square}, {side} comes out {comes_out} by count."
