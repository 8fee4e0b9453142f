"""What another judging changes: keys that no longer hold, unsettled positions, moves of another quality."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from decks.asks.catalogue import moves_judged
from decks.cards.cards_file import CARDS_FILE, CardGame
from decks.cards.faults import Fault
from decks.cards.key_notes import numbered
from decks.tasks.card import Card, KeyMove
from patterns.engines.scores import PositionVerdicts

Verdicts = Mapping[str, PositionVerdicts]
"""By EPD."""

MOST_NAMED = 6
"""Moves of one position whose change is told singly: what fits on a line or two."""


def changes(cards: Iterable[CardGame], before: Verdicts, after: Verdicts) -> tuple[Fault, ...]:
    """One line for each card for which the verdicts after another judging say something else than before."""
    return tuple(
        Fault(CARDS_FILE, card.game.line, card.entry.card.card_id, "; ".join(told))
        for card in cards
        if (told := list(_changes_of(card.entry.card, before, after)))
    )


def _changes_of(card: Card, before: Verdicts, after: Verdicts) -> Iterator[str]:
    for key in moves_judged(card):
        epd = key.board.epd()
        if epd in before and epd in after and before[epd] != after[epd]:
            yield from _changes_at(key, before[epd], after[epd])


def _changes_at(key: KeyMove, old: PositionVerdicts, new: PositionVerdicts) -> Iterator[str]:
    quality = new.quality(key.move)
    if quality != "holds" and old.quality(key.move) == "holds":
        yield f"the key {numbered(key.board, key.move)} no longer holds: it {quality}"
    if old.settled and not new.settled:
        yield f"the position before {numbered(key.board, key.move)} no longer settles"
    changed = [
        f"{numbered(key.board, move)} {old.quality(move)} -> {new.quality(move)}"
        for move in new.moves
        if old.quality(move) != new.quality(move) and (move != key.move or quality == "holds")
    ]
    more = [f"{len(changed) - MOST_NAMED} more moves"] if len(changed) > MOST_NAMED else []
    if changed:
        yield ", ".join([*changed[:MOST_NAMED], *more])
