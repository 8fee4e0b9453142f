"""CPU seconds of a build and of the same build again, which finds all searches and findings kept.

Run from the checkout: `PYTHONPATH=. python tests/benchmarks/second_build.py GAMES.pgn`. The processor time
counts, of all processes of a build, so that a busy machine does not matter. Both builds must make the same
cards. The third build finds the searches kept, but not what the detector found.
"""

from __future__ import annotations

import argparse
import re
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from resource import RUSAGE_CHILDREN, getrusage

from decks.cards.built_file import BUILT_FILE

FILES = ("cards.pgn", "verdicts.jsonl", BUILT_FILE)


def processor_seconds() -> float:
    """Used so far by all processes that this one started and that have ended."""
    used = getrusage(RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def build(folder: Path, arguments: Sequence[str]) -> tuple[float, list[str]]:
    """The CPU seconds of a build, and the texts of its files without the cards' ids. The deck is removed."""
    begin = processor_seconds()
    subprocess.run([sys.executable, "-m", "decks.start", "build", str(folder), *arguments], check=True)
    seconds = processor_seconds() - begin
    texts = [re.sub(r"card-\w+", "", (folder / file).read_text()) for file in FILES]
    shutil.rmtree(folder)
    return seconds, texts


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("games", type=Path)
    parser.add_argument("--cards", type=int, default=5)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--scorebook", type=Path, help="with searches of an earlier build (an empty one)")
    given = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as folder:
        scorebook, deck = Path(folder, "scorebook.sqlite"), Path(folder, "deck")
        if given.scorebook:
            shutil.copy(given.scorebook, scorebook)
        options = ["--from", str(given.games), "--cards", str(given.cards), "--workers", str(given.workers)]
        options += ["--scorebook", str(scorebook)]
        first, cards = build(deck, options)
        second, again = build(deck, options)
        with sqlite3.connect(scorebook) as book:
            book.execute("DELETE FROM detections")
        third, anew = build(deck, options)
    assert cards == again == anew
    for name, seconds in (("first", first), ("second", second), ("without findings", third)):
        print(f"{name:16}{seconds:8.1f} s{seconds / first:8.1%} of the first")


if __name__ == "__main__":
    main()
