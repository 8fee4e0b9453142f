"""Every finding that a motif makes in a position, for both sides, with its squares and its words.

`gold_evidence.csv`, judged by hand like the files in `gold/`, has the columns `motif`, `side`, `fen`,
`actors`, `targets`, `squares` (all of them, a1 first), `note`, and `reason`, which says what the row is
about. The rows of one motif with the same position are all the findings there.
"""

from __future__ import annotations

import csv
from collections import defaultdict
from pathlib import Path

import chess
import pytest

from patterns.catalogue import MOTIFS
from patterns.detect import find_in
from patterns.motifs.findings import Finding, Motif

FILE = Path(__file__).parent / "gold_evidence.csv"
COLUMNS = ["motif", "side", "fen", "actors", "targets", "squares", "note", "reason"]


def judged() -> dict[str, dict[str, list[Finding]]]:
    """The findings to be made, by motif and position (FEN)."""
    found: dict[str, dict[str, list[Finding]]] = defaultdict(lambda: defaultdict(list))
    with FILE.open(encoding="utf-8", newline="") as lines:
        table = csv.DictReader(lines, strict=True)
        assert table.fieldnames == COLUMNS
        for row in table:
            assert row["reason"], f"{FILE.name}:{table.line_num}: no reason"
            found[row["motif"]][row["fen"]].append(
                Finding(
                    row["motif"],
                    "white" if row["side"] == "white" else "black",
                    actors=tuple(row["actors"].split()),
                    targets=tuple(row["targets"].split()),
                    squares=tuple(row["squares"].split()),
                    note=row["note"],
                )
            )
    return found


JUDGED = judged()


def faults(motif: str, as_declared: Motif) -> list[str]:
    """Where the findings differ from the judgement."""
    boards = [chess.Board(fen) for fen in JUDGED[motif]]
    assert all(board.is_valid() for board in boards)
    return [
        f"{board.fen()}\n    should be: {wanted}\n    is:        {found}"
        for board, wanted, found in zip(
            boards, JUDGED[motif].values(), find_in(boards, [as_declared]), strict=True
        )
        if sorted(wanted, key=repr) != sorted(found, key=repr)
    ]


@pytest.mark.parametrize("motif", sorted(JUDGED))
def test_every_finding_is_right(motif: str) -> None:
    wrong = faults(motif, MOTIFS[motif])
    assert not wrong, "\n".join(wrong)
