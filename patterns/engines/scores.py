"""Expected score: one scale for engine scores, and what a move's loss on this scale means.

An expected score is the mean result, 0 (lost) to 1 (won), for the side named. Every constant of the
scale stands here with its reason.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, NamedTuple

from patterns.words.verdicts import Verdict

Quality = Literal["holds", "slips", "fails"]

CENTIPAWN_SLOPE = 0.0085
"""Slope k of 1 / (1 + exp(-k cp)) for engines that do not report win/draw/loss. Fitted to sunfish at depth 5
against Stockfish 15.1's own report at depth 14, 219 positions of master games (rms .21; for Stockfish's own
centipawns the best fit is .012, rms .06)."""

HOLDS_WITHIN = 0.05
"""A move holds if it loses at most this much: less than the noise of a search of medium depth."""

SLIPS_WITHIN = 0.15
"""A move slips up to this loss and fails beyond it. That is more than the width of one verdict near level."""

MAX_DEPTH = 250
"""Plies: no search goes deeper, so a report or a file with a greater depth is wrong."""

CENTIPAWN_CAP = 10_000
"""Centipawn scores are cut here: certain on the expected-score scale, and above any real advantage."""

STRENGTH_THRESHOLDS = (0.06, 0.16, 0.35)
"""Distances from one half at which a verdict becomes slight, clear and decisive."""

COLLAPSE = 0.20
"""If one side loses this much expected score, it is a collapse."""


@dataclass(frozen=True)
class MoveVerdict:
    """What an engine says about one legal move.

    `score`: expected score 0..1 for the moving side. `depth`: plies searched.
    `line`: the UCI moves that follow, starting with the reply that punishes or proves the move. It is empty
    where the game ends. `centipawns`: the engine's own score for the moving side. `mate`: moves to mate
    instead; negative if the moving side is mated, 1 if the move itself mates. Both are None where only the
    expected score is known.
    """

    score: float
    depth: int
    line: tuple[str, ...]
    centipawns: int | None = None
    mate: int | None = None


class Evaluation(NamedTuple):
    """A position's score for the side to move: expected score 0..1, centipawns, and the expected line (UCI).

    `centipawns` is None for a mate and where the rules decide the game.
    """

    score: float
    centipawns: int | None
    line: tuple[str, ...]


@dataclass(frozen=True)
class PositionVerdicts:
    """A move verdict for every legal move of one position.

    `epd`: four-field EPD; it has an en-passant square only if such a capture is legal. `engine`: who judged.
    `conversion`: how its scores became expected scores (`wdl` or `logistic`). `moves`: by UCI move.
    `settled`: whether two searches agree on which moves hold, with a margin.
    """

    epd: str
    engine: str
    conversion: str
    moves: Mapping[str, MoveVerdict]
    settled: bool = False

    @property
    def best(self) -> str:
        """The best move (UCI). Among equals the most deeply searched, then the first in the mapping."""
        return max(self.moves, key=lambda move: (self.moves[move].score, self.moves[move].depth))

    @property
    def least_depth(self) -> int:
        """The least depth of a verdict that a grade can rest on: any legal move can be answered."""
        return min(verdict.depth for verdict in self.moves.values())

    def loss(self, move: str) -> float:
        """Expected score that `move` (UCI) loses compared with the best. KeyError if it is not legal here."""
        return self.moves[self.best].score - self.moves[move].score

    def quality(self, move: str) -> Quality:
        """Whether `move` (UCI) holds, slips or fails."""
        return quality(self.loss(move))

    def holding(self) -> tuple[str, ...]:
        """Every move that holds, best first."""
        ranked = sorted(self.moves, key=lambda move: -self.moves[move].score)
        return tuple(move for move in ranked if self.quality(move) == "holds")


def expected_from_centipawns(centipawns: float) -> float:
    """Expected score of a centipawn score, by the logistic curve."""
    return 1.0 / (1.0 + math.exp(-CENTIPAWN_SLOPE * centipawns))


def quality(loss: float) -> Quality:
    """Whether a move with this loss of expected score holds, slips or fails. Rounded, so .05 still holds."""
    loss = round(loss, 6)
    return "holds" if loss <= HOLDS_WITHIN else "slips" if loss <= SLIPS_WITHIN else "fails"


def verdict_from_expected(white: float) -> Verdict:
    """The verdict for White's expected score.

    >>> str(verdict_from_expected(0.71)), str(verdict_from_expected(0.5)), str(verdict_from_expected(0.05))
    ('white 2', 'level', 'black 3')
    """
    distance = round(abs(white - 0.5), 6)
    strength = sum(distance >= threshold for threshold in STRENGTH_THRESHOLDS)
    return Verdict.from_signed(strength if white > 0.5 else -strength)
