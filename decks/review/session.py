"""A session: today's cards one after another, as a pure state machine.

`update` takes a state and a message, and returns the next state and the effects to carry out. It uses no
clock, no terminal and no storage: messages carry the time in seconds, from any fixed start. The student sees
the result of a card only after every answer has been saved.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Literal

import chess

from decks.memory.answers import RIGHT_GRADES
from decks.review import attempt as attempts
from decks.review.attempt import Attempt, Given, given_to
from decks.review.messages import (
    ChooseRow,
    Confirm,
    Contest,
    Decided,
    Effect,
    Enter,
    LookedAgain,
    Message,
    MoveRow,
    Next,
    OtherLine,
    Plan,
    Planned,
    Quit,
    SaveAnswer,
    SaveContest,
    Saved,
    SaveFailed,
    SaveShown,
    StepInLine,
    Stop,
    Submit,
    TakeHint,
    Tick,
    Turn,
    Withdraw,
)
from decks.review.playback import lines_to_show
from decks.review.second_look import decision, second_look
from decks.tasks.card import Grade
from decks.tasks.hints import next_hint
from decks.tasks.lines import ShownLine, board_after, numbered
from decks.tasks.task import Task
from patterns.reading.text import safe

COACH_DECIDES = "Contested. Your coach decides; until then the grade stays."
KEY_IN_DOUBT = "The engine doubts the card's own move. Your coach decides; until then the grade stays."
HINT_COSTS = "A hint makes the grade 'with help' at best. Ask again to take it."

Phase = Literal["answering", "saving", "shown", "closing", "ended"]


@dataclass(frozen=True)
class State:
    """A session between two messages.

    `tasks`: those that came, and those that follow as it looks now. `place`: index of the current task.
    `minutes`: how long the session may take, None for all cards. `started`, `now`: seconds; the closing page
    takes none. `sat`: when the current card appeared. `done`: answered cards and worked positions; in phase
    `shown` the last of them is still shown. `lines`: the lines to play through; `line`, `ply`: the place in
    them. `row`: the row of a marked answer whose reasons are shown, "" for none. `turned`: the other side is
    below. `notice`: a remark on the last message, for the student. `hint_offered`: the student has been told
    what a hint costs; asking again takes it. `contesting`: the ask whose grade the student is asked about, or
    whose contest is being saved. `used_up`: as in `Rest`. `student`, `scorebook`: the name and the file
    that commands need, empty if they need none.
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
    turned: bool = False
    notice: str = ""
    failure: str = ""
    contesting: str | None = None
    hint_offered: bool = False
    used_up: Mapping[str, date | None] = field(default_factory=dict)
    student: str = ""
    scorebook: str = ""

    @property
    def asks_to_confirm(self) -> bool:
        """Whether the student is being asked if they really contest a grade."""
        return self.phase == "shown" and self.contesting is not None

    @property
    def can_contest(self) -> bool:
        """Whether the card shown has a grade to contest."""
        return self.phase == "shown" and bool(self.attempt and _open_to_contest(self.attempt))

    @property
    def can_withdraw(self) -> bool:
        """Whether a grade of the card shown is contested."""
        return self.phase == "shown" and bool(self.attempt and self.attempt.contested)

    @property
    def board(self) -> chess.Board | None:
        """The position to show; None at the end."""
        if self.attempt is None:
            return None
        if self.phase == "shown" and self.lines:
            return board_after(self.attempt.task.card.board, self.lines[self.line].moves[: self.ply])
        if self.phase == "shown":
            return self.attempt.task.card.board.copy(stack=False)
        return self.attempt.board

    @property
    def time_is_up(self) -> bool:
        """Whether the minutes are over. The current card may still be finished."""
        return self.minutes is not None and self.now - self.started >= 60 * self.minutes


def start(
    tasks: Sequence[Task],
    minutes: float | None = None,
    at: float = 0.0,
    student: str = "",
    scorebook: str = "",
) -> State:
    """A session of these tasks. Without tasks it begins at its closing page.

    `student`, `scorebook`: as in its state.
    """
    state = State(tuple(tasks), None, "closing", minutes, at, at, at, student=student, scorebook=scorebook)
    return _begin_card(state, 0)[0] if tasks else state


def beginning(state: State) -> tuple[Effect, ...]:
    """The effects of the card that a session has just begun."""
    return _begin_card(state, state.place)[1] if state.tasks else ()


def update(state: State, message: Message) -> tuple[State, tuple[Effect, ...]]:
    """The state after `message`, and the effects to carry out, in order."""
    if state.phase != "closing":  # the closing page may stay open for long
        state = replace(state, now=max(state.now, message.at))
    if isinstance(message, Tick):
        return state, ()
    if isinstance(message, SaveFailed):
        return replace(state, phase="ended", failure=message.reason), (Quit(message.reason),)
    if isinstance(message, LookedAgain):
        return _looked_again(state, message)
    if isinstance(message, Decided):
        return _decided(state, message), ()
    if isinstance(message, Planned):
        tasks, used_up = message.rest
        return replace(state, tasks=(*state.tasks[: state.place + 1], *tasks), used_up=used_up), ()
    if state.phase == "saving":
        return _after_saving(state, message)
    if not isinstance(message, Turn):
        state = replace(state, notice="", hint_offered=state.hint_offered and isinstance(message, TakeHint))
    match state.phase, message:
        case _, Turn():
            return replace(state, turned=not state.turned), ()
        case "ended", _:
            return state, ()
        case "closing", Stop() | Next() | Submit():
            return replace(state, phase="ended"), (Quit(),)
        case _, Stop():
            return _stop(replace(state, contesting=None))
        case "shown", _ if state.asks_to_confirm:
            return _confirming(state, message)
        case "answering", _:
            return _answering(state, message)
        case "shown", _:
            return _shown(state, message)
    return state, ()


def _begin_card(state: State, place: int) -> tuple[State, tuple[Effect, ...]]:
    task = state.tasks[place]
    attempt = attempts.begin(task, state.now)
    state = replace(
        state,
        place=place,
        attempt=attempt,
        sat=state.now,
        phase="answering",
        lines=(),
        line=0,
        ply=0,
        row="",
        turned=False,
    )
    if not task.worked:
        return state, (SaveShown(task),)
    shown = replace(state, phase="shown", done=(*state.done, attempt), lines=lines_to_show(attempt))
    return shown, (SaveShown(task), Plan(attempt))


def _stop(state: State) -> tuple[State, tuple[Effect, ...]]:
    if not state.done and not (state.attempt and state.attempt.given):
        return replace(state, phase="ended", attempt=None), (Quit(),)
    if state.phase == "answering" and state.attempt and state.attempt.given:
        state = replace(state, done=(*state.done, state.attempt))
    return replace(state, phase="closing", attempt=None), ()


def _answering(state: State, message: Message) -> tuple[State, tuple[Effect, ...]]:
    attempt = state.attempt
    assert attempt is not None
    if isinstance(message, TakeHint):
        return _hinted(state, attempt), ()
    reaction = attempt.answer.react(message)
    attempt = replace(attempt, answer=reaction.answer)
    if reaction.handed_in:
        return _submit(state, attempt)
    return replace(state, attempt=attempt, notice=reaction.notice), ()


def _hinted(state: State, attempt: Attempt) -> State:
    hint = next_hint(attempt.answer.hints(attempt.keeps_secret), attempt.hints)
    if hint is None:
        return replace(state, notice="There is no further hint.")
    if not attempt.hints and not state.hint_offered:
        return replace(state, hint_offered=True, notice=HINT_COSTS)
    return replace(state, hint_offered=False, attempt=replace(attempt, hints=(*attempt.hints, hint)))


def _submit(state: State, attempt: Attempt) -> tuple[State, tuple[Effect, ...]]:
    attempt = attempts.answered(attempt, state.now)
    saving = replace(state, attempt=attempt, phase="saving", contesting=None)
    return saving, (SaveAnswer(attempt.task, attempt.given[-1]),)


def _after_saving(state: State, message: Message) -> tuple[State, tuple[Effect, ...]]:
    """Waits for the result of saving. Other messages are ignored until then."""
    assert state.attempt is not None
    if not isinstance(message, Saved):
        return state, ()
    if state.contesting is not None:
        return _after_contest(state, state.attempt, state.contesting)
    attempt = attempts.saved(state.attempt, message.memory, state.now)
    if attempt.ask is not None:
        return replace(state, attempt=attempt, phase="answering"), ()
    shown = replace(state, attempt=attempt, phase="shown", done=(*state.done, attempt))
    return replace(shown, lines=lines_to_show(attempt), line=0, ply=0), (Plan(attempt),)


def _after_contest(state: State, attempt: Attempt, ask: str) -> tuple[State, tuple[Effect, ...]]:
    """The state after a contest, or its withdrawal, has been saved. A contested move is looked at again."""
    state = replace(state, phase="shown", contesting=None)
    if ask in attempt.contested:
        notice = "Taken back: the grade is no longer contested."
        return _with(state, attempt, attempts.uncontested(attempt, ask), notice), ()
    contested = attempts.contested(attempt, ask)
    look = second_look(attempt.task, given_to(attempt, ask))
    if look is None:
        return _with(state, attempt, contested, COACH_DECIDES), ()
    move = numbered(look.board, look.moves[1:])[0]
    notice = f"Contested. An engine looks at {move} again, for some seconds."
    return _with(state, attempt, attempts.looked_at(contested, ask), notice), (look,)


def _looked_again(state: State, message: LookedAgain) -> tuple[State, tuple[Effect, ...]]:
    """Decides a contest, if it still stands and an engine could say something about it."""
    attempt = _looking(state, message.task, message.ask)
    if attempt is None:
        return state, ()
    given, verdicts = given_to(attempt, message.ask), message.verdicts
    decided = decision(attempt.task, given, verdicts) if verdicts else None
    if decided is None:
        notice = KEY_IN_DOUBT if verdicts else COACH_DECIDES
        return _with(state, attempt, attempts.left_to_coach(attempt, message.ask), notice), ()
    return state, (decided,)


def _decided(state: State, message: Decided) -> State:
    """Shows what was decided. The student may be at another card by now."""
    task, given = message.decision.task, message.decision.given
    attempt = _looking(state, task, given.ask)
    if attempt is None:
        return state
    look = given.second_look
    became = f"is now '{given.grade}'" if look and look.mended else f"'{given.grade}' stays"
    anew = attempts.decided(attempt, task, replace(given, memory=message.memory))
    return _with(state, attempt, anew, f"Looked at again: the grade {became}.")


def _looking(state: State, task: Task, ask: str) -> Attempt | None:
    """The answered card, if an engine is looking at its answer to this ask; None at the end of a session."""
    if state.phase == "ended":
        return None
    looking = (each for each in state.done if each.task.card is task.card and ask in each.looking)
    return next(looking, None)


def _with(state: State, old: Attempt, new: Attempt, notice: str) -> State:
    """The state with an answered card replaced, and a notice unless it would hide a question."""
    done = tuple(new if each is old else each for each in state.done)
    is_shown = state.attempt is old
    if state.contesting is None:
        name = "" if is_shown else f"Card {safe(old.task.card.card_id)}: "
        state = replace(state, notice=f"{name}{notice}")
    if not is_shown:
        return replace(state, done=done)
    state, lines = replace(state, attempt=new, done=done), lines_to_show(new)
    return state if lines == state.lines else replace(state, lines=lines, line=0, ply=0)


def _shown(state: State, message: Message) -> tuple[State, tuple[Effect, ...]]:
    match message:
        case Next() | Submit() | Enter(text=""):
            if state.place + 1 == len(state.tasks) or state.time_is_up:
                return replace(state, phase="closing", attempt=None), ()
            return _begin_card(state, state.place + 1)
        case StepInLine(by=by) if state.lines:
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
            return _ask_to_confirm(state), ()
        case Withdraw():
            return _withdraw(state)
    return state, ()


def _rows_to_look_into(state: State) -> tuple[str, ...]:
    return tuple(row.name for row in state.attempt.marked_rows) if state.attempt else ()


def _ask_to_confirm(state: State) -> State:
    """Asks for a yes first, so that one key pressed by mistake contests nothing."""
    found = _open_to_contest(state.attempt) if state.attempt else []
    if not found:
        return replace(state, notice="There is no grade to contest.")
    lowest = min(found, key=lambda given: given.score)
    before = " once more, before your coach" if lowest.second_look else ""
    return replace(state, contesting=lowest.ask, notice=f"Contest the grade '{lowest.grade}'{before}?")


def _confirming(state: State, message: Message) -> tuple[State, tuple[Effect, ...]]:
    """`Confirm` contests the grade. Any other message means no, and has no other effect."""
    assert state.attempt is not None
    assert state.contesting is not None
    if not isinstance(message, Confirm):
        return replace(state, contesting=None, notice="Not contested."), ()
    given = given_to(state.attempt, state.contesting)
    return replace(state, phase="saving"), (SaveContest(state.attempt.task, given, contested_grade(given)),)


def _withdraw(state: State) -> tuple[State, tuple[Effect, ...]]:
    attempt = state.attempt
    if attempt is None or not attempt.contested:
        return replace(state, notice="No grade of this card is contested."), ()
    last = attempt.contested[-1]
    saving = replace(state, phase="saving", contesting=last)
    return saving, (SaveContest(attempt.task, given_to(attempt, last), None),)


def _open_to_contest(attempt: Attempt) -> list[Given]:
    """The answers whose grade is lower than the student can claim."""
    return [
        given
        for given in attempt.given
        if given.ask not in attempt.contested and given.grade not in (*RIGHT_GRADES, contested_grade(given))
    ]


def contested_grade(given: Given) -> Grade:
    """The grade that a student claims: the one of a right answer, which is `helped` after a hint."""
    return "helped" if given.hints else "found"
