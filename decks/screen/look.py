"""How things look: colours, men, marks, and what a terminal can show of them.

Every meaning has its own mark; colours only repeat it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import chess

Role = Literal["actor", "target", "square", "picked"]

PAPER, SLATE, INK = "#d8d2c4", "#7a8794", "#101418"

OKABE_ITO: Mapping[Role, str] = MappingProxyType(
    {"actor": "#56b4e9", "target": "#e69f00", "square": "#009e73", "picked": "#f0e442"}
)
"""Sky blue, orange, bluish green and yellow of the palette of Okabe & Ito (2008) for colour-blind readers."""

STYLE_RULES: Mapping[str, str] = MappingProxyType(
    {
        "light": f"bg:{PAPER} {INK} bold",
        "dark": f"bg:{SLATE} {INK} bold",
        **{role: f"bg:{colour} {INK} bold" for role, colour in OKABE_ITO.items()},
        "title": "bold",
        "grade": "bold underline",
        "chosen": "bold reverse",
        "row": "bold",
        "notice": "bold",
        "key": "bold",
    }
)

_SYMBOLS = dict(zip("KQRBNPkqrbnp", "♔♕♖♗♘♙♚♛♜♝♞♟", strict=True))
_TEXT_STYLE = "\ufe0e"  # keeps a terminal from drawing the black pawn as an emoji


@dataclass(frozen=True)
class Look:
    """What the terminal can show: letters for men, no colours, no characters beyond ASCII."""

    letters: bool = False
    monochrome: bool = False
    ascii_only: bool = False

    def man(self, piece: chess.Piece) -> str:
        """A man, one column wide: a chess symbol, or a letter (capital for White)."""
        symbol = piece.symbol()
        if self.letters or self.ascii_only:
            return symbol
        return _SYMBOLS[symbol] + (_TEXT_STYLE if symbol == "p" else "")

    def brackets(self, role: Role | None) -> tuple[str, str]:
        """The mark of a role, left and right of the man."""
        match role:
            case "actor":
                return "[", "]"
            case "target":
                return ("<", ">") if self.ascii_only else ("‹", "›")
            case "square":
                return "(", ")"
            case "picked":
                return "{", "}"
        return " ", " "

    @property
    def dark_fill(self) -> str:
        """What fills a dark square. Without colours, this alone makes it differ from a light one."""
        return ":" if self.monochrome else " "


def look_for(encoding: str, environment: Mapping[str, str], letters: bool = False) -> Look:
    """The look for a terminal of this encoding and environment (NO_COLOR and TERM as commonly understood)."""
    ascii_only = encoding.lower().replace("-", "").replace("_", "") not in ("utf8", "utf8sig")
    monochrome = bool(environment.get("NO_COLOR")) or environment.get("TERM") in ("dumb", "vt100", "vt220")
    return Look(letters or ascii_only, monochrome, ascii_only)
