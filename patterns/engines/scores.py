"""Expected score: one scale for engine scores, and what a move's loss on this scale means.

An expected score is the mean result, 0 (lost) to 1 (won), for the side named. Every constant of the
scale stands here with its reason.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Literal, NamedTuple

from patterns.engines.strength import is_strong
from patterns.words.verdicts import Verdict

Quality = Literal["holds", "slips", "fails"]

CENTIPAWN_SLOPE = 0.0085
"""Slope k of 1 / (1 + exp(-k cp)) for engines that do not report win/draw/loss. Fitted to sunfish at depth 5
against Stockfish 15.1's own report at depth 14, 219 positions of master games (rms .21; for Stockfish's own
centipawns the best fit is .012, rms .06)."""

PRACTICE_SLOPE = 0.0055
"""The slope for games between people. Fitted to the results of 204 games, in 2,820 of their positions from
the ninth move on, by Stockfish 15.1 at 20,000 nodes: .0056 for all (rms .36), .0088 for the 159 games of
masters among them, .0020 for the 45 of amateurs, who win from worse and lose from better positions."""

HOLDS_WITHIN = 0.05
"""A move holds if it loses at most this much: less than the noise of a search of medium depth."""

SLIPS_WITHIN = 0.15
"""A move slips up to this loss and fails beyond it. That is more than the width of one verdict near level."""

CLEARLY = 2
"""A move clearly does not hold if it gives up more than this many times what a move that holds may give up.
Of 25 positions where each move was clearly one or the other in all rounds of two searches, no verdict was
wrong against a search of 24 plies; without this margin 3 were."""

CLEARLY_GIVES_UP = 80
"""Centipawns: a move that gives up less does not clearly fail to hold, whatever it loses in expected score,
which changes by .15 for a third of a pawn where one side is a pawn ahead. Of 14 cards that refused a move for
less, two coaches would have kept 3 and 2 as they were, of 41 others 17 and 20."""

WON_FROM = 0.90
"""Expected score from which it saturates: above it a loss of .05 can be a pawn or a queen."""

LOST_TO = 0.10
"""The same for the other side: up to here the position is lost, by however many centipawns."""

KEEPS_SHARE, KEEPS_CENTIPAWNS = 0.40, 80
"""In a won position a move that holds gives up at most this share of the best move's centipawns. Less than
the second number never counts: a small pawn does not change who wins."""

NO_BETTER_THAN = 1_000
"""Centipawns: with a queen more, further material changes nothing."""

GIVES_UP = 60
"""Centipawns: before the position is won, a move that gives up so many slips, whatever its expected score.
Near level .05 is 57 centipawns, but draws can make the scale much flatter."""

SURE_MATE = 5
"""Moves: a mate this short lies well within the last rounds of a search, so a move for which no mate was
found there has none. A longer mate counts as a win: for other moves it may only not have been found yet."""

MAX_DEPTH = 250
"""Plies: no search goes deeper, so a report or a file with a greater depth is wrong."""

CENTIPAWN_CAP = 10_000
"""Centipawn scores are cut here: certain on the expected-score scale, and above any real advantage."""

STRENGTH_THRESHOLDS = (0.06, 0.16, 0.35)
"""Distances from one half at which a verdict becomes slight, clear and decisive."""


@dataclass(frozen=True)
class Borders:
    """Losses of expected score up to which a move holds and slips. `second_scale`: see `overdraft`."""

    holds: float = HOLDS_WITHIN
    slips: float = SLIPS_WITHIN
    second_scale: bool = True


SETTLED = Borders()

UNSETTLED = Borders(slips=2 * SLIPS_WITHIN)
"""Where two searches of a strong engine did not agree, or there was only one, a move fails only if it
loses so much that noise does not explain it."""

WEAK = Borders(0.30, 0.45, second_scale=False)
"""For an engine that is not strong: as wide as the noise of `sunfish-uci` at its own effort. By Stockfish
15.1 at 14 plies, in 21 positions of master games that were not lost: in 11 of them a good move lost more than
.05, in 3 more than .25, in 1 more than .30, in none more than .45."""


@dataclass(frozen=True)
class MoveVerdict:
    """What an engine says about one legal move.

    `score`: expected score 0..1 for the moving side. `depth`: plies searched.
    `line`: the UCI moves that follow, starting with the reply that punishes or proves the move. It is empty
    where the game ends. `centipawns`: the engine's own score for the moving side. `mate`: moves to mate
    instead; negative if the moving side is mated, 1 if the move itself mates. Both are None where only the
    expected score is known. `unclear`: a deep search thought much better of the move. `end`: the moving
    side's expected score at the end of the line, by a search there; None if nobody has looked.
    """

    score: float
    depth: int
    line: tuple[str, ...]
    centipawns: int | None = None
    mate: int | None = None
    unclear: bool = False
    end: float | None = None


class Evaluation(NamedTuple):
    """A position's score for the side to move: expected score 0..1, centipawns, and the expected line (UCI).

    `centipawns` is None for a mate and where the rules decide the game.
    """

    score: float
    centipawns: int | None
    line: tuple[str, ...]

    @property
    def in_practice(self) -> float:
        """Expected score 0..1 between people, who win less surely than the engine against itself."""
        return self.score if self.centipawns is None else _logistic(PRACTICE_SLOPE * self.centipawns)


class Compared(NamedTuple):
    """A move against the best move of its position, by searches of the same effort.

    Each line begins with its own move. If the move is the best one, both are the same.
    """

    best: Evaluation
    played: Evaluation

    @property
    def loss(self) -> float:
        """Expected score in practice that the move loses. Rounded, so that a loss on a border is on it."""
        return round(self.best.in_practice - self.played.in_practice, 6)


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

    @cached_property
    def best(self) -> str:
        """The best move (UCI): a faster mate before a slower one, any mate before another win.

        Among equals the most deeply searched, then the first in the mapping.
        """
        return max(self.moves, key=lambda move: (*_rank(self.moves[move]), self.moves[move].depth))

    @property
    def least_depth(self) -> int:
        """The least depth of a verdict that a grade can rest on: any legal move can be answered."""
        return min(verdict.depth for verdict in self.moves.values())

    def loss(self, move: str) -> float:
        """Expected score that `move` (UCI) loses compared with the best. KeyError if it is not legal here."""
        return self.moves[self.best].score - self.moves[move].score

    @property
    def borders(self) -> Borders:
        """What a move may lose here. The less sure the verdicts are, the fewer moves are refused."""
        if not is_strong(self.engine):
            return WEAK
        return SETTLED if self.settled else UNSETTLED

    def quality(self, move: str) -> Quality:
        """Whether `move` (UCI) holds, slips or fails. KeyError if it is not legal here."""
        return quality(self.moves[self.best], self.moves[move], self.borders)

    def ranked(self) -> tuple[str, ...]:
        """Every move, best first."""
        return tuple(sorted(self.moves, key=lambda move: _rank(self.moves[move]), reverse=True))

    def holding(self) -> tuple[str, ...]:
        """Every move that holds, best first."""
        return tuple(move for move in self.ranked() if self.quality(move) == "holds")


def expected_from_centipawns(centipawns: float) -> float:
    """Expected score of a centipawn score, by the logistic curve."""
    return _logistic(CENTIPAWN_SLOPE * centipawns)


def _logistic(logits: float) -> float:
    return 1.0 / (1.0 + math.exp(-logits))


def quality(best: MoveVerdict, verdict: MoveVerdict, borders: Borders = SETTLED) -> Quality:
    """Whether a move holds, slips or fails, compared with the best move of the same position.

    A move that is unclear slips at most. Where the game is not lost, a move after which the mover is soon
    mated fails, however little the engine gave for the best one.

    >>> def scored(score, centipawns=None, mate=None):
    ...     return MoveVerdict(score, 20, (), centipawns, mate)
    >>> quality(scored(0.55), scored(0.50)), quality(scored(0.55), scored(0.45))
    ('holds', 'slips')

    A key that wins a queen, and a move that wins a pawn and a half:

    >>> quality(scored(0.99, 900), scored(0.96, 150))
    'slips'

    A key that mates: a slower mate holds, a move that only keeps the win slips.

    >>> quality(scored(1.0, mate=2), scored(1.0, mate=4)), quality(scored(1.0, mate=2), scored(1.0, 950))
    ('holds', 'slips')
    """
    if (_loss(best, verdict) > borders.slips or _runs_into_mate(best, verdict)) and not verdict.unclear:
        return "fails"
    return "holds" if overdraft(best, verdict, borders) <= 1 else "slips"


def overdraft(best: MoveVerdict, verdict: MoveVerdict, borders: Borders = SETTLED) -> float:
    """How much a move gives up, in units of what a move that holds may give up: beyond 1 it does not hold.

    Expected score is the first scale. The second scale is what the engine measured: mates and centipawns.
    Whichever says more decides.
    """
    first = _loss(best, verdict) / borders.holds
    return round(max(first, on_second_scale(best, verdict)) if borders.second_scale else first, 6)


def clearly_fails_to_hold(best: MoveVerdict, verdict: MoveVerdict, borders: Borders = SETTLED) -> bool:
    """Whether a move is so far behind the best that no longer search and no coach would call it as good.

    What a weak engine lets a move give up is as wide as its noise already, so there is no margin.
    """
    beyond = overdraft(best, verdict, borders)
    if not borders.second_scale:
        return beyond > 1
    measured = given_up(best, verdict)
    return beyond > CLEARLY and (measured is None or measured >= CLEARLY_GIVES_UP)


def _rank(verdict: MoveVerdict) -> tuple[float, float]:
    """Orders verdicts from worst to best."""
    if verdict.mate is None:
        return verdict.score, float(verdict.centipawns or 0)
    certain = math.copysign(CENTIPAWN_CAP + MAX_DEPTH + 1, verdict.mate)
    return verdict.score, certain - verdict.mate


def _loss(best: MoveVerdict, verdict: MoveVerdict) -> float:
    """The loss of expected score. Rounded, so .05 still holds."""
    return round(best.score - verdict.score, 6)


def is_sure_mate(verdict: MoveVerdict) -> bool:
    """Whether a move mates so soon that a move for which no mate was found does not."""
    return verdict.mate is not None and 0 < verdict.mate <= SURE_MATE


def _runs_into_mate(best: MoveVerdict, verdict: MoveVerdict) -> bool:
    """Whether a move lets the mover be mated soon, who is not lost otherwise."""
    return verdict.mate is not None and -SURE_MATE <= verdict.mate <= 0 and best.score > LOST_TO


def _mates(verdict: MoveVerdict) -> bool:
    return verdict.mate is not None and verdict.mate > 0


def _worth(verdict: MoveVerdict) -> int | None:
    """Centipawns, as far as they can change anything; None where only the expected score is known."""
    if verdict.mate is not None:
        return NO_BETTER_THAN if verdict.mate > 0 else -CENTIPAWN_CAP
    return None if verdict.centipawns is None else min(verdict.centipawns, NO_BETTER_THAN)


def on_second_scale(best: MoveVerdict, verdict: MoveVerdict) -> float:
    """How much a move gives up in mates and centipawns, in the units of `overdraft`."""
    measured = given_up(best, verdict)
    if measured is None or best.score <= LOST_TO:
        return 0.0
    if best.score < WON_FROM:
        return measured / (GIVES_UP - 1)
    return measured / max(KEEPS_CENTIPAWNS, KEEPS_SHARE * (_worth(best) or 0))


def given_up(best: MoveVerdict, verdict: MoveVerdict) -> float | None:
    """Centipawns; infinite if only the best move mates. None where only the expected score is known."""
    if _mates(best) and _mates(verdict):
        return 0.0
    if is_sure_mate(best):
        return math.inf
    best_worth, worth = _worth(best), _worth(verdict)
    return None if best_worth is None or worth is None else best_worth - worth


def verdict_from_expected(white: float) -> Verdict:
    """The verdict for White's expected score.

    >>> str(verdict_from_expected(0.71)), str(verdict_from_expected(0.5)), str(verdict_from_expected(0.05))
    ('white 2', 'level', 'black 3')
    """
    distance = round(abs(white - 0.5), 6)
    strength = sum(distance >= threshold for threshold in STRENGTH_THRESHOLDS)
    return Verdict.from_signed(strength if white > 0.5 else -strength)


def shown_score(score: float) -> float:
    """An expected score as it is shown: two decimals, cut towards one half.

    So the number shown never reaches a border that the verdict has not reached.

    >>> [shown_score(score) for score in (0.6597, 0.66, 0.5, 0.3403, 0.34)]
    [0.65, 0.66, 0.5, 0.35, 0.34]
    """
    distance = round(abs(score - 0.5), 6)
    hundredths = math.floor(round(100 * distance, 4))
    return round(0.5 + math.copysign(hundredths / 100, score - 0.5), 2)
