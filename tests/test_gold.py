"""Every motif against positions judged by hand: positions that show it, and near misses that do not.

Motifs that live only in lines have judged lines instead (`gold_lines.py`).

The files in `gold/`, one per motif, have the columns `shows` (yes, no), `side` (who would profit), `fen`,
`actors` and `targets` (squares that a finding must name at least; blank if the role does not matter),
`source` and `reason`. If a row is wrong, it is wrong about chess: its reason is the place to argue.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import chess
import pytest

from patterns.catalogue import MOTIFS
from patterns.detect import find_in
from patterns.motifs.findings import Finding

GOLD = Path(__file__).parent / "gold"
FILES = sorted(GOLD.glob("*.csv"))
COLUMNS = ["shows", "side", "fen", "actors", "targets", "source", "reason"]
ROWS, ROWS_A_SIDE = 10, 5
"""The fewest rows per file, and the fewest that show the motif and that do not show it."""


@dataclass(frozen=True)
class Row:
    """One judged position, and its line number in the file."""

    place: str
    shows: bool
    side: str
    board: chess.Board
    actors: frozenset[str]
    targets: frozenset[str]
    source: str
    reason: str

    def fault(self, found: list[Finding]) -> str | None:
        """What is wrong with these findings of the motif, in a few lines. None if they are right."""
        mine = [finding for finding in found if finding.side == self.side]
        if self.shows and not any(
            self.actors <= set(finding.actors) and self.targets <= set(finding.targets) for finding in mine
        ):
            wanted = f"actors {sorted(self.actors)}, targets {sorted(self.targets)}"
            return self._described(f"should be found for {self.side} with {wanted}", mine)
        if not self.shows and mine:
            return self._described(f"should not be found for {self.side}", mine)
        return None

    def _described(self, fault: str, found: list[Finding]) -> str:
        named = "; ".join(f"{each.actors} {each.targets} {each.note}" for each in found) or "nothing"
        lines = (fault, f"found: {named}", self.board.fen(), f"{self.source}: {self.reason}")
        return f"{self.place}: " + "\n    ".join(lines)


def rows(path: Path) -> Iterator[Row]:
    """The judged positions of a file. A malformed row fails here, with file and line."""
    with path.open(encoding="utf-8", newline="") as lines:
        table = csv.DictReader(lines, strict=True)
        assert table.fieldnames == COLUMNS, f"{path.name}: the columns are {table.fieldnames}"
        for line in table:
            place = f"{path.name}:{table.line_num}"
            assert None not in line and None not in line.values(), f"{place}: not {len(COLUMNS)} fields"
            assert line["shows"] in ("yes", "no"), f"{place}: shows is {line['shows']!r}"
            assert line["side"] in ("white", "black"), f"{place}: side is {line['side']!r}"
            assert line["source"].strip() and line["reason"].strip(), f"{place}: no source or no reason"
            board = chess.Board(line["fen"])
            assert board.is_valid(), f"{place}: not a position of chess ({board.status()!r})"
            actors, targets = frozenset(line["actors"].split()), frozenset(line["targets"].split())
            assert actors | targets <= set(chess.SQUARE_NAMES), f"{place}: not a square in {actors | targets}"
            assert line["shows"] == "yes" or not actors | targets, f"{place}: squares of what is not there"
            yield Row(
                place, line["shows"] == "yes", line["side"], board, actors, targets, line["source"],
                line["reason"],
            )  # fmt: skip


def test_every_motif_has_a_file_and_every_file_a_motif() -> None:
    assert {path.stem for path in FILES} == {id for id, motif in MOTIFS.items() if motif.on_the_board}


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_motif_is_found_where_it_is_and_nowhere_else(path: Path) -> None:
    judged = list(rows(path))
    shown = sum(row.shows for row in judged)
    assert len(judged) >= ROWS, f"{path.name} has only {len(judged)} rows"
    assert min(shown, len(judged) - shown) >= ROWS_A_SIDE, f"{path.name}: {shown} of {len(judged)} show it"
    judgements = [(row.board.epd(), row.side, row.actors, row.targets) for row in judged]
    assert len(set(judgements)) == len(judgements), f"{path.name} holds a judgement twice"
    assert path.stem in MOTIFS, f"{path.name}: no motif is called {path.stem}"
    found = find_in([row.board for row in judged], [MOTIFS[path.stem]])
    faults = [fault for row, each in zip(judged, found, strict=True) if (fault := row.fault(each))]
    assert not faults, "\n".join([f"{len(faults)} of {len(judged)} rows", *faults])
