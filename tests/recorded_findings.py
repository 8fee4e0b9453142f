"""The detector's output on a fixed corpus, recorded in `recorded_findings.json`: no rule changes unseen.

The corpus: every position of the standard-chess games in the source archive of python-chess 1.11.2, with the
moves played from there as a line; the positions in `recorded_corpus.epd`, of published games or composed
(its comments say which); and some positions one legal move away from each. The corpus grows only for a
motif that it does not show, so a changed digest means a changed rule. For every motif, factor and line motif
the record keeps the number of entries and a digest of them, including their words.

    PYTHONPATH=. python tests/recorded_findings.py             what the working tree changes against HEAD
    PYTHONPATH=. python tests/recorded_findings.py --against REVISION --examples 10
    PYTHONPATH=. python tests/recorded_findings.py --accept    record the working tree's findings as right
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from hashlib import sha256
from itertools import takewhile
from pathlib import Path
from random import Random
from typing import TypedDict

import chess
from conftest import CACHE, CHESS_ARCHIVE, ROOT, fetch_chess_archive
from real_positions import games_in

from patterns.detect import find_in
from patterns.factors.assessment import assess_boards
from patterns.lines import uses_of_many

FILE = Path(__file__).parent / "recorded_findings.json"
PUBLISHED = Path(__file__).parent / "recorded_corpus.epd"
SEED = 20261129
BRANCHES = 4
"""How many positions, one legal move away, are added for each position."""
LINE_PLIES = 5

Line = tuple[chess.Board, list[chess.Move]]
Report = Mapping[str, Mapping[str, list[str]]]
"""By topic (`motif fork`, `factor centre`, `line pin-on-file`), then by position or line: what it reports."""


def corpus(archive: Path) -> tuple[list[chess.Board], list[Line]]:
    """The positions, without duplicates, and the lines."""
    played, lines = [], []
    for game in games_in(archive / "data" / "pgn"):
        board = game.board()
        moves = list(takewhile(bool, game.mainline_moves()))  # one game holds a null move
        for ply, move in enumerate(moves):
            lines.append((board.copy(stack=False), moves[ply : ply + LINE_PLIES]))
            board.push(move)
            played.append(board.copy(stack=False))
    written = PUBLISHED.read_text(encoding="utf-8").splitlines()
    return with_branches(played + [chess.Board.from_epd(epd)[0] for epd in written]), lines


def with_branches(boards: list[chess.Board]) -> list[chess.Board]:
    """The boards and, after each, boards one legal move away from it, drawn by seed, without duplicates."""
    random = Random(SEED)
    found: dict[str, chess.Board] = {}
    for board in boards:
        found.setdefault(board.epd(), board)
        near = list(board.legal_moves)
        for move in random.sample(near, min(BRANCHES, len(near))):
            beside = board.copy(stack=False)
            beside.push(move)
            found.setdefault(beside.epd(), beside)
    return list(found.values())


def report(archive: Path) -> Report:
    """Everything that the detector reports on the corpus today."""
    positions, lines = corpus(archive)
    found: dict[str, dict[str, list[str]]] = {}

    def note(topic: str, place: str, *reported: object) -> None:
        found.setdefault(topic, {}).setdefault(place, []).append(" | ".join(map(str, reported)))

    for board, findings, assessment in zip(
        positions, find_in(positions), assess_boards(positions), strict=True
    ):
        place = board.fen()
        for one in findings:
            roles = (" ".join(role) for role in (one.actors, one.targets, one.squares))
            note(f"motif {one.motif}", place, one.side, *roles, one.note)
        for factor in assessment.factors:
            note(f"factor {factor.factor}", place, f"{factor.balance:+.2f}", factor.verdict, *factor.reasons)
        note("verdict", place, f"{assessment.expected_score:.3f}", assessment.verdict)
    for (board, line), uses in zip(lines, uses_of_many(lines), strict=True):
        for use in uses:
            roles = (" ".join(role) for role in (use.actors, use.targets, use.squares))
            note(f"line {use.motif}", f"{board.fen()} {board.variation_san(line)}", use.ply, *roles, use.note)
    return {
        topic: {place: sorted(reported) for place, reported in places.items()}
        for topic, places in found.items()
    }


class Digest(TypedDict):
    """How many entries a topic has, and a digest of them all."""

    count: int
    digest: str


def digests(reported: Report) -> dict[str, Digest]:
    """The digest of each topic."""
    return {
        topic: {
            "count": sum(map(len, places.values())),
            "digest": sha256(json.dumps(places, sort_keys=True).encode()).hexdigest()[:16],
        }
        for topic, places in sorted(reported.items())
    }


def recorded() -> dict[str, Digest]:
    """The record."""
    return dict(json.loads(FILE.read_text(encoding="utf-8")))


def report_at(revision: str, archive: Path) -> Report:
    """What the code of a revision reports: its own copy of this script, run in a copy of its tree."""
    with tempfile.TemporaryDirectory() as folder:
        tree = subprocess.run(
            ["git", "-C", str(ROOT), "archive", revision], stdout=subprocess.PIPE, check=True
        ).stdout
        subprocess.run(["tar", "-x", "-C", folder], input=tree, check=True)
        reported = subprocess.run(
            [sys.executable, "tests/recorded_findings.py", "--print", "--archive", str(archive)],
            cwd=folder,
            env={**os.environ, "PYTHONPATH": folder},
            stdout=subprocess.PIPE,
            check=True,
        ).stdout
    return dict(json.loads(reported))


def print_changes(before: Report, after: Report, examples: int) -> None:
    """Topic by topic: how many places changed, and some of them, drawn by seed."""
    changed = 0
    for topic in sorted({*before, *after}):
        old, new = before.get(topic, {}), after.get(topic, {})
        places = sorted(place for place in {*old, *new} if old.get(place) != new.get(place))
        if not places:
            continue
        changed += 1
        counts = [sum(map(len, reported.values())) for reported in (old, new)]
        print(f"\n{topic}: {counts[0]} entries before, {counts[1]} now; {len(places)} places differ")
        for place in Random(SEED).sample(places, min(examples, len(places))):
            print(f"  {place}")
            were, are = old.get(place, []), new.get(place, [])
            lines = [f"    - {reported}" for reported in were if reported not in are]
            lines += [f"    + {reported}" for reported in are if reported not in were]
            print("\n".join(lines))
    print(f"\n{changed} topics changed" if changed else "nothing changed")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument(
        "--against", metavar="REVISION", default="HEAD", help="compare with this revision's code"
    )
    parser.add_argument("--examples", type=int, default=5, help="how many places of a topic are shown")
    parser.add_argument("--accept", action="store_true", help="write the record anew")
    parser.add_argument("--print", action="store_true", help="print everything that is reported, as JSON")
    parser.add_argument("--archive", type=Path, default=CACHE / CHESS_ARCHIVE, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if not asked.archive.is_dir():
        fetch_chess_archive(sys.exit)
    reported = report(asked.archive)
    if asked.print:
        json.dump(reported, sys.stdout)
    elif asked.accept:
        FILE.write_text(json.dumps(digests(reported), indent=1) + "\n", encoding="utf-8")
    else:
        print_changes(report_at(asked.against, asked.archive), reported, asked.examples)


if __name__ == "__main__":
    main()
