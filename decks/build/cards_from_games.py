"""Making cards from games: candidates are tested with an engine until there are enough cards.

A candidate becomes a card when its motif decides the move: with best play the side to move stands no worse
than level, only a few moves hold, the first move of each takes the motif up, the best line keeps what the
motif promises, the best move is not obvious without the motif, and a natural move fails. The line of moves
goes on as long as few moves hold. A capture or a check alone is too short for a line. The engine's verdicts
on every legal move are stored with the card.

A candidate with a stroke becomes a lookalike: the stroke fails, and the best move does not take up its motif.
All else is as for the other cards, so that nothing but the position tells them apart.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from functools import partial

import chess

from decks.build.candidates import Candidate
from decks.build.cause import Cause, cause_of, why_chosen
from decks.build.choice import Fell
from decks.build.inquiries import Engines, Inquiry, glance_at, uses_in
from decks.build.making import BuildProgress, make_cards
from decks.build.new_card import BuiltCard
from decks.build.play_card import Reason, judged, play_card
from decks.build.relevance import UsesOf, explained_by, pays
from decks.build.slips import GLANCE_NODES, WORST_SCORE
from decks.build.temptation import tempting
from decks.build.variety import Known
from decks.tasks.motif_made import motif_made, refutation
from decks.tasks.task import Task
from patterns.engines.effort import SETTLED, Effort
from patterns.engines.scores import PositionVerdicts
from patterns.lines import uses_of_many


def build_cards(
    stages: Iterable[Mapping[str, Sequence[Candidate]]],
    order: Sequence[str],
    engines: Engines,
    wanted: int,
    today: date,
    *,
    asks: tuple[str, ...] = (),
    known: Known | None = None,
    effort: Effort = SETTLED,
    fallen: Counter[Fell] | None = None,
    progress: BuildProgress | None = None,
    uses_of: UsesOf = uses_of_many,
) -> Iterator[BuiltCard]:
    """Cards about motifs, as `make_cards` makes them. A card is about the motif that explains its key best.

    `asks`: the asks of every card; empty: those that suit the position. `today`: the date of the check.
    `effort`: as for `Judge.judge`. A quick search comes before each judging.
    """
    return make_cards(
        stages,
        order,
        engines,
        wanted,
        partial(card_of, today=today, order=order, asks=asks, effort=effort),
        known=known,
        fallen=fallen,
        progress=progress,
        uses_of=uses_of,
    )


def card_of(
    candidate: Candidate,
    today: date,
    *,
    order: Sequence[str] = (),
    asks: tuple[str, ...] = (),
    effort: Effort = SETTLED,
) -> Inquiry[BuiltCard | Fell]:
    """The card made from one candidate, or why there is none.

    `order`: the wanted motifs, those to prefer first; empty: only the candidate's. The card is about the
    motif that explains its key best. There is no card if that motif is not wanted.
    """
    board, order = candidate.board, order or (candidate.motif,)
    if not candidate.is_slip and candidate.stroke is None:
        fell = yield from _no_promise(board, order)
        if fell:
            return fell
    found = yield from judged(board, effort, partial(_cause, candidate, order=order))
    if isinstance(found, Fell):
        return found
    card = yield from play_card(candidate, found, partial(_reason, candidate, order=order), asks, today)
    return card if isinstance(card, Fell) or _is_told(card) else Fell.NO_MOTIF


def _reason(candidate: Candidate, verdicts: PositionVerdicts, order: Sequence[str]) -> Inquiry[Reason | Fell]:
    """Why the candidate becomes a card: a motif decides, or seems to, and a natural move fails."""
    cause = yield from _cause(candidate, verdicts, order)
    if isinstance(cause, Fell):
        return cause
    tempts = tempting(candidate, verdicts)
    if not tempts:
        return Fell.NOTHING_TEMPTS
    squares = cause.squares(candidate.board)
    return Reason(
        () if cause.refuted_by else (cause.tag,),
        why_chosen(candidate, verdicts, tempts),
        tempts,
        cause.tag if cause.refuted_by else None,
        {cause.tag.motif: squares} if squares else {},
    )


def _cause(candidate: Candidate, verdicts: PositionVerdicts, order: Sequence[str]) -> Inquiry[Cause | Fell]:
    """The motif of a best move that achieves enough for a card, or why there is none."""
    cause = yield from cause_of(candidate, verdicts, order)
    if isinstance(cause, Fell) or pays(candidate.board, verdicts):
        return cause
    return Fell.PAYS_LITTLE


def _is_told(built: BuiltCard) -> bool:
    """Whether the card's lines tell afterwards what it was chosen for."""
    card = replace(built.entry.card, tried=tuple(one.line for one in built.entry.variations if one.ply == 0))
    task = Task("", card, card.asks, {one.epd: one for one in built.verdicts})
    return all(motif_made(task, tag) for tag in card.motifs) and bool(not card.lookalike or refutation(task))


def _no_promise(board: chess.Board, order: Sequence[str]) -> Inquiry[Fell | None]:
    """Why a quick search finds no best move that takes up a wanted motif. Most candidates fail here."""
    quick = yield from glance_at(board, GLANCE_NODES)
    if quick.score < WORST_SCORE or not quick.line:
        return Fell.LOST
    line = (board, quick.line)
    (uses,) = yield from uses_in([line])
    promised = explained_by(line, uses, order)
    return None if any(motif in order for motif in promised) else Fell.NO_MOTIF
