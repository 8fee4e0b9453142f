"""A verdict: which side is favoured, and how much.

The strengths carry the meanings of the evaluation NAGs of the PGN standard (section 10):
$10 level, $14/$15 slight, $16/$17 clear (moderate), $18/$19 decisive.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, cast, get_args

Side = Literal["white", "black", "level"]

FACTORS = (
    "material",
    "king-safety",
    "centre",
    "pawn-structure",
    "space",
    "initiative",
    "open-lines",
    "piece-play",
)
"""The factors of the stock-taking, in the order in which a sheet lists them."""

NEVER_A_CAUSE = ("material", "initiative")
"""Factors that are no cause of a loss: it ends in material, and initiative changes with every move."""

STRENGTHS = ("level", "slight", "clear", "decisive")
"""The words for strengths 0 to 3."""


@dataclass(frozen=True, order=True)
class Verdict:
    """A side and a strength: 0 level, 1 slight, 2 clear, 3 decisive. Strength 0 always goes with level."""

    side: Side
    strength: int

    def __post_init__(self) -> None:
        if self.side not in get_args(Side):
            raise ValueError(f"a verdict's side is white, black or level, not {self.side!r}")
        if not 0 <= self.strength < len(STRENGTHS):
            raise ValueError(f"a verdict's strength is 0 to 3, not {self.strength}")
        if (self.side == "level") != (self.strength == 0):
            raise ValueError(f"{self.side} {self.strength}: level has strength 0, a favoured side 1 to 3")

    @classmethod
    def from_signed(cls, signed: int) -> Verdict:
        """The verdict for a signed strength, -3 (decisive for Black) to +3 (decisive for White)."""
        side: Side = "white" if signed > 0 else "black" if signed < 0 else "level"
        return cls(side, abs(signed))

    @classmethod
    def parse(cls, text: str) -> Verdict:
        """Read `level`, `white 2` or `black 1`. The ValueError quotes what is wrong.

        >>> Verdict.parse("white 2")
        Verdict(side='white', strength=2)
        """
        words = text.split()
        if words == ["level"]:
            return LEVEL
        if len(words) == 2 and words[0] in ("white", "black") and words[1] in ("1", "2", "3"):
            return cls(cast(Side, words[0]), int(words[1]))
        raise ValueError(f"{text!r} is not a verdict: write level, or white or black and 1 to 3")

    @property
    def signed(self) -> int:
        """The strength, negative for Black: -3 to +3."""
        return -self.strength if self.side == "black" else self.strength

    def __str__(self) -> str:
        return "level" if self.strength == 0 else f"{self.side} {self.strength}"


LEVEL = Verdict("level", 0)

_STANDINGS = ("level", "slightly better", "better", "winning")
_STANDINGS_BELOW = ("level", "slightly worse", "worse", "lost")


def standing(verdict: Verdict, side: Side) -> str:
    """How a side (white or black) stands by a verdict, in words: from `winning` over `level` to `lost`.

    >>> standing(Verdict("white", 2), "white"), standing(Verdict("white", 3), "black")
    ('better', 'lost')
    """
    return (_STANDINGS if verdict.side == side else _STANDINGS_BELOW)[verdict.strength]


def row_title(row: str) -> str:
    """The name of a factor, or of the overall verdict, in words."""
    return row.replace("-", " ")
