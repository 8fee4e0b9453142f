"""`count`: at one square, how many attackers and defenders really count, and who wins the exchange there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import chess

from decks.asks.ask import Answer, Ask, Reaction, Size
from decks.asks.count_mark import (
    ATTACKERS,
    DEFENDERS,
    KEY_TAG,
    LABEL,
    MOST,
    ROWS,
    SIDES,
    SQUARE_TAG,
    WINNER,
    CountMark,
    CountRow,
    cells_of_row,
    count_of,
    judged,
    parts_in_words,
    score_count,
    square_names,
    square_of,
    value_in_words,
)
from decks.tasks.card import Card
from decks.tasks.evidence import Marks
from decks.tasks.hints import Hint
from decks.tasks.layout import BLANK, Completion, Key, Layout, MessageAt, Paragraph, Piece, Row
from decks.tasks.messages import Enter, Message, Submit
from patterns.reading.text import safe
from patterns.words.wording import men, number, sentence, side_name

if TYPE_CHECKING:
    from patterns.square_count import SquareCount

EXAMPLE = "3 2 white"


@dataclass(frozen=True)
class Fill(Message):
    """Fill one part of the answer: a number, or the sign of a side."""

    row: str
    value: int


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
        square = chess.SQUARE_NAMES[square_of(self.task.card)]
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
        return Marks(targets=square_names([square_of(self.task.card)]))

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
        for cell in cells_of_row(row):
            text, marked = value_in_words(row, cell), self.filled.get(row) == cell
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
        return [] if before == self else [f"So far: {parts_in_words(self.filled)}"]

    def hints(self, keeping_secret: bool) -> list[Hint]:
        """Who bears on the square; how many of them do not count; who they are and why."""
        card = self.task.card
        count = count_of(card)
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
        marks = Marks(actors=square_names(one.square for one in idle), squares=square_names(about))
        return [first, second, Hint(sentence("; ".join(judged(card.board, one) for one in idle)), marks)]

    def worked(self) -> CountMark:
        computed = computed_key(count_of(self.task.card))
        key = computed | _coach_key(self.task.card)
        return CountMark(1.0, tuple(CountRow(row, key[row], key[row], computed[row], True) for row in ROWS))

    def marked(self) -> CountMark:
        return score_count(computed_key(count_of(self.task.card)), self.filled, _coach_key(self.task.card))

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


def _fill(row: str, value: int) -> MessageAt:
    return lambda at: Fill(at, row, value)


def _attacker(card: Card) -> chess.Color:
    """The side that would capture: the opponent of the man on the square."""
    return not card.board.color_at(square_of(card))


def computed_key(count: SquareCount) -> dict[str, int]:
    """The program's own key for a square, by row."""
    attackers, defenders = (min(number, MOST) for number in count.counted)
    winner = {True: 1, None: 0, False: -1}[count.wins]
    return {ATTACKERS: attackers, DEFENDERS: defenders, WINNER: winner}


def _coach_key(card: Card) -> dict[str, int]:
    return read_count(card.own_tags[KEY_TAG]) if KEY_TAG in card.own_tags else {}


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
