"""Which motif a card is about, and which motif a deck takes up first. The catalogue's order never decides.

A position often shows several motifs. Its card is about the motif that explains the key best (`ranked`). The
scanned games decide (`GameRecords`) where two motifs explain the key equally well, and in which order a deck
takes up the motifs.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field

import chess

from decks.build.relevance import MOVES_IN_TIME, touches
from patterns.lines import Use
from patterns.motifs.findings import Finding

WHITE_POINTS = {"1-0": 1.0, "1/2-1/2": 0.5, "0-1": 0.0}
"""White's points for each result (FIDE Laws of Chess, article 10.1, from memory). Games without a result
count for nothing."""


def ranked(
    board: chess.Board,
    key: chess.Move,
    uses: Iterable[Use],
    findings: Sequence[Finding],
    order: Sequence[str],
) -> list[str]:
    """The motifs of `findings`, with the motif that explains the key best in first place.

    `uses`: what the key and the moves after it use. `findings`: those of the side to move. `order`: motifs,
    those to prefer first. These points decide, each only where the points before it are equal:

    1. First comes a motif that the key itself uses, then a motif that the side's next move uses. This is what
       the student has to see.
    2. A motif whose men or squares the key touches comes before one that is only on the board.
    3. The place in `order`. A motif that is not in it comes after all that are.
    4. The id, so that the same position always makes the same card.
    """
    named: dict[str, int] = {}
    for use in uses:
        named[use.motif] = min(use.ply, named.get(use.motif, use.ply))
    touched = {finding.motif for finding in findings if touches(board, key, finding)}
    places = {motif: place for place, motif in enumerate(order)}

    def rank(motif: str) -> tuple[int, bool, int, str]:
        too_late = MOVES_IN_TIME + 1
        first = min(named.get(motif, too_late), too_late)
        return first, motif not in touched, places.get(motif, len(places)), motif

    return sorted({finding.motif for finding in findings}, key=rank)


@dataclass
class GameRecords:
    """What scanned games say about each motif.

    `sides`: how many sides had the motif, counted once per game and colour. `cost`: how many points the
    opponents of these sides scored below 50 %, summed over the games. A game in which both sides had the
    motif adds nothing, because the two costs cancel out.
    """

    sides: Counter[str] = field(default_factory=Counter)
    cost: dict[str, float] = field(default_factory=dict)

    def add(
        self, result: str, had: Iterable[tuple[str, chess.Color]], students: Collection[chess.Color]
    ) -> None:
        """Add a game. `had`: motifs and the sides that had them. `students`: the sides whose losses count."""
        for motif, side in had:
            self.sides[motif] += 1
            victim = not side
            if victim in students and result in WHITE_POINTS:
                points = WHITE_POINTS[result] if victim == chess.WHITE else 1 - WHITE_POINTS[result]
                self.cost[motif] = self.cost.get(motif, 0.0) + 0.5 - points

    def order(self, motifs: Iterable[str]) -> list[str]:
        """The motifs, each once: the costliest first, then the rarest, then by id.

        Motifs that lose games come first, because they need practice most. The cost is a sum, not an average.
        With an average, a motif could come first that was found only once, in a game lost for another reason.
        If two motifs cost the same, the rarer one comes first, because a motif that is on every second board
        says little about a position. The id comes last, so that the same games always give the same order.
        """
        return sorted(set(motifs), key=lambda motif: (-self.cost.get(motif, 0.0), self.sides[motif], motif))
