"""What was decided on contested moves, as it holds for every student who plays them. Pure.

The coach's last decision on a move stands before the engine's verdict and before a mark in the deck. A second
look of an engine only mends: it counts where the coach has said nothing, and only for the better.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping

from decks.asks.play import ASK
from decks.asks.play_mark import SCORES, StudentMove, judge_move
from decks.memory.answers import Settled
from decks.tasks.card import Card, Grade
from decks.tasks.task import Ruling, Rulings
from patterns.engines.scores import PositionVerdicts, Quality

_QUALITIES: Mapping[Grade, Quality] = {
    "missed": "fails",
    "partly": "slips",
    "helped": "holds",
    "found": "holds",
    "fluent": "holds",
}
"""What a move was, that was decided to deserve this grade."""


class SettledMoves:
    """The decisions on contested moves of all cards. `settled`: in the order of the decisions."""

    def __init__(self, settled: Iterable[Settled]) -> None:
        self._by_card: dict[tuple[str, str], list[Settled]] = {}
        for each in settled:
            if each.ask == ASK.id:
                self._by_card.setdefault((each.deck, each.card_id), []).append(each)

    def on(self, deck: str, card: Card, verdicts: Mapping[str, PositionVerdicts]) -> Rulings:
        """The rulings on a card. `deck`: its uuid. `verdicts`: by EPD."""
        decided: dict[tuple[int, str], Settled] = {}
        for each in self._by_card.get((deck, card.card_id), ()):
            last = _last_move(each)
            by_coach = last in decided and not decided[last].by_engine
            if _still_fits(each, card, last[0]) and not (each.by_engine and by_coach):
                decided[last] = each
        rulings: dict[int, dict[str, Ruling]] = {}
        for key in card.moves_asked() if decided else ():
            known = verdicts.get(key.board.epd())
            for (place, move), each in decided.items():
                if place == key.place and known is not None and move in known.moves:
                    deck_says = judge_move(known, move, None, key.marks)
                    if (quality := _ruled(each, deck_says)) is not None:
                        ruling = Ruling(quality, each.reason, each.time.date())
                        rulings.setdefault(place, {})[move] = ruling
        return rulings


def _last_move(settled: Settled) -> tuple[int, str]:
    """The place of the contested move among the card's moves, and the move (UCI). It ended the answer."""
    moves = json.loads(settled.raw)
    return (len(moves) - 1, str(moves[-1])) if moves else (-1, "")


def _still_fits(settled: Settled, card: Card, place: int) -> bool:
    """Whether the move was played in the card's position, or later in a line that is still the same."""
    return settled.fen == card.fen and (place == 0 or settled.key_version == card.key_version)


def _ruled(settled: Settled, deck_says: StudentMove) -> Quality | None:
    """What a move is by a decision; None if that adds nothing to what the deck says."""
    quality = _QUALITIES[settled.grade]
    if settled.by_engine:
        # After a hint, the grade doesn't tell a move that slips from one that holds.
        mends = SCORES[quality] > SCORES[deck_says.quality]
        return quality if mends and not settled.hints and not deck_says.by_coach else None
    return None if quality == deck_says.quality == "holds" else quality
