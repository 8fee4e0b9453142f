"""Lookalikes: positions of games where a motif seems to win and one man refutes it.

A matched near miss looks like the motif, and one thing is different. So a candidate has a stroke that would
win something by the motif if one man of theirs had no answer (`patterns.refuted`). Quick searches say that
the stroke loses much, and that the best reply is by this man; it does more than take the man that moved.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice

import chess

from decks.build.candidates import Candidate, Shown
from decks.build.inquiries import Engines, Inquiry, glance_at
from decks.build.new_card import BuiltCard
from decks.build.ranking import LOOSE_PIECE
from decks.build.slips import GLANCE_NODES, WORST_SCORE, loses_much, newest_first, quick_pass
from patterns.catalogue import MOTIFS
from patterns.engines.scores import Evaluation
from patterns.proof.captures import after_move
from patterns.refuted import Refuted, refuted_in

CARDS_PER_LOOKALIKE = 6
"""One new card in so many is a lookalike: a student meets one in four, but not in the first meetings."""

CHUNK = 512
"""Positions in which strokes are looked for together: for a few positions the calls cost most of the time."""


def mixed(
    real: Iterator[BuiltCard], seeming: Callable[[], Iterator[BuiltCard]], wanted: int
) -> Iterator[BuiltCard]:
    """Cards of which one in CARDS_PER_LOOKALIKE only seems, if there are so many; the real ones come first.

    A lookalike is worth nothing to who has not met its motif: `seeming` is asked when the real ones are made.
    """
    share = wanted // CARDS_PER_LOOKALIKE
    yield from islice(real, wanted - share)
    made = 0
    for card in islice(seeming(), share):
        made += 1
        yield card
    yield from islice(real, share - made)


@dataclass(frozen=True)
class _Place:
    """A position, and the strokes that seem to win there, those to prefer first."""

    position: Candidate
    strokes: tuple[Refuted, ...]


def lookalikes(
    games: Iterable[Shown],
    engines: Engines,
    motifs: Sequence[str],
    told: Callable[[], None] = lambda: None,
) -> Iterator[list[Candidate]]:
    """Candidates for lookalikes of these motifs (those to prefer first), in lists as those of `slips`.

    A feature that stands on the board is there all the same, even if a move with it fails: it has none.
    `told`: called whenever answers have come. EngineError if the engine fails on a position.
    """
    claimed = [motif for motif in motifs if not MOTIFS[motif].taken_up]
    places = _places(newest_first(games), claimed) if claimed else iter(())
    return quick_pass(places, engines, _lookalike, told)


def _places(games: Iterable[Shown], motifs: Sequence[str]) -> Iterator[_Place]:
    positions = (
        Candidate(one.game, ply, board, "")
        for one in games
        for ply, board in one.middlegame(range(len(one.game.moves)))
    )

    def rank(stroke: Refuted) -> tuple[bool, int]:
        """A loose piece only says what seems to fall and not why."""
        return stroke.motif == LOOSE_PIECE, motifs.index(stroke.motif)

    while chunk := list(islice(positions, CHUNK)):
        found = refuted_in([position.board for position in chunk], motifs)
        for position, strokes in zip(chunk, found, strict=True):
            if strokes:
                yield _Place(position, tuple(sorted(strokes, key=rank)))


def _lookalike(place: _Place) -> Inquiry[Candidate | None]:
    """The position with the first of its strokes that fails as it should, if there is one."""
    board = place.position.board
    here = yield from glance_at(board, GLANCE_NODES)
    if here.score < WORST_SCORE or not here.line:
        return None
    by_best = yield from glance_at(after_move(board, chess.Move.from_uci(here.line[0])), GLANCE_NODES)
    for stroke in place.strokes:
        by_stroke = yield from glance_at(after_move(board, stroke.move), GLANCE_NODES)
        if loses_much(by_best, by_stroke) and _answers(by_stroke, stroke):
            return replace(place.position, motif=stroke.motif, stroke=stroke.move.uci())
    return None


def _answers(by_stroke: Evaluation, stroke: Refuted) -> bool:
    """Whether the best reply is by the man that refutes the stroke, and does not simply take what moved."""
    if not by_stroke.line:
        return False
    reply = chess.Move.from_uci(by_stroke.line[0])
    return reply.from_square == stroke.by and reply.to_square != stroke.move.to_square
