"""Carries out the effects that a session asks for."""

from __future__ import annotations

from collections.abc import Callable

from decks.memory.model import Memory
from decks.review.messages import Message, Quit, SaveAnswer, SaveContest, Saved, SaveFailed
from decks.review.session import State, update

Save = Callable[[SaveAnswer | SaveContest], Memory | None]
"""Saves an answer and returns the memory after it, or saves a contest (None); raises if it can't."""

Clock = Callable[[], float]
"""Gives the time in seconds, from any fixed start; it never goes back."""


def dispatch(state: State, message: Message, save: Save, clock: Clock) -> State:
    """The state after `message` and all its effects. The session is over in phase `ended`."""
    state, effects = update(state, message)
    for effect in effects:
        if not isinstance(effect, Quit):
            state = dispatch(state, _kept(effect, save, clock), save, clock)
    return state


def _kept(effect: SaveAnswer | SaveContest, save: Save, clock: Clock) -> Saved | SaveFailed:
    try:
        memory = save(effect)
    except Exception as error:  # after any error, going on would lose answers silently
        return SaveFailed(clock(), str(error) or type(error).__name__)
    return Saved(clock(), memory)
