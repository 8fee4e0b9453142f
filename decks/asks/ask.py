"""What an ask declares: everything that other modules need to know about it."""

from __future__ import annotations

import json
from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar, Literal

import chess

from decks.tasks.card import Card, KeyMove
from decks.tasks.evidence import NO_MARKS, Marks
from decks.tasks.hints import Hint, about_the_motif
from decks.tasks.layout import Completion, Key, Layout, MessageAt, Piece, Row
from decks.tasks.lines import ShownLine
from decks.tasks.messages import Message
from decks.tasks.task import Task
from patterns.engines.scores import PositionVerdicts
from patterns.words.verdicts import Verdict
from patterns.words.wording import side_name

if TYPE_CHECKING:
    from patterns.explanation import Explanation

Secret = Literal["motif", "line"]
"""What must stay hidden until the card has asked for it: its motif and where it is, or its line."""


class MarkedRow(ABC):
    """One row of a marked answer. The student can look at the reasons for it."""

    @property
    @abstractmethod
    def name(self) -> str:
        """The row's name. No other row of the card's answers may have the same name."""

    @abstractmethod
    def in_words(self) -> str:
        """The answer, whether it is right, and the key, as a sentence without a full stop."""

    @abstractmethod
    def reasons(self, task: Task, keeping_secret: bool) -> list[str]:
        """Why the key is what it is, one sentence each. `keeping_secret`: they must not name the motif."""

    def marks(self, task: Task, keeping_secret: bool) -> Marks:
        """The squares that these reasons are about, in the card's position."""
        return NO_MARKS

    def drawn(self, chosen: bool) -> Row:
        """The row on the screen. `chosen`: its reasons are shown. A click on the row shows its reasons."""
        return (Piece(f"{'>' if chosen else ' '}{self.in_words()}", "class:row" if chosen else ""),)


@dataclass(frozen=True)
class RefusedMove:
    """A move (UCI) that did not hold, and the position in which it was played."""

    board: chess.Board
    move: str


@dataclass(frozen=True)
class Mark(ABC):
    """The result of an answer: a score from 0 to 1, corrected for guessing, and what is said about it."""

    score: float

    @abstractmethod
    def reason(self, task: Task) -> str:
        """One sentence that says why the score is what it is."""

    def refused(self, task: Task) -> RefusedMove | None:
        """The move that cost the grade; None if no engine could say more about it."""
        return None

    def judged_anew(self, verdicts: PositionVerdicts) -> Mark:
        """The mark of the same answer, with new verdicts on the refused move and the best one."""
        return self

    def lines(self, task: Task) -> tuple[ShownLine, ...]:
        """Lines to play through because of this answer, besides the card's own line."""
        return ()

    def marks(self, task: Task) -> Marks:
        """The squares that this answer was about, in the card's position, without those of the motifs."""
        return NO_MARKS

    def rows_to_look_into(self) -> tuple[MarkedRow, ...]:
        """The rows of the answer, if it has rows."""
        return ()

    def rows_title(self) -> str:
        """A heading for these rows in plain mode."""
        return "Your answer, row by row"

    def rows_legend(self) -> str:
        """What the marks in the rows on the screen mean; empty if they need no legend."""
        return ""

    def rows_note(self, task: Task) -> str:
        """A remark under these rows; empty if there is none."""
        return ""


@dataclass(frozen=True)
class Answer(ABC):
    """An unfinished answer, as a frozen value: what the student gave so far, and how messages change it.

    `then`: words in the question that announce the card's next ask, such as "then decide"; may be empty.
    `comes_first`: this is the first ask of the card in this sitting.
    """

    task: Task
    then: str = ""
    comes_first: bool = True

    takes_text: ClassVar[bool] = True
    """Whether the student can type text. On the screen, plain letters are then text and not keys."""

    help: ClassVar[tuple[str, ...]] = ()
    """What can be answered, and how it is written."""

    plain_help: ClassVar[tuple[str, ...]] = ()
    """What plain mode adds to this."""

    # While answering

    @property
    @abstractmethod
    def question(self) -> str:
        """What is asked now, in one or two short sentences."""

    @abstractmethod
    def react(self, message: Message) -> Reaction:
        """The answer after this message."""

    @property
    def prompt(self) -> str:
        """The words before the place where the student types."""
        return "Your answer: "

    @property
    def board(self) -> chess.Board:
        """A copy of the position that the student sees, with the moves that led to it."""
        return self.task.card.board.copy(stack=False)

    @property
    def marks(self) -> Marks:
        """What the answer marks on the board."""
        return NO_MARKS

    @property
    def man_in_hand(self) -> str | None:
        """The square of the man that the student has picked up."""
        return None

    @property
    def caption(self) -> str:
        """What plain mode says under the board."""
        return ""

    def layout(self) -> Layout:
        """What is drawn beside the board."""
        return Layout()

    def keys(self) -> tuple[Key, ...]:
        """Its keys, as the screen's last lines name them. If it takes text: only Enter, Tab and arrows."""
        return ()

    def keys_in_words(self) -> Row:
        """What its keys without a label do, in words for the screen's last lines."""
        return ()

    def completions(self, typed: str) -> list[Completion]:
        """Entries that begin with what has been typed. Each of them would be accepted."""
        return []

    def news(self, before: Answer | None) -> list[str]:
        """What plain mode says about a change of the answer. `before`: the earlier answer, None at first."""
        return [self.question] if before is None else []

    def commands(self) -> Mapping[str, MessageAt]:
        """Words that plain mode turns into messages."""
        return {}

    def looked_up(self, typed: str) -> list[str] | None:
        """What plain mode replies if the student asks which answers there are; None for other text."""
        return None

    def hints(self, keeping_secret: bool) -> list[Hint]:
        """Its hints, in order. `keeping_secret`: a later ask asks for the motif, so no hint may name it."""
        return about_the_motif(self.task, keeping_secret)

    # Handed in

    @abstractmethod
    def marked(self) -> Mark:
        """The result of the answer."""

    def worked(self) -> Mark | None:
        """The mark of the right answer, for a position shown worked; None if the card's line shows it all."""
        return None

    @abstractmethod
    def raw(self) -> Mapping[str, object] | Sequence[object]:
        """The answer as the log keeps it, for JSON."""

    @property
    def to_move(self) -> str:
        """Which side is to move, as a sentence."""
        return f"{side_name(self.board.turn)} to move."


@dataclass(frozen=True)
class Reaction:
    """An answer after a message, a notice for the student, and whether the answer is handed in now."""

    answer: Answer
    notice: str = ""
    handed_in: bool = False


@dataclass(frozen=True)
class Size:
    """How much work an answer is.

    `seconds`: the time we expect, with reading the result, until the student has a usual time. `parts`: how
    many entries the raw answer has, so that only answers of equal length make a usual time; None: it varies.
    """

    seconds: float
    parts: int | None = None


def _as_kept(card: Card, raw: Any) -> str:
    return json.dumps(raw)


def _no_mark(task: Task, raw: Any) -> Mark | None:
    return None


def _lacks_nothing(card: Card, tags: Mapping[str, str]) -> str:
    return ""


def _no_moves(card: Card) -> tuple[KeyMove, ...]:
    return ()


def _never(explanation: Explanation, whole: Verdict) -> bool:
    return False


def _no_key(whole: Verdict) -> Mapping[str, Verdict]:
    return {}


def _no_tags(card: Card) -> Mapping[str, str]:
    return {}


@dataclass(frozen=True)
class Ask:
    """What a card can ask.

    `id`: its name in decks and in the log. `title`: in small letters. `place`: a card's asks come in the
    order of their places. `begin`: makes the first answer, from the first three fields of `Answer`.
    `in_words`: puts an answer from the log (`Answer.raw`) into words. `mark_of_kept`: its mark by today's
    verdicts; None if they say nothing on it. `size`: the size of its answers; `whole_size`: the size if the
    student takes stock of every factor.

    `secrets`: what must stay hidden until the ask has been answered, today or another day. `announced`: how
    the question before it announces it. `frees_comments`: after its answer the coach's comments may be shown,
    even if the card has not asked for the motif yet. `by_motif`: its skill is learned for each motif apart.

    For decks: `is_default`: cards have this ask if their deck names no asks. `tags`: names of card tags that
    only this ask reads (`Card.own_tags`). `lacks`: takes the card and the text of all its tags, and says what
    the card lacks for this ask or what is wrong with its tags; "" if nothing. `moves_judged`: the key moves
    before which every legal move must have a verdict.

    For building: `asks_of_a_position`: whether a position alone is enough for it. `asks_of_a_square`: whether
    it is about one square, for which the position is chosen (`decks.build.count_squares`). `suggested`:
    whether it suits a position, given the program's explanation and the engine's verdict. `built_key`: what
    the engine's verdict adds to the card's factors. `built_tags`: its own tags that a built card gets.
    """

    id: str
    title: str
    place: int
    begin: Callable[[Task, str, bool], Answer]
    size: Size
    whole_size: Size | None = None
    in_words: Callable[[Card, Any], str] = _as_kept
    mark_of_kept: Callable[[Task, Any], Mark | None] = _no_mark
    secrets: frozenset[Secret] = frozenset()
    announced: str = ""
    frees_comments: bool = False
    by_motif: bool = False
    is_default: bool = False
    tags: tuple[str, ...] = ()
    lacks: Callable[[Card, Mapping[str, str]], str] = _lacks_nothing
    moves_judged: Callable[[Card], tuple[KeyMove, ...]] = _no_moves
    asks_of_a_position: bool = False
    asks_of_a_square: bool = False
    has_own_positions: bool = False
    suggested: Callable[[Explanation, Verdict], bool] = _never
    built_key: Callable[[Verdict], Mapping[str, Verdict]] = _no_key
    built_tags: Callable[[Card], Mapping[str, str]] = _no_tags

    def size_of(self, whole_ballot: bool) -> Size:
        """The size of its answers; `whole_ballot`: as in `Task`."""
        return self.whole_size if whole_ballot and self.whole_size else self.size
