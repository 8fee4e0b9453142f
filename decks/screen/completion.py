"""Completion of what is being typed. Everything offered would be accepted."""

from __future__ import annotations

from decks.review.attempt import Attempt
from decks.tasks.layout import Completion


def completions(attempt: Attempt | None, typed: str) -> list[Completion]:
    """The ways to complete what is being typed."""
    return attempt.answer.completions(typed) if attempt is not None and typed.strip() else []


def completed(attempt: Attempt | None, typed: str) -> str:
    """The entry with all that the completions have in common; if that adds nothing, the first completion."""
    fitting = [completion.entry for completion in completions(attempt, typed)]
    if not fitting:
        return typed
    common = _common_start(fitting)
    return common if len(common) > len(typed) else fitting[0]


def _common_start(words: list[str]) -> str:
    shortest = min(words, key=len)
    agreeing = (
        end for end in range(len(shortest), 0, -1) if all(word.startswith(shortest[:end]) for word in words)
    )
    return shortest[: next(agreeing, 0)]
