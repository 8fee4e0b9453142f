"""A session: today's cards one after another, as a pure state machine.

`update` takes a state and a message and gives the next state and the effects to carry out. No clock, no
terminal, no storage: messages carry the time in seconds, from any fixed start. An answer is committed before
anything about it is shown, and a card is not left, nor its result shown, before every answer is saved.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import chess

from decks.cards.card import Ask, Grade
from decks.memory.answers import RIGHT_GRADES
from decks.memory.model import Memory
from decks.review import attempt as attempts
from decks.review.attempt import Attempt, Given
from decks.review.entry import EntryError, read_move, read_spot
from decks.review.grading import cells_of
from decks.review.hints import next_hint
from decks.review.messages import (
    ChooseRow,
    Click,
    Contest,
    Effect,
    Enter,
    Flip,
    Message,
    MoveRow,
    Name,
    Next,
    OtherLine,
    Promote,
    Quit,
    SaveAnswer,
    SaveContest,
    Saved,
    SaveFailed,
    SetCell,
    Step,
    Stop,
    Submit,
    TakeHint,
    Tick,
)
from decks.review.playback import ShownLine, lines_to_show
from decks.review.task import Task
from patterns.reading.text import safe
from patterns.words.verdicts import row_title

_MOVE_NUMBER = re.compile(r"([0-9]{1,4})\s*(\.+)")

Phase = Literal["answering", "saving", "shown", "closing", "ended"]


@dataclass(frozen=True)
class State:
    """A session between two messages.

    `place`: index of the current task. `minutes`: asked for, None for all cards. `started`, `now`: seconds,
    and `sat`: when the current card appeared.
    `done`: cards answered, the last one still shown in phase `shown`. `lines`: what can be played through,
    `line` and `ply` where it stands. `row`: the row of a marked ballot that is looked into, "" for none.
    `notice`: about the last message, for the student.
    """

    tasks: tuple[Task, ...]
    attempt: Attempt | None
    phase: Phase
    minutes: float | None
    started: float
    now: float
    sat: float
    place: int = 0
    done: tuple[Attempt, ...] = ()
    lines: tuple[ShownLine, ...] = ()
    line: int = 0
    ply: int = 0
    row: str = ""
    flipped: bool = False
    notice: str = ""
    failure: str = ""
    contesting: Ask | None = None

    @property
    def board(self) -> chess.Board | None:
        """The position to show; None at the end."""
        if self.attempt is None:
            return None
        if self.phase == "shown" and self.lines:
            return attempts.board_after(self.attempt.task.card.board, self.lines[self.line].moves[: self.ply])
        if self.phase == "shown":
            return self.attempt.task.card.board.copy(stack=False)
        return self.attempt.board

    @property
    def time_is_up(self) -> bool:
        """Whether the minutes asked for are over; the card in hand is still finished."""
        return self.minutes is not None and self.now - self.started >= 60 * self.minutes


def start(tasks: Sequence[Task], minutes: float | None = None, at: float = 0.0) -> State:
    """A session of these tasks; without any it is at its closing summary at once."""
    state = State(tuple(tasks), None, "closing", minutes, at, at, at)
    return _sit(state, 0) if tasks else state


def update(state: State, message: Message) -> tuple[State, tuple[Effect, ...]]:
    """The state after `message`, and the effects to carry out, in order."""
    state = replace(state, now=max(state.now, message.at))
    if isinstance(message, Tick):
        return state, ()
    if state.phase == "saving":
        return _after_saving(state, message)
    state = replace(state, notice="")
    match state.phase, message:
        case _, Flip():
            return replace(state, flipped=not state.flipped), ()
        case "ended", _:
            return state, ()
        case "closing", Stop() | Next() | Submit():
            return replace(state, phase="ended"), (Quit(),)
        case _, Stop():
            return _stop(state)
        case "answering", _:
            return _answering(state, message)
        case "shown", _:
            return _shown(state, message)
    return state, ()


def _sit(state: State, place: int) -> State:
    attempt = attempts.begin(state.tasks[place], state.now)
    return replace(
        state,
        place=place,
        attempt=attempt,
        sat=state.now,
        phase="answering",
        lines=(),
        line=0,
        ply=0,
        row="",
        flipped=False,
    )


def _stop(state: State) -> tuple[State, tuple[Effect, ...]]:
    if not state.done and not (state.attempt and state.attempt.given):
        return replace(state, phase="ended", attempt=None), (Quit(),)
    if state.phase == "answering" and state.attempt and state.attempt.given:
        state = replace(state, done=(*state.done, state.attempt))
    return replace(state, phase="closing", attempt=None), ()


def _answering(state: State, message: Message) -> tuple[State, tuple[Effect, ...]]:
    attempt = state.attempt
    assert attempt is not None
    match attempt.ask, message:
        case _, TakeHint():
            return _hinted(state, attempt), ()
        case "assess", SetCell(row=row, cell=cell, advance=advance):
            return replace(state, attempt=_with_cell(attempt, row, cell, advance)), ()
        case "assess", MoveRow(by=by):
            row_index = max(0, min(len(attempt.task.rows) - 1, attempt.row + by))
            return replace(state, attempt=replace(attempt, row=row_index)), ()
        case "assess", Submit() | Enter(text=""):
            if blank := attempt.blank_rows:
                words = ", ".join(row_title(row) for row in blank)
                return replace(state, notice=f"Still to mark: {words}."), ()
            return _submit(state, attempt)
        case "play", Enter(text=text):
            return _entered_move(state, attempt, text)
        case "play", Click(square=square):
            return _clicked(state, attempt, square)
        case "play", Promote(letter=letter):
            move = next((move for move in attempt.promotions if move.endswith(letter.lower())), None)
            return _moved(state, attempt, move) if move else (state, ())
        case "spot", Click(square=square):
            return replace(state, attempt=replace(attempt, pointed=attempt.pointed ^ {square})), ()
        case "spot", Name(motif=motif):
            return replace(state, attempt=replace(attempt, named=attempt.named ^ {motif})), ()
        case "spot", Submit() | Enter(text=""):
            if not attempt.named:
                return replace(state, notice="Name a motif first."), ()
            return _submit(state, attempt)
        case "spot", Enter(text=text):
            return _entered_spot(state, attempt, text), ()
        case "root", Step(by=by):
            ply = max(1, min(len(attempt.task.card.line), attempt.ply + by))
            return replace(state, attempt=replace(attempt, ply=ply)), ()
        case "root", Submit() | Enter(text=""):
            return _submit(state, attempt)
        case "root", Enter(text=text):
            return _entered_root(state, attempt, text)
    return state, ()


def _hinted(state: State, attempt: Attempt) -> State:
    assert attempt.ask is not None
    hint = next_hint(attempt.task, attempt.ask, attempt.board, attempt.hints, attempt.keeps_secret)
    if hint is None:
        return replace(state, notice="There is no further hint.")
    return replace(state, attempt=replace(attempt, hints=(*attempt.hints, hint)))


def _with_cell(attempt: Attempt, row: str, cell: int, advance: bool) -> Attempt:
    rows = attempt.task.rows
    if row not in rows or cell not in cells_of(row):
        return attempt
    attempt = replace(attempt, ballot={**attempt.ballot, row: cell}, row=rows.index(row))
    if advance and (blank := attempt.blank_rows):
        below = [other for other in blank if rows.index(other) > attempt.row]
        attempt = replace(attempt, row=rows.index((below or blank)[0]))
    return attempt


def _entered_move(state: State, attempt: Attempt, text: str) -> tuple[State, tuple[Effect, ...]]:
    if not text.strip():
        return state, ()
    if attempt.promotions and text.strip().lower() in chess.PIECE_SYMBOLS[2:6]:
        return _answering(state, Promote(state.now, text.strip()))
    try:
        move = read_move(attempt.board, text)
    except EntryError as error:
        return replace(state, notice=str(error)), ()
    return _moved(state, attempt, move.uci())


def _clicked(state: State, attempt: Attempt, square: str) -> tuple[State, tuple[Effect, ...]]:
    """First click picks up a man, the second sets it down; another own man changes the choice."""
    board, clicked = attempt.board, chess.parse_square(square)
    if attempt.picked is not None and attempt.picked != square:
        fitting = [move.uci() for move in board.legal_moves if move.uci()[:4] == attempt.picked + square]
        if len(fitting) == 1:
            return _moved(state, attempt, fitting[0])
        if fitting:
            return replace(state, attempt=replace(attempt, promotions=tuple(fitting))), ()
    if board.color_at(clicked) == board.turn and square != attempt.picked:
        return replace(state, attempt=replace(attempt, picked=square, promotions=())), ()
    notice = ""
    if attempt.picked is not None and square != attempt.picked:
        try:
            read_move(board, attempt.picked + square)
        except EntryError as error:
            notice = str(error)
    return replace(state, notice=notice, attempt=replace(attempt, picked=None, promotions=())), ()


def _moved(state: State, attempt: Attempt, move: str) -> tuple[State, tuple[Effect, ...]]:
    attempt, over = attempts.with_move(attempt, move)
    return _submit(state, attempt) if over else (replace(state, attempt=attempt), ())


def _entered_spot(state: State, attempt: Attempt, text: str) -> State:
    """Motifs by id or title, and squares: each is added to the answer, or taken back if it stands there."""
    from patterns.catalogue import MOTIFS

    titles = {motif.id: motif.title for motif in MOTIFS.values()}
    try:
        motifs, squares = read_spot(titles, text)
    except EntryError as error:
        return replace(state, notice=str(error))
    named, pointed = attempt.named ^ frozenset(motifs), attempt.pointed ^ frozenset(squares)
    return replace(state, attempt=replace(attempt, named=named, pointed=pointed))


def _entered_root(state: State, attempt: Attempt, text: str) -> tuple[State, tuple[Effect, ...]]:
    """A move of the line as the scoresheet numbers it: `14.` White's, `14...` Black's."""
    board = attempt.task.card.board
    typed = _MOVE_NUMBER.match(text.strip())
    if typed is None:
        return replace(state, notice=f"'{safe(text, 20)}' is not a move number: write 14. or 14..."), ()
    number, black = int(typed[1]), typed[2].startswith("...")
    ply = 2 * (number - board.fullmove_number) + black - (board.turn == chess.BLACK) + 1
    if not 1 <= ply <= len(attempt.task.card.line):
        return replace(state, notice=f"{safe(text, 20)} is not on this sheet."), ()
    return _submit(state, replace(attempt, ply=ply))


def _submit(state: State, attempt: Attempt) -> tuple[State, tuple[Effect, ...]]:
    attempt = attempts.answered(attempt, state.now)
    saving = replace(state, attempt=attempt, phase="saving", contesting=None)
    return saving, (SaveAnswer(attempt.task, attempt.given[-1]),)


def _after_saving(state: State, message: Message) -> tuple[State, tuple[Effect, ...]]:
    """Only the outcome of the effect counts here: everything else would run ahead of what is kept."""
    assert state.attempt is not None
    if isinstance(message, SaveFailed):
        return replace(state, phase="ended", failure=message.reason), (Quit(message.reason),)
    if not isinstance(message, Saved):
        return state, ()
    if state.contesting is not None:
        attempt = _corrected(state.attempt, state.contesting, message.memory)
        notice = "Noted: your coach will see it."
        return replace(_with_last(state, attempt), phase="shown", contesting=None, notice=notice), ()
    attempt = attempts.saved(state.attempt, message.memory, state.now)
    if attempt.ask is not None:
        return replace(state, attempt=attempt, phase="answering"), ()
    shown = replace(state, attempt=attempt, phase="shown", done=(*state.done, attempt))
    return replace(shown, lines=lines_to_show(attempt), line=0, ply=0), ()


def _corrected(attempt: Attempt, ask: Ask, memory: Memory) -> Attempt:
    def corrected(given: Given) -> Given:
        return replace(given, contested=True, memory=memory) if given.ask == ask else given

    return replace(attempt, given=tuple(map(corrected, attempt.given)))


def _with_last(state: State, attempt: Attempt) -> State:
    return replace(state, attempt=attempt, done=(*state.done[:-1], attempt))


def _shown(state: State, message: Message) -> tuple[State, tuple[Effect, ...]]:
    match message:
        case Next() | Submit() | Enter(text=""):
            last = state.place + 1 == len(state.tasks) or state.time_is_up
            return (
                replace(state, phase="closing", attempt=None) if last else _sit(state, state.place + 1)
            ), ()
        case Step(by=by) if state.lines:
            ply = max(0, min(len(state.lines[state.line].moves), state.ply + by))
            return replace(state, ply=ply, row=""), ()
        case OtherLine() if state.lines:
            return replace(state, line=(state.line + 1) % len(state.lines), ply=0, row=""), ()
        case MoveRow(by=by):
            rows = ("", *_rows_to_look_into(state))
            place = max(0, min(len(rows) - 1, rows.index(state.row) + by))
            return replace(state, row=rows[place], ply=0), ()
        case ChooseRow(row=row) if row in ("", *_rows_to_look_into(state)):
            return replace(state, row=row, ply=0), ()
        case Contest():
            return _contest(state)
    return state, ()


def _rows_to_look_into(state: State) -> tuple[str, ...]:
    return tuple(mark.row for mark in state.attempt.marked_rows) if state.attempt else ()


def _contest(state: State) -> tuple[State, tuple[Effect, ...]]:
    """Asks for the grade the answer would have had if right: `found`, or `helped` after a hint."""
    assert state.attempt is not None
    open_to_it = [
        (given, wanted)
        for given in state.attempt.given
        if not given.contested and given.grade not in (*RIGHT_GRADES, wanted := contested_grade(given))
    ]
    if not open_to_it:
        return replace(state, notice="There is no grade to contest."), ()
    given, wanted = min(open_to_it, key=lambda pair: pair[0].score)
    saving = replace(state, phase="saving", contesting=given.ask)
    return saving, (SaveContest(state.attempt.task, given, wanted),)


def contested_grade(given: Given) -> Grade:
    """The grade a student claims when contesting one."""
    return "helped" if given.hints else "found"
