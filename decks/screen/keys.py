"""What can be done at each moment of a session: the keys and their words on the last lines."""

from __future__ import annotations

from dataclasses import replace

from decks.review import messages as m
from decks.review.session import State
from decks.tasks.layout import Key
from decks.tasks.scoresheet import STEP_KEYS

_HINT = Key("f2", "F2", "asks for a hint", m.TakeHint)
_TURN = Key("c-t", "Ctrl-T", "turns the board", m.Turn)
_STOP = Key("c-q", "Ctrl-Q", "stops", m.Stop)
_UP = Key("up", "", "", lambda at: m.MoveRow(at, -1))
_DOWN = Key("down", "arrows", "show why", lambda at: m.MoveRow(at, 1))


def moment_of(state: State) -> tuple[str, str]:
    """Where in a session the student is: the phase, and the current ask if there is one."""
    if state.attempt is None or state.phase in ("closing", "ended"):
        return "closing", ""
    if state.phase == "shown" or state.attempt.ask is None:
        return "shown", ""
    return "answering", state.attempt.ask


def takes_text(state: State) -> bool:
    """Whether the student can type text. Plain letters are then text and not keys."""
    attempt = state.attempt
    return moment_of(state)[0] == "answering" and attempt is not None and attempt.answer.takes_text


def keys(state: State) -> tuple[Key, ...]:
    """The keys of this moment, in the order of the last lines."""
    phase, _ = moment_of(state)
    if phase == "closing" or state.attempt is None:
        return (Key("enter", "Enter", "leave", m.Next),)
    if phase == "answering":
        return (*state.attempt.answer.keys(), _HINT, _TURN, _STOP)
    other = (Key("tab", "Tab", "other line", m.OtherLine),) if len(state.lines) > 1 else ()
    if state.asks_to_confirm:
        return (Key("y", "y", "yes, contest it", m.Confirm), Key("enter", "Enter", "no", m.Next), _STOP)
    following = Key("enter", "Enter", "next card", m.Next)
    contest = (Key("c", "c", "contest the grade", m.Contest),) if state.can_contest else ()
    withdraw = (Key("u", "u", "undo the contest", m.Withdraw),) if state.can_withdraw else ()
    return (following, *_arrows(state), *other, *contest, *withdraw, _TURN, _STOP)


def _arrows(state: State) -> tuple[Key, ...]:
    """Arrows through the line and through the marked rows, with one label for all four."""
    along = STEP_KEYS if state.lines else ()
    if state.attempt is None or not state.attempt.marked_rows:
        return along
    return (*(replace(key, label="") for key in along), _UP, _DOWN)
