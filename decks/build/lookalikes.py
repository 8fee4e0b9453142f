"""Lookalikes: positions of games where a motif seems to win and one man refutes it.

A matched near miss looks like the motif, and one thing is different. So a candidate has a stroke that the
motif claims by its geometry, and the man that moves is not simply lost. Quick searches say that the stroke
loses much, but would win more than the best move if the man that refutes it did not move.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice

import chess

from decks.build.candidates import Candidate, Shown
from decks.build.inquiries import Engines, Inquiry, glance_at, verdicts_on
from decks.build.ranking import LOOSE_PIECE
from decks.build.slips import GLANCE_NODES, WORST_SCORE, loses_much, newest_first, quick_pass
from patterns.engines.effort import SURVEY
from patterns.engines.scores import GIVES_UP, Evaluation, MoveVerdict
from patterns.proof.captures import after_move, exchange
from patterns.refuted import refuted

CARDS_PER_LOOKALIKE = 6
"""One new card in so many is a lookalike: a student meets one in four, but not in the first meetings."""

CHUNK = 512
"""Positions in which strokes are looked for together: for a few positions the calls cost most of the time."""


@dataclass(frozen=True)
class _Place:
    """A position, and the strokes that seem to win there, each with its motif."""

    position: Candidate
    strokes: tuple[tuple[chess.Move, str], ...]


def lookalikes(
    games: Iterable[Shown],
    engines: Engines,
    motifs: Sequence[str],
    told: Callable[[], None] = lambda: None,
) -> Iterator[list[Candidate]]:
    """Candidates for lookalikes of these motifs (those to prefer first), in lists as of `slips`.

    `told`: called whenever answers have come. EngineError if the engine fails on a position.
    """
    return quick_pass(_places(newest_first(games), motifs), engines, _lookalike, told)


def _places(games: Iterable[Shown], motifs: Sequence[str]) -> Iterator[_Place]:
    positions = (
        Candidate(one.game, ply, board, "")
        for one in games
        for ply, board in one.middlegame(range(len(one.game.moves)))
    )
    while chunk := list(islice(positions, CHUNK)):
        found = refuted([position.board for position in chunk], motifs)
        for position, claimed in zip(chunk, found, strict=True):
            strokes = tuple(
                (move, _named(claimed[move], motifs))
                for move in claimed
                if exchange(position.board, move) >= 0
            )
            if strokes:
                yield _Place(position, strokes)


def _named(claimed: Sequence[str], motifs: Sequence[str]) -> str:
    """The motif that a stroke is named by. A loose piece only says what seems to fall and not why."""
    return min(claimed, key=lambda motif: (motif == LOOSE_PIECE, motifs.index(motif)))


def _lookalike(place: _Place) -> Inquiry[Candidate | None]:
    """The position with the first stroke that one man refutes, if there is one."""
    board = place.position.board
    here = yield from glance_at(board, GLANCE_NODES)
    if here.score < WORST_SCORE or not here.line:
        return None
    by_best = yield from glance_at(after_move(board, chess.Move.from_uci(here.line[0])), GLANCE_NODES)
    for stroke, motif in place.strokes:
        after = after_move(board, stroke)
        by_stroke = yield from glance_at(after, GLANCE_NODES)
        if not loses_much(by_best, by_stroke) or not by_stroke.line:
            continue
        replies = yield from verdicts_on(after, SURVEY)
        man = by_stroke.line[0][:2]
        others = [verdict for reply, verdict in replies.moves.items() if reply[:2] != man]
        if others and all(_is_better(by_best, verdict) for verdict in others):
            return replace(place.position, motif=motif, stroke=stroke.uci())
    return None


def _is_better(by_best: Evaluation, by_reply: MoveVerdict) -> bool:
    """Whether the stroke with this reply is clearly better than the best move, by the other side's scores."""
    if by_best.centipawns is None or by_reply.centipawns is None:
        return by_reply.score < by_best.score
    return by_best.centipawns - by_reply.centipawns >= GIVES_UP
