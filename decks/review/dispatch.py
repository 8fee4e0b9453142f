"""Carries out the effects that a session asks for."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future

from decks.memory.strands import Learnt
from decks.review.messages import (
    Decided,
    Kept,
    LookAgain,
    LookedAgain,
    Message,
    Quit,
    Saved,
    SaveDecision,
    SaveFailed,
)
from decks.review.session import State, update
from patterns.engines.scores import PositionVerdicts

Save = Callable[[Kept], Learnt | None]
"""Saves an answer or a decision and returns the memory after it, or a contest (None); raises if it can't."""

Clock = Callable[[], float]
"""Gives the time in seconds, from any fixed start; it never goes back."""

SecondLook = Future[PositionVerdicts | None]
"""What an engine will say about a contested move and the best one; None if it can't decide."""

Looker = Callable[[LookAgain], SecondLook | None]
"""Begins a second look in the background; None if there is no engine."""


def no_engine(look: LookAgain) -> None:
    """A looker without an engine: every contest is left to the coach."""


def dispatch(state: State, message: Message, save: Save, clock: Clock, look: Looker = no_engine) -> State:
    """The state after `message` and all its effects. The session is over in phase `ended`.

    A second look is only begun: the caller sends `LookedAgain` once it has come to an end.
    """
    state, effects = update(state, message)
    for effect in effects:
        if isinstance(effect, LookAgain):
            if look(effect) is None:
                nobody = LookedAgain(clock(), effect.task, effect.ask, None)
                state = dispatch(state, nobody, save, clock, look)
        elif not isinstance(effect, Quit):
            state = dispatch(state, _kept(effect, save, clock), save, clock, look)
    return state


def _kept(effect: Kept, save: Save, clock: Clock) -> Message:
    try:
        memory = save(effect)
    except Exception as error:  # after any error, going on would lose answers silently
        return SaveFailed(clock(), str(error) or type(error).__name__)
    if isinstance(effect, SaveDecision):
        return Decided(clock(), effect, memory)
    return Saved(clock(), memory)
