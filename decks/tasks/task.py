"""A task: one card of this sitting, with everything that is needed to judge the answers."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from typing import TYPE_CHECKING

import chess

from decks.tasks.card import TARGET_RECALL, Card, Why
from patterns.engines.scores import PositionVerdicts, Quality

if TYPE_CHECKING:
    from patterns.explanation import Explanation


def explain_now(board: chess.Board) -> Explanation:
    """The program's explanation of a position. The array code for it is imported on first use."""
    from patterns.explanation import explain

    return explain(board)


@dataclass(frozen=True)
class Ruling:
    """What was decided on a move that a student had contested. It holds for every student.

    `reason`: in whose words or by which engine. `day`: the date of the decision (UTC).
    """

    quality: Quality
    reason: str
    day: date


Rulings = Mapping[int, Mapping[str, Ruling]]
"""Rulings on a card by place (as in `KeyMove`) and move (UCI)."""


@dataclass(frozen=True)
class Task:
    """One card to answer.

    `deck`: its uuid. `asks`: ids of the asks for now, in order. `verdicts`: by EPD, for every position in
    which the student may have to move; `rulings` come before them. `usual_seconds`: the student's median time
    by ask, if there are enough answers. `fluent_within`: seconds by ask, likewise. `items`: the item id by
    ask, for the log; `why`: why it is asked, by ask. `first_sight`: whether the position is new to the
    student, None if unknown. `lookalike`: the motif only seems to be there. `worked`: nothing is asked; the
    position is shown with all that is known of it. `whole_ballot`: the student takes stock of every factor,
    not only of the few that decide. `explainer`: computes the explanation when it is first needed.
    """

    deck: str
    card: Card
    asks: tuple[str, ...]
    verdicts: Mapping[str, PositionVerdicts] = field(default_factory=dict)
    usual_seconds: Mapping[str, float] = field(default_factory=dict)
    fluent_within: Mapping[str, float] = field(default_factory=dict)
    items: Mapping[str, str] = field(default_factory=dict)
    why: Mapping[str, Why] = field(default_factory=dict)
    first_sight: bool | None = None
    lookalike: bool = False
    worked: bool = False
    target_recall: float = TARGET_RECALL
    whole_ballot: bool = False
    rulings: Rulings = field(default_factory=dict)
    explainer: Callable[[chess.Board], Explanation] = explain_now

    @cached_property
    def explanation(self) -> Explanation:
        """Findings and assessment of the card's position, computed once, when first asked for."""
        return self.explainer(self.card.board.copy(stack=False))

    def judged_anew(self, verdicts: PositionVerdicts) -> Task:
        """The same task with these verdicts for their position. The explanation is not computed again."""
        by_epd = {**self.verdicts, verdicts.epd: verdicts}
        return replace(self, verdicts=by_epd, explainer=lambda _: self.explanation)

    @property
    def is_explained(self) -> bool:
        """Whether the explanation has been computed already."""
        return "explanation" in self.__dict__
