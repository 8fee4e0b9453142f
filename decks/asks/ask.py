"""What an ask declares: all that session, screen, plain mode, log, queue, check and build need of it."""

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
from decks.tasks.layout import Completion, Key, Layout, Piece, Row, Say
from decks.tasks.lines import ShownLine
from decks.tasks.messages import Message
from decks.tasks.task import Task
from patterns.words.verdicts import Verdict
from patterns.words.wording import side_name

if TYPE_CHECKING:
    from patterns.explanation import Explanation

Secret = Literal["motif", "line"]
"""What of a card may not be told before it was asked for: which motif it has and where, or its line."""


class MarkedRow(ABC):
    """One row of a marked answer, which can be looked into."""

    @property
    @abstractmethod
    def name(self) -> str:
        """What names it; no other row of the card's answers may be called so."""

    @abstractmethod
    def in_words(self) -> str:
        """What was answered, whether it is right, and the key, as a sentence without its full stop."""

    @abstractmethod
    def reasons(self, task: Task, keeping_secret: bool) -> list[str]:
        """Why the key is what it is, a sentence each. `keeping_secret`: the motif may not be told."""

    def marks(self, task: Task, keeping_secret: bool) -> Marks:
        """What these reasons rest on, on the card's position."""
        return NO_MARKS

    def drawn(self, chosen: bool) -> Row:
        """The row on the screen; `chosen`: it is the one looked into. A click on any of it looks into it."""
        return (Piece(f"{'>' if chosen else ' '}{self.in_words()}", "class:row" if chosen else ""),)


@dataclass(frozen=True)
class Mark(ABC):
    """What an answer earned: a score from 0 to 1, chance taken out, and what is told of it afterwards."""

    score: float

    @abstractmethod
    def reason(self, task: Task) -> str:
        """One sentence that says why the score is what it is."""

    def lines(self, task: Task) -> tuple[ShownLine, ...]:
        """What this answer gives to play through, besides the card's own line."""
        return ()

    def marks(self, task: Task) -> Marks:
        """What this answer was about, on the card's position, besides what the card's motifs rest on."""
        return NO_MARKS

    def rows_to_look_into(self) -> tuple[MarkedRow, ...]:
        """The rows of the answer, where it has any."""
        return ()

    def rows_title(self) -> str:
        """A heading for these rows, where they are read out."""
        return "Your answer, row by row"

    def rows_legend(self) -> str:
        """What the marks in the rows mean, where they are drawn; empty if they need no legend."""
        return ""

    def rows_note(self, task: Task) -> str:
        """What more there is to say under these rows; empty if there is nothing."""
        return ""


@dataclass(frozen=True)
class Answer(ABC):
    """An answer in hand, a frozen value: what the student gave so far, and how messages change it.

    `then`: how the question announces what is asked of the card next, such as "then decide"; may be empty.
    `comes_first`: nothing was asked of the card before, in this sitting.
    """

    task: Task
    then: str = ""
    comes_first: bool = True

    takes_text: ClassVar[bool] = True
    """Whether there is a line to type on; on the screen, plain letters are then text and not keys."""

    help: ClassVar[tuple[str, ...]] = ()
    """What can be answered, and how it is written."""

    plain_help: ClassVar[tuple[str, ...]] = ()
    """What plain mode has to say besides."""

    # While answering

    @property
    @abstractmethod
    def question(self) -> str:
        """What is asked now, in one or two short sentences."""

    @abstractmethod
    def heard(self, message: Message) -> Heard:
        """What a message makes of the answer."""

    @property
    def prompt(self) -> str:
        """What stands before the line to type on."""
        return "Your answer: "

    @property
    def board(self) -> chess.Board:
        """The position in front of the student, with the moves that led to it; a copy."""
        return self.task.card.board.copy(stack=False)

    @property
    def marks(self) -> Marks:
        """What the answer marks on the board."""
        return NO_MARKS

    @property
    def man_in_hand(self) -> str | None:
        """The square of a man picked up."""
        return None

    @property
    def caption(self) -> str:
        """What plain mode says under the board."""
        return ""

    def layout(self) -> Layout:
        """What stands beside the board."""
        return Layout()

    def keys(self) -> tuple[Key, ...]:
        """Its keys, as the screen's last line names them; where text is taken, only Enter, Tab and arrows."""
        return ()

    def keys_in_words(self) -> Row:
        """What its keys without a label do, at the end of the screen's last line."""
        return ()

    def completions(self, typed: str) -> list[Completion]:
        """The ways to go on with what is being typed: only what would be accepted."""
        return []

    def news(self, before: Answer | None) -> list[str]:
        """What plain mode says now that the answer stands so; it stood as `before`, None: it just began."""
        return [self.question] if before is None else []

    def commands(self) -> Mapping[str, Say]:
        """Words that plain mode takes as messages."""
        return {}

    def looked_up(self, typed: str) -> list[str] | None:
        """What plain mode says to a question about what can be answered; None if it is none."""
        return None

    def hints(self, keeping_secret: bool) -> list[Hint]:
        """Its hints, in order. `keeping_secret`: another ask is still to ask for the motif."""
        return about_the_motif(self.task, keeping_secret)

    # Handed in

    @abstractmethod
    def marked(self) -> Mark:
        """What the answer earns."""

    @abstractmethod
    def raw(self) -> Mapping[str, object] | Sequence[object]:
        """The answer as the log keeps it, for JSON."""

    @property
    def to_move(self) -> str:
        """Who is to move, as a sentence."""
        return f"{side_name(self.board.turn)} to move."


@dataclass(frozen=True)
class Heard:
    """What a message made of an answer: a notice for the student, and whether it is handed in now."""

    answer: Answer
    notice: str = ""
    handed_in: bool = False


@dataclass(frozen=True)
class Size:
    """How much an answer asks for.

    `seconds`: time it is taken to need, with reading its result, until the student has a usual time. `parts`:
    how many entries its raw answer has, so that usual times compare like with like; None: that varies.
    """

    seconds: float
    parts: int | None = None


def _as_kept(card: Card, raw: Any) -> str:
    return json.dumps(raw)


def _lacks_nothing(card: Card, tags: Mapping[str, str]) -> str:
    return ""


def _no_moves(card: Card) -> tuple[KeyMove, ...]:
    return ()


def _never(explanation: Explanation, whole: Verdict) -> bool:
    return False


def _no_key(whole: Verdict) -> Mapping[str, Verdict]:
    return {}


@dataclass(frozen=True)
class Ask:
    """What a card can ask.

    `id`: in decks and in the log. `title`: in small letters. `place`: asks of one card come in the order of
    their places. `begin`: the answer in hand when it appears, from the first three fields of an `Answer`.
    `in_words`: an answer as the log keeps it (`Answer.raw`), for a reader who knows the card.
    `size`: of its answers, `whole_size`: where the student takes stock of everything.

    `secrets`: what may not be told while it is to come, now or another day. `announced`: how the question
    before it announces it. `frees_comments`: once it is answered the coach's words may be told, even if the
    motif is still to be asked for.

    For decks: `is_default`: asked of the cards of a deck that says nothing of asks. `tags`: names of card
    tags that it alone reads (`Card.own_tags`). `lacks`: what a card lacks to carry it, or what is wrong with
    its tags, "" if nothing, from the card and the text of all its tags. `moves_judged`: the key moves in
    positions of which every legal move must have a verdict.

    For building: `asks_of_a_position`: whether it can be asked of a position alone. `suggested`: whether it
    suits a position, of which the program's own view and the engine's verdict are given. `built_key`: what
    the engine's verdict adds to the card's factors.
    """

    id: str
    title: str
    place: int
    begin: Callable[[Task, str, bool], Answer]
    size: Size
    whole_size: Size | None = None
    in_words: Callable[[Card, Any], str] = _as_kept
    secrets: frozenset[Secret] = frozenset()
    announced: str = ""
    frees_comments: bool = False
    is_default: bool = False
    tags: tuple[str, ...] = ()
    lacks: Callable[[Card, Mapping[str, str]], str] = _lacks_nothing
    moves_judged: Callable[[Card], tuple[KeyMove, ...]] = _no_moves
    asks_of_a_position: bool = False
    suggested: Callable[[Explanation, Verdict], bool] = _never
    built_key: Callable[[Verdict], Mapping[str, Verdict]] = _no_key

    def size_of(self, whole_ballot: bool) -> Size:
        """The size of its answers; `whole_ballot` as in a task."""
        return self.whole_size if whole_ballot and self.whole_size else self.size
