"""The rounds of a search: every move to a small depth, then fewer and fewer moves deeper.

Losses are compared inside one round only, because scores of different depths differ for other reasons than
the moves. A move that a shallow round left out gets a second look: one deeper search over all such moves
shows that even the best of them is far from the best move, or takes it into the last round.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Protocol

import chess
from chess.engine import Score

from patterns.engines.effort import Round, Search
from patterns.engines.quiet_lines import loses_outright
from patterns.engines.scores import (
    CLEARLY,
    CLEARLY_GIVES_UP,
    SLIPS_WITHIN,
    WON_FROM,
    MoveVerdict,
    clearly_fails_to_hold,
    given_up,
    on_second_scale,
    overdraft,
)
from patterns.engines.uci import Reading

UNSTEADY = 0.20
"""A move whose loss and score both change by more than this from one round to the next stays to the end."""

LAST_ROUNDS = 2
"""How many rounds of each search must agree before a position is settled."""

STEADY = 0.14
"""From each of the last three rounds to the next, a move that holds may change by this much. A search that
changes its mind more has not understood the position: of three settled positions in which an audit
contradicted a grade this shows one, of 18 others one."""

Readings = Mapping[chess.Move, Reading]


class Asker(Protocol):
    """An engine that is asked about the moves of one position."""

    board: chess.Board

    def each(self, moves: Sequence[chess.Move], plies: int) -> dict[chess.Move, Reading]:
        """A reading for each of these moves, from one search if the engine can do that."""
        ...

    def best_of(self, moves: Sequence[chess.Move], plies: int, lines: int) -> dict[chess.Move, Reading]:
        """Readings of the best `lines` of these moves, from one search. Only for engines that can do that."""
        ...


@dataclass(frozen=True)
class Searched:
    """What a search found. `readings`: for every move. `rounds`: those of each round, first to last.

    `complete`: no round was left out.
    """

    readings: Readings
    rounds: tuple[Readings, ...]
    complete: bool = True


def search_in_rounds(
    asker: Asker,
    search: Search,
    moves: Sequence[chess.Move],
    ended: Readings,
    tried: Collection[chess.Move],
    most_holding: int | None = None,
) -> Searched:
    """Search `moves` in the rounds of `search`. `ended`: readings of the moves that end the game.

    `tried`: moves that a person would try. Of a position that cannot settle any more, the last of three or
    more rounds is left out: it takes the most time, and what does not settle is graded with wide borders.
    `most_holding`: if more moves than this hold after the second round, or one that does not hold is nearly
    as good, no more is searched. Later rounds show no more of a position that cannot settle than that.
    """
    latest: dict[chess.Move, Reading] = {}
    rounds: list[Readings] = []
    staying: set[chess.Move] = set()
    candidates = list(moves)
    made = search.rounds[0]
    for one in search.rounds:
        if len(rounds) >= LAST_ROUNDS and one is search.rounds[-1] and not _is_clear(rounds[-1]):
            break
        if rounds:
            candidates = [
                move
                for move in candidates
                if move in staying or _goes_on(asker.board, rounds[-1], move, one, move in tried)
            ]
        found = _round(asker, candidates, one, ended, latest, most_holding is not None)
        staying |= _to_stay(found, rounds[-1] if rounds else None)
        rounds.append(found)
        latest |= found
        made = one
        if len(rounds) == 2 and most_holding is not None and _is_hopeless(found, most_holding):
            worst = min(found.values(), key=_order)
            bounded = {move: _bounded(latest[move], worst) for move in latest if move not in found}
            return Searched({**bounded, **found}, tuple(rounds), complete=False)
    last = replace(search.rounds[-1], plies=made.plies)
    rounds[-1], refused = _with_challengers(asker, last, search.second_look, moves, rounds[-1], latest)
    return Searched({**latest, **refused, **rounds[-1]}, tuple(rounds), made is search.rounds[-1])


def is_settled(searches: Sequence[Searched]) -> bool:
    """Whether all searches agree, in their last two rounds, on which moves hold, with nothing in doubt.

    False if a search has fewer rounds, or left one out.
    """
    if not all(one.complete for one in searches):
        return False
    last = [readings for one in searches for readings in one.rounds[-LAST_ROUNDS:]]
    if len(last) < LAST_ROUNDS * len(searches):
        return False
    final = searches[0].rounds[-1]
    holding = {move for move in final if _overdraft(final, move) <= 1}
    return all(_is_steady(one.rounds[-LAST_ROUNDS - 1 :], holding) for one in searches) and all(
        holding <= readings.keys()
        and all(
            _overdraft(readings, move) <= 1 if move in holding else _clearly_fails(readings, move)
            for move in readings
        )
        for readings in last
    )


def _is_steady(rounds: Sequence[Readings], moves: set[chess.Move]) -> bool:
    return all(
        round(abs(after[move].score - before[move].score), 6) <= STEADY
        for before, after in pairwise(rounds)
        for move in before.keys() & after.keys() & moves
    )


def unclear_moves(searches: Sequence[Searched]) -> set[chess.Move]:
    """The moves that a round after the first of some search had within the border of a slip."""
    return {
        move
        for one in searches
        for readings in one.rounds[1:]
        for move in readings
        if _is_open(readings, move, SLIPS_WITHIN)
    }


def as_verdict(reading: Reading, line: tuple[str, ...] = (), unclear: bool = False) -> MoveVerdict:
    """A reading as a verdict on its move."""
    rank = reading.rank
    return MoveVerdict(reading.score, reading.depth, line, rank.score(), rank.mate(), unclear)


def best_of(readings: Readings) -> chess.Move:
    """The best move. Among equals the first in the mapping."""
    return max(readings, key=lambda move: _order(readings[move]))


def _order(reading: Reading) -> tuple[float, Score]:
    return reading.score, reading.rank


def _round(
    asker: Asker,
    moves: Sequence[chess.Move],
    one: Round,
    ended: Readings,
    latest: Readings,
    only_settled: bool = False,
) -> Readings:
    """The readings of one round. `latest`: what was found for the moves before; empty in the first round.

    The search asks for exact scores of as many moves as seem near the best, and of one more. If even this one
    is near, it asks for more. The moves that remain are no better than the last of those. `only_settled`: it
    asks for no more if the position cannot settle any more.
    """
    if one.exact_within >= 1 or not latest:
        return {**ended, **(asker.each(moves, one.plies) if moves else {})}
    before = {**ended, **{move: latest[move] for move in moves}}
    lines = 1 + sum(_is_open(before, move, one.exact_within) for move in moves)
    while lines < len(moves):
        found = {**ended, **asker.best_of(moves, one.plies, lines)}
        searched = [move for move in moves if move in found]
        if len(searched) < lines:  # fewer than asked for
            break
        bound = min((found[move] for move in searched), key=_order)
        is_far = not _near(found[best_of(found)], bound, one.exact_within)
        if is_far or (only_settled and not _is_clear(found)):
            others = {move: _bounded(latest[move], bound) for move in moves if move not in found}
            return {**found, **others}
        lines *= 2
    return {**ended, **(asker.each(moves, one.plies) if moves else {})}


def _is_hopeless(readings: Readings, most_holding: int) -> bool:
    """Whether more moves hold, or others are so near them that deeper rounds will not tell them apart."""
    best = as_verdict(readings[best_of(readings)])
    others = [as_verdict(readings[move]) for move in readings if _overdraft(readings, move) > 1]
    near = (given_up(best, other) for other in others)
    too_many = len(readings) - len(others) > most_holding
    return too_many or any(many is not None and many < CLEARLY_GIVES_UP / 2 for many in near)


def _goes_on(board: chess.Board, before: Readings, move: chess.Move, one: Round, tried: bool) -> bool:
    if _is_open(before, move, one.tried_within if tried else one.within):
        return True
    return one.keeps_sound and _is_open(before, move, 1.0) and not loses_outright(board, before[move])


def _with_challengers(
    asker: Asker,
    last: Round,
    second_look: int,
    moves: Sequence[chess.Move],
    final: Readings,
    latest: Readings,
) -> tuple[Readings, Readings]:
    """The last round with every move that belongs in it, and readings of the moves that were looked at again.

    If a move that was left out turns out to be near the best, it is searched with the others.
    """
    lines, within = 2, min(last.within, last.exact_within)
    while True:
        best = best_of(final)
        refused = [move for move in moves if move not in final]
        near = [move for move in refused if _near(final[best], latest[move], within)]
        glanced = [move for move in refused if latest[move].depth < second_look]
        looked: Readings = {}
        if glanced and not near:
            asked = [best, *glanced] if best in moves else glanced
            top = asker.best_of(asked, second_look, min(lines, len(asked)))
            compared = top.get(best, final[best])
            rivals = {move: top[move] for move in glanced if move in top}
            near = [move for move in rivals if _near(compared, rivals[move], within)]
            if rivals:
                bound = rivals[best_of(rivals)]
                looked = {move: _bounded(latest[move], bound) for move in glanced}
            lines *= 2
        if not near:
            return final, looked
        ended = {move: reading for move, reading in final.items() if move not in moves}
        taken = [move for move in moves if move in final or move in near]
        final = _round(asker, taken, last, ended, {**latest, **final})


def _bounded(reading: Reading, bound: Reading) -> Reading:
    """What is known of a move that is no better than `bound`, which was searched deeper."""
    score, rank = min(reading.score, bound.score), min(reading.rank, bound.rank)
    return Reading(score, bound.depth, rank, reading.line)


def _to_stay(found: Readings, before: Readings | None) -> set[chess.Move]:
    """The moves that are too near the border, or too unsteady, to be left out of a later round."""
    near = {move for move in found if _is_open(found, move, SLIPS_WITHIN)}
    if before is None:
        return near
    return near | {
        move
        for move in found.keys() & before.keys()
        if abs(found[move].score - before[move].score) > UNSTEADY
        and abs(_loss(found, move) - _loss(before, move)) > UNSTEADY
    }


def _is_open(readings: Readings, move: chess.Move, within: float) -> bool:
    return _near(readings[best_of(readings)], readings[move], within)


def _near(best: Reading, reading: Reading, within: float) -> bool:
    """Whether a move is near enough to the best to be searched on.

    In a won position expected score hardly tells moves apart, so the second scale counts too.
    """
    if best.score - reading.score > within:
        return False
    return best.score < WON_FROM or on_second_scale(as_verdict(best), as_verdict(reading)) <= CLEARLY


def _is_clear(readings: Readings) -> bool:
    """Whether every move either holds or clearly does not."""
    return all(_overdraft(readings, move) <= 1 or _clearly_fails(readings, move) for move in readings)


def _clearly_fails(readings: Readings, move: chess.Move) -> bool:
    return clearly_fails_to_hold(as_verdict(readings[best_of(readings)]), as_verdict(readings[move]))


def _loss(readings: Readings, move: chess.Move) -> float:
    return readings[best_of(readings)].score - readings[move].score


def _overdraft(readings: Readings, move: chess.Move) -> float:
    return overdraft(as_verdict(readings[best_of(readings)]), as_verdict(readings[move]))
