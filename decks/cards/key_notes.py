"""Doubtful points of a card: where its key, NAGs or factors disagree with the engine or the stock-taking."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

import chess

from decks.asks.catalogue import moves_judged
from decks.cards.cards_file import CardEntry
from decks.cards.pgn_spans import GLYPHS
from decks.tasks.card import Card
from patterns.engines.scores import PositionVerdicts
from patterns.words.verdicts import Verdict

Assess = Callable[[chess.Board], Mapping[str, Verdict]]
"""Takes stock of a position: a verdict for each factor id, and `verdict` for the whole position."""

PRAISE, BLAME = (1, 3), (2, 4)
"""NAGs for good and very good moves, and for poor and very poor moves (PGN standard, section 10)."""

_GLYPH_OF = {nag: glyph for glyph, nag in GLYPHS.items()}


def move_notes(entry: CardEntry, verdicts: Mapping[str, PositionVerdicts]) -> Iterator[str]:
    """Doubtful points about the moves of a card, by the verdicts (by EPD)."""
    for key in moves_judged(entry.card):
        found = verdicts.get(key.board.epd())
        if found is None:
            continue
        if key.ply == 0:
            yield from _nothing_to_find(found)
        yield from _key_notes(key.board, found, key.move)
        yield from _nag_notes(key.board, found, key.move, entry.nags.get(key.ply + 1, ()))
        for variation in entry.variations:
            if variation.ply == key.ply:
                yield from _nag_notes(key.board, found, variation.line[0], variation.nags)


def key_fails(card: Card, verdicts: Mapping[str, PositionVerdicts]) -> bool:
    """Whether a move of the key fails by the verdicts (by EPD), so that the card would teach a mistake."""
    judged = ((verdicts.get(key.board.epd()), key.move) for key in moves_judged(card))
    return any(found is not None and found.quality(move) == "fails" for found, move in judged)


def factor_notes(entry: CardEntry, assess: Assess) -> Iterator[str]:
    """Factors on which the coach's verdict is more than one strength away from the computed one."""
    if not entry.card.factors:
        return
    computed = assess(entry.card.board)
    for factor, coach in entry.card.factors.items():
        own = computed.get(factor)
        if own is not None and abs(coach.signed - own.signed) > 1:
            yield f"the coach's key for {factor} is {coach}, computed: {own}; the coach's key counts"


def _nothing_to_find(found: PositionVerdicts) -> Iterator[str]:
    if len(found.moves) == 1:
        yield "there is only one legal move: nothing to find"
    elif len(found.holding()) == len(found.moves):
        yield "every move holds: nothing to find"


def _key_notes(board: chess.Board, found: PositionVerdicts, key: str) -> Iterator[str]:
    quality = found.quality(key)
    if quality != "holds":
        yield f"the key {numbered(board, key)} {quality}: {_loss(board, found, key)}"


def _nag_notes(
    board: chess.Board, found: PositionVerdicts, move: str, nags: tuple[int, ...]
) -> Iterator[str]:
    quality = found.quality(move)
    for nag in nags:
        if (nag in PRAISE and quality == "fails") or (nag in BLAME and quality == "holds"):
            loss = "it loses nothing" if found.loss(move) < 0.005 else _loss(board, found, move)
            yield f"the coach marks {numbered(board, move)} with {_GLYPH_OF[nag]}, but it {quality}: {loss}"


def _loss(board: chess.Board, found: PositionVerdicts, move: str) -> str:
    best = board.san(chess.Move.from_uci(found.best))
    return f"it loses {found.loss(move):.2f} against {best}".replace(" 0.", " .")


def numbered(board: chess.Board, move: str) -> str:
    """A move (UCI) as it is written with its number.

    >>> numbered(chess.Board(), "g1f3")
    '1. Nf3'
    """
    dots = "." if board.turn == chess.WHITE else "..."
    return f"{board.fullmove_number}{dots} {board.san(chess.Move.from_uci(move))}"
