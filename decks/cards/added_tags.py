"""Tags that a check adds: `SetUp`; on request, where a card stops asking and what its best moves achieve."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from decks.asks.catalogue import moves_judged
from decks.cards.cards_file import CardGame
from decks.cards.line_end import moves_worth_finding
from decks.tasks.card import Card
from decks.tasks.goal import goal_of_card
from decks.tasks.lines import numbered
from patterns.engines.scores import PositionVerdicts
from patterns.reading.text import counted


@dataclass(frozen=True)
class NewTag:
    """A tag for a card that lacks it: name, value, and what it changes, in words."""

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


def _cut(card: Card, count: int, moves: int) -> str:
    shown = " ".join(numbered(card.board, card.line)[2 * count - 1 :])
    return f"asks for {counted(count, 'move')} instead of {moves}; the rest of the line is shown: {shown}"
