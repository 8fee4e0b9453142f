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

from patterns.catalogue import MOTIFS
from patterns.lines import Use

WHITE_POINTS = {"1-0": 1.0, "1/2-1/2": 0.5, "0-1": 0.0}
"""White's points for each result (FIDE Laws of Chess, article 10.1, from memory). Games without a result
count for nothing."""

FORK, KING_HUNT, LOOSE_PIECE = "fork", "king-hunt", "loose-piece"

PINS = tuple(motif for motif in MOTIFS if motif.startswith("pin-on-"))


def ranked(uses: Iterable[Use], order: Sequence[str]) -> list[str]:
    """The motifs that the first move of a line takes up, with the one that explains it best in first place.

    `uses`: what the line uses. `order`: motifs, those to prefer first. These points decide, each only where
    the points before it are equal:

    1. What the move itself makes true (a fork, a pin that holds) comes before a feature that stood on the
       board and is only taken up (a weak square): the feature was there for many moves.
    2. Any other motif comes before a loose piece, which only says what falls and not why.
    3. What the move itself does comes before what it only prepares for the next move. A hunt of the king is
       no more than preparing: what the next move does then says more.
    4. A fork comes after a pin by another man whose pinned man it hits. It is the pin that keeps it there.
    5. The motif that accounts for more men. A fork of king and rook says more than a fork of two pawns.
    6. The place in `order`. A motif that is not in it comes after all that are.
    7. The id, so that the same position always makes the same card.
    """
    first: dict[str, list[Use]] = {}
    for use in uses:
        if use.ply == 1:
            first.setdefault(use.motif, []).append(use)
    places = {motif: place for place, motif in enumerate(order)}
    preparing = {motif for motif, told in first.items() if all(use.prepares for use in told)}
    preparing |= {KING_HUNT} if preparing else set()
    pins = [use for motif in PINS for use in first.get(motif, ())]

    def rank(motif: str) -> tuple[bool, bool, bool, bool, int, int, str]:
        told = first[motif]
        return (
            motif in MOTIFS and bool(MOTIFS[motif].taken_up),
            motif == LOOSE_PIECE,
            motif in preparing,
            motif == FORK and any(_hits_pinned(use, pin) for use in told for pin in pins),
            -max(len({*use.actors, *use.targets}) for use in told),
            places.get(motif, len(places)),
            motif,
        )

    return sorted(first, key=rank)


def _hits_pinned(fork: Use, pin: Use) -> bool:
    """Whether a fork hits the man that another man pins: the nearer one of the pin's targets."""
    (pinner,) = (chess.parse_square(name) for name in pin.actors)
    men = sorted(pin.targets, key=lambda name: chess.square_distance(pinner, chess.parse_square(name)))
    return pin.actors != fork.actors and men[0] in fork.targets


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
