"""Completion of what is being typed: only what would be accepted is ever offered."""

from __future__ import annotations

from dataclasses import dataclass

from decks.review.attempt import Attempt
from decks.review.entry import complete_spot, legal_san


@dataclass(frozen=True)
class Completion:
    """One way to go on: the word to show, and the whole line as it would then stand."""

    word: str
    line: str


def completions(attempt: Attempt | None, line: str) -> list[Completion]:
    """The legal moves, or the motifs by id or title, that begin with what is being typed."""
    if attempt is None or not line.strip():
        return []
    if attempt.ask == "play":
        return [
            Completion(san, san) for san in legal_san(attempt.board) if san.lower().startswith(line.lower())
        ]
    if attempt.ask == "spot":
        from patterns.catalogue import MOTIFS

        typed, motifs = complete_spot({motif.id: motif.title for motif in MOTIFS.values()}, line)
        return [Completion(motif, line.removesuffix(typed) + motif) for motif in motifs]
    return []


def completed(attempt: Attempt | None, line: str) -> str:
    """The line extended as far as all that fits agrees; by the first that fits where that adds nothing."""
    lines = [completion.line for completion in completions(attempt, line)]
    if not lines:
        return line
    common = _common_start(lines)
    return common if len(common) > len(line) else lines[0]


def _common_start(words: list[str]) -> str:
    shortest = min(words, key=len)
    agreeing = (
        end for end in range(len(shortest), 0, -1) if all(word.startswith(shortest[:end]) for word in words)
    )
    return shortest[: next(agreeing, 0)]
