"""Hints: what a card is about, step by step.

A hint never names the move. First comes the motif, then the place, then the hints of the ask itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import chess

from decks.tasks.card import MotifTag
from decks.tasks.evidence import NO_MARKS, Marks, evidence_marks, motif_title
from decks.tasks.task import Task
from patterns.words.wording import listed, named


@dataclass(frozen=True)
class Hint:
    """One hint: a sentence, and squares to mark in the card's position."""

    text: str
    marks: Marks = NO_MARKS


def next_hint(hints: Sequence[Hint], taken: Sequence[Hint]) -> Hint | None:
    """The first of `hints` that was not taken yet; None if all were."""
    told = {hint.text for hint in taken}
    return next((hint for hint in hints if hint.text not in told), None)


def about_the_motif(task: Task, keeping_secret: bool) -> list[Hint]:
    """Which motif, and where. No hint if a later ask asks for the motif."""
    if keeping_secret:
        return []
    card = task.card
    tags = (card.lookalike,) if card.lookalike is not None else card.motifs
    return [*([_which(tags)] if tags else []), where(task)]


def _which(tags: Sequence[MotifTag]) -> Hint:
    """The same words whether a motif is there or only seems to be: to see that is the task."""
    titles = dict.fromkeys(motif_title(tag.motif) for tag in tags)
    return Hint(f"It is about this: {listed(titles)}.")


def where(task: Task) -> Hint:
    """Where on the board to look."""
    marks = evidence_marks(task)
    shown = sorted(marks.targets or marks.actors or marks.squares)
    if shown:
        return Hint(f"Look at {men_named(task.card.board, shown)}.", marks)
    king = task.card.board.king(not task.card.board.turn)
    asked = task.card.asked_line
    square = asked[-1][2:4] if asked else chess.square_name(king or 0)
    return Hint(f"Keep an eye on {square}.", Marks(squares=frozenset({square})))


def men_named(board: chess.Board, squares: Sequence[str]) -> str:
    """The men on these squares, as a list in words."""
    return listed(named(board, chess.parse_square(square)) for square in squares)
