"""The card that asks for the move in a position: judged as far as that is worth it, then put together."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

import chess

from decks.asks.catalogue import ASKS, moves_judged
from decks.build.candidates import Candidate
from decks.build.choice import Fell
from decks.build.defences import with_defences
from decks.build.difficulty import FIRST_LOOK, tier_of
from decks.build.inquiries import Inquiry, followed, verdicts_on
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
from decks.tasks.card import Card, MotifTag
from decks.tasks.lines import is_forcing
from patterns.engines.effort import SURVEY, Effort
from patterns.engines.scores import PositionVerdicts

MOST_VARIATIONS = 2
"""Wrong moves that are written into the card as variations, with their refutations."""


@dataclass(frozen=True)
class Judged:
    """The verdicts on a position, of a light search and of `effort` without its aftermath."""

    survey: PositionVerdicts
    verdicts: PositionVerdicts
    effort: Effort


@dataclass(frozen=True)
class Reason:
    """Why a position becomes a card. `chosen`: in words. `tempts`: moves (UCI) that fail, to be shown.

    `lookalike`: the motif that only seems to be there. `evidence`: squares by motif, as a `Card` has them.
    """

    motifs: tuple[MotifTag, ...]
    chosen: str
    tempts: tuple[str, ...] = ()
    lookalike: MotifTag | None = None
    evidence: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


Why = Callable[[PositionVerdicts], Inquiry[Reason | Fell]]
"""Says of the verdicts on a position why it becomes a card, or why it does not."""


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
    verdicts = yield from verdicts_on(board, effort.without_aftermath)
    return Judged(survey, verdicts, effort) if can_be_trusted(verdicts) else Fell.NOT_SETTLED


def play_card(
    candidate: Candidate, found: Judged, why: Why, asks: tuple[str, ...], today: date
) -> Inquiry[BuiltCard | Fell]:
    """The card of a candidate, or why there is none. `asks`: empty: those that suit the position.

    The card is put together twice: from what the rounds found and, since few candidates get so far, again
    with what comes of each move. Then a move that seemed to fail may only slip.
    """
    board, light = candidate.board, found.effort.without_aftermath
    reason = yield from why(found.verdicts)
    if isinstance(reason, Fell):
        return reason
    line, line_verdicts = yield from line_to_find(board, found.verdicts, light)
    one_blow = len(line) == 1 and is_forcing(board, chess.Move.from_uci(line[0]))
    if one_blow or only_takes_back(candidate, found.verdicts):
        return Fell.OBVIOUS
    looks = (yield from verdicts_on(board, FIRST_LOOK)), found.survey
    by_epd = {one.epd: one for one in line_verdicts}
    card = _put_together(candidate, line, by_epd, reason, asks, looks)
    if isinstance(card, Fell):
        return card
    for key in moves_judged(card):
        epd = key.board.epd()
        by_epd[epd] = yield from followed(by_epd[epd], found.effort)
    reason = yield from why(by_epd[board.epd()])
    if isinstance(reason, Fell):
        return reason
    card = _put_together(candidate, line, by_epd, reason, asks, looks)
    if isinstance(card, Fell):
        return card
    card = with_what_follows(card, by_epd)
    card, defences, known = yield from with_defences(card, by_epd, found.effort)
    card, defences = yield from with_main_defence(card, defences, known)
    variations = (*_variations(by_epd[board.epd()], reason.tempts), *defences)
    return built_card(card, known, headers_of(candidate.game), today, variations=variations)


def _put_together(
    candidate: Candidate,
    line: Sequence[str],
    by_epd: Mapping[str, PositionVerdicts],
    reason: Reason,
    asks: tuple[str, ...],
    looks: Sequence[PositionVerdicts],
) -> Card | Fell:
    """The card with its tier, as far as its line asks for moves; or why there is none.

    `by_epd`: the verdicts on the line. `looks`: lighter searches of its first position, the deepest last.
    """
    board = candidate.board
    card = new_card(
        by_epd[board.epd()],
        board,
        line,
        reason.motifs,
        asks,
        origin=candidate.origin,
        chosen=reason.chosen,
        lookalike=reason.lookalike,
        evidence=reason.evidence,
    )
    if any(ASKS[ask].lacks(card, dict(card_tags(card))) for ask in card.asks):
        return Fell.UNSUITED
    if not is_worth_asking(card, by_epd):
        return Fell.OBVIOUS
    card = ended(card, by_epd)
    tier = tier_of(card, by_epd[board.epd()], looks)
    return Fell.TOO_HARD if tier is None else replace(card, tier=tier)


def _variations(verdicts: PositionVerdicts, tempts: Sequence[str]) -> tuple[Variation, ...]:
    """Tempting moves, each with its refutation.

    They have no NAG: a NAG would count as the coach's word, which decides even against later verdicts.
    """
    refuted = [move for move in tempts if verdicts.moves[move].line][:MOST_VARIATIONS]
    return tuple(Variation(0, (move, *verdicts.moves[move].line[:3])) for move in refuted)
