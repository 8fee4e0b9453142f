"""`root`: which move of a line was the mistake that let the other side in, and which factor it hurt."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import chess

from decks.asks.ask import Answer, Ask, Mark, Reaction, Size
from decks.tasks.card import Card
from decks.tasks.layout import BLANK, Completion, Key, Layout, MessageAt, Piece, Row
from decks.tasks.lines import board_after, move_at, place_in_line
from decks.tasks.messages import Enter, Message, StepInLine, Submit
from decks.tasks.scoresheet import STEP_KEYS, STEPPER, drawn, entries, spoken, step
from decks.tasks.scoring import above_chance
from decks.tasks.task import Task
from patterns.reading.text import safe
from patterns.words.verdicts import FACTORS, NEVER_A_CAUSE, row_title

FACTOR_TAG = "Hurt"
"""The card tag with the factor that the mistake hurt. Without it only the move is asked."""

CHOICES = tuple(factor for factor in FACTORS if factor not in NEVER_A_CAUSE)
"""The factors to choose from."""

_MOVE_NUMBER = re.compile(r"([0-9]{1,4})\s*(\.+)")


@dataclass(frozen=True)
class Choose(Message):
    """Choose the factor that the mistake hurt."""

    factor: str


@dataclass(frozen=True)
class RootMark(Mark):
    """The result: the ply of the mistake and the ply that the student named (1 is the line's first move), and
    the same for the factor; None if it was not asked."""

    root: int
    answer: int
    hurt: str | None = None
    factor: str | None = None

    def reason(self, task: Task) -> str:
        board, line = task.card.board, task.card.line
        root, named = move_at(board, line, self.root), move_at(board, line, self.answer)
        move = f"{'' if self.root == self.answer else f'Not {named}: '}{root} was the mistake."
        if self.hurt is None or self.factor is None:
            return move
        wrong = "" if self.hurt == self.factor else f", not {row_title(self.factor)}"
        return f"{move} It hurt {row_title(self.hurt)}{wrong}."


def score_root(root: int, answer: int, plies: int, factor_right: bool | None = None) -> float:
    """Score an answer: the ply named, compared with the ply of the mistake; `plies`: how many there are.

    The same side's move just before or after the mistake (two plies away) earns half, any other move nothing.
    `factor_right`: whether the factor is right, which is half the score; None if only the move was asked.
    """
    credits = [1.0 if ply == root else 0.5 if abs(ply - root) == 2 else 0.0 for ply in range(plies)]
    raw, chance = credits[answer], sum(credits) / plies
    if factor_right is not None:
        raw, chance = (raw + factor_right) / 2, (chance + 1 / len(CHOICES)) / 2
    return above_chance(raw, chance)


@dataclass(frozen=True)
class RootAnswer(Answer):
    """`ply`: how many plies of the card's line are on the board. The last of them is the move named.

    `is_named`: whether it has been named, and the factor is asked now. `factor`: the one chosen.
    """

    ply: int = 0
    is_named: bool = False
    factor: str | None = None

    help = (
        "Write the move's number: 14. for White's move, 14... for Black's. Or step back to the move.",
        f"If the factor that it hurt is asked too, write one of: {', '.join(map(row_title, CHOICES))}.",
    )
    plain_help = ("Commands: back and forward (one move), and an empty line for the move you stand on.",)

    @property
    def board(self) -> chess.Board:
        return board_after(self.task.card.board, self.task.card.line[: self.ply])

    @property
    def caption(self) -> str:
        return place_in_line(self.task.card.board, self.task.card.line, self.ply)

    @property
    def question(self) -> str:
        if self.is_named:
            return (
                f"{move_at(self.task.card.board, self.task.card.line, self.ply)}: which factor did it hurt?"
            )
        return "Something went wrong on this sheet. Which move was the mistake?"

    @property
    def prompt(self) -> str:
        return "Factor: " if self.is_named else "Move number: "

    def react(self, message: Message) -> Reaction:
        match message:
            case StepInLine(by=by):
                ply = max(1, min(len(self.task.card.line), self.ply + by))
                return Reaction(replace(self, ply=ply, is_named=False))
            case Choose(factor=factor) if self.is_named:
                return Reaction(replace(self, factor=factor))
            case Submit() | Enter(text="") if self.is_named:
                return Reaction(self, "" if self.factor else "Choose a factor first.", bool(self.factor))
            case Submit() | Enter(text=""):
                return self._named()
            case Enter(text=text):
                return self._factor_entered(text) if self.is_named else self._entered(text)
        return Reaction(self)

    def _named(self) -> Reaction:
        """The move that is on the board is named."""
        if FACTOR_TAG in self.task.card.own_tags:
            return Reaction(replace(self, is_named=True))
        return Reaction(self, handed_in=True)

    def _factor_entered(self, text: str) -> Reaction:
        fitting = _fitting(text)
        if len(fitting) == 1:
            return Reaction(replace(self, factor=fitting[0]), handed_in=True)
        return Reaction(
            self, f"'{safe(text, 20)}' is not one of: {', '.join(map(row_title, fitting or CHOICES))}."
        )

    def _entered(self, text: str) -> Reaction:
        """Reads the number of a move of the line: `14.` for White's, `14...` for Black's."""
        board = self.task.card.board
        typed = _MOVE_NUMBER.match(text.strip())
        if typed is None:
            return Reaction(self, f"'{safe(text, 20)}' is not a move number: write 14. or 14...")
        number, black = int(typed[1]), typed[2].startswith("...")
        ply = 2 * (number - board.fullmove_number) + black - (board.turn == chess.BLACK) + 1
        if not 1 <= ply <= len(self.task.card.line):
            return Reaction(self, f"{safe(text, 20)} is not on this sheet.")
        return replace(self, ply=ply)._named()

    def layout(self) -> Layout:
        rows = entries(self.task.card.board, self.task.card.line)
        choice: list[Row] = [BLANK] if self.is_named else []
        for factor in CHOICES if self.is_named else ():
            chosen = factor == self.factor
            text = f"[{'x' if chosen else ' '}] {row_title(factor)}"
            choice.append((Piece(text, "class:chosen" if chosen else "", _choose(factor)),))
        return Layout((BLANK, *drawn(rows, self.ply), BLANK, (Piece(self.caption), *STEPPER), *choice))

    def keys(self) -> tuple[Key, ...]:
        return (*STEP_KEYS, Key("enter", "Enter", "hand in" if self.is_named else "this move", Submit))

    def completions(self, typed: str) -> list[Completion]:
        return [
            Completion(title, title) for title in map(row_title, _fitting(typed) if self.is_named else ())
        ]

    def news(self, before: Answer | None) -> list[str]:
        if before is not None:
            was_named = isinstance(before, RootAnswer) and before.is_named
            return [self.question, self.help[1]] if self.is_named and not was_named else []
        return [*spoken(entries(self.task.card.board, self.task.card.line)), self.question]

    def commands(self) -> Mapping[str, MessageAt]:
        return {"forward": step(1), "back": step(-1)}

    def worked(self) -> RootMark:
        hurt = self.task.card.own_tags.get(FACTOR_TAG)
        return replace(self, ply=self.task.card.root or 0, factor=hurt).marked()

    def marked(self) -> RootMark:
        root, plies = self.task.card.root or 0, len(self.task.card.line)
        hurt = self.task.card.own_tags.get(FACTOR_TAG)
        factor_right = None if hurt is None else hurt == self.factor
        score = score_root(root - 1, self.ply - 1, plies, factor_right)
        return RootMark(score, root, self.ply, hurt, self.factor)

    def raw(self) -> dict[str, int | str]:
        return {"ply": self.ply} if self.factor is None else {"ply": self.ply, "factor": self.factor}


def _begin(task: Task, then: str, comes_first: bool) -> RootAnswer:
    """The answer starts at the end of the line, where one can see what went wrong."""
    return RootAnswer(task, then, comes_first, ply=len(task.card.line))


def _fitting(text: str) -> list[str]:
    """The factors that begin so, by id or title."""
    typed = " ".join(text.lower().replace("-", " ").split())
    return [factor for factor in CHOICES if row_title(factor).startswith(typed)]


def _choose(factor: str) -> MessageAt:
    return lambda at: Choose(at, factor)


def _in_words(card: Card, raw: Mapping[str, Any]) -> str:
    move = move_at(card.board, card.line, raw["ply"])
    return f"{move}, {row_title(raw['factor'])}" if "factor" in raw else move


def _lacks(card: Card, tags: Mapping[str, str]) -> str:
    if "Root" not in tags:
        return "no Root tag names the move"
    if tags.get(FACTOR_TAG, CHOICES[0]) not in CHOICES:
        return f"its Hurt tag {tags[FACTOR_TAG]!r} is not one of {', '.join(CHOICES)}"
    return "its line has no other move to choose" if len(card.line) == 1 else ""


ASK = Ask(
    id="root",
    title="root",
    place=40,
    begin=_begin,
    in_words=_in_words,
    size=Size(seconds=60),  # a minute to look back through a game; our guess
    frees_comments=True,
    tags=(FACTOR_TAG,),
    lacks=_lacks,
)
