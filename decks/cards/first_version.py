"""Which cards the first version's `build` made."""

from __future__ import annotations

from decks.tasks.card import Card
from patterns.engines.scores import PositionVerdicts


def is_built_by_the_first_version(card: Card, stored: PositionVerdicts) -> bool:
    """Whether that version made the card. `stored`: the verdicts on its position that come with it.

    Such a card says where it comes from and who checked it, but not why it was chosen; its verdicts have no
    centipawns yet. Once it is judged anew, nothing tells it apart any more.
    """
    measured = any(one.centipawns is not None or one.mate is not None for one in stored.moves.values())
    return bool(card.origin and card.checked and not card.chosen) and not measured
