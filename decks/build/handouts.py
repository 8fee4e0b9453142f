"""Cards from hand-outs: positions that a coach gave out, each with its solution or without one.

A hand-out is a short game from a set-up position. The position is the candidate. Its main line is the coach's
solution, and stays the card's line, whatever the engine thinks. Where a move of it does not hold, the card
marks it as accepted by the coach, so that `rondeau check` says where the engine disagrees. Without a solution
the engine's line becomes the card's line, if it is certain and few moves hold.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from functools import partial

import chess

from decks.asks.catalogue import ASKS
from decks.build.cards_from_games import (
    MOST_HOLDING,
    WORST_SCORE,
    BuildProgress,
    BuiltCard,
    can_be_trusted,
    line_to_find,
    overall_verdict,
    suggested_asks,
)
from decks.build.inquiries import Engines, Inquiries, Inquiry, verdicts_on
from decks.build.origins import headers_of, origin_of
from decks.build.ranking import ranked
from decks.build.relevance import uses_of_moves
from decks.cards.cards_file import CardEntry
from decks.cards.coach_marks import ACCEPTING
from decks.cards.deck_check import checked_by
from decks.cards.line_end import ended, moves_worth_finding
from decks.cards.tags import card_tags
from decks.tasks.card import Card, MotifTag
from decks.tasks.goal import goal_of
from patterns.detect import find_in
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
    taken: Collection[str] = frozenset(),
    effort: Effort = SETTLED,
    progress: BuildProgress | None = None,
) -> Iterator[BuiltCard]:
    """The cards of hand-outs, in their order. A position that several have makes one card.

    `labels`: the coach's, which mark every card. `motifs`: without a label, a card needs one of these; empty:
    it is about the motif that explains its key best, if there is one. `asks`: empty: those that suit the
    position. `taken`: EPDs that must not be asked about again. The rest as for `build_cards`; the first
    EngineError is raised at the end.
    """
    inquiries = Inquiries[Game, BuiltCard | None](
        engines,
        lambda game: _card_of(game, today, motifs=motifs, labels=labels, asks=asks, effort=effort),
    )
    made, seen, failure = 0, set(taken), None
    for place, game in enumerate(handouts):
        if game.start.epd() in seen:
            continue
        seen.add(game.start.epd())
        told = partial(progress, made, place) if progress is not None else lambda: None
        built = inquiries.result(game, handouts[place + 1 :], told)
        if isinstance(built, EngineError):
            failure = failure or built
        elif built is not None:
            made += 1
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
) -> Inquiry[BuiltCard | None]:
    """The card of a hand-out. None without a wanted motif or certain solution, or if it can't have `asks`."""
    board, solution = game.start, tuple(move.uci() for move in game.moves)
    verdicts = yield from verdicts_on(board, effort)
    named = labels or _motifs(board, verdicts, solution[0] if solution else verdicts.best, motifs)[:1]
    if motifs and not named:
        return None
    if solution:
        line, judged = solution, [verdicts]
        for key in Card("", board.fen(), (), line=line).moves_to_find()[1:]:
            judged.append((yield from verdicts_on(key.board, effort)))
    elif _is_certain(verdicts):
        line, judged = yield from line_to_find(board, verdicts, effort)
    else:
        return None
    overall = overall_verdict(board, verdicts)
    asks = asks or suggested_asks(board, overall)
    card = Card(
        card_id="",
        fen=board.fen(en_passant="legal"),
        asks=asks,
        motifs=tuple(MotifTag(motif, "white" if board.turn == chess.WHITE else "black") for motif in named),
        factors={factor: key for ask in asks for factor, key in ASKS[ask].built_key(overall).items()},
        line=line,
        origin=origin_of(game, 0),
    )
    by_epd = {one.epd: one for one in judged}
    card = _with_its_line(card, by_epd) if solution else ended(card, by_epd)
    if any(ASKS[ask].lacks(card, dict(card_tags(card))) for ask in asks):
        return None
    keys = card.moves_to_find()
    checked = f"{checked_by(keys, by_epd)}, {today.isoformat()}"
    nags = {ply + 1: ACCEPTING[:1] for ply in card.marks}
    entry = CardEntry(replace(card, checked=checked), headers_of(game), nags=nags)
    return BuiltCard(entry, tuple(by_epd[epd] for epd in dict.fromkeys(key.board.epd() for key in keys)))


def _is_certain(verdicts: PositionVerdicts) -> bool:
    """Whether the engine's line may stand for a solution that the coach did not give."""
    is_lost = verdicts.moves[verdicts.best].score < WORST_SCORE
    return can_be_trusted(verdicts) and not is_lost and len(verdicts.holding()) <= MOST_HOLDING


def _with_its_line(card: Card, verdicts: Mapping[str, PositionVerdicts]) -> Card:
    """The card with its goal. It asks for the moves that have to be found, and shows the rest of its line.

    A move that does not hold by the verdicts is marked as the coach's.
    """
    doubted = (key for key in card.moves_to_find() if verdicts[key.board.epd()].quality(key.move) != "holds")
    card = replace(card, marks={key.ply: {key.move: True} for key in doubted})
    count = moves_worth_finding(card, verdicts) or 1
    goal = goal_of(card.board, card.line, verdicts[card.board.epd()])
    return replace(card, to_find=count if 2 * count - 1 < len(card.line) else None, goal=goal)


def _motifs(board: chess.Board, verdicts: PositionVerdicts, key: str, motifs: Collection[str]) -> list[str]:
    """The wanted motifs (empty: all) of the side to move, first the one that explains the key best."""
    findings = [
        finding
        for finding in find_in([board])[0]
        if finding.side == chess.COLOR_NAMES[board.turn] and (not motifs or finding.motif in motifs)
    ]
    (uses,) = uses_of_moves(board, verdicts, [key])
    return ranked(board, chess.Move.from_uci(key), uses, findings, list(motifs))
