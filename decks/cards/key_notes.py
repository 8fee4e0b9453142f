"""Doubtful points of a card: where its key, NAGs or factors disagree with the engine or the stock-taking."""

from __future__ import annotations

from collections.abc import Callable, Container, Iterator, Mapping
from types import MappingProxyType

import chess

from decks.asks.catalogue import moves_judged
from decks.cards.cards_file import CardEntry
from decks.cards.coach_marks import ACCEPTING, ONLY_MOVE, REFUSING, WRITTEN
from decks.tasks.card import GOALS, Card, Goal, KeyMove
from decks.tasks.goal import goal_of, why_no_goal
from decks.tasks.task import Rulings
from decks.tasks.tried import tried
from patterns.engines.scores import PositionVerdicts
from patterns.engines.strength import is_strong
from patterns.reading.text import counted
from patterns.words.verdicts import Verdict
from patterns.words.wording import listed

Assess = Callable[[chess.Board], Mapping[str, Verdict]]
"""Takes stock of a position: a verdict for each factor id, and `verdict` for the whole position."""

ACHIEVED_BY: Mapping[Goal, Container[Goal | None]] = MappingProxyType(
    {
        "mate": {"mate"},
        "win-material": {"mate", "win-material"},
        "win": {"mate", "win-material", "win"},
        "draw": {"draw", "improve"},
        "improve": {*GOALS},
    }
)
"""For each goal that a coach can write, the computed goals with which a student is not misled."""


MOST_NAMED = 3
"""Right moves that a note names. Where there are more, they are not the point of the card."""


def move_notes(entry: CardEntry, verdicts: Mapping[str, PositionVerdicts]) -> Iterator[str]:
    """Doubtful points about the moves of a card, by the verdicts (by EPD)."""
    for key in moves_judged(entry.card):
        found = verdicts.get(key.board.epd())
        if found is None:
            continue
        if key.ply == 0:
            yield from _nothing_to_find(found)
            yield from _goal_notes(entry.card, found)
        nags = _nags(entry, key)
        yield from _unsettled_notes(key, found)
        yield from _key_notes(key, found)
        yield from _nag_notes(key.board, found, key.move, nags)
        for variation in entry.variations:
            if variation.ply == key.ply and key.defence is None:
                yield from _nag_notes(key.board, found, variation.line[0], variation.nags)


def _nags(entry: CardEntry, key: KeyMove) -> tuple[int, ...]:
    """The coach's NAGs on a key move."""
    if key.defence is None:
        return entry.nags.get(key.ply + 1, ())
    begins = key.defence.ply, key.defence.line
    return next(one.answer_nags for one in entry.variations if (one.ply, one.line) == begins)


def ruling_notes(card: Card, verdicts: Mapping[str, PositionVerdicts], rulings: Rulings) -> Iterator[str]:
    """Moves that count as it was decided when students contested them, where the engine disagrees."""
    for key in moves_judged(card) if rulings else ():
        found = verdicts.get(key.board.epd())
        for move, ruling in rulings.get(key.place, {}).items() if found else ():
            assert found is not None
            quality = found.quality(move)
            if quality != ruling.quality:
                loss = _loss(key.board, found, move)
                counts = f"was contested, and since {ruling.day} it {ruling.quality} ({ruling.reason})"
                yield f"{numbered(key.board, move)} {counts}, but by the verdicts it {quality}: {loss}"


def key_fails(card: Card, verdicts: Mapping[str, PositionVerdicts]) -> bool:
    """Whether a move of the key fails by the verdicts (by EPD), so that the card would teach a mistake.

    A move that the coach accepts does not count as failing.
    """
    return any(
        found.quality(key.move) == "fails"
        for key in moves_judged(card)
        if (found := verdicts.get(key.board.epd())) is not None and not key.marks.get(key.move)
    )


def factor_notes(entry: CardEntry, assess: Assess) -> Iterator[str]:
    """Factors on which the coach's verdict is more than one strength away from the computed one."""
    if not entry.card.factors:
        return
    computed = assess(entry.card.board)
    for factor, coach in entry.card.factors.items():
        own = computed.get(factor)
        if own is not None and abs(coach.signed - own.signed) > 1:
            yield f"the coach's key for {factor} is {coach}, computed: {own}; the coach's key counts"


def _goal_notes(card: Card, found: PositionVerdicts) -> Iterator[str]:
    """A goal that tells the student to look for more than the engine finds.

    To win material is right wherever the key wins some: that it wins the game besides misleads nobody.
    """
    if card.goal is None:
        return
    computed = goal_of(card.board, card.line, found)
    wins = tried(card.board, card.line[0], found, card.line).wins.words
    wins_both = card.goal == "win-material" and computed == "win" and wins
    if computed not in ACHIEVED_BY[card.goal] and not wins_both:
        best = f"the engine finds {computed}" if computed else why_no_goal(card, found)
        yield f"the goal is {card.goal}, but {best}"


def _nothing_to_find(found: PositionVerdicts) -> Iterator[str]:
    if len(found.moves) == 1:
        yield "there is only one legal move: nothing to find"
    elif len(found.holding()) == len(found.moves):
        yield "every move holds: nothing to find"


def _unsettled_notes(key: KeyMove, found: PositionVerdicts) -> Iterator[str]:
    measured = any(one.centipawns is not None or one.mate is not None for one in found.moves.values())
    if is_strong(found.engine) and measured and not found.settled:
        place = "in the position" if key.ply == 0 else f"before {numbered(key.board, key.move)}"
        yield f"{place}, the engine is not sure which moves hold"


def _key_notes(key: KeyMove, found: PositionVerdicts) -> Iterator[str]:
    """Notes on a key that does not hold, or that the coach refuses; `_nag_notes` has those it accepts."""
    move, quality, accepted = numbered(key.board, key.move), found.quality(key.move), key.marks.get(key.move)
    if accepted is False:
        yield f"the coach's mark refuses the key {move}: {_what_is_right(key, found)}"
    elif quality != "holds" and not accepted:
        yield f"the key {move} {quality}: {_loss(key.board, found, key.move)}"


def _what_is_right(key: KeyMove, found: PositionVerdicts) -> str:
    """The moves with which the student is right, where the key is none of them."""
    right = [move for move in found.ranked() if key.marks.get(move, found.quality(move) == "holds")]
    named = [_san(key.board, move) for move in right[:MOST_NAMED]]
    more = [counted(len(right) - MOST_NAMED, "other move")] if len(right) > MOST_NAMED else []
    if not named:
        return "no answer is right"
    return f"only {listed([*named, *more])} {'is' if len(right) == 1 else 'are'} right"


def _nag_notes(
    board: chess.Board, found: PositionVerdicts, move: str, nags: tuple[int, ...]
) -> Iterator[str]:
    quality = found.quality(move)
    for nag in nags:
        if nag == ONLY_MOVE and quality == "holds" and len(found.holding()) > 1:
            other = next(one for one in found.holding() if one != move)
            only = f"the coach marks {numbered(board, move)} as the only move"
            yield f"{only}, but {_san(board, other)} holds too"
        if (nag in ACCEPTING and quality != "holds") or (nag in REFUSING and quality == "holds"):
            loss = _loss(board, found, move)
            yield f"the coach marks {numbered(board, move)} with {WRITTEN[nag]}, but it {quality}: {loss}"


def _loss(board: chess.Board, found: PositionVerdicts, move: str) -> str:
    if found.loss(move) < 0.005:
        return "it loses nothing"
    return f"it loses {found.loss(move):.2f} against {_san(board, found.best)}".replace(" 0.", " .")


def numbered(board: chess.Board, move: str) -> str:
    """A move (UCI) as it is written with its number.

    >>> numbered(chess.Board(), "g1f3")
    '1. Nf3'
    """
    dots = "." if board.turn == chess.WHITE else "..."
    return f"{board.fullmove_number}{dots} {_san(board, move)}"


def _san(board: chess.Board, move: str) -> str:
    return board.san(chess.Move.from_uci(move))
