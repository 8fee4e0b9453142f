"""Fit what the terms are worth, and report how well verdict and factors do on games left out of the fit.

    PYTHONPATH=. python tests/benchmarks/fit_verdict.py GAMES.pgn... [--engine stockfish] [--kept FOLDER]

Quiet positions are drawn from the games, odd and even plies equally. Games with an even number are for
fitting (20,000 nodes a position), and so are games that the engine plays from their positions (`played`).
Those with an odd number are held out (200,000 nodes), and reported only with --held-out: look at them once,
at the end. Printed is for each worth in `patterns/factors` what it should be, with its standard error. The
classical evaluation of the same engine (Stockfish 15.1 still has one) takes the same test: it shows what a
static judgement can reach. Its terms are an independent opinion on single factors: signs are compared where
the term is above a floor.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from judged import NODES, NODES_FOR_FIT, Judgement, Sample, games_of, judged, samples
from played import played
from worths import fitted, slopes

from patterns.boards.positions import Positions
from patterns.boards.view import View
from patterns.factors.assessment import Assessments, assess
from patterns.words.verdicts import FACTORS

Numbers = npt.NDArray[np.floating[Any]]
Chosen = npt.NDArray[np.bool_]

RIDGE = 60.0
"""How firmly a worth is drawn to what it is, chosen by leaving out games in turn."""

COMPARED = (
    ("material", "material imbalance", 0.25, ()),
    ("king-safety", "king safety", 0.25, ()),
    ("pawn-structure", "pawns", 0.10, ("passed",)),
    ("pawn-structure", "pawns passed", 0.10, ()),
    ("space", "space", 0.10, ()),
    ("initiative", "threats", 0.15, ("move",)),
    ("open-lines", "rooks", 0.10, ()),
    ("open-lines", "rooks", 0.10, ("diagonals",)),
    ("piece-play", "mobility knights bishops", 0.15, ()),
)
"""Factor, the classical terms it is compared with, floor (their pawns), and terms of ours left out."""


def rank_correlation(first: Numbers, second: Numbers) -> float:
    """Spearman's rank correlation. Equal values share their mean rank."""

    def ranks(values: Numbers) -> Numbers:
        _, place, number = np.unique(values, return_inverse=True, return_counts=True)
        mean_rank = np.cumsum(number) - (number - 1) / 2
        shared: Numbers = mean_rank[place]
        return shared

    return float(np.corrcoef(ranks(first), ranks(second))[0, 1])


def right_side(guess: Numbers, pawns: Numbers, floor: float) -> str:
    """Of the positions that the search scores at `floor` pawns or more: the share guessed right."""
    clear = np.abs(pawns) >= floor
    return f"{np.mean(np.sign(guess[clear]) == np.sign(pawns[clear])):.3f} (of {clear.sum()})"


def balance_without(taken: Assessments, factor: str, left_out: tuple[str, ...]) -> Numbers:
    """White's balance on a factor without some of its terms (in grains: only the sign is used)."""
    counted = taken.counted[FACTORS.index(factor)]
    kept = [number for number, term in enumerate(counted.terms) if term.name not in left_out]
    total = counted.grains[kept].sum(axis=0)
    half = len(total) // 2
    return np.asarray(total[:half] - total[half:], dtype=np.float64)


def print_verdict(name: str, guess: Numbers, verdicts: list[Judgement], level: Chosen) -> None:
    """One line: right side at half a pawn and at one, rank correlation, and the same with level material."""
    pawns = np.array([verdict.centipawns for verdict in verdicts]) / 100
    expected = np.array([verdict.expected for verdict in verdicts])
    print(
        f"{name:22s} right side at 0.5: {right_side(guess, pawns, 0.5)}, "
        f"at 1: {right_side(guess, pawns, 1.0)}; "
        f"Spearman {rank_correlation(guess, expected):.3f}, "
        f"level material {rank_correlation(guess[level], expected[level]):.3f} (of {level.sum()})"
    )


def print_factors(taken: Assessments, verdicts: list[Judgement], early: Numbers, rows: Chosen) -> None:
    """One line per comparison: sign agreement over the rows."""
    for factor, names, floor, left_out in COMPARED:
        terms = names.replace("king safety", "king_safety").split()
        table = np.sum([[v.terms[term.replace("_", " ")] for v in verdicts] for term in terms], axis=0)
        tapered = table[:, 0] * early + table[:, 1] * (1 - early)
        ours = balance_without(taken, factor, left_out)
        clear = rows & (np.abs(tapered) >= floor)
        same = np.sign(ours[clear]) == np.sign(tapered[clear])
        nonzero = ours[clear] != 0
        without = f" without {', '.join(left_out)}" if left_out else ""
        print(
            f"{factor + without:36s} against {names:26s} {same.mean():.3f} (of {clear.sum()}); "
            f"where we say anything {same[nonzero].mean():.3f} (of {nonzero.sum()})"
        )


def print_fit(view: View, taken: Assessments, expected: Numbers) -> None:
    """One line for each worth: how often it speaks, what it is and what it should be."""
    every, slope = slopes(view)
    values = np.array([one.value for one in every])
    best, errors = fitted(values, slope, taken.balances.sum(axis=0), expected, RIDGE)
    for one, column, now, value, error in zip(every, slope, values, best, errors, strict=True):
        speaks = np.mean(np.abs(column) > 1e-9)
        print(f"{one!s:32s} speaks in {speaks:6.1%}; is {now:6.3f}, should be {value:6.3f} +- {error:.3f}")


def report(chosen: list[Sample], verdicts: list[Judgement], fit: bool) -> None:
    """Print what to change by the positions for fitting, then all figures for these positions."""
    view = View(Positions.from_fens([sample.fen for sample in chosen]))
    taken, early = assess(view), view.middlegame[: len(chosen)]
    expected = np.array([verdict.expected for verdict in verdicts])
    classical = np.array([verdict.classical for verdict in verdicts])
    level = np.abs(taken.balances[FACTORS.index("material")]) < 0.3
    if fit:
        print_fit(view, taken, expected)
    games = len({sample.game for sample in chosen})
    print(f"\n{'for the fit' if fit else 'held out'}: {len(chosen)} positions of {games} games")
    print_verdict("the verdict", taken.expected - 0.5, verdicts, level)
    print_verdict("classical evaluation", classical, verdicts, level)
    print(f"expected score: mean error {np.abs(taken.expected - expected).mean():.3f}")
    print_factors(taken, verdicts, early, np.ones(len(chosen), dtype=np.bool_))


def main() -> int:
    """Read the arguments, judge, report."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("games", nargs="+", type=Path)
    parser.add_argument("--engine", default=shutil.which("stockfish") or "/usr/games/stockfish")
    parser.add_argument("--per-game", type=int, default=4, help="held-out positions of each game")
    parser.add_argument("--fit-per-game", type=int, default=48)
    parser.add_argument("--played", type=int, default=2000, help="games that the engine plays for the fit")
    parser.add_argument("--held-out", action="store_true")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kept", type=Path, default=Path(tempfile.gettempdir()))
    options = parser.parse_args()
    if options.held_out:
        chosen = [one for one in samples(options.games, options.per_game, options.seed) if one.game % 2]
    else:
        chosen = [
            one for one in samples(options.games, options.fit_per_game, options.seed) if not one.game % 2
        ]
        for_fit = [game for number, game in enumerate(games_of(options.games)) if not number % 2]
        chosen += played(for_fit, options.engine, options.played, options.seed)
    nodes = NODES if options.held_out else NODES_FOR_FIT
    kept = options.kept / f"rondeau-judgements-{nodes}.jsonl"
    print(f"{len(chosen)} quiet positions; {nodes} nodes each; judgements kept in {kept}")
    report(chosen, judged(chosen, options.engine, kept, nodes), fit=not options.held_out)
    return 0


if __name__ == "__main__":
    sys.exit(main())
