"""Cards from hand-outs: positions that a coach gave out, each with its solution or without one.

A hand-out is a short game from a set-up position. The position is the candidate. Its main line is the coach's
solution, and stays the card's line, whatever the engine thinks. Where a move of it does not hold, the card
marks it as accepted by the coach, so that `rondeau check` says where the engine disagrees. Without a solution
the engine's line becomes the card's line, if it is certain and few moves hold.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from functools import partial

import chess

from decks.asks.catalogue import ASKS
from decks.build.choice import Fell
from decks.build.inquiries import Engines, Inquiries, Inquiry, uses_in, verdicts_on
from decks.build.making import BuildProgress
from decks.build.new_card import (
    MOST_HOLDING,
    BuiltCard,
    built_card,
    can_be_trusted,
    line_to_find,
    motif_tag,
    new_card,
)
from decks.build.origins import headers_of, origin_of
from decks.build.ranking import ranked
from decks.build.relevance import lines_of
from decks.build.slips import WORST_SCORE
from decks.build.variety import Known
from decks.cards.coach_marks import ACCEPTING
from decks.cards.line_end import ended, moves_worth_finding
from decks.cards.tags import card_tags
from decks.tasks.card import Card
from decks.tasks.goal import goal_of
from patterns.engines.effort import SETTLED, Effort
from patterns.engines.judging import EngineError
from patterns.engines.scores import PositionVerdicts
from patterns.reading.pgn import Game

LONGEST = 16
"""Plies of a hand-out's solution: eight moves, more than a club player is asked to find. A longer game from a
set-up position was played on from there, and its positions are candidates like those of other games."""


def is_handout(game: Game) -> bool:
    """Whether a game is a hand-out: short, and not from the usual start."""
    return (
        game.start.fen() != chess.STARTING_FEN
        and len(game.moves) <= LONGEST
        and not game.start.is_game_over()
    )


def handout_cards(
    handouts: Sequence[Game],
    engines: Engines,
    today: date,
    *,
    motifs: Collection[str] = (),
    labels: Sequence[str] = (),
    asks: tuple[str, ...] = (),
    known: Known | None = None,
    effort: Effort = SETTLED,
    fallen: Counter[Fell] | None = None,
    progress: BuildProgress | None = None,
) -> Iterator[BuiltCard]:
    """The cards of hand-outs, in their order. A position that several have makes one card.

    `labels`: the coach's, which mark every card. `motifs`: without a label, a card needs one of these; empty:
    it is about the motif that explains its key best, if there is one. `asks`: empty: those that suit the
    position. The rest as for `build_cards`; the first EngineError is raised at the end.
    """
    inquiries = Inquiries[Game, BuiltCard | Fell](
        engines,
        lambda game: _card_of(game, today, motifs=motifs, labels=labels, asks=asks, effort=effort),
    )
    known = Known() if known is None else known
    fallen = Counter() if fallen is None else fallen
    made, failure = 0, None
    for place, game in enumerate(handouts):
        if known.has(game.start):
            fallen[Fell.KNOWN] += 1
            continue
        told = partial(progress, made, place) if progress is not None else lambda: None
        built = inquiries.result(game, handouts[place + 1 :], told)
        if isinstance(built, EngineError):
            failure = failure or built
        elif isinstance(built, Fell):
            fallen[built] += 1
        else:
            made += 1
            known.add(built.entry.card)
            yield built
    if failure is not None:
        raise failure


def _card_of(
    game: Game,
    today: date,
    *,
    motifs: Collection[str],
    labels: Sequence[str],
    asks: tuple[str, ...],
    effort: Effort,
) -> Inquiry[BuiltCard | Fell]:
    """The card of a hand-out, or why there is none."""
    board, solution = game.start, tuple(move.uci() for move in game.moves)
    verdicts = yield from verdicts_on(board, effort)
    first = solution[0] if solution else verdicts.best
    named = labels or (yield from _motifs(board, verdicts, first, motifs))[:1]
    if motifs and not named:
        return Fell.NO_MOTIF
    if solution:
        line, judged = solution, [verdicts]
        for key in Card("", board.fen(), (), line=line).moves_to_find()[1:]:
            judged.append((yield from verdicts_on(key.board, effort)))
    else:
        fell = uncertain(verdicts)
        if fell:
            return fell
        line, judged = yield from line_to_find(board, verdicts, effort)
    tags = [motif_tag(motif, board.turn) for motif in named]
    card = new_card(verdicts, board, line, tags, asks, origin=origin_of(game, 0))
    by_epd = {one.epd: one for one in judged}
    card = _with_its_line(card, by_epd) if solution else ended(card, by_epd)
    if any(ASKS[ask].lacks(card, dict(card_tags(card))) for ask in card.asks):
        return Fell.UNSUITED
    nags = {ply + 1: ACCEPTING[:1] for ply in card.marks}
    return built_card(card, by_epd, headers_of(game), today, nags=nags)


def uncertain(verdicts: PositionVerdicts) -> Fell | None:
    """Why the engine's line may not stand for a solution that the coach did not give. None if it may."""
    if not can_be_trusted(verdicts):
        return Fell.NOT_SETTLED
    if verdicts.moves[verdicts.best].score < WORST_SCORE:
        return Fell.LOST
    return Fell.MANY_HOLD if len(verdicts.holding()) > MOST_HOLDING else None


def _with_its_line(card: Card, verdicts: Mapping[str, PositionVerdicts]) -> Card:
    """The card with its goal. It asks for the moves that have to be found, and shows the rest of its line.

    A move that does not hold by the verdicts is marked as the coach's.
    """
    doubted = (key for key in card.moves_to_find() if verdicts[key.board.epd()].quality(key.move) != "holds")
    card = replace(card, marks={key.ply: {key.move: True} for key in doubted})
    count = moves_worth_finding(card, verdicts) or 1
    goal = goal_of(card.board, card.line, verdicts[card.board.epd()])
    return replace(card, to_find=count if 2 * count - 1 < len(card.line) else None, goal=goal)


def _motifs(
    board: chess.Board, verdicts: PositionVerdicts, key: str, motifs: Collection[str]
) -> Inquiry[list[str]]:
    """The wanted motifs (empty: all) that the key takes up, first the one that explains it best."""
    (uses,) = yield from uses_in(lines_of(board, verdicts, [key]))
    return ranked((use for use in uses if not motifs or use.motif in motifs), list(motifs))
