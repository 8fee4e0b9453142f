"""Slips: moves of games that let a motif slip, found by quick searches of fixed nodes, newest games first.

A quick search finds the best move. Then the best move and the move played are compared by two more, each
from the position after the move and each of as many nodes, so that the two scores are alike. Whether it was a
slip indeed is decided later, when every move is judged.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from itertools import islice

import chess

from decks.build.candidates import Candidate, Shown
from decks.build.inquiries import Engines, Inquiries, Inquiry, glance_at
from decks.build.ranking import ranked
from decks.build.relevance import explaining, uses_of_lines
from patterns.engines.judging import EngineError
from patterns.engines.scores import SLIPS_WITHIN

GLANCE_NODES = 20_000
"""Nodes of a quick search: about 20 milliseconds for a fast engine."""

BATCH = 128
"""Positions looked at together. Small, because the newest games may already have enough slips."""

WORST_SCORE = 0.45
"""Expected score that the best move must keep. Below it a card would only teach how to lose more slowly."""


def slips(
    games: Iterable[Shown],
    engines: Engines,
    order: Sequence[str],
    told: Callable[[], None] = lambda: None,
) -> Iterator[list[Candidate]]:
    """The slips of the games, newest games first, a list for each batch of positions; it may be empty.

    A slip is a position that shows a motif which the move played does not use and the best move does, and
    where the move played lost more than `SLIPS_WITHIN`. `order`: motifs, those to prefer first. `told`:
    called whenever answers have come. EngineError if the engine fails on a position.
    """
    seen = _not_used(_newest_first(games))
    while batch := list(islice(seen, BATCH)):
        inquiries = Inquiries[Candidate, Candidate | None](
            engines, partial(_slip, motifs={id(one): unused for one, unused in batch}, order=order)
        )
        positions = [one for one, _ in batch]
        found = []
        for place, position in enumerate(positions):
            slip = inquiries.result(position, iter(positions[place + 1 :]), told)
            if isinstance(slip, EngineError):
                raise slip
            if slip is not None:
                found.append(slip)
        yield found


def by_motif(candidates: Iterable[Candidate]) -> dict[str, list[Candidate]]:
    """The candidates in the same order, by motif."""
    queues: dict[str, list[Candidate]] = {}
    for one in candidates:
        queues.setdefault(one.motif, []).append(one)
    return queues


def _newest_first(games: Iterable[Shown]) -> list[Shown]:
    """The games by date. Of one day, those later in the file are the newer."""
    return sorted(games, key=lambda one: one.date)[::-1]


def _not_used(games: Iterable[Shown]) -> Iterator[tuple[Candidate, frozenset[str]]]:
    """Positions, each with the motifs that it shows and that the move played does not use."""
    for one in games:
        moves = one.game.moves
        here = [(ply, board) for ply, board in one.decisions() if ply < len(moves)]
        lines = [(board, [move.uci() for move in moves[ply:]]) for ply, board in here]
        for (ply, board), uses in zip(here, uses_of_lines(lines), strict=True):
            unused = one.motifs[ply] - {use.motif for use in uses if use.ply == 1}
            if unused:
                yield Candidate(one.game, ply, board, min(unused)), unused


def _slip(
    position: Candidate, motifs: Mapping[int, frozenset[str]], order: Sequence[str]
) -> Inquiry[Candidate | None]:
    """The position as a candidate, if the move played was a slip. `motifs`: by identity, those not used."""
    board, played = position.board, position.played
    here = yield from glance_at(board, GLANCE_NODES)
    if here.score < WORST_SCORE or not here.line or here.line[0] == played:
        return None
    assert played is not None
    by_played = yield from glance_at(_after(board, played), GLANCE_NODES)
    by_best = yield from glance_at(_after(board, here.line[0]), GLANCE_NODES)
    if by_played.score - by_best.score <= SLIPS_WITHIN:
        return None
    (uses,) = uses_of_lines([(board, here.line)])
    uses = explaining(board, here.line, uses)
    motif = next((motif for motif in ranked(uses, order) if motif in motifs[id(position)]), None)
    return None if motif is None else replace(position, motif=motif, is_slip=True)


def _after(board: chess.Board, move: str) -> chess.Board:
    after = board.copy(stack=False)
    after.push_uci(move)
    return after
