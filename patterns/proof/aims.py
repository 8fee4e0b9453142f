"""What we must reach on a board for a claim to hold: what must be won, where, and by which means."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from patterns.boards.attacks import Owner
from patterns.boards.bitboards import ALL, BIT, EMPTY, LINE, Bitboards, mirror, paired, square_of
from patterns.boards.exchange import Binding, Values
from patterns.boards.legal import Made
from patterns.boards.tables import Table

MATE = 1000
"""What must be won where nothing but mate is enough, in pawns."""


@dataclass(frozen=True)
class Aims(Table):
    """What we must reach on each board, one entry each.

    `needed`: pawns that must still be won; 0 or less if enough has been won. `wanted`: the squares where a
    capture counts. `checks`: how many checks of ours may be tried. `attack`: how many pawns an attack
    on their king that goes on by itself is worth (`patterns.proof.attack`). `pinned`: a man of theirs
    that our man on `pinner` holds on a line, or empty: an exchange leaves out its captures. As an
    answer they are tried.
    """

    needed: Values
    wanted: Bitboards
    checks: Values
    attack: Values
    pinned: Bitboards
    pinner: Bitboards

    @classmethod
    def of(cls, needed: Values, wanted: Bitboards | None = None, checks: Values | None = None) -> Aims:
        """Aims with captures everywhere and without checks, unless they are given. Nothing is pinned."""
        size = len(needed)
        everywhere = np.full(size, ALL) if wanted is None else wanted
        none, nothing = np.zeros(size, dtype=np.int64), np.zeros(size, dtype=np.uint64)
        return cls(needed, everywhere, none if checks is None else checks, none, nothing, nothing)

    def after(self, answers: Made) -> Aims:
        """The aims after their answers: what they took is needed too, and the man that took may be taken.

        Where the answer moved a man on the line of a pin, or onto it, nothing is pinned any more.
        """
        aims, onto = self.take(answers.row), BIT[answers.square ^ 56]
        pinned = aims.pinned
        if pinned.any():
            line = paired(LINE, square_of(aims.pinner) & 63, square_of(pinned) & 63)
            pinned = np.where((line & (onto | BIT[answers.origin ^ 56])) == EMPTY, pinned, EMPTY)
        return replace(aims, needed=aims.needed + answers.gain, wanted=aims.wanted | onto, pinned=pinned)

    def binding(self, as_seen_by: Owner) -> Binding | None:
        """What is pinned, on boards as we or they see them."""
        if not self.pinned.any():
            return None
        pinned, pinner = self.pinned, self.pinner
        if as_seen_by == "them":
            pinned, pinner = mirror(pinned), mirror(pinner)
        return Binding.of(len(self), pinned=pinned, pinner=pinner)
