"""Which motif a card is about, and which motif a deck turns to first; the catalogue's order never decides.

One position often shows several motifs. Its card is about the one that explains the key best (`ranked`).
Where two explain it equally well, and where a deck chooses which motif to turn to, the scanned games decide
(`GameRecords`).
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
"""What a game brought White (FIDE Laws of Chess, article 10.1, from memory); an unfinished one is no loss."""


def ranked(
    board: chess.Board,
    key: chess.Move,
    uses: Iterable[Use],
    findings: Sequence[Finding],
    order: Sequence[str],
) -> list[str]:
    """The motifs of `findings`, the one that explains the key best first.

    `uses`: what the key and the moves that follow it use. `findings`: of the side to move. `order`: motifs,
    those to prefer first. What decides, each point only where those before it are equal:

    1. The motif that the line detector names for the key itself, then one that it names for the side's next
       move: that is what the student has to see.
    2. A motif whose men or squares the key touches, before one that is merely there.
    3. The place in `order`; a motif that is not in it comes after all that are.
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
    """What scanned games show of each motif.

    `sides`: how many sides had it, counted once a game and colour. `cost`: the points that those who had it
    against them lost in these games, compared with even scores. A game in which both sides had it counts for
    both, and so for nothing.
    """

    sides: Counter[str] = field(default_factory=Counter)
    cost: dict[str, float] = field(default_factory=dict)

    def add(
        self, result: str, had: Iterable[tuple[str, chess.Color]], students: Collection[chess.Color]
    ) -> None:
        """Add a game with its result and who `had` which motif; `students`: the sides whose losses count."""
        for motif, side in had:
            self.sides[motif] += 1
            victim = not side
            if victim in students and result in WHITE_POINTS:
                points = WHITE_POINTS[result] if victim == chess.WHITE else 1 - WHITE_POINTS[result]
                self.cost[motif] = self.cost.get(motif, 0.0) + 0.5 - points

    def order(self, motifs: Iterable[str]) -> list[str]:
        """The motifs, each once: the costliest first, then the rarest, then by id.

        What loses games is worth a card first. The cost is a sum and not an average: an average would put a
        motif first that arose once, in a game lost for another reason. Of two motifs that cost as much the
        rarer comes first, since it tells more of a position: one that is on every other board distinguishes
        nothing. The id is the last resort, so that the same games always give the same order.
        """
        return sorted(set(motifs), key=lambda motif: (-self.cost.get(motif, 0.0), self.sides[motif], motif))
