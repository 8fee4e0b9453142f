"""Fit what the terms are worth, and report how well verdict and factors do on games left out of the fit.

    PYTHONPATH=. python tests/benchmarks/fit_verdict.py GAMES.pgn... [--engine stockfish] [--kept FOLDER]

Quiet positions are drawn from the games, odd and even plies equally. Games with an even number are for
fitting (20,000 nodes a position), those with an odd number are held out (200,000 nodes). Printed is for each
term by which factor its worth should be multiplied, with its standard error: change the numbers in
`patterns/factors`, and look at the held-out figures only at the end. The classical evaluation of the same
engine (Stockfish 15.1 still has one) takes the same test: it shows what a static judgement can reach. Its
terms are an independent opinion on single factors: signs are compared where the term is above a floor.
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
from judged import NODES, NODES_FOR_FIT, Judgement, Sample, judged, samples

from patterns.boards.positions import Positions
from patterns.boards.view import View
from patterns.factors.assessment import Assessments, assess
from patterns.factors.weights import GRAIN, PER_PAWN
from patterns.words.verdicts import FACTORS

Numbers = npt.NDArray[np.floating[Any]]
Chosen = npt.NDArray[np.bool_]

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


def fitted(features: Numbers, scores: Numbers, ridge: float = 2.0) -> tuple[Numbers, Numbers]:
    """Multipliers of the features (pawns) for a logistic curve through `scores` (0..1), and standard errors.

    By Newton's method. The ridge draws them towards 1: a pawn is worth a pawn, unless the data say otherwise.
    """
    logits, multipliers = features * PER_PAWN, np.ones(features.shape[1])
    for _ in range(50):
        guess = 1 / (1 + np.exp(-logits @ multipliers))
        slope = logits.T @ (guess - scores) + ridge * (multipliers - 1)
        curve = (logits * (guess * (1 - guess))[:, None]).T @ logits + ridge * np.eye(len(multipliers))
        multipliers = multipliers - np.linalg.solve(curve, slope)
    return multipliers, np.sqrt(np.diag(np.linalg.inv(curve)))


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


def print_fit(taken: Assessments, expected: Numbers) -> None:
    """One line per term: how often it speaks, and by what its worth should be multiplied."""
    half, names, columns = len(expected), [], []
    for factor, counted in zip(FACTORS, taken.counted, strict=True):
        for term, grains in zip(counted.terms, counted.grains, strict=True):
            names.append(f"{factor}: {term.name}")
            columns.append((grains[:half] - grains[half:]) * GRAIN)
    for name, column, best, error in zip(names, columns, *fitted(np.array(columns).T, expected), strict=True):
        print(f"{name:32s} speaks in {np.mean(column != 0):6.1%}; times {best:5.2f} +- {error:.2f}")


def report(chosen: list[Sample], verdicts: list[Judgement], fit: bool) -> None:
    """Print what to change by the positions for fitting, then all figures for these positions."""
    view = View(Positions.from_fens([sample.fen for sample in chosen]))
    taken, early = assess(view), view.middlegame[: len(chosen)]
    expected = np.array([verdict.expected for verdict in verdicts])
    classical = np.array([verdict.classical for verdict in verdicts])
    level = np.abs(taken.balances[FACTORS.index("material")]) < 0.3
    if fit:
        print_fit(taken, expected)
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
    parser.add_argument("--per-game", type=int, default=4)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kept", type=Path, default=Path(tempfile.gettempdir()))
    options = parser.parse_args()
    every = samples(options.games, options.per_game, options.seed)
    for part, nodes in enumerate((NODES_FOR_FIT, NODES)):
        chosen = [sample for sample in every if sample.game % 2 == part]
        kept = options.kept / f"rondeau-judgements-{nodes}.jsonl"
        print(f"{len(chosen)} quiet positions; {nodes} nodes each; judgements kept in {kept}")
        report(chosen, judged(chosen, options.engine, kept, nodes), fit=part == 0)
    return 0


if __name__ == "__main__":
    sys.exit(main())
