"""The program's own marks in a deck of the first version, which wrote NAGs where they count as the coach's.

It marked the key as good where it was the only move that held, and its refutations as poor moves. In a card
that it made, a mark is the program's if it is what that version wrote for these verdicts, to the letter. A
coach may have written everything else.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from decks.cards.cards_file import CardGame
from decks.cards.first_version import is_built_by_the_first_version
from decks.cards.movetext import Variation
from decks.tasks.lines import numbered
from patterns.engines.scores import PositionVerdicts, quality
from patterns.reading.tokens import Token

GOOD, POOR = "$1", "$2"
"""The marks as that version wrote them; a coach's editor may write ! and ? instead."""

REFUTED_FOR = 3
"""Plies of a refutation that it wrote after the move refuted."""


@dataclass(frozen=True)
class OwnMark:
    """A mark of the program's own: the card, the NAG in its text, and the move with its number."""

    card: CardGame
    token: Token
    move: str


def own_marks(
    text: str, cards: Sequence[CardGame], verdicts: Mapping[str, PositionVerdicts]
) -> list[OwnMark]:
    """The program's own marks in `text`, which holds these cards. `verdicts`: by EPD, as they are stored."""
    marks: list[OwnMark] = []
    for card in cards:
        found = verdicts.get(card.entry.card.board.epd())
        if found is not None and is_built_by_the_first_version(card.entry.card, found):
            marks += _marks(text, card, found)
    return marks


def _marks(text: str, game: CardGame, found: PositionVerdicts) -> Iterator[OwnMark]:
    """The marks in one card."""
    card, (main, variations) = game.entry.card, _parts(game.game.tokens)
    holding = [move for move, one in found.moves.items() if quality(found.moves[found.best], one) == "holds"]
    if tuple(holding) == card.line[:1] and (mark := _mark(text, main, GOOD)):
        yield OwnMark(game, mark, numbered(card.board, card.line)[0])
    for tokens, variation in zip(variations, game.entry.variations, strict=True):
        if _is_refutation(variation, found) and (mark := _mark(text, tokens, POOR)):
            yield OwnMark(game, mark, numbered(card.board, variation.line)[0])


def _parts(tokens: Sequence[Token]) -> tuple[list[Token], list[list[Token]]]:
    """The tokens of the main line, and those of each variation from it that has moves."""
    main, variations, depth = list[Token](), list[list[Token]](), 0
    for token in tokens:
        if token.kind == "open":
            depth += 1
            if depth == 1:
                variations.append([])
                continue
        if token.kind == "close":
            depth -= 1
        (variations[-1] if depth else main).append(token)
    return main, [one for one in variations if any(token.kind == "move" for token in one)]


def _mark(text: str, tokens: Sequence[Token], written: str) -> Token | None:
    """The mark on the first move of a line, if it is written so and nothing else is said of the move."""
    said = [token for token in tokens if token.kind != "number"]
    first = next((at for at, token in enumerate(said) if token.kind == "move"), len(said))
    after = said[first + 1 : first + 3]
    if not after or after[0].kind != "nag" or text[after[0].start : after[0].end] != written:
        return None
    return None if after[1:] and after[1].kind in ("nag", "comment") else after[0]


def _is_refutation(variation: Variation, found: PositionVerdicts) -> bool:
    """Whether the variation is only a move from the card's position and the stored refutation."""
    move, *follows = variation.line
    bare = not variation.ply and not variation.comment and not variation.answer_nags
    return bare and bool(follows) and tuple(follows) == found.moves[move].line[:REFUTED_FOR]
