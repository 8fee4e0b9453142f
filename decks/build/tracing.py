"""Tracing a player's game: every own move is searched, and where the score fell the episodes are told apart.

Each move gets a cheap comparison with the best one. What slips there, or comes near it, is compared again at
the depth that counts. So is a move after which the score fell although the move seemed good: then the cheap
search has not seen the answer. Then short searches find where each episode showed. All of it goes through an
engine pass, which keeps every search by position and effort: a game is never searched twice, whatever file it
is in.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import Literal

import chess

from decks.build.inquiries import Engines, Inquiries, Inquiry, comparison_of, glance_at
from patterns.causes import Cause, causes_of, changed_between
from patterns.engines.episodes import (
    SHOWN_PLIES,
    SLIP,
    Circumstance,
    Episode,
    ScoredMove,
    circumstances,
    episodes_of,
    shows,
)
from patterns.engines.judging import EngineError
from patterns.engines.scores import Compared
from patterns.lines.recaptures import taken_by
from patterns.reading.clocks import seconds_before, starting_seconds
from patterns.reading.pgn import Game, boards_of, positions

CHEAP_NODES = 20_000
"""Nodes of the first comparison: hundredths of a second for a fast engine."""

NEAR_SLIP = SLIP / 4
"""A move that loses so much in the cheap comparison is compared again. On the engine's own scale and with
slips of .08, 13 of 75 moves of three lost club games slip at 16 plies: all are found by comparing 20 again.
With half a slip 17 are compared, one is missed."""

NEAR_FALL = 0.05
"""A move is also compared again if the next position is worth so much less than was thought of the move: more
than the noise of a search of medium depth. In Bernstein-Capablanca, Moscow 1914, the move that loses is the
best one by 20,000 nodes."""

CONFIRMED_PLIES = 16
"""Plies of the comparison that counts: where our cards rest, and half a second for a move."""

DEEPER_PLIES = 20
"""Plies of the comparison where the score still falls like that: then one of two moves is worse than either
search saw. Of 1,864 moves of 52 lost games it happened in 32, and it costs 3 s a game."""

Side = Literal["white", "black"]
SIDES: tuple[Side, ...] = ("white", "black")

LOST = {"white": "0-1", "black": "1-0"}
"""The result of a game that a side has lost."""


@dataclass(frozen=True)
class Seat:
    """A side of a game whose moves are traced."""

    game: Game
    side: Side

    @property
    def colour(self) -> chess.Color:
        """The side as python-chess has it."""
        return self.side == "white"

    @property
    def name(self) -> str:
        """The player's name, as the game writes it."""
        return self.game.headers.get(self.side.title(), "")

    @property
    def lost(self) -> bool:
        """Whether the side lost the game."""
        return self.game.result == LOST[self.side]

    @property
    def starting_seconds(self) -> float | None:
        """The side's time at the start; None if unknown."""
        first_ply = int(self.game.start.turn != self.colour)
        return starting_seconds(self.game.headers, self.game.clocks, first_ply)

    @property
    def from_the_start(self) -> bool:
        """Whether the game began with the first position of chess."""
        return self.game.start.board_fen() == chess.STARTING_BOARD_FEN

    def moves(self) -> list[OwnMove]:
        """The side's moves, each with the position before it."""
        moves = []
        taken: chess.Square | None = None
        for ply, board, move in positions(self.game):
            if board.turn == self.colour:
                moves.append(OwnMove(ply, board, move, seconds_before(self.game.clocks, ply), taken))
            taken = taken_by(board, move)
        return moves


@dataclass(frozen=True)
class OwnMove:
    """A move to search: its ply (from 0), the board before it, the time left for it in seconds, and where the
    opponent has just taken."""

    ply: int
    board: chess.Board
    move: chess.Move
    seconds: float | None
    taken: chess.Square | None = None


@dataclass(frozen=True)
class TracedEpisode:
    """An episode with all that is told of it. `cause`: None for a drift, whose `factor` is what got worse.

    `showed`: the ply of the first position in which it shows, counted as moves played before it; None if it
    did not show before the next episode or the end. `circumstances`: of the move that it is told by.
    """

    episode: Episode
    cause: Cause | None
    factor: str | None
    showed: int | None
    circumstances: tuple[Circumstance, ...]


@dataclass(frozen=True)
class TracedGame:
    """A side of a game with its slips and episodes, in the order of play."""

    seat: Seat
    moves: tuple[ScoredMove, ...]
    episodes: tuple[TracedEpisode, ...]

    @property
    def slips_apart(self) -> tuple[ScoredMove, ...]:
        """The slips that belong to no episode."""
        within = {slip.ply for one in self.episodes for slip in one.episode.slips}
        return tuple(move for move in self.moves if move.is_slip and move.ply not in within)


@dataclass(frozen=True)
class _Doubted:
    """The moves of a seat after their first comparison."""

    seat: Seat
    moves: tuple[ScoredMove, ...]


@dataclass(frozen=True)
class _Search:
    """Where an episode may have shown. `boards`: from the root on, up to the next episode or the end."""

    ply: int
    boards: Sequence[chess.Board]


def trace(
    seats: Sequence[Seat], engines: Engines, told: Callable[[int, int], None] = lambda done, total: None
) -> Iterator[TracedGame | EngineError]:
    """Trace each seat, in order; the EngineError instead if an engine fails in it.

    `told`: called with the number of moves that are done, and of all moves. The engines work ahead on the
    moves that come next.
    """
    by_seat = [seat.moves() for seat in seats]
    every = [move for moves in by_seat for move in moves]
    cheap = Inquiries[OwnMove, Compared](engines, compared)
    checks = Inquiries[_Doubted, "tuple[ScoredMove, ...]"](engines, checked)
    searches = Inquiries[_Search, "int | None"](engines, showed)
    done = 0
    for seat, moves in zip(seats, by_seat, strict=True):
        scored: list[ScoredMove] = []
        failure: EngineError | None = None
        for move in moves:
            found = cheap.result(move, islice(every, done + 1, None))
            done += 1
            told(done, len(every))
            if isinstance(found, EngineError):
                failure = failure or found
            else:
                scored.append(ScoredMove(move.ply, move.board, move.move, found, move.seconds, move.taken))
        sure = failure or checks.result(_Doubted(seat, tuple(scored)), ())
        yield sure if isinstance(sure, EngineError) else _traced(seat, sure, searches)


def compared(move: OwnMove) -> Inquiry[Compared]:
    """What a move loses: cheaply if it is clear that it does not slip."""
    found = yield from comparison_of(move.board, move.move.uci(), nodes=CHEAP_NODES)
    if found.loss < NEAR_SLIP:
        return found
    return (yield from comparison_of(move.board, move.move.uci(), plies=CONFIRMED_PLIES))


def checked(doubted: _Doubted) -> Inquiry[tuple[ScoredMove, ...]]:
    """The moves, those compared again after which the score fell though they had seemed good.

    If that does not explain it, they are compared still deeper, and the next move as well.

    They are gone through from the last one back: what is found about a move may tell of the one before.
    """
    seat = doubted.seat
    *_, end = boards_of(seat.game)
    later = (yield from glance_at(end, nodes=CHEAP_NODES)).in_practice
    if end.turn != seat.colour:
        later = 1.0 - later
    sure: list[ScoredMove] = []
    for move in reversed(doubted.moves):
        if _fell(move, later):
            move = yield from _again(move, CONFIRMED_PLIES)
        if sure and _fell(move, later):
            move, sure[-1] = (
                (yield from _again(move, DEEPER_PLIES)),
                (yield from _again(sure[-1], DEEPER_PLIES)),
            )
        later = move.compared.best.in_practice
        sure.append(move)
    return tuple(reversed(sure))


def _fell(move: ScoredMove, later: float) -> bool:
    """Whether the next position, worth `later`, is worth less than was thought of the move."""
    return round(move.compared.played.in_practice - later, 6) >= NEAR_FALL


def _again(move: ScoredMove, plies: int) -> Inquiry[ScoredMove]:
    """The move compared again, with so many plies."""
    compared = yield from comparison_of(move.board, move.move.uci(), plies=plies)
    return replace(move, compared=compared)


def showed(search: _Search) -> Inquiry[int | None]:
    """The ply of the first position in which an episode shows; None if it does not."""
    root, *later = search.boards
    at_root = (yield from glance_at(root, plies=SHOWN_PLIES)).in_practice
    for ply, board in enumerate(later, search.ply + 1):
        score = (yield from glance_at(board, plies=SHOWN_PLIES)).in_practice
        if shows(at_root, score if board.turn == root.turn else 1.0 - score):
            return ply
    return None


def _traced(
    seat: Seat, moves: Sequence[ScoredMove], searches: Inquiries[_Search, int | None]
) -> TracedGame | EngineError:
    episodes = episodes_of(moves, seat.lost, seat.from_the_start)
    roots = [one.root for one in episodes if one.root is not None]
    causes = iter(causes_of(roots, [_played_on(seat, moves, root) for root in roots]))
    boards = list(boards_of(seat.game))
    asked = []
    for place, one in enumerate(episodes):
        end = episodes[place + 1].first.ply if place + 1 < len(episodes) else len(boards) - 1
        asked.append(_Search(one.told.ply, boards[one.told.ply : end + 1]))
    traced = []
    for place, one in enumerate(episodes):
        cause = next(causes) if one.root is not None else None
        factor = cause.factor if cause else changed_between(one.first.board, boards[one.last.ply + 1])
        seen: int | EngineError | None = None
        if one.root is not None:
            seen = searches.result(asked[place], asked[place + 1 :])
        if isinstance(seen, EngineError):
            return seen
        around = circumstances(one.told, seat.starting_seconds, seat.from_the_start)
        traced.append(TracedEpisode(one, cause, factor, seen, around))
    return TracedGame(seat, tuple(moves), tuple(traced))


def _played_on(seat: Seat, moves: Sequence[ScoredMove], root: ScoredMove) -> Sequence[chess.Move]:
    """The moves of the game after a root, as far as they show why it was a mistake.

    They end before a move by which the opponent gives something back, and before one by which the player
    slips again.
    """
    lost, end = root.compared.played.in_practice, len(seat.game.moves)
    for move in moves:
        if move.ply <= root.ply:
            continue
        if round(move.compared.best.in_practice - lost, 6) >= NEAR_FALL:
            end = move.ply - 1
            break
        if move.is_slip:
            end = move.ply
            break
    return seat.game.moves[root.ply + 1 : end]
