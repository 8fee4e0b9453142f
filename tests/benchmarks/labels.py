"""How `uses` agrees with lines that others labelled: `python tests/benchmarks/labels.py FILE.csv`.

The file has columns fen, line, labels: the side to move solves, the line is in UCI with the solver's move
first, labels are words separated by semicolons. Rows fall into two halves by a hash of the FEN: rules are
worked on with the one (`--half working`, the default) and judged on the other, once (`--half judging`).
`--show LABEL` prints the rows where rule and label disagree.
"""

from __future__ import annotations

import argparse
import csv
import hashlib
import sys
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import chess

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))

from patterns.combinations import parse_line, uses_of_many

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
SAME = {"double check": "discovered attack"}
"""Labels that are a case of another: a double check is a discovered check, in every book."""
AIMS = {
    "pin": (0.93, 0.75),
    "fork": (0.95, 0.82),
    "skewer": (0.95, 0.85),
    "discovered attack": (0.95, 0.90),
    "trapped piece": (0.90, 0.85),
    "back rank": (0.95, 0.60),
}
"""Recall and precision to reach, by label."""
HALVES = ("working", "judging")


@dataclass(frozen=True)
class Row:
    """One labelled line."""

    fen: str
    line: str
    labels: frozenset[str]

    @property
    def half(self) -> str:
        return HALVES[hashlib.sha256(self.fen.encode()).digest()[0] & 1]


def read(path: Path) -> list[Row]:
    """The rows of the file; a missing column is an error."""
    with path.open(newline="", encoding="utf-8") as file:
        rows = csv.DictReader(file)
        if missing := {"fen", "line", "labels"} - set(rows.fieldnames or ()):
            raise SystemExit(f"{path}: no column {', '.join(sorted(missing))}")
        return [
            Row(row["fen"], row["line"], frozenset(SAME.get(label, label) for label in labels))
            for row in rows
            for labels in [[label.strip() for label in row["labels"].split(";")]]
        ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("file", type=Path)
    parser.add_argument("--half", choices=[*HALVES, "both"], default="working")
    parser.add_argument("--show", metavar="LABEL", choices=list(MOTIFS), default=None)
    wanted = parser.parse_args()
    rows = [row for row in read(wanted.file) if wanted.half in (row.half, "both")]
    boards = [chess.Board(row.fen) for row in rows]
    lines = [(board, parse_line(board, row.line)) for board, row in zip(boards, rows, strict=True)]
    start = time.perf_counter()
    found = uses_of_many(lines)
    seconds = time.perf_counter() - start
    print(f"{len(rows)} lines ({wanted.half}), {1000 * seconds / max(1, len(rows)):.2f} ms a line")
    print(f"{'label':18} {'labelled':>8} {'found':>6} {'both':>5} {'recall':>7} {'precision':>9}   aim")
    for label, motifs in MOTIFS.items():
        named = [label in row.labels for row in rows]
        ruled = [any(use.motif in motifs for use in every) for every in found]
        both = sum(a and b for a, b in zip(named, ruled, strict=True))
        recall, precision = both / max(1, sum(named)), both / max(1, sum(ruled))
        aim = "{:.2f} / {:.2f}".format(*AIMS[label]) if label in AIMS else ""
        print(f"{label:18} {sum(named):8} {sum(ruled):6} {both:5} {recall:7.2f} {precision:9.2f}   {aim}")
        if label == wanted.show:
            for row, name, rule, every in zip(rows, named, ruled, found, strict=True):
                if name != rule:
                    notes = "; ".join(f"{use.ply}: {use.note}" for use in every if use.motif in motifs)
                    print(f"  {'missed' if name else 'extra '} {row.fen}  {row.line}  {notes}")


if __name__ == "__main__":
    main()
