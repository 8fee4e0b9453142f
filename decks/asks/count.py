"""`count`: at one square, how many attackers and defenders really count, and who wins the exchange there."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import TYPE_CHECKING

import chess

from decks.asks.ask import Answer, Ask, Mark, MarkedRow, Reaction, Size
from decks.tasks.card import Card
from decks.tasks.evidence import Marks, key_squares
from decks.tasks.hints import Hint
from decks.tasks.layout import BLANK, Completion, Key, Layout, MessageAt, Paragraph, Piece, Row
from decks.tasks.marked_cells import MARKED_LEGEND, SIGNS, WORKED_LEGEND, agreement, marked_cells
from decks.tasks.messages import Enter, Message, Submit
from decks.tasks.scoring import above_chance
from decks.tasks.task import Task
from patterns.reading.text import counted, safe
from patterns.words.wording import men, named, number, sentence, side_name

if TYPE_CHECKING:
    from patterns.square_count import Bearer, SquareCount

SQUARE_TAG, KEY_TAG = "Square", "Count"

ATTACKERS, DEFENDERS, WINNER = ROWS = ("attackers", "defenders", "winner")
"""The three parts of an answer, in the order in which they are written."""

MOST = 7
"""The largest number that can be answered; it also stands for more men, which real games hardly show."""

SIDES: Mapping[int, str] = {1: "white", 0: "nobody", -1: "black"}
"""Who wins the exchange, as signs: White, nobody, Black. Nobody lies between the sides."""

EXAMPLE = "3 2 white"
LABEL = 11
"""Width of a row's label, with the cursor before it, in columns."""


@dataclass(frozen=True)
class Fill(Message):
    """Fill one part of the answer: a number, or the sign of a side."""

    row: str
    value: int


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
        notes = [] if self.credit == 1 else [f"the key says {_value_in_words(self.row, self.key)}"]
        if self.computed != self.key:
            notes.append(f"the program makes it {_value_in_words(self.row, self.computed)}")
        note = f" ({'; '.join(notes)})" if notes else ""
        own = _value_in_words(self.row, self.answer)
        return f"{self.row}: {own}{'' if self.worked else f', {agreement(self.credit)}'}{note}"

    def reasons(self, task: Task, keeping_secret: bool) -> list[str]:
        """Man by man, who takes part and who does not; for the winner, what the exchange comes to."""
        count = _count(task.card)
        if self.row == WINNER:
            return [_outcome(count)]
        board, bearers = task.card.board, _bearers(count, self.row)
        shown = [one for one in bearers if not keeping_secret or not _shows_the_motif(task, one)]
        texts = [sentence(_judged(board, one)) for one in shown]
        if len(shown) < len(bearers):
            kept_back = counted(len(bearers) - len(shown), "man", "men")
            texts.append(f"{kept_back} more: not shown before you have been asked for the motif.")
        return texts or ["No man can take part."]

    def marks(self, task: Task, keeping_secret: bool) -> Marks:
        """The men that count as actors, the others and what keeps them away as squares."""
        count = _count(task.card)
        bearers = [one for row in ROWS[:2] if self.row in (row, WINNER) for one in _bearers(count, row)]
        shown = [one for one in bearers if not keeping_secret or not _shows_the_motif(task, one)]
        takes_part = _names(one.square for one in shown if one.counts)
        about = _names(square for one in shown if not one.counts for square in (one.square, *one.about))
        return Marks(takes_part, _names([count.square]), about - takes_part)

    def drawn(self, chosen: bool) -> Row:
        sign = " " if self.worked else SIGNS[agreement(self.credit)]
        label = f"{'>' if chosen else ' '}{sign}{self.row}".ljust(LABEL)
        own = None if self.worked else self.answer
        cells = ((cell, _value_in_words(self.row, cell)) for cell in _cells(self.row))
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
        key = _words({row.row: row.key for row in self.rows})
        return f"{found}The key: {key}. {_outcome(_count(task.card))}"

    def marks(self, task: Task) -> Marks:
        return Marks(targets=_names([_square(task.card)]))

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
    cells = {row: _cells(row) for row in ROWS}
    chance = sum(sum(credit(keys[row], cell) for cell in cells[row]) / len(cells[row]) for row in ROWS)
    return CountMark(above_chance(raw, chance / len(rows)), rows)


@dataclass(frozen=True)
class CountAnswer(Answer):
    """The parts filled in so far, by row."""

    filled: Mapping[str, int] = field(default_factory=dict)

    help = (
        "Count the men that can really take part in the exchange.",
        "A man behind another one on the same line counts too. A pinned man that must stay on its line does",
        "not count, nor does a defender without which another man would fall.",
        f"Write attackers, defenders and winner ({', '.join(SIDES.values())}), for example: {EXAMPLE}.",
        "Nobody wins if the exchange comes out even.",
    )
    plain_help = (
        "Write one part to change it, for example: defenders 2. An empty line hands the answer in.",
    )

    @property
    def question(self) -> str:
        square = chess.SQUARE_NAMES[_square(self.task.card)]
        attacker = _attacker(self.task.card)
        sides = f"{side_name(attacker)} attacks and {side_name(not attacker)} defends {square}"
        return f"{sides}. How many men of each side count there, and who wins if {side_name(attacker)} takes?"

    @property
    def blank_rows(self) -> tuple[str, ...]:
        """The parts not filled yet."""
        return tuple(row for row in ROWS if row not in self.filled)

    @property
    def prompt(self) -> str:
        blank = self.blank_rows
        return f"{sentence(', '.join(blank))[:-1]}: " if blank else "Enter to hand in, or a part to change: "

    @property
    def marks(self) -> Marks:
        return Marks(targets=_names([_square(self.task.card)]))

    def react(self, message: Message) -> Reaction:
        match message:
            case Fill(row=row, value=value):
                return Reaction(replace(self, filled={**self.filled, row: value}))
            case Submit() | Enter(text=""):
                if blank := self.blank_rows:
                    return Reaction(self, f"Still to fill in: {', '.join(blank)}.")
                return Reaction(self, handed_in=True)
            case Enter(text=text):
                return self._entered(text)
        return Reaction(self)

    def _entered(self, text: str) -> Reaction:
        """Reads one or more parts. All three at once hand the answer in."""
        try:
            read = read_count(text, self.blank_rows or ROWS)
        except ValueError as error:
            return Reaction(self, str(error))
        filled = replace(self, filled={**self.filled, **read})
        return Reaction(filled, handed_in=len(read) == len(ROWS))

    def layout(self) -> Layout:
        legend = "Winner: if the attacker takes first. Nobody: it comes out even."
        return Layout((BLANK, *map(self._drawn, ROWS)), (BLANK, Paragraph(legend, "faint")))

    def _drawn(self, row: str) -> Row:
        blank = self.blank_rows
        pieces = [Piece(f"{'>' if blank[:1] == (row,) else ' '}{row}".ljust(LABEL))]
        for cell in _cells(row):
            text, marked = _value_in_words(row, cell), self.filled.get(row) == cell
            left, right = "[]" if marked else "  "
            pieces.append(Piece(f"{left}{text}{right}", "class:chosen" if marked else "", _fill(row, cell)))
        return tuple(pieces)

    def keys(self) -> tuple[Key, ...]:
        return (Key("enter", "Enter", "hand in", Submit),)

    def completions(self, typed: str) -> list[Completion]:
        before, space, word = typed.rpartition(" ")
        if not word.isalpha():
            return []
        fitting = (side for side in SIDES.values() if side.startswith(word.lower()))
        return [Completion(side, f"{before}{space}{side}") for side in fitting]

    def news(self, before: Answer | None) -> list[str]:
        if before is None:
            return [self.question, f"Write, for example: {EXAMPLE}"]
        return [] if before == self else [f"So far: {_words(self.filled)}"]

    def hints(self, keeping_secret: bool) -> list[Hint]:
        """Who bears on the square; how many of them do not count; who they are and why."""
        card = self.task.card
        count = _count(card)
        square = chess.SQUARE_NAMES[count.square]
        bearers = [*count.attackers, *count.defenders]
        all_men = men(card.board, (one.square for one in bearers))
        first = Hint(f"These men look at {square}, directly or through others: {all_men}.")
        idle = [one for one in bearers if not one.counts]
        if not idle:
            return [first, Hint("All of them can take part.")]
        second = Hint(f"Of these men, {number(len(idle))} cannot take part.")
        if keeping_secret:
            return [first, second]
        about = (square for one in idle for square in one.about)
        marks = Marks(actors=_names(one.square for one in idle), squares=_names(about))
        return [first, second, Hint(sentence("; ".join(_judged(card.board, one) for one in idle)), marks)]

    def worked(self) -> CountMark:
        computed = computed_key(_count(self.task.card))
        key = computed | _coach_key(self.task.card)
        return CountMark(1.0, tuple(CountRow(row, key[row], key[row], computed[row], True) for row in ROWS))

    def marked(self) -> CountMark:
        return score_count(computed_key(_count(self.task.card)), self.filled, _coach_key(self.task.card))

    def raw(self) -> dict[str, int | str]:
        return {row: SIDES[value] if row == WINNER else value for row, value in self.filled.items()}


def read_count(text: str, blank: tuple[str, ...] = ROWS) -> dict[str, int]:
    """The parts of an answer in a text, by row: numbers in the order of `blank`, and a side.

    A number may follow the name of its part. ValueError quotes what cannot be read.

    >>> read_count("3 2 white"), read_count("nobody"), read_count("defenders 4")
    ({'attackers': 3, 'defenders': 2, 'winner': 1}, {'winner': 0}, {'defenders': 4})
    """
    numbers = [row for row in blank if row != WINNER]
    read: dict[str, int] = {}
    row = ""
    for word in text.lower().replace(",", " ").replace(":", " ").replace("=", " ").split():
        side = next((sign for sign, name in SIDES.items() if name.startswith(word)), None)
        if named_row := next((name for name in ROWS if len(word) > 1 and name.startswith(word)), ""):
            row = named_row
        elif side is not None:
            read[WINNER], row = side, ""
        elif word.isascii() and word.isdigit() and len(word) < 3 and row != WINNER:
            left = [name for name in numbers if name not in read]
            if not (row or left):
                raise ValueError(f"'{safe(word, 20)}': write attackers {word} or defenders {word}")
            read[row or left[0]], row = min(int(word), MOST), ""
        else:
            right = f"write a number, or {', '.join(SIDES.values())}"
            raise ValueError(f"'{safe(word, 20)}' is not part of a count: {right}")
    if row or not read:
        raise ValueError(f"{row or 'that'} has no answer: write, for example, {EXAMPLE}")
    return read


def _words(values: Mapping[str, int]) -> str:
    """The parts of an answer in words: `attackers 3, defenders 2, winner white`."""
    return ", ".join(f"{row} {_value_in_words(row, values[row])}" for row in ROWS if row in values)


def _value_in_words(row: str, value: int) -> str:
    return SIDES[value] if row == WINNER else str(value)


def _cells(row: str) -> tuple[int, ...]:
    return tuple(SIDES) if row == WINNER else tuple(range(MOST + 1))


def _fill(row: str, value: int) -> MessageAt:
    return lambda at: Fill(at, row, value)


def _names(squares: Iterable[chess.Square]) -> frozenset[str]:
    return frozenset(chess.SQUARE_NAMES[square] for square in squares)


def _square(card: Card) -> chess.Square:
    return chess.parse_square(card.own_tags[SQUARE_TAG])


def _attacker(card: Card) -> chess.Color:
    """The side that would capture: the opponent of the man on the square."""
    return not card.board.color_at(_square(card))


def _count(card: Card) -> SquareCount:
    return _counted(card.fen, _square(card))


@lru_cache(maxsize=16)
def _counted(fen: str, square: chess.Square) -> SquareCount:
    from patterns.square_count import count_square  # array code, imported only when a count is asked for

    return count_square(chess.Board(fen), square)


def computed_key(count: SquareCount) -> dict[str, int]:
    """The program's own key for a square, by row."""
    attackers, defenders = (min(number, MOST) for number in count.counted)
    winner = {True: 1, None: 0, False: -1}[count.wins]
    return {ATTACKERS: attackers, DEFENDERS: defenders, WINNER: winner}


def _coach_key(card: Card) -> dict[str, int]:
    return read_count(card.own_tags[KEY_TAG]) if KEY_TAG in card.own_tags else {}


def _bearers(count: SquareCount, row: str) -> tuple[Bearer, ...]:
    return count.attackers if row == ATTACKERS else count.defenders


def _judged(board: chess.Board, one: Bearer) -> str:
    """Whether a man counts, and why: `the knight on c6 does not count: pinned to its king by ...`."""
    return f"{named(board, one.square)} {'counts ' if one.counts else 'does not count: '}{one.reason}"


def _shows_the_motif(task: Task, one: Bearer) -> bool:
    """Whether a man or what is said about it is where the student will have to point."""
    secret = frozenset().union(*key_squares(task).values())
    return not secret.isdisjoint(_names((one.square, *one.about)))


def _outcome(count: SquareCount) -> str:
    """What the exchange comes to if the attacker takes first, as a sentence."""
    side, square = side_name(count.attacker), chess.SQUARE_NAMES[count.square]
    if count.first_capture is None:
        return f"{side} has no man that can take on {square}."
    won = abs(count.exchange) or count.first_capture
    pawns = counted(round(abs(won)), "pawn")
    comes_out = "even" if not won else f"{pawns} {'ahead' if won > 0 else 'behind'}"
    return f"If {side} takes on {square}, {side} comes out {comes_out} by count."


def _in_words(card: Card, raw: Mapping[str, int | str]) -> str:
    return ", ".join(f"{row} {raw[row]}" for row in ROWS)


def _lacks(card: Card, tags: Mapping[str, str]) -> str:
    square = tags.get(SQUARE_TAG)
    if square is None:
        return "no Square tag names one"
    if square not in chess.SQUARE_NAMES:
        return f"its Square tag {square!r} is not a square: write a1 to h8"
    if card.board.piece_type_at(chess.parse_square(square)) in (None, chess.KING):
        return f"on {square}, which its Square tag names, there is no man that can be taken"
    try:
        read_count(tags.get(KEY_TAG, EXAMPLE))
    except ValueError as error:
        return f"its Count tag can't be read: {error}"
    return ""


ASK = Ask(
    id="count",
    title="count",
    place=25,
    begin=CountAnswer,
    in_words=_in_words,
    size=Size(seconds=40, parts=len(ROWS)),  # as long as to look for a motif; our guess
    tags=(SQUARE_TAG, KEY_TAG),
    lacks=_lacks,
    asks_of_a_square=True,
)
