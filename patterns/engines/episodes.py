"""Where a game went wrong: one player's slips, the episodes that they make up, and the root of each. Pure.

**Slip**: a move that loses `SLIP` or more against the best move, compared in one search. **Episode**: slips
of one player that belong together: from each to the next at most `TOGETHER` own moves, and the opponent has
not given back more than `GIVEN_BACK` since. A slip of `OWN_EPISODE` begins its own. Together an episode's
slips lose `LEAST` at least, or after the last one the game is lost (`LOST`) that was not before it
(`LOST_TO`). In the opening its largest slip loses `LEAST_IN_OPENING`. Its **root** is the position before its
largest slip, or before the earliest one that loses at most `NEAR_LARGEST` less. The slips before the root
have prepared it.

**Drift**: `DRIFT` is lost within `DRIFT_MOVES` own moves none of which is a slip, by what the moves lose and
by how far the score falls. A drift has no root. It is told by the first move after which half of the fall was
there. If a player has lost a game without any of this, the whole way down is told as a drift, with its slips.

An episode **shows** in the first position in which a search of `SHOWN_PLIES` sees `SHOWS` less for the player
than in the root. All losses and scores are expected scores in practice, 0..1, for the player
(`Evaluation.in_practice`): an engine that plays itself wins with a pawn, so on its own scale hardly anything
is lost after the first mistake, and a third of a pawn seems much before it.

Tried on 52 lost games whose episodes two coaches had listed: of 137 in both lists 116 are found, 97 of these
with the root that a coach named; 13 of the 158 told are in neither list. The borders were chosen on these;
that of the opening came later.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import chess

from patterns.boards.worth import WORTH
from patterns.engines.scores import HOLDS_WITHIN, LOST_TO, STRENGTH_THRESHOLDS, Compared

SLIP = HOLDS_WITHIN
"""A move that loses more does not hold: more than the noise of a search of medium depth. With .06 only 114 of
137 episodes were found, not 117, and 11 of 149 were in neither list, not 13 of 155."""

TOGETHER = 4
"""Own moves from one slip to the next: about as far as a club player's plan reaches."""

GIVEN_BACK = 0.10
"""If the opponent has given back more than a slip since, a new story begins. Resting levels instead hid
mistakes that the opponent had handed back: 12 episodes in 12 lost games, where this rule finds 25."""

OWN_EPISODE = 0.12
"""About a pawn near level: a mistake that a coach tells apart, whatever came before. With .15 the root was
one that a coach named in 82 %, not in 84 %."""

LEAST = 0.10
"""About three quarters of a pawn near level, and a piece where one is a rook behind. With .08, 20 of 160
episodes told were in neither coach's list, not 11 of 149, and one more was found."""

LEAST_IN_OPENING = 0.15
"""More than a pawn: coaches pass over less in the first moves. Of 7 episodes there with no slip as large, two
were in one of two lists; of 22 others all but one were in one list or both."""

LOST = 0.5 - STRENGTH_THRESHOLDS[-1]
"""Up to here the other side is winning by our verdicts. By a slip that leads here a bad game becomes a lost
one, and that is told though little was left to lose."""

NEAR_LARGEST = 0.03
"""The noise of a search: of two slips that are this near, the search cannot say which is larger."""

DRIFT, DRIFT_MOVES = 0.20, 8
"""A pawn and a half near level, within one phase of play. Less could be the noise of eight searches."""

SHOWN_PLIES = 4
"""Two moves of each side: what a club player sees without calculating long. Common practice, no source."""

SHOWS = LEAST
"""The same as an episode loses at least."""

OPENING_MOVES = 7
"""A root before the eighth move is in the opening."""

ENDGAME_PIECES = 13
"""Pawns that the pieces of each side are worth at most in an endgame. Common practice, no source."""

LITTLE_TIME = 0.1
"""Time trouble: less than this share of the starting time. Common practice, no source."""

Circumstance = Literal["opening", "endgame", "time-trouble"]


@dataclass(frozen=True)
class ScoredMove:
    """A move of the player. `ply`: in the game, from 0. `board`: before the move. `compared`: with the best.

    `seconds`: the time that the player had left for it; None if unknown. `taken`: where the opponent has just
    taken a man; None if nowhere.
    """

    ply: int
    board: chess.Board
    move: chess.Move
    compared: Compared
    seconds: float | None = None
    taken: chess.Square | None = None

    @property
    def loss(self) -> float:
        """What the move loses."""
        return self.compared.loss

    @property
    def is_slip(self) -> bool:
        """Whether it loses so much that it counts."""
        return self.loss >= SLIP


@dataclass(frozen=True)
class Episode:
    """Moves of one player that lost the thread together.

    `slips`: its slips, in order; a drift may have none. `root`: the slip that let it in; None for a drift.
    `told`: the root, or the move of a drift from which on half of the fall was there. `first`, `last`: its
    first and last move. `cost`: what its slips lose; of a drift, how far the score fell.
    """

    slips: tuple[ScoredMove, ...]
    root: ScoredMove | None
    told: ScoredMove
    first: ScoredMove
    last: ScoredMove
    cost: float

    @property
    def before(self) -> float:
        """The score before its first move, with the best play."""
        return self.first.compared.best.in_practice

    @property
    def after(self) -> float:
        """The score after its last move."""
        return self.last.compared.played.in_practice

    @property
    def prepared_by(self) -> tuple[ScoredMove, ...]:
        """The slips before the root."""
        return tuple(slip for slip in self.slips if self.root is not None and slip.ply < self.root.ply)


def episodes_of(
    moves: Sequence[ScoredMove], lost: bool = False, from_the_start: bool = True
) -> list[Episode]:
    """The episodes in all moves of one player of a game, in the order of the moves that they are told by.

    `lost`: whether the player lost the game. `from_the_start`: as for `circumstances`.
    """
    found = [_episode(slips) for slips in _chains(moves) if _total(slips) >= LEAST or _loses(slips)]
    found = [one for one in found if not (from_the_start and _is_small_in_the_opening(one))]
    found += _drifts(moves)
    if lost and moves and not found:
        found += _way_down(moves)
    return sorted(found, key=lambda one: one.told.ply)


def _is_small_in_the_opening(one: Episode) -> bool:
    return _in_opening(one.told) and max(slip.loss for slip in one.slips) < LEAST_IN_OPENING


def _in_opening(move: ScoredMove) -> bool:
    return move.board.fullmove_number <= OPENING_MOVES


def shows(at_root: float, later: float) -> bool:
    """Whether a score of a search of `SHOWN_PLIES` is so much lower than that in the root that it shows."""
    return round(at_root - later, 6) >= SHOWS


def circumstances(
    move: ScoredMove, starting_seconds: float | None = None, from_the_start: bool = True
) -> tuple[Circumstance, ...]:
    """The circumstances of a move.

    `starting_seconds`: the player's time at the start; None if unknown. `from_the_start`: whether the game
    began with the first position of chess. A game that did not has no opening.
    """
    found: list[Circumstance] = []
    if from_the_start and _in_opening(move):
        found.append("opening")
    if is_endgame(move.board):
        found.append("endgame")
    left, start = move.seconds, starting_seconds
    if left is not None and start is not None and left < LITTLE_TIME * start:
        found.append("time-trouble")
    return tuple(found)


def is_endgame(board: chess.Board) -> bool:
    """Whether each side's pieces, without pawns and king, are worth at most `ENDGAME_PIECES` pawns.

    >>> is_endgame(chess.Board("r5k1/5ppp/8/8/8/8/5PPP/R1B3K1 w - - 0 1")), is_endgame(chess.Board())
    (True, False)
    """
    kinds = (chess.KNIGHT, chess.BISHOP, chess.ROOK, chess.QUEEN)
    return all(
        sum(WORTH[kind] * len(board.pieces(kind, side)) for kind in kinds) <= ENDGAME_PIECES
        for side in chess.COLORS
    )


def _chains(moves: Sequence[ScoredMove]) -> Iterator[list[ScoredMove]]:
    """The slips that belong together."""
    chain: list[ScoredMove] = []
    for slip in (move for move in moves if move.is_slip):
        if chain and not _belongs(slip, chain[-1]):
            yield chain
            chain = []
        chain.append(slip)
    if chain:
        yield chain


def _belongs(slip: ScoredMove, last: ScoredMove) -> bool:
    """Whether a slip goes on with the episode whose last slip was `last`."""
    given_back = slip.compared.best.in_practice - last.compared.played.in_practice
    return (
        slip.loss < OWN_EPISODE and slip.ply - last.ply <= 2 * TOGETHER and round(given_back, 6) <= GIVEN_BACK
    )


def _total(moves: Sequence[ScoredMove]) -> float:
    return round(sum(move.loss for move in moves), 6)


def _loses(slips: Sequence[ScoredMove]) -> bool:
    """Whether the game is lost after these slips and was not before them."""
    before, after = slips[0].compared.best.in_practice, slips[-1].compared.played.in_practice
    return before > LOST_TO and after <= LOST


def _episode(slips: Sequence[ScoredMove]) -> Episode:
    largest = max(slip.loss for slip in slips)
    root = next(slip for slip in slips if round(largest - slip.loss, 6) <= NEAR_LARGEST)
    return Episode(tuple(slips), root, root, slips[0], slips[-1], _total(slips))


def _drifts(moves: Sequence[ScoredMove]) -> Iterator[Episode]:
    """Stretches without a slip in which much is lost, the earliest first; none overlaps another."""
    begin = 0
    while begin < len(moves):
        stretch = _without_slips(moves[begin : begin + DRIFT_MOVES])
        stretch = stretch[: _lowest(stretch)]
        if stretch and stretch[0].loss > 0 and _total(stretch) >= DRIFT and _fall(stretch) >= DRIFT:
            yield _drift(stretch)
            begin += len(stretch)
        else:
            begin += 1


def _without_slips(moves: Sequence[ScoredMove]) -> Sequence[ScoredMove]:
    """The moves before the first slip."""
    return moves[: next((place for place, move in enumerate(moves) if move.is_slip), len(moves))]


def _lowest(moves: Sequence[ScoredMove]) -> int:
    """How many of the moves lead to the lowest score; the fewest if there are several ways to count."""
    scores = [move.compared.played.in_practice for move in moves]
    return scores.index(min(scores)) + 1 if scores else 0


def _fall(moves: Sequence[ScoredMove]) -> float:
    return round(moves[0].compared.best.in_practice - moves[-1].compared.played.in_practice, 6)


def _drift(moves: Sequence[ScoredMove]) -> Episode:
    half = moves[0].compared.best.in_practice - _fall(moves) / 2
    told = next(move for move in moves if move.compared.played.in_practice <= half)
    slips = tuple(move for move in moves if move.is_slip)
    return Episode(slips, None, told, moves[0], moves[-1], _fall(moves))


def _way_down(moves: Sequence[ScoredMove]) -> Iterator[Episode]:
    """The moves of a lost game from where the player stood best, if the score fell enough from there."""
    best = max(range(len(moves)), key=lambda place: (moves[place].compared.best.in_practice, place))
    way = moves[best:]
    if _fall(way) >= DRIFT:
        yield _drift(way)
