"""How long the command takes to start, and the limits: `python tests/benchmarks/startup.py`.

Prints the median of several runs of `rondeau --help` and of a bare `import click`, and their ratio (limit:
1.5), then of `rondeau today` until its first board, in plain mode on a new scorebook (limit: 0.6 s).
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
RUNS = 15
HELP_AT_MOST = 1.5
FIRST_BOARD_AT_MOST = 0.6
FILES = sorted(b"a b c d e f g h".split())
"""The files below the board, whichever side is at the bottom."""

RONDEAU = [sys.executable, "-m", "decks.start"]


def whole_run(command: list[str]) -> float:
    """Seconds from start to exit."""
    start = time.perf_counter()
    subprocess.run(command, cwd=ROOT, stdout=subprocess.DEVNULL, check=True)
    return time.perf_counter() - start


def on_a_new_scorebook(scorebook: str) -> float:
    """Seconds until the first board of the demo deck."""
    for made_before in Path(scorebook).parent.iterdir():
        made_before.unlink()
    return until_first_board("--deck", "demo_deck", "--scorebook", scorebook)


def until_first_board(*options: str) -> float:
    """Seconds from the start of a plain `today` to the line below its first board."""
    start = time.perf_counter()
    command = [*RONDEAU, "today", "--plain", *options]
    with subprocess.Popen(command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as review:
        assert review.stdout is not None
        for line in review.stdout:
            if sorted(line.split()) == FILES:
                break
        else:
            raise SystemExit("the review showed no board")
        seconds = time.perf_counter() - start
        review.kill()
    return seconds


def alternating(*measured: Callable[[], float], runs: int = RUNS) -> list[float]:
    """The median of each measurement. They alternate, so that a busy moment affects all of them."""
    for measure in measured:
        measure()  # warm the file cache
    rounds = [[measure() for measure in measured] for _ in range(runs)]
    return [statistics.median(column) for column in zip(*rounds, strict=True)]


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        bare, shown, board = alternating(
            lambda: whole_run([sys.executable, "-c", "import click"]),
            lambda: whole_run([*RONDEAU, "--help"]),
            lambda: on_a_new_scorebook(os.path.join(folder, "scorebook.sqlite")),
        )
    print(f"import click        {bare * 1000:6.1f} ms")
    print(f"rondeau --help      {shown * 1000:6.1f} ms  {shown / bare:.2f} times (at most {HELP_AT_MOST})")
    print(f"today, first board  {board * 1000:6.1f} ms  (at most {FIRST_BOARD_AT_MOST * 1000:.0f})")
    if board > FIRST_BOARD_AT_MOST:
        raise SystemExit("the first board takes too long")
    if shown > HELP_AT_MOST * bare:
        raise SystemExit("rondeau --help starts too slowly")


if __name__ == "__main__":
    main()
