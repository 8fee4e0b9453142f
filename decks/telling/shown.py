"""What a session shows, in words and marks, both on the screen and in plain mode. Pure."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

import chess

from decks.asks.catalogue import ASKS
from decks.review.session import State
from decks.tasks.evidence import NO_MARKS, Marks, evidence_marks
from decks.tasks.lines import place_in_line
from decks.tasks.task import Task

PACE_TRUST = 120.0
"""After this much expected time, in seconds, the session's own pace weighs as much as the usual one."""


@dataclass(frozen=True)
class BoardView:
    """A board to draw, with marks. `picked`: the square of a man picked up."""

    board: chess.Board
    white_below: bool
    marks: Marks = NO_MARKS
    picked: str | None = None


def board_view(state: State) -> BoardView | None:
    """The board to draw; None at the end. Evidence is marked only in its own position."""
    board, attempt = state.board, state.attempt
    if board is None or attempt is None:
        return None
    white_below = attempt.task.card.board.turn ^ state.turned
    if state.phase == "shown":
        return BoardView(board, white_below, _result_marks(state))
    marks = attempt.answer.marks
    if not board.move_stack:
        for hint in attempt.hints:
            marks |= hint.marks
    return BoardView(board, white_below, marks, attempt.answer.man_in_hand)


def _result_marks(state: State) -> Marks:
    """The squares of the row whose reasons are shown, else of the whole card, in its position."""
    attempt = state.attempt
    assert attempt is not None
    for row in attempt.marked_rows:
        if row.name == state.row:
            return row.marks(attempt.task, attempt.keeps_secret)
    if state.ply:
        return NO_MARKS
    marks = NO_MARKS if attempt.keeps_secret else evidence_marks(attempt.task)
    for mark in attempt.marks:
        marks |= mark.marks(attempt.task)
    return marks


def progress(state: State) -> str:
    """`4 of 17, about 9 min left`."""
    left = minutes_left(state)
    time = "less than a minute left" if left < 1 else f"about {left:.0f} min left"
    return f"{state.place + 1} of {len(state.tasks)}, {time}"


def minutes_left(state: State) -> float:
    """Minutes to the end of the session, from the usual times and, more and more, the session's own pace."""
    done = sum(_expected_seconds(attempt.task) for attempt in state.done)
    until_this_card = state.now if state.phase == "shown" else state.sat
    pace = (until_this_card - state.started + PACE_TRUST) / (done + PACE_TRUST)
    seconds = pace * sum(map(_expected_seconds, state.tasks[state.place + 1 :]))
    if state.phase != "shown":
        this_card = pace * _expected_seconds(state.tasks[state.place])
        seconds += max(0.0, this_card - (state.now - state.sat))
    if state.minutes is not None:
        seconds = min(seconds, 60 * state.minutes - (state.now - state.started))
    return max(0.0, seconds / 60)


def _expected_seconds(task: Task) -> float:
    return sum(task.usual_seconds.get(ask, ASKS[ask].size_of(task.whole_ballot).seconds) for ask in task.asks)


def where_in_line(state: State) -> str:
    """What plain mode says under the board: the move of the line that was just played."""
    if state.attempt is None:
        return ""
    if state.phase == "answering":
        return state.attempt.answer.caption
    is_bare = state.attempt.task.worked and not state.ply
    if state.phase != "shown" or not state.lines or is_bare:
        return ""
    return place_in_line(state.attempt.task.card.board, state.lines[state.line].moves, state.ply)


def when(day: date, today: date) -> str:
    """A later day, as words and as a date: `tomorrow (2031-05-03)`, `in 3 days (2031-05-05)`."""
    days = (day - today).days
    words = "tomorrow" if days == 1 else f"in {days} days"
    return f"{words} ({day.isoformat()})"


def rounded_minutes(seconds: float) -> str:
    """`under a minute`, `1 minute`, `7 minutes`."""
    minutes = math.floor(seconds / 60 + 0.5)
    return "under a minute" if minutes < 1 else "1 minute" if minutes == 1 else f"{minutes} minutes"
