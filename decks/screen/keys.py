"""What can be done at each step: the keys, their words on the last line, and the same by click."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

from decks.review import messages as m
from decks.review.grading import cells_of
from decks.review.session import State
from decks.telling.shown import CELLS

Stage = Literal["assess", "play", "spot", "root", "shown", "closing"]

Say = Callable[[float], m.Message]


@dataclass(frozen=True)
class Action:
    """A key and what it does.

    `key`: as the key reader names it. `label`, `words`: for the last line; an action without a label is
    left out there, because another names it.
    """

    key: str
    label: str
    words: str
    message: Say


def stage_of(state: State) -> Stage:
    """The step the student is at."""
    if state.phase in ("closing", "ended") or state.attempt is None:
        return "closing"
    return "shown" if state.phase == "shown" or state.attempt.ask is None else state.attempt.ask


TAKES_TEXT: tuple[Stage, ...] = ("play", "spot", "root")
"""Steps with an answer line; there, plain letters are text and not keys."""

_HINT = Action("?", "?", "hint", m.TakeHint)
_TURN = Action("c-t", "^T", "turn", m.Flip)
_STOP = Action("c-q", "^Q", "stop", m.Stop)
_BACK = Action("left", "", "", lambda at: m.Step(at, -1))
_FORWARD = Action("right", "arrows", "step", lambda at: m.Step(at, 1))
_UP = Action("up", "", "", lambda at: m.MoveRow(at, -1))
_DOWN = Action("down", "", "", lambda at: m.MoveRow(at, 1))


def actions(state: State) -> tuple[Action, ...]:
    """The keys for this step only, in the order the last line names them."""
    match stage_of(state):
        case "assess":
            return (Action("enter", "Enter", "hand in", m.Submit), _HINT, _TURN, _STOP)
        case "play":
            return (_HINT, _TURN, _STOP)
        case "spot":
            return (Action("enter", "Enter", "hand in", m.Submit), _HINT, _TURN, _STOP)
        case "root":
            return (_BACK, _FORWARD, Action("enter", "Enter", "this move", m.Submit), _HINT, _TURN, _STOP)
        case "shown":
            other = (Action("tab", "Tab", "line", m.OtherLine),) if len(state.lines) > 1 else ()
            following = Action("enter", "Enter", "next", m.Next)
            contest = Action("c", "c", "contest", m.Contest)
            return (following, *_arrows(state), *other, contest, _TURN, _STOP)
        case "closing":
            return (Action("enter", "Enter", "leave", m.Next),)


def _arrows(state: State) -> tuple[Action, ...]:
    """Along the line, and down the marked ballot; one label for all four."""
    if state.attempt is None or not state.attempt.marked_rows:
        return (_BACK, _FORWARD) if state.lines else ()
    line = (_BACK, replace(_FORWARD, label="")) if state.lines else ()
    return (*line, _UP, replace(_DOWN, label="arrows", words="look"))


def ballot_key(state: State, key: str, at: float) -> m.Message | None:
    """A key on the ballot: a cell's letter marks the row in hand, arrows move between rows and cells.

    Decisive is the same letter once more: W on a verdict marked W makes it WW.
    """
    attempt = state.attempt
    assert attempt is not None
    row = attempt.task.rows[attempt.row]
    held, cells = attempt.ballot.get(row), cells_of(row)
    if key in ("up", "down"):
        return m.MoveRow(at, -1 if key == "up" else 1)
    if key in ("left", "right"):
        place = cells.index(held if held is not None else 0) + (
            0 if held is None else 1 if key == "right" else -1
        )
        return m.SetCell(at, row, cells[max(0, min(len(cells) - 1, place))], advance=False)
    signed = next((cell for cell, letters in CELLS.items() if letters == key), None)
    if signed is None:
        return None
    if row == "verdict" and held == signed and abs(signed) == 2:
        signed += 1 if signed > 0 else -1
    return m.SetCell(at, row, signed, advance=row != "verdict")
