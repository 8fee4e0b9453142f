"""One sheet, one story: what the motifs say of a position and what the factors say never contradict."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import pytest
from real_positions import positions_in

from patterns.explanation import Explanation, explain_many
from patterns.motifs.findings import Finding

ABOUT_OTHERS = {"bad-bishop", "knight-against-bad-bishop", "blockade", "pawn-lever"}
"""Motifs that may name a pawn that stands firm: a bishop suffers from it, a piece stands ahead of it, a lever
opens a file beside it."""
OTHER = {"White": "black", "Black": "white"}


@cache
def sheets(archive: Path) -> list[Explanation]:
    return explain_many(positions_in(archive / "data" / "pgn")[::3])


def told(sheet: Explanation, pattern: str) -> list[tuple[str, set[str]]]:
    """What is said of a side in these words: the side, and the squares named."""
    text = "; ".join(reason.text for factor in sheet.assessment.factors for reason in factor.stated)
    return [(found[1], set(re.findall(r"\b[a-h][1-8]\b", found[0]))) for found in re.finditer(pattern, text)]


def says_otherwise(finding: Finding, about: str, side: str, squares: set[str]) -> bool:
    if finding.side != OTHER[side]:
        return False
    hit = squares & set(finding.targets)
    if about == "firm":
        return bool(hit) and finding.motif not in ABOUT_OTHERS
    if about == "room":
        return finding.motif == "more-space"
    if about == "free":
        return bool(hit) and finding.motif in ("loose-piece", "trapped-piece")
    return bool(hit) and "wins" in finding.note


@pytest.mark.parametrize(
    ("about", "pattern", "least"),
    [
        ("firm", r"(White|Black)'s pawns? on [^;.]*? stands? firm in the centre", 100),
        ("outpost", r"(White|Black)'s [^;]*? (?:stands on an outpost|stand on outposts)", 20),
        ("room", r"(White|Black) has more room behind the pawns in the centre", 50),
        ("centre", r"(White|Black)'s (?:knight|bishop)s? on [^;.]*? stands? in the centre", 50),
        ("free", r"(White|Black)'s pieces have more useful squares to go to, above all [^;]*", 100),
    ],
)
def test_what_stands_well_is_not_called_weak_by_a_motif(
    chess_archive: Path, about: str, pattern: str, least: int
) -> None:
    seen = 0
    for sheet in sheets(chess_archive):
        for side, squares in told(sheet, pattern):
            seen += 1
            against = [one for one in sheet.findings if says_otherwise(one, about, side, squares)]
            assert not against, (sheet.board.fen(), about, squares, against)
    assert seen > least
