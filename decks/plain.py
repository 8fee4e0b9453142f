"""A session as lines of text over any streams: for a pipe, a screen reader or a test."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from typing import TextIO

from decks.review import messages as m
from decks.review.attempt import given_to
from decks.review.dispatch import (
    Clock,
    Looker,
    Planner,
    Save,
    SecondLook,
    as_planned,
    begun,
    dispatch,
    no_engine,
)
from decks.review.session import State
from decks.tasks.lines import numbered
from decks.telling.board_text import ascii_board, men_in_words
from decks.telling.result import closing, graded, result
from decks.telling.shown import board_view, progress, where_in_line
from patterns.reading.text import counted, safe

LINE_LIMIT = 4000
"""How many characters of a line are written; a coach's longest comment fits."""

COMMANDS = (
    "Commands: ? (help, which costs nothing), hint (you are told first what it costs), board, "
    "men (every man by name), turn (the board), quit."
)

HELP = (
    "Empty line: next card. forward, back: play the line through. line: another line.",
    "contest: say that the lowest grade is wrong. An engine looks at a move again; else your coach decides.",
    "undo: take that back.",
)
"""What one can do after a card is answered."""


@dataclass(frozen=True)
class _Talk:
    """The two streams."""

    read: TextIO
    write: TextIO

    def say(self, *lines: str) -> None:
        for line in lines:
            self.write.write(safe(line, LINE_LIMIT).rstrip() + "\n")

    def ask(self, prompt: str) -> str | None:
        """The line typed, without surrounding space; None at the end of the input."""
        self.write.write(prompt)
        self.write.flush()
        line = self.read.readline()
        if not line:
            self.write.write("\n")
            return None
        return line.strip()


def run_plain(
    state: State,
    save: Save,
    clock: Clock,
    read: TextIO,
    write: TextIO,
    looker: Looker = no_engine,
    plan: Planner = as_planned,
) -> State:
    """Run the session to its end and return its last state. The end of the input stops it.

    A second look at a contested move is waited for; Ctrl-C ends the wait.
    """
    talk = _Talk(read, write)
    looks: list[tuple[m.LookAgain, SecondLook]] = []

    def look(question: m.LookAgain) -> SecondLook | None:
        found = looker(question)
        if found is not None:
            looks.append((question, found))
        return found

    before: State | None = None
    if state.tasks:
        talk.say(f"{counted(len(state.tasks), 'card')} today. {COMMANDS}")
    state = begun(state, save, clock, plan)
    while state.phase not in ("closing", "ended"):
        _tell(talk, before, state)
        before = state
        typed = talk.ask(_prompt(state))
        for message in _messages(talk, state, typed, clock()):
            state = dispatch(state, message, save, clock, look, plan)
            talk.say(*filter(None, [state.notice]))
        while looks:
            question, found = looks.pop()
            looked_again = _waited_for(talk, question, found, clock)
            state = dispatch(state, looked_again, save, clock)
            talk.say(state.notice)
            _tell_decision(talk, state, question.ask)
    if state.phase == "closing":
        talk.say("", *(paragraph.text for paragraph in closing(state)))
        state = dispatch(state, m.Stop(clock()), save, clock)
    return state


def _waited_for(talk: _Talk, question: m.LookAgain, found: SecondLook, clock: Clock) -> m.LookedAgain:
    """The end of a second look. Without an end, if the student presses Ctrl-C, the coach decides."""
    talk.say("Ctrl-C leaves it to your coach.")
    talk.write.flush()
    verdicts = None
    with suppress(KeyboardInterrupt):
        verdicts = found.result()
    return m.LookedAgain(clock(), question.task, question.ask, verdicts)


def _tell_decision(talk: _Talk, state: State, ask: str) -> None:
    assert state.attempt is not None
    given = given_to(state.attempt, ask)
    if given.second_look is not None:
        talk.say(*(paragraph.text for paragraph in graded(state.attempt, given)))
        _tell_lines(talk, state)


def _tell(talk: _Talk, before: State | None, state: State) -> None:
    """Writes what is new: a card, an ask of it, a hint, a move on the board, a result."""
    attempt = state.attempt
    assert attempt is not None
    known = before.attempt if before is not None and before.place == state.place else None
    talk.say(*(f"Hint: {hint.text}" for hint in attempt.hints[len(known.hints) if known else 0 :]))
    if known is None:
        talk.say("", progress(state))
    if state.phase == "shown" and (known is None or before is None or before.phase != "shown"):
        if attempt.task.worked:
            _tell_board(talk, state)
        _tell_result(talk, state)
        return
    new_ask = known is None or len(known.given) != len(attempt.given)
    turned = before is not None and before.turned != state.turned
    view, last = board_view(state), known and before and board_view(before)
    if view and (new_ask or turned or not last or view.board.move_stack != last.board.move_stack):
        _tell_board(talk, state)
    if state.phase == "answering":
        talk.say(*attempt.answer.news(None if new_ask or known is None else known.answer))


def _tell_board(talk: _Talk, state: State) -> None:
    if view := board_view(state):
        talk.say("", *ascii_board(view), "", *filter(None, [where_in_line(state)]))
        talk.write.flush()  # show the board first, because choosing the rows of a short ballot takes a moment


def _tell_result(talk: _Talk, state: State) -> None:
    attempt = state.attempt
    assert attempt is not None
    talk.say("", *(paragraph.text for paragraph in result(state)))
    for mark in attempt.marks:
        rows = mark.rows_to_look_into()
        talk.say(*([mark.rows_title()] if rows else []))
        for row in rows:
            reasons = row.reasons(attempt.task, attempt.keeps_secret)
            talk.say(f"  {row.in_words()}.", *(f"    {why}" for why in reasons))
        if rows and (note := mark.rows_note(attempt.task)):
            talk.say(f"  {note}")
    _tell_lines(talk, state)


def _tell_lines(talk: _Talk, state: State) -> None:
    assert state.attempt is not None
    for line in state.lines:
        talk.say(f"{line.title}: {' '.join(numbered(state.attempt.task.card.board, line.moves))}")


def _prompt(state: State) -> str:
    if state.asks_to_confirm:
        return "yes to contest it, Enter to leave the grade as it is: "
    if state.phase == "shown" or state.attempt is None:
        return "Enter for the next card: "
    return state.attempt.answer.prompt


def _messages(talk: _Talk, state: State, typed: str | None, at: float) -> Iterable[m.Message]:
    """The messages that a typed line means at this moment."""
    if typed is None:
        return [m.Stop(at)]
    answer = state.attempt.answer if state.phase == "answering" and state.attempt else None
    match typed.lower():
        case "?" | "help":
            talk.say(*((*answer.help, *answer.plain_help) if answer else HELP), COMMANDS)
        case "hint":
            return [m.TakeHint(at)]
        case "quit" | "stop":
            return [m.Stop(at)]
        case "turn":
            return [m.Turn(at)]
        case "board" | "men":
            if view := board_view(state):
                talk.say(*(ascii_board(view) if typed.lower() == "board" else men_in_words(view.board)))
        case command if answer:
            if message_at := answer.commands().get(command):
                return [message_at(at)]
            if (found := answer.looked_up(typed)) is None:
                return [m.Enter(at, typed)]
            talk.say(*found)
        case "yes" | "y" if state.asks_to_confirm:
            return [m.Confirm(at)]
        case _ if state.asks_to_confirm:
            return [m.Next(at)]
        case "forward" | "back":
            return [m.StepInLine(at, 1 if typed.lower() == "forward" else -1)]
        case "line":
            return [m.OtherLine(at)]
        case "contest" | "c":
            return [m.Contest(at)]
        case "undo" | "u":
            return [m.Withdraw(at)]
        case "":
            return [m.Enter(at, typed)]
        case _:
            talk.say(f"'{typed[:40]}' is not a command here.", *HELP, COMMANDS)
    return []
