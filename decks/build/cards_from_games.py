"""Making cards from games: candidates are tested with an engine until there are enough cards.

A candidate becomes a card when its motif decides the move: with best play the side to move stands no worse
than level, only a few moves hold, the first move of each takes the motif up, the best move is not obvious
without the motif, and a natural move fails. The line of moves goes on as long as few moves hold. A capture or
a check alone is too short for a line. The engine's verdicts on every legal move are stored with the card.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from functools import partial

import chess

from decks.asks.catalogue import ASKS
from decks.build.candidates import Candidate
from decks.build.cause import cause_of, why_chosen
from decks.build.choice import Fell
from decks.build.defences import with_defences
from decks.build.difficulty import FIRST_LOOK, tier_of
from decks.build.inquiries import Engines, Inquiry, glance_at, verdicts_on
from decks.build.making import BuildProgress, make_cards
from decks.build.new_card import (
    BuiltCard,
    built_card,
    can_be_trusted,
    line_to_find,
    most_holding,
    new_card,
)
from decks.build.origins import headers_of
from decks.build.relevance import explained_by
from decks.build.slips import GLANCE_NODES, WORST_SCORE
from decks.build.temptation import tempting
from decks.build.variety import Known
from decks.cards.line_end import ended, is_worth_asking
from decks.cards.movetext import Variation
from decks.cards.tags import card_tags
from decks.tasks.lines import is_forcing
from patterns.engines.effort import SETTLED, SURVEY, Effort
from patterns.engines.scores import PositionVerdicts

MOST_VARIATIONS = 2
"""Wrong moves that are written into the card as variations, with their refutations."""


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
    if not candidate.is_slip:
        fell = yield from _no_promise(board, order)
        if fell:
            return fell
    survey = yield from verdicts_on(board, SURVEY)
    most = most_holding(board, survey)
    if len(survey.holding()) > most + 1:
        return Fell.MANY_HOLD
    effort = replace(effort, most_holding=most + 1)
    verdicts = yield from verdicts_on(board, effort)
    if not can_be_trusted(verdicts):
        return Fell.NOT_SETTLED
    cause = cause_of(candidate, verdicts, order)
    if isinstance(cause, Fell):
        return cause
    tempts = tempting(candidate, verdicts)
    if not tempts:
        return Fell.NOTHING_TEMPTS
    line, judged = yield from line_to_find(board, verdicts, effort)
    if len(line) == 1 and is_forcing(board, chess.Move.from_uci(line[0])):
        return Fell.OBVIOUS
    card = new_card(
        verdicts,
        board,
        line,
        () if cause.is_lookalike else (cause.tag,),
        asks,
        lookalike=cause.tag if cause.is_lookalike else None,
        origin=candidate.origin,
        chosen=why_chosen(candidate, cause, verdicts, tempts),
        evidence={cause.tag.motif: cause.squares} if cause.squares else {},
    )
    if any(ASKS[ask].lacks(card, dict(card_tags(card))) for ask in card.asks):
        return Fell.UNSUITED
    by_epd = {one.epd: one for one in judged}
    if not is_worth_asking(card, by_epd):
        return Fell.OBVIOUS
    card = ended(card, by_epd)
    first_look = yield from verdicts_on(board, FIRST_LOOK)
    tier = tier_of(card, verdicts, (first_look, survey))
    if tier is None:
        return Fell.TOO_HARD
    card, defences, known = yield from with_defences(replace(card, tier=tier), by_epd, effort)
    variations = (*_variations(verdicts, tempts), *defences)
    return built_card(card, known, headers_of(candidate.game), today, variations=variations)


def _no_promise(board: chess.Board, order: Sequence[str]) -> Inquiry[Fell | None]:
    """Why a quick search finds no best move that takes up a wanted motif. Most candidates fail here."""
    quick = yield from glance_at(board, GLANCE_NODES)
    if quick.score < WORST_SCORE or not quick.line:
        return Fell.LOST
    promised = explained_by(board, quick.line, order)
    return None if any(motif in order for motif in promised) else Fell.NO_MOTIF


def _variations(verdicts: PositionVerdicts, tempts: Sequence[str]) -> tuple[Variation, ...]:
    """Tempting moves, each with its refutation.

    They have no NAG: a NAG would count as the coach's word, which decides even against later verdicts.
    """
    refuted = [move for move in tempts if verdicts.moves[move].line][:MOST_VARIATIONS]
    return tuple(Variation(0, (move, *verdicts.moves[move].line[:3])) for move in refuted)
