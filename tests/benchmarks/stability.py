"""How often a level jumps by two between positions a quiet move apart.

    PYTHONPATH=.:tests python tests/benchmarks/stability.py GAMES.pgn...

The second column leaves out the pairs where a piece can be won or mate be given in one of the two positions.
The third has all pairs, but near a border both neighbours count, as they do when a ballot is graded.
"""

from __future__ import annotations

import sys
from pathlib import Path

from judged import games_of
from quiet_steps import ROWS, quiet_steps


def main() -> None:
    steps = quiet_steps(games_of(map(Path, sys.argv[1:])))
    print(f"{len(steps.plain)} pairs, {steps.plain.sum()} without a piece to win or a mate to give")
    for row, jumps, clear in zip(ROWS, steps.jumps, steps.clear, strict=True):
        print(f"{row:15} {jumps.mean():7.2%} {jumps[steps.plain].mean():7.2%} {clear.mean():7.2%}")


if __name__ == "__main__":
    main()
