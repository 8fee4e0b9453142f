"""Carries out the effects that a session asks for."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Future

from decks.memory.strands import Learnt
from decks.review.attempt import Attempt
from decks.review.messages import (
    Decided,
    Effect,
    Kept,
    LookAgain,
    LookedAgain,
    Message,
    Plan,
    Planned,
    Quit,
    Rest,
    Saved,
    SaveDecision,
    SaveFailed,
    SaveShown,
)
from decks.review.session import State, beginning, update
from patterns.engines.scores import PositionVerdicts

Save = Callable[[Kept], Learnt | None]
"""Saves an answer or a decision and returns the memory after it, or a contest (None); raises if it can't."""

Planner = Callable[[Attempt], Rest | None]
"""Plans what follows a card that was answered; None to leave the tasks as they are."""

Clock = Callable[[], float]
"""Gives the time in seconds, from any fixed start; it never goes back."""

SecondLook = Future[PositionVerdicts | None]
"""What an engine will say about a contested move and the best one; None if it can't decide."""

Looker = Callable[[LookAgain], SecondLook | None]
"""Begins a second look in the background; None if there is no engine."""


def no_engine(look: LookAgain) -> None:
    """A looker without an engine: every contest is left to the coach."""


def as_planned(attempt: Attempt) -> None:
    """A planner that changes nothing."""


def dispatch(
    state: State,
    message: Message,
    save: Save,
    clock: Clock,
    look: Looker = no_engine,
    plan: Planner = as_planned,
) -> State:
    """The state after `message` and all its effects. The session is over in phase `ended`.

    A second look is only begun: the caller sends `LookedAgain` once it has come to an end.
    """
    return carried_out(*update(state, message), save, clock, look, plan)


def begun(state: State, save: Save, clock: Clock, plan: Planner = as_planned) -> State:
    """A new session after the effects of its first card."""
    return carried_out(state, beginning(state), save, clock, no_engine, plan)


def carried_out(
    state: State, effects: Sequence[Effect], save: Save, clock: Clock, look: Looker, plan: Planner
) -> State:
    """The state after these effects."""
    for effect in effects:
        answer = _answer(effect, save, clock, look, plan)
        if answer is not None:
            state = dispatch(state, answer, save, clock, look, plan)
    return state


def _answer(effect: Effect, save: Save, clock: Clock, look: Looker, plan: Planner) -> Message | None:
    """What the session is told at once about an effect; None if there is nothing to tell."""
    match effect:
        case Quit():
            return None
        case LookAgain():
            nobody = LookedAgain(clock(), effect.task, effect.ask, None)
            return nobody if look(effect) is None else None
        case Plan():
            rest = plan(effect.attempt)
            return None if rest is None else Planned(clock(), rest)
        case _:
            return _kept(effect, save, clock)


def _kept(effect: Kept, save: Save, clock: Clock) -> Message | None:
    try:
        memory = save(effect)
    except Exception as error:  # after any error, going on would lose answers silently
        return SaveFailed(clock(), str(error) or type(error).__name__)
    if isinstance(effect, SaveShown):
        return None
    if isinstance(effect, SaveDecision):
        return Decided(clock(), effect, memory)
    return Saved(clock(), memory)
