"""Carries out what a session wants: the one place where its effects meet the world."""

from __future__ import annotations

from collections.abc import Callable

from decks.memory.model import Memory
from decks.review.messages import Message, Quit, SaveAnswer, SaveContest, Saved, SaveFailed
from decks.review.session import State, update

Save = Callable[[SaveAnswer | SaveContest], Memory | None]
"""Keeps an answer for good and tells what is remembered now, or keeps a claim; raises if it can't."""

Clock = Callable[[], float]
"""Seconds from any fixed start, never going back."""


def dispatch(state: State, message: Message, save: Save, clock: Clock) -> State:
    """The state after `message` and after everything it caused; phase `ended` means leave."""
    state, effects = update(state, message)
    for effect in effects:
        if not isinstance(effect, Quit):
            state = dispatch(state, _kept(effect, save, clock), save, clock)
    return state


def _kept(effect: SaveAnswer | SaveContest, save: Save, clock: Clock) -> Saved | SaveFailed:
    try:
        memory = save(effect)
    except Exception as error:  # whatever the cause, going on would lose answers without a word
        return SaveFailed(clock(), str(error) or type(error).__name__)
    return Saved(clock(), memory)
