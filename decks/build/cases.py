"""What the ledger counts of a traced game: chances taken and let slip, and what was let in. Pure.

A chance is a motif of the player's own that the moves of the game or the engine's line used. It was **taken**
if the move played holds and is the first to use it. It was **let slip** if an episode overlooked it. A motif
of the opponent's was **let in** if an episode let it in. An episode costs what its slips lose. One that names
no motif, such as a drift, is a case without a motif, so that the costs add up. So is one whose motif is only
plain (`Cause.is_plain`): chances taken are not counted so. A motif that is only on the
board is no case: `rondeau scan` counts those.

The cheap comparison of a move says what its line uses, but not what the other moves would have lost. So a
chance that was taken may have been worth less than one that was let slip.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import chess

from decks.build.tracing import TracedEpisode, TracedGame
from patterns.engines.episodes import ScoredMove, circumstances
from patterns.engines.quiet_lines import quiet_line
from patterns.engines.scores import HOLDS_WITHIN
from patterns.lines import uses_of_many
from patterns.lines.recaptures import without_recaptures
from patterns.proof.played_line import Use
from patterns.root_lines import LINE_PLIES

Outcome = Literal["took", "let slip", "let in", "unnamed"]


@dataclass(frozen=True)
class Case:
    """A row of what the ledger counts. `ply`: of the move, from 0. `motif`: None if `unnamed`.

    `cost`: expected score, 0 for a chance that was taken. `phase`: opening, middlegame or endgame. `clock`:
    `time trouble`, `enough time`, or `unknown` without clock times.
    """

    ply: int
    outcome: Outcome
    motif: str | None
    factor: str | None
    cost: float
    phase: str
    clock: str


def cases_of(traced: TracedGame) -> list[Case]:
    """The cases of a traced side, in the order of its moves."""
    lost = [
        _case(traced, one.episode.told, *_named(one), factor=one.factor, cost=one.episode.cost)
        for one in traced.episodes
    ]
    taken = [_case(traced, move, "took", use.motif) for move, use in chances_taken(traced.moves)]
    return sorted([*lost, *taken], key=lambda case: case.ply)


def chances_taken(moves: Sequence[ScoredMove]) -> Iterator[tuple[ScoredMove, Use]]:
    """The moves that hold and use a motif at once, with the use that explains each best.

    If the player's last move used the same motif against one of the same targets, it is the same chance.
    """
    holding = [move for move in moves if move.loss <= HOLDS_WITHIN]
    lines = [_line(move) for move in holding]
    found = uses_of_many([(move.board, line) for move, line in zip(holding, lines, strict=True)])
    before: tuple[int, Use] | None = None
    for move, line, uses in zip(holding, lines, found, strict=True):
        chances = without_recaptures(uses, move.board, line, move.taken)
        use = next((one for one in chances if one.ply == 1), None)
        if use is None:
            continue
        if before is None or before[0] != move.ply - 2 or not _is_same(before[1], use):
            yield move, use
        before = move.ply, use


def _line(move: ScoredMove) -> tuple[chess.Move, ...]:
    line = [chess.Move.from_uci(uci) for uci in move.compared.played.line]
    return quiet_line(move.board, line, LINE_PLIES)


def _is_same(one: Use, other: Use) -> bool:
    return one.motif == other.motif and not {*one.targets}.isdisjoint(other.targets)


def _named(one: TracedEpisode) -> tuple[Outcome, str | None]:
    if one.cause is None or one.cause.use is None or one.cause.is_plain:
        return "unnamed", None
    return "let slip" if one.cause.kind == "overlooked" else "let in", one.cause.use.motif


def _case(
    traced: TracedGame,
    move: ScoredMove,
    outcome: Outcome,
    motif: str | None,
    factor: str | None = None,
    cost: float = 0.0,
) -> Case:
    seat = traced.seat
    around = circumstances(move, seat.starting_seconds, seat.from_the_start)
    phase = next((name for name in ("opening", "endgame") if name in around), "middlegame")
    known = None not in (move.seconds, seat.starting_seconds)
    clock = "time trouble" if "time-trouble" in around else "enough time" if known else "unknown"
    return Case(move.ply, outcome, motif, factor, cost, phase, clock)
