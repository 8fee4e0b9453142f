"""Putting a new card together: the line to find, what the card asks, and the verdicts that it rests on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import chess

from decks.asks.catalogue import ASKS, in_order, moves_judged
from decks.build.inquiries import Inquiry, verdicts_on
from decks.build.relevance import mates_alone
from decks.cards.cards_file import CardEntry
from decks.cards.deck_check import checked_by
from decks.cards.line_end import MOST_IN_A_PLAN, is_plan
from decks.tasks.card import Card, MotifTag
from decks.tasks.lines import is_foreseen
from patterns.engines.effort import Effort
from patterns.engines.scores import GIVES_UP, PositionVerdicts, given_up, verdict_from_expected
from patterns.engines.strength import strong_enough
from patterns.explanation import explain
from patterns.words.verdicts import Verdict

MOST_HOLDING = 3
"""Moves that may hold. With more of them there is little to find."""

MOST_STUDENT_MOVES = 3
"""Moves that one card asks for: as far as club players calculate (common practice, no source)."""


@dataclass(frozen=True)
class BuiltCard:
    """A card ready to be added to a deck, with the verdicts for the positions where the student moves.

    `about`: its motif, or the standing on its ballot: cards of a deck are spread over these.
    """

    entry: CardEntry
    verdicts: tuple[PositionVerdicts, ...]
    about: str = ""


def most_holding(board: chess.Board, verdicts: PositionVerdicts) -> int:
    """How many moves may hold: one more where the best move is part of a plan, which is then the point."""
    return MOST_IN_A_PLAN if is_plan(board, verdicts) else MOST_HOLDING


def nearly_best(survey: PositionVerdicts) -> tuple[str, ...]:
    """The moves (UCI) that a light search cannot tell from the best: they give up little, in centipawns.

    Expected scores are too steep for it. Of 106 positions where in the end few moves held and all others
    clearly failed, 102 had three such moves or fewer; of 148 others 44 had more.
    """
    best = survey.moves[survey.best]
    measured = {move: given_up(best, verdict) for move, verdict in survey.moves.items()}
    return tuple(move for move, many in measured.items() if many is not None and many < GIVES_UP)


def can_be_trusted(verdicts: PositionVerdicts) -> bool:
    """Whether a card may be made: all searches agree, or the engine is weak and the card is unverified."""
    return verdicts.settled or not strong_enough(verdicts.engine, verdicts.least_depth)


def line_to_find(
    board: chess.Board, verdicts: PositionVerdicts, effort: Effort
) -> Inquiry[tuple[tuple[str, ...], list[PositionVerdicts]]]:
    """The main line, up to a student's move, and the verdicts for the positions where the student moves.

    It ends before a reply that one cannot expect, and before a mate beside which another move may mate too.
    """
    line, judged = [verdicts.best], [verdicts]
    board = board.copy(stack=False)
    while len(judged) < MOST_STUDENT_MOVES:
        board.push_uci(line[-1])
        replies = judged[-1].moves[line[-1]].line
        if not replies or board.is_game_over() or not is_foreseen(board, chess.Move.from_uci(replies[0])):
            break
        board.push_uci(replies[0])
        if board.is_game_over():
            break
        following = yield from verdicts_on(board.copy(stack=False), effort)
        if not can_be_trusted(following):
            break
        if len(following.holding()) > MOST_HOLDING or board.legal_moves.count() <= MOST_HOLDING:
            break
        if (following.moves[following.best].mate or 0) > 0 and not mates_alone(following):
            break
        line += [replies[0], following.best]
        judged.append(following)
    return tuple(line), judged


def motif_tag(motif: str, side: chess.Color) -> MotifTag:
    """The tag for a motif from which this side profits."""
    return MotifTag(motif, "white" if side == chess.WHITE else "black")


def new_card(
    verdicts: PositionVerdicts,
    board: chess.Board,
    line: Sequence[str],
    motifs: Sequence[MotifTag],
    asks: tuple[str, ...],
    **parts: Any,
) -> Card:
    """A card without id. `asks`: empty: those that suit the position.

    `verdicts`: on `board`, the position asked about. `parts`: any other parts of a `Card`.
    """
    overall = overall_verdict(board, verdicts)
    asks = asks or suggested_asks(board, overall)
    card = Card(
        card_id="",
        fen=board.fen(en_passant="legal"),
        asks=asks,
        motifs=tuple(motifs),
        factors={factor: key for ask in asks for factor, key in ASKS[ask].built_key(overall).items()},
        line=tuple(line),
        **parts,
    )
    tags = {name: text for ask in asks for name, text in ASKS[ask].built_tags(card).items()}
    return replace(card, own_tags={**card.own_tags, **tags})


def built_card(
    card: Card,
    verdicts: Mapping[str, PositionVerdicts],
    headers: Mapping[str, str],
    today: date,
    **parts: Any,
) -> BuiltCard:
    """The card as it goes into a deck, checked today, with the verdicts on what it asks.

    `verdicts`: by EPD. `parts`: any other parts of a `CardEntry`.
    """
    checked = f"{checked_by(card.moves_asked(), verdicts)}, {today.isoformat()}"
    asked = dict.fromkeys(key.board.epd() for key in moves_judged(card))
    entry = CardEntry(replace(card, checked=checked), headers, **parts)
    tag = card.lookalike or next(iter(card.motifs), None)
    return BuiltCard(entry, tuple(verdicts[epd] for epd in asked), tag.motif if tag else "")


def overall_verdict(board: chess.Board, verdicts: PositionVerdicts) -> Verdict:
    """Who stands better, and how clearly, by the best move."""
    best = verdicts.moves[verdicts.best].score
    return verdict_from_expected(best if board.turn == chess.WHITE else 1.0 - best)


def suggested_asks(board: chess.Board, overall: Verdict) -> tuple[str, ...]:
    """The asks that suit a position, given the engine's verdict on it."""
    explanation = explain(board)
    return in_order(ask.id for ask in ASKS.values() if ask.suggested(explanation, overall))
