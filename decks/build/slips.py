"""Slips: moves of games that let a motif slip, found by quick searches, newest games first.

A quick search finds the best move. Then the best move and the move played are compared by two more, each
from the position after the move and each of as many nodes, so that the two scores are alike. Whether it was a
slip indeed is decided later, when every move is judged.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from itertools import islice
from typing import TypeVar

import chess

from decks.build.candidates import Candidate, Shown
from decks.build.inquiries import Engines, Inquiries, Inquiry, glance_at, uses_in
from decks.build.ranking import ranked
from decks.build.relevance import UsesOf, explaining
from patterns.engines.judging import EngineError
from patterns.engines.scores import GIVES_UP, SLIPS_WITHIN, Evaluation
from patterns.lines import uses_of_many
from patterns.proof.captures import after_move

GLANCE_NODES = 20_000
"""Nodes of a quick search: about 20 milliseconds for a fast engine."""

BATCH = 128
"""Positions looked at together. Small, because the newest games may already have enough slips."""

TOGETHER = 64
"""Slips that become candidates together. With fewer, engines would wait for each other's candidates."""

Place = TypeVar("Place")

NEAR_SLIP = SLIPS_WITHIN / 3
"""Expected score that a slip loses at least from one position to the next. Searches of two positions are not
alike, so this is less than a slip; but where even this is not lost, no third search is worth its time."""

WORST_SCORE = 0.45
"""Expected score that the best move must keep. Below it a card would only teach how to lose more slowly."""


def slips(
    games: Iterable[Shown],
    engines: Engines,
    order: Sequence[str],
    told: Callable[[], None] = lambda: None,
    uses_of: UsesOf = uses_of_many,
) -> Iterator[list[Candidate]]:
    """The slips of the games, newest games first, in lists of at least `TOGETHER`; the last may have fewer.

    The move played lost more than `SLIPS_WITHIN`, and `GIVES_UP` centipawns or more, in a position with a
    motif of the side to move. The best move uses a motif, this or another one, which the move played does not
    use. `order`: the wanted motifs, those to prefer first. `told`: called whenever answers have come.
    EngineError if the engine fails on a position.
    """
    return quick_pass(_places(newest_first(games)), engines, partial(_slip, order=order), told, uses_of)


def quick_pass(
    places: Iterator[Place],
    engines: Engines,
    look: Callable[[Place], Inquiry[Candidate | None]],
    told: Callable[[], None],
    uses_of: UsesOf = uses_of_many,
) -> Iterator[list[Candidate]]:
    """The candidates that quick searches find at these places, in lists as those of `slips`."""
    found: list[Candidate] = []
    while batch := list(islice(places, BATCH)):
        inquiries = Inquiries[Place, Candidate | None](engines, look, ahead=BATCH, uses_of=uses_of)
        for number, place in enumerate(batch, 1):
            candidate = inquiries.result(place, iter(batch[number:]), told)
            if isinstance(candidate, EngineError):
                raise candidate
            if candidate is not None:
                found.append(candidate)
        if len(found) >= TOGETHER:
            yield found
            found = []
    if found:
        yield found


def by_motif(candidates: Iterable[Candidate]) -> dict[str, list[Candidate]]:
    """The candidates in the same order, by motif."""
    queues: dict[str, list[Candidate]] = {}
    for one in candidates:
        queues.setdefault(one.motif, []).append(one)
    return queues


def newest_first(games: Iterable[Shown]) -> list[Shown]:
    """The games by date. Of one day, those later in the file are the newer."""
    return sorted(games, key=lambda one: one.date)[::-1]


def _places(games: Iterable[Shown]) -> Iterator[Candidate]:
    """Positions with a motif of the side to move."""
    for one in games:
        for ply, board in one.middlegame({ply for ply, motifs in one.motifs.items() if motifs}):
            yield Candidate(one.game, ply, board, min(one.motifs[ply]))


def _slip(position: Candidate, order: Sequence[str]) -> Inquiry[Candidate | None]:
    """The position as a candidate, if the move played was a slip."""
    board, played = position.board, position.played
    here = yield from glance_at(board, GLANCE_NODES)
    if here.score < WORST_SCORE or not here.line or here.line[0] == played:
        return None
    assert played is not None
    by_played = yield from glance_at(after_move(board, chess.Move.from_uci(played)), GLANCE_NODES)
    if here.score - (1 - by_played.score) < NEAR_SLIP:
        return None
    by_best = yield from glance_at(after_move(board, chess.Move.from_uci(here.line[0])), GLANCE_NODES)
    if not loses_much(by_best, by_played):
        return None
    by_game, of_best = yield from uses_in([(board, _game_line(position)), (board, here.line)])
    tried = {use.motif for use in by_game if use.ply == 1}
    missed = [use for use in explaining(board, here.line, of_best) if use.motif not in tried]
    motif = next((motif for motif in ranked(missed, order) if motif in order), "")
    return replace(position, motif=motif, is_slip=True) if motif else None


def loses_much(by_best: Evaluation, by_move: Evaluation) -> bool:
    """Whether a move loses much, by the scores of the other side after the best move and after this one."""
    if by_move.score - by_best.score <= SLIPS_WITHIN:
        return False
    if by_move.centipawns is None or by_best.centipawns is None:
        return True
    return by_move.centipawns - by_best.centipawns >= GIVES_UP


def _game_line(position: Candidate) -> list[str]:
    return [move.uci() for move in position.game.moves[position.ply :]]
