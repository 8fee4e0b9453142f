"""How well `uses` agrees with lines that others labelled: `python tests/benchmarks/labels.py FILE.csv`.

The file has the columns fen, line, labels. The side to move solves. The line is in UCI and starts with the
solver's move. Labels are words separated by semicolons. A hash of the FEN puts each row into one of two
halves: rules are improved with one half (`--half working`, the default) and judged on the other, once
(`--half judging`). `--show LABEL` prints the rows where rule and label disagree.

Only what a line carries out counts. A fork by its last move is still only a threat, and labels usually leave
it out. A label may be wrong: if rule and label disagree, the books decide (see `gold_lines.py`). Labels
that no row has are left out.
"""

from __future__ import annotations

import argparse
import csv
import hashlib
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import chess

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from gold_lines import MOTIFS

from patterns.lines import Use, parse_line, uses_of_many

SAME = {"double check": "discovered attack", "clearance": "line clearing", "interference": "line closing"}
"""Labels with another name here, or a case of another label: a double check is a discovered check."""
AIMS = {
    "pin": (0.93, 0.75),
    "fork": (0.95, 0.82),
    "skewer": (0.95, 0.85),
    "discovered attack": (0.95, 0.90),
    "trapped piece": (0.90, 0.85),
    "back rank": (0.95, 0.60),
}
"""The recall and precision to reach, by label."""
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
    """The rows of the file. A missing column is an error."""
    with path.open(newline="", encoding="utf-8") as file:
        rows = csv.DictReader(file)
        if missing := {"fen", "line", "labels"} - set(rows.fieldnames or ()):
            raise SystemExit(f"{path}: no column {', '.join(sorted(missing))}")
        return [
            Row(row["fen"], row["line"], frozenset(SAME.get(label, label) for label in labels))
            for row in rows
            for labels in [[label.strip() for label in row["labels"].split(";")]]
        ]


def length_of(line: Sequence[chess.Move]) -> int:
    """How many moves of a line are the solver's."""
    return (len(line) + 1) // 2


def is_used(label: str, uses: Sequence[Use], length: int) -> bool:
    """Whether a use matches the label. Forks by the last of `length` moves are left out."""
    return any(use.motif in MOTIFS[label] and (label != "fork" or use.ply != length) for use in uses)


def ratios(right: Sequence[bool], found: Sequence[bool]) -> str:
    """Recall and precision, as columns."""
    both = sum(a and b for a, b in zip(right, found, strict=True))
    return f"{both / max(1, sum(right)):7.2f} {both / max(1, sum(found)):9.2f}"


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
    print(f"{'label':18} {'labelled':>8} {'found':>6} {'recall':>7} {'precision':>9}   aim")
    for label in MOTIFS:
        named = [label in row.labels for row in rows]
        if not any(named):
            continue
        done = [is_used(label, uses, length_of(line)) for uses, (_, line) in zip(found, lines, strict=True)]
        aim = "{:.2f} / {:.2f}".format(*AIMS[label]) if label in AIMS else ""
        print(f"{label:18} {sum(named):8} {sum(done):6} {ratios(named, done)}   {aim}")
        if label == wanted.show:
            for row, name, rule, uses in zip(rows, named, done, found, strict=True):
                if name != rule:
                    notes = "; ".join(f"{use.ply}: {use.note}" for use in uses if use.motif in MOTIFS[label])
                    print(f"  {'missed' if name else 'extra '} {row.fen}  {row.line}  {notes}")


if __name__ == "__main__":
    main()
