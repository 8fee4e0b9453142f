"""The card that asks for the move in a position: judged as far as that is worth it, then put together."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import chess

from decks.asks.catalogue import ASKS
from decks.build.candidates import Candidate
from decks.build.choice import Fell
from decks.build.defences import with_defences
from decks.build.difficulty import FIRST_LOOK, tier_of
from decks.build.inquiries import Inquiry, verdicts_on
from decks.build.main_defence import with_main_defence
from decks.build.new_card import (
    BuiltCard,
    built_card,
    can_be_trusted,
    line_to_find,
    most_holding,
    nearly_best,
    new_card,
)
from decks.build.origins import headers_of
from decks.build.temptation import only_takes_back
from decks.cards.line_end import ended, is_worth_asking, takes_what_hangs, with_what_follows
from decks.cards.movetext import Variation
from decks.cards.tags import card_tags
from decks.tasks.card import MotifTag
from decks.tasks.lines import is_forcing
from patterns.engines.effort import SURVEY, Effort
from patterns.engines.scores import PositionVerdicts

MOST_VARIATIONS = 2
"""Wrong moves that are written into the card as variations, with their refutations."""


@dataclass(frozen=True)
class Judged:
    """The verdicts on a position, of a light search and of a whole one with `effort`."""

    survey: PositionVerdicts
    verdicts: PositionVerdicts
    effort: Effort


def judged(
    board: chess.Board,
    effort: Effort,
    promises: Callable[[PositionVerdicts], Inquiry[object]] | None = None,
) -> Inquiry[Judged | Fell]:
    """The verdicts on a position that may become a card, or why it cannot.

    A light search comes first. The whole one is not made where it cannot tell many moves from the best, where
    the best takes what hangs, or where `promises` says of its verdicts why there will be no card.
    """
    survey = yield from verdicts_on(board, SURVEY)
    most = most_holding(board, survey)
    if len(nearly_best(survey)) > most:
        return Fell.MANY_HOLD
    if takes_what_hangs(board, survey.best):
        return Fell.OBVIOUS
    if promises is not None:
        promise = yield from promises(survey)
        if isinstance(promise, Fell):
            return promise
    effort = replace(effort, most_holding=most + 1)
    verdicts = yield from verdicts_on(board, effort)
    return Judged(survey, verdicts, effort) if can_be_trusted(verdicts) else Fell.NOT_SETTLED


def play_card(
    candidate: Candidate,
    found: Judged,
    motifs: Sequence[MotifTag],
    asks: tuple[str, ...],
    today: date,
    *,
    tempts: Sequence[str] = (),
    **parts: Any,
) -> Inquiry[BuiltCard | Fell]:
    """The card of a candidate, or why there is none. `asks`: empty: those that suit the position.

    `tempts`: moves that fail, to be shown. `parts`: any other parts of a `Card`.
    """
    board = candidate.board
    line, verdicts = yield from line_to_find(board, found.verdicts, found.effort)
    one_blow = len(line) == 1 and is_forcing(board, chess.Move.from_uci(line[0]))
    if one_blow or only_takes_back(candidate, found.verdicts):
        return Fell.OBVIOUS
    card = new_card(found.verdicts, board, line, motifs, asks, origin=candidate.origin, **parts)
    if any(ASKS[ask].lacks(card, dict(card_tags(card))) for ask in card.asks):
        return Fell.UNSUITED
    by_epd = {one.epd: one for one in verdicts}
    if not is_worth_asking(card, by_epd):
        return Fell.OBVIOUS
    card = ended(card, by_epd)
    first_look = yield from verdicts_on(board, FIRST_LOOK)
    tier = tier_of(card, found.verdicts, (first_look, found.survey))
    if tier is None:
        return Fell.TOO_HARD
    card = with_what_follows(replace(card, tier=tier), by_epd)
    card, defences, known = yield from with_defences(card, by_epd, found.effort)
    card, defences = yield from with_main_defence(card, defences, known)
    variations = (*_variations(found.verdicts, tempts), *defences)
    return built_card(card, known, headers_of(candidate.game), today, variations=variations)


def _variations(verdicts: PositionVerdicts, tempts: Sequence[str]) -> tuple[Variation, ...]:
    """Tempting moves, each with its refutation.

    They have no NAG: a NAG would count as the coach's word, which decides even against later verdicts.
    """
    refuted = [move for move in tempts if verdicts.moves[move].line][:MOST_VARIATIONS]
    return tuple(Variation(0, (move, *verdicts.moves[move].line[:3])) for move in refuted)
