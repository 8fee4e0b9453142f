"""`root`: which move of a line was the mistake that let the other side in."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace

import chess

from decks.asks.ask import Answer, Ask, Mark, Reaction, Size
from decks.tasks.card import Card
from decks.tasks.layout import BLANK, Key, Layout, MessageAt, Piece
from decks.tasks.lines import board_after, move_at, place_in_line
from decks.tasks.messages import Enter, Message, StepInLine, Submit
from decks.tasks.scoresheet import STEP_KEYS, STEPPER, drawn, entries, spoken, step
from decks.tasks.scoring import above_chance
from decks.tasks.task import Task
from patterns.reading.text import safe

_MOVE_NUMBER = re.compile(r"([0-9]{1,4})\s*(\.+)")


@dataclass(frozen=True)
class RootMark(Mark):
    """The result: the ply of the mistake and the ply that the student named (1 is the line's first move)."""

    root: int
    answer: int

    def reason(self, task: Task) -> str:
        board, line = task.card.board, task.card.line
        root, named = move_at(board, line, self.root), move_at(board, line, self.answer)
        return (
            f"{root} was the mistake."
            if self.root == self.answer
            else f"Not {named}: {root} was the mistake."
        )


def score_root(root: int, answer: int, plies: int) -> float:
    """Score an answer: the ply named, compared with the ply of the mistake; `plies`: how many there are.

    The same side's move just before or after the mistake (two plies away) earns half, any other move nothing.
    """
    credits = [1.0 if ply == root else 0.5 if abs(ply - root) == 2 else 0.0 for ply in range(plies)]
    return above_chance(credits[answer], sum(credits) / plies)


@dataclass(frozen=True)
class RootAnswer(Answer):
    """`ply`: how many plies of the card's line are on the board. The last of them is the move named."""

    ply: int = 0

    question = "Something went wrong on this sheet. Which move was the mistake?"
    prompt = "Move number: "
    help = ("Write the move's number: 14. for White's move, 14... for Black's. Or step back to the move.",)
    plain_help = ("Commands: back and forward (one move), and an empty line for the move you stand on.",)

    @property
    def board(self) -> chess.Board:
        return board_after(self.task.card.board, self.task.card.line[: self.ply])

    @property
    def caption(self) -> str:
        return place_in_line(self.task.card.board, self.task.card.line, self.ply)

    def react(self, message: Message) -> Reaction:
        match message:
            case StepInLine(by=by):
                return Reaction(replace(self, ply=max(1, min(len(self.task.card.line), self.ply + by))))
            case Submit() | Enter(text=""):
                return Reaction(self, handed_in=True)
            case Enter(text=text):
                return self._entered(text)
        return Reaction(self)

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
        return Reaction(replace(self, ply=ply), handed_in=True)

    def layout(self) -> Layout:
        rows = entries(self.task.card.board, self.task.card.line)
        return Layout((BLANK, *drawn(rows, self.ply), BLANK, (Piece(self.caption), *STEPPER)))

    def keys(self) -> tuple[Key, ...]:
        return (*STEP_KEYS, Key("enter", "Enter", "this move", Submit))

    def news(self, before: Answer | None) -> list[str]:
        if before is not None:
            return []
        return [*spoken(entries(self.task.card.board, self.task.card.line)), self.question]

    def commands(self) -> Mapping[str, MessageAt]:
        return {"forward": step(1), "back": step(-1)}

    def marked(self) -> RootMark:
        root, plies = self.task.card.root or 0, len(self.task.card.line)
        return RootMark(score_root(root - 1, self.ply - 1, plies), root, self.ply)

    def raw(self) -> dict[str, int]:
        return {"ply": self.ply}


def _begin(task: Task, then: str, comes_first: bool) -> RootAnswer:
    """The answer starts at the end of the line, where one can see what went wrong."""
    return RootAnswer(task, then, comes_first, ply=len(task.card.line))


def _in_words(card: Card, raw: Mapping[str, int]) -> str:
    return move_at(card.board, card.line, raw["ply"])


def _lacks(card: Card, tags: Mapping[str, str]) -> str:
    if "Root" not in tags:
        return "no Root tag names the move"
    return "its line has no other move to choose" if len(card.line) == 1 else ""


ASK = Ask(
    id="root",
    title="root",
    place=40,
    begin=_begin,
    in_words=_in_words,
    size=Size(seconds=60),  # a minute to look back through a game; our guess
    frees_comments=True,
    lacks=_lacks,
)
