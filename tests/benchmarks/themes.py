"""How well motifs agree with published themes: `python tests/benchmarks/themes.py FILE.epd`.

The file holds positions in EPD, each with its best move (`bm`) and an `id` that ends in the name of a theme
and a number, as in the Strategic Test Suite of D. Corbit and S. Natarajan ("STS(v9.0) Advancement of a/b/c
pawns.001"). A position counts for a theme if the side to move has one of the theme's motifs before or after
its best move. The share of a theme's positions that count is compared with the share in all other themes.

A theme's motifs are those that a book would name under its heading. They are not chosen by their figures.
"""

from __future__ import annotations

import argparse
import re
from pathlib import Path

import chess

from patterns.catalogue import MOTIFS
from patterns.detect import find_in

THEMES = {
    "Undermine": ("pawn-lever", "base-of-the-chain", "removed-defender"),
    "Open Files and Diagonals": (
        "open-file", "heavy-pieces-at-the-king", "battery", "fianchetto", "pin-on-file", "pin-on-diagonal",
    ),
    "Knight Outposts": ("outpost", "weak-square", "blockade"),
    "Bishop vs Knight": ("bad-bishop", "bishop-pair", "sidelined-knight", "knight-against-bad-bishop"),
    "Square Vacancy": (),
    "AKPC": ("pawn-storm", "minority-attack", "wing-majority", "pawn-lever"),
    "Advancement of a/b/c pawns": (
        "minority-attack", "wing-majority", "pawn-lever", "pawn-storm", "passed-pawn", "base-of-the-chain",
    ),
    "Center Control": ("pawn-lever", "isolani-play", "outpost", "blockade", "hanging-pawns"),
    "Pawn Play in the Center": (
        "pawn-lever", "isolani-play", "passed-pawn", "base-of-the-chain", "hanging-pawns",
    ),
    "7th Rank": ("seventh-rank",),
}  # fmt: skip
