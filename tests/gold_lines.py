"""Lines judged by hand: `gold_lines.csv`, and `gold_lines_open.csv` where the rules do not yet agree.

Columns of both: `label` (a key of MOTIFS), `holds` (yes or no: whether the side to move uses it in the line,
according to textbooks), `fen`, `line` (UCI, the solver's move first), `source` (game, event and move, an
opening trap, or composed; games are from memory where it says so), `depth` and `reason`. `depth`: from this
depth up to the deepest examined (18 half-moves or more) Stockfish 15.1 agrees with the first move: it would
play it, or the move costs at most 0.05 of expected score. Blank if it does not agree; then the reason says
so.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

FOLDER = Path(__file__).parent
COLUMNS = ["label", "holds", "fen", "line", "source", "depth", "reason"]

MOTIFS: Mapping[str, frozenset[str]] = {
    "pin": frozenset({"pin-on-file", "pin-on-rank", "pin-on-diagonal"}),
    "fork": frozenset({"fork"}),
    "skewer": frozenset({"skewer"}),
    "discovered attack": frozenset({"discovered-attack"}),
    "trapped piece": frozenset({"trapped-piece"}),
    "back rank": frozenset({"back-rank"}),
    "loose piece": frozenset({"loose-piece"}),
    "decoy": frozenset({"decoy"}),
    "defender taken": frozenset({"removed-defender"}),
    "overloaded defender": frozenset({"overloaded-defender"}),
    "cover sacrifice": frozenset({"cover-sacrifice"}),
    "mating net": frozenset({"mating-net"}),
    "king hunt": frozenset({"king-hunt"}),
    "line closing": frozenset({"line-closing"}),
    "line clearing": frozenset({"line-clearing"}),
    "in-between move": frozenset({"in-between-move"}),
    "exchange sacrifice": frozenset({"exchange-sacrifice"}),
    "threat of mate": frozenset({"threat-of-mate"}),
}
"""The motifs that match each label."""


@dataclass(frozen=True)
class Judged:
    """One judged line."""

    label: str
    holds: bool
    fen: str
    line: str
    source: str
    depth: int | None
    reason: str


def judged_lines() -> list[Judged]:
    """The lines for which the rules agree with the judgement. A malformed row fails here."""
    return _read(FOLDER / "gold_lines.csv")


def open_lines() -> list[Judged]:
    """The lines for which the rules do not yet agree with the judgement."""
    return _read(FOLDER / "gold_lines_open.csv")


def _read(path: Path) -> list[Judged]:
    with path.open(encoding="utf-8", newline="") as file:
        table = csv.DictReader(file, strict=True)
        assert table.fieldnames == COLUMNS, f"{path.name}: the columns are {table.fieldnames}"
        rows = list(table)
    for row in rows:
        assert None not in row and None not in row.values(), f"{path.name}: not {len(COLUMNS)} fields: {row}"
        assert row["label"] in MOTIFS and row["holds"] in ("yes", "no"), f"{path.name}: {row}"
        assert row["source"].strip() and row["reason"].strip(), f"{path.name}: no source or no reason: {row}"
        assert row["depth"] or "Stockfish" in row["reason"], f"{path.name}: why no depth? {row}"
    return [
        Judged(
            row["label"], row["holds"] == "yes", row["fen"], row["line"], row["source"],
            int(row["depth"]) if row["depth"] else None, row["reason"],
        )
        for row in rows
    ]  # fmt: skip
