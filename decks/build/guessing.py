"""Ballots marked without a look at the position, and what they earn on the cards of a deck.

Who guesses marks the same cells on every card: for White and for Black, for the side to move and the other,
or for the side that is ahead in material and the other. The best guess has the best cell in every row, found
out by looking at the keys of the whole deck.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field

import chess

from decks.asks.assess_mark import score_assess
from decks.tasks.ballot import cells_of, short_rows
from patterns.factors.assessment import Assessment, accepted
from patterns.words.verdicts import Verdict

GUESS_EARNS = 0.37
"""What the best guess may earn on average. Scores may fall below 0 here; those that count are a bit more."""

Cells = Mapping[tuple[str, int], float]


@dataclass(frozen=True)
class Ballot:
    """What a short ballot gives. `unmarked`: the score of a blank one, below 0. `adds`: what each cell adds.

    `guessed`: for each way to guess, 1 if a guesser takes White for the favoured side, -1 for Black.
    """

    unmarked: float
    adds: Cells
    guessed: tuple[int, int, int]


def ballot_of(assessment: Assessment, key: Verdict, turn: chess.Color) -> Ballot:
    """The short ballot of a position. `key`: that of the verdict. `turn`: the side to move."""
    rows = short_rows(assessment.deciding)
    verdicts = {one.factor: one.verdict for one in assessment.factors}
    near = accepted(assessment)

    def raw(marked: Mapping[str, int]) -> tuple[float, float]:
        mark = score_assess(verdicts, marked, {"verdict": key}, near, rows)
        return mark.raw, 1 - mark.chance

    _, scale = raw({})
    adds = {(row, cell): raw({row: cell})[0] / scale for row in rows for cell in cells_of(row)}
    behind = next(one.balance for one in assessment.factors if one.factor == "material") < 0
    return Ballot(1 - 1 / scale, adds, (1, 1 if turn else -1, -1 if behind else 1))


@dataclass
class Guesses:
    """What the best guess of each way earns on the ballots of a deck so far, on average."""

    ballots: list[Ballot] = field(default_factory=list)

    def suits(self, ballot: Ballot) -> bool:
        """Whether with this ballot no way to guess earns more than it may, or all together less beyond it."""
        beyond = Guesses([*self.ballots, ballot])._beyond()
        return beyond == 0 or beyond < self._beyond()

    def _beyond(self) -> float:
        return sum(max(0.0, earned - GUESS_EARNS) for earned in self.earned())

    def earned(self) -> list[float]:
        """For each way to guess, the mean score of the best guess; more than any score without a ballot."""
        return [self._best(way) for way in range(3)]

    def _best(self, way: int) -> float:
        if not self.ballots:
            return 2.0
        adds = defaultdict[tuple[str, int], float](float)
        for ballot in self.ballots:
            for (row, cell), added in ballot.adds.items():
                adds[row, cell * ballot.guessed[way]] += added
        best: dict[str, float] = {}
        for (row, _), added in adds.items():
            best[row] = max(best.get(row, 0.0), added)
        unmarked = sum(ballot.unmarked for ballot in self.ballots)
        return (unmarked + sum(best.values())) / len(self.ballots)
