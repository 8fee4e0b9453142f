"""What each motif costs, relative to python-chess reading and replaying the same PGN in the same run.

Run by hand: `python tests/benchmarks/profile.py GAMES.pgn`. For every motif it prints the microseconds a
position that proposing its findings or claims takes, the claims a position, and how many of 1000 claims hold;
then what testing all claims together takes. What motifs share is counted once, in parentheses. A ratio is the
baseline's time divided by the detector's: above 1 is faster than reading the games. The best of several runs
counts, as other work on the machine slows single runs down.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from functools import partial
from pathlib import Path
from time import process_time
from typing import TypeVar

import numpy as np
from scan import baseline

from patterns.boards.positions import Positions
from patterns.boards.view import View
from patterns.catalogue import MOTIFS
from patterns.detect import BATCH
from patterns.proof.claims import Claims, hold

T = TypeVar("T")
TESTING = "(testing the claims)"


class Stopwatch:
    """Seconds by label. Time inside a nested label counts for that label alone."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}
        self._nested = 0.0

    def time(self, label: str, compute: Callable[[], T]) -> T:
        outer, self._nested = self._nested, 0.0
        start = process_time()
        result = compute()
        passed = process_time() - start
        self.seconds[label] = self.seconds.get(label, 0.0) + passed - self._nested
        self._nested = outer + passed
        return result


class TimedView(View):
    """A view that notes the time of what several motifs share."""

    def __init__(self, positions: Positions, watch: Stopwatch) -> None:
        super().__init__(positions)
        self._watch = watch

    def once(self, compute: Callable[[View], T]) -> T:
        label = f"({compute.__module__.rpartition('.')[2]}.{compute.__name__.lstrip('_')})"
        return self._watch.time(label, lambda: View.once(self, compute))


def run(positions: Positions) -> tuple[dict[str, float], dict[str, tuple[int, int]]]:
    """The seconds by motif and for the test; by motif, how many claims there are, and how many hold."""
    watch = Stopwatch()
    view = TimedView(positions, watch)
    found = {name: watch.time(name, partial(motif.find, view)) for name, motif in MOTIFS.items()}
    claims = {name: these for name, these in found.items() if isinstance(these, Claims)}
    every = Claims.joined(*claims.values())
    holding = watch.time(TESTING, lambda: hold(view, every))
    parts = np.split(holding, np.cumsum([len(these) for these in claims.values()]))
    counts = zip(claims, parts, strict=False)
    return watch.seconds, {name: (len(held), int(held.sum())) for name, held in counts}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("games", type=Path)
    parser.add_argument("--runs", type=int, default=5)
    asked = parser.parse_args()
    reading, boards = baseline(asked.games)
    read, boards = len(boards), boards[:BATCH]
    positions = Positions.from_boards(boards)
    best: dict[str, float] = {}
    for _ in range(asked.runs):
        reading = min(reading, baseline(asked.games)[0])
        seconds, counts = run(positions)
        best = {label: min(time, best.get(label, time)) for label, time in seconds.items()}
    unit = 1e6 / len(boards)
    print(f"{len(boards)} positions; python-chess reads and replays the games in {reading / read * 1e6:.1f}")
    print("microseconds a position, the baseline\n")
    print(f"{'':36}{'us':>8}{'claims':>9}{'held/1000':>11}")
    for label, time in sorted(best.items(), key=lambda item: -item[1]):
        made, held = counts.get(label, (0, 0))
        share = f"{made / len(boards):9.3f}{1000 * held / made:11.0f}" if made else ""
        print(f"{label:36}{time * unit:8.2f}{share}")
    finding = sum(best.values()) - best[TESTING]
    print()
    for label, time in (
        ("proposing", finding),
        ("testing", best[TESTING]),
        ("together", finding + best[TESTING]),
    ):
        print(f"{label:36}{time * unit:8.2f}   ratio {reading / read * 1e6 / (time * unit):.2f}")
    made = sum(made for made, _ in counts.values())
    print(f"{'claims a position':36}{made / len(boards):8.3f}")


if __name__ == "__main__":
    main()
