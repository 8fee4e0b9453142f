"""Tags that a check adds or sets anew: `SetUp`; on request, where a card stops asking, what its best moves
achieve, and the verdict by which a ballot is graded."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from decks.asks.catalogue import moves_judged
from decks.cards.cards_file import CardGame
from decks.cards.first_version import is_built_by_the_first_version
from decks.cards.line_end import moves_worth_finding
from decks.cards.tags import card_tags
from decks.tasks.card import Card
from decks.tasks.goal import goal_of_card, why_kept_back, why_no_goal
from decks.tasks.lines import board_after, numbered
from patterns.engines.scores import PositionVerdicts, verdict_from_expected
from patterns.reading.text import counted


@dataclass(frozen=True)
class NewTag:
    """A tag for a card: name, value, and what it changes, in words (empty if that need not be told)."""

    card: CardGame
    name: str
    value: str
    says: str


def setups(cards: Iterable[CardGame]) -> Iterator[NewTag]:
    """`SetUp` for cards that have only a FEN. Other programs read the position only if it is there."""
    for one in cards:
        if one.game.tag("SetUp") is None:
            yield NewTag(one, "SetUp", "1", 'the tag SetUp "1", which a FEN needs')


def trims(cards: Iterable[CardGame], verdicts: Mapping[str, PositionVerdicts]) -> Iterator[NewTag]:
    """`ToFind` for cards that ask for more moves than have to be found. A tag that is there stays."""
    for one in cards:
        card = one.entry.card
        if card.to_find is not None or not moves_judged(card):
            continue
        count = moves_worth_finding(card, verdicts)
        moves = len(card.moves_to_find())
        if count is not None and count < moves:
            yield NewTag(one, "ToFind", str(count), _cut(card, count, moves))


def goals(cards: Iterable[CardGame], verdicts: Mapping[str, PositionVerdicts]) -> Iterator[NewTag]:
    """`Goal` for cards without one."""
    for one in cards:
        card = one.entry.card
        found = verdicts.get(card.board.epd())
        if card.goal is not None or found is None or not moves_judged(card):
            continue
        goal = goal_of_card(card, found)
        if goal is not None:
            yield NewTag(one, "Goal", goal, f"its goal is {goal}")


def untold_goals(
    cards: Iterable[CardGame], verdicts: Mapping[str, PositionVerdicts]
) -> Iterator[tuple[CardGame, str]]:
    """The cards that ask for a move and tell no goal with the question, and why."""
    for one in cards:
        card = one.entry.card
        found = verdicts.get(card.board.epd())
        if found is None or not moves_judged(card):
            continue
        goal, key = card.goal, card.line[0]
        if why := why_kept_back(card.board, goal, key) if goal else why_no_goal(card, found):
            yield one, f"no goal is told: {why}"


def rescaled(
    cards: Iterable[CardGame],
    before: Mapping[str, PositionVerdicts],
    verdicts: Mapping[str, PositionVerdicts],
) -> Iterator[NewTag]:
    """`Factors` for cards that `build` made, if the search is a strength away from their verdict.

    `before`: the verdicts that the deck had; those of the first version tell which cards it made. The scale
    of strengths has changed once, and another engine may judge otherwise. A verdict that is further away is
    the coach's own.
    """
    from patterns.factors.assessment import right_strengths  # array code, imported only when it is needed

    for one in cards:
        card = one.entry.card
        key, found = card.factors.get("verdict"), verdicts.get(card.board.epd())
        if key is None or found is None or not moves_judged(card):
            continue
        stored = before.get(card.board.epd())
        if not card.chosen and not (stored and is_built_by_the_first_version(card, stored)):
            continue
        best = found.moves[found.best].score
        white = best if card.board.turn else 1.0 - best
        now = verdict_from_expected(white)
        if key.signed in right_strengths(white) or abs(now.signed - key.signed) > 1:
            continue
        tags = dict(card_tags(replace(card, factors={**card.factors, "verdict": now})))
        yield NewTag(one, "Factors", tags["Factors"], f"its verdict is {now} instead of {key}, by the search")


def _cut(card: Card, count: int, moves: int) -> str:
    asked = 2 * count - 1
    shown = " ".join(numbered(board_after(card.board, card.line[:asked]), card.line[asked:]))
    return f"asks for {counted(count, 'move')} instead of {moves}; the rest of the line is shown: {shown}"
