"""Lines where others' labels and the rules disagreed, judged by hand: `gold_lines.csv`.

Columns: `label` (a key of MOTIFS), `labelled` (whether the others gave it: yes, no), `fen`, `line` (UCI, the
solver's move first), `holds` (whether the line uses it, by the textbooks: yes, no) and `reason`. The lines
are from an open set of labelled tactical lines (CC0).
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

FILE = Path(__file__).parent / "gold_lines.csv"

MOTIFS: Mapping[str, frozenset[str]] = {
    "pin": frozenset({"pin-on-file", "pin-on-rank", "pin-on-diagonal"}),
    "fork": frozenset({"fork"}),
    "skewer": frozenset({"skewer"}),
    "discovered attack": frozenset({"discovered-attack"}),
    "trapped piece": frozenset({"trapped-piece"}),
    "back rank": frozenset({"back-rank"}),
    "loose piece": frozenset({"loose-piece"}),
    "defender taken": frozenset({"removed-defender"}),
}
"""The motifs that answer to each label."""


@dataclass(frozen=True)
class Judged:
    """One judged line."""

    label: str
    labelled: bool
    fen: str
    line: str
    holds: bool
    reason: str


def judged_lines() -> list[Judged]:
    """All of them; a row that is not well formed fails here."""
    with FILE.open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines, strict=True))
    for row in rows:
        assert row["label"] in MOTIFS and {row["labelled"], row["holds"]} <= {"yes", "no"}, row
        assert row["reason"].strip(), row
    return [
        Judged(row["label"], row["labelled"] == "yes", row["fen"], row["line"], row["holds"] == "yes",
               row["reason"])
        for row in rows
    ]  # fmt: skip
