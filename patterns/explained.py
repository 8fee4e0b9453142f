"""A line with what may explain it, and how much of what it wins each thing explains.

A coach names what decides. So it counts what the line achieves: where it mates, what is about the king; where
it wins men, what is about the men that fall. A fork a move later explains the rook that it wins better than
the pawn that fell on the way.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import chess

from patterns.boards.worth import WORTH
from patterns.catalogue import MOTIFS
from patterns.lines import Line
from patterns.lines.plain_reasons import Taken, taken_by_answer
from patterns.motifs.findings import TakenUp
from patterns.proof.captures import QUEENING, worth_at
from patterns.proof.played_line import OwnMove, Use, own_moves_of, takes_in_the_end

Kind = Literal["overlooked", "let in"]

FIRST, NEXT, THIRD = 1, 2, 3
"""The moves of a side of a line whose motifs can be the cause. Where the motif told was what the first move
does, a coach had named it in 44 of 51 roots; where it was the second or third, in 4 of 21. So the third
counts only by what it explains."""

LOOSE_PIECE = "loose-piece"


@dataclass(frozen=True)
class Explained:
    """A line with what may explain it. `uses`: by the catalogue. `plain`: plainly. `wins`: in pawns."""

    kind: Kind
    line: Line
    uses: Sequence[Use]
    plain: Sequence[Use]
    wins: float

    def made(self, ply: int) -> list[Use]:
        """What this move of ours makes true by the catalogue, the best first.

        The next move explains only a line that wins something, and by what wins it. A feature that stood on
        the board (`Motif.taken_up`) explains only the first move of a line that wins nothing, unless it is a
        pawn that becomes a queen.
        """
        fits = self._fits_first if ply == FIRST else self._fits_next
        return [use for use in self.uses if use.ply == ply and use.shown and fits(use)]

    def plainly(self, ply: int) -> list[Use]:
        """What this move of ours plainly does; that it takes a man only if the line wins one."""
        return [use for use in self.plain if use.ply == ply and (self.wins >= 1 or use.motif != LOOSE_PIECE)]

    def taken(self, ply: int) -> list[Use]:
        """The men that this move plainly takes."""
        return [use for use in self.plain if use.ply == ply and use.motif == LOOSE_PIECE]

    def stood(self, ply: int) -> list[Use]:
        """The features that this move takes up."""
        return [use for use in self.uses if use.ply == ply and MOTIFS[use.motif].taken_up]

    def decides(self, use: Use) -> bool:
        """Whether the use explains at least half of what the line wins."""
        explains = self.explains(use)
        return explains >= 1 and 2 * explains >= self.wins

    def explains(self, use: Use) -> float:
        """How many pawns of what the line wins the use explains: by the men that fall for it.

        These are the man that its move takes, and its targets that the line takes then; or at least what the
        catalogue says that it wins. What such a man has just taken counts against it. A pawn that becomes a
        queen explains what that gains. A mate is explained by what is about the king.
        """
        now, *_ = rest = self._own_moves[use.ply - 1 :]
        targets = {chess.parse_square(target) for target in use.targets}
        if math.isinf(self.wins):
            return math.inf if now.their_king in targets else 0
        if self._queens(use):
            return min(QUEENING, self.wins)
        taken = {now.move.to_square} if now.captures else set()
        men = taken | {one for one in targets - {now.their_king} if takes_in_the_end(rest, one)}
        fallen: float = sum(worth_at(now.before, square) or WORTH[chess.PAWN] for square in men)
        if (lost := self._just_taken(use.ply)) is not None and lost.square in men:
            fallen -= lost.worth
        return max(0, min(max(fallen, use.wins), self.wins))

    def _just_taken(self, ply: int) -> Taken | None:
        """What they have taken with the answer before this move of ours."""
        return taken_by_answer(self._own_moves[ply - 2]) if ply > FIRST else None

    @cached_property
    def _own_moves(self) -> tuple[OwnMove, ...]:
        return own_moves_of(*self.line)

    def _fits_first(self, use: Use) -> bool:
        return not MOTIFS[use.motif].taken_up or self.wins < 1 or self._queens(use)

    def _fits_next(self, use: Use) -> bool:
        motif = MOTIFS[use.motif]
        wins_by_it = not motif.taken_up and (use.wins > 0 or motif.in_line is not None)
        return self.wins >= 1 and (wins_by_it or self._queens(use))

    def _queens(self, use: Use) -> bool:
        ours = self.line[1][::2]
        return TakenUp.ADVANCE in MOTIFS[use.motif].taken_up and any(move.promotion for move in ours)
