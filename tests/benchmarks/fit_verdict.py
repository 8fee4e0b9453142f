"""Fit the weights of the verdict, and report how well verdict and factors do on games left out of the fit.

    PYTHONPATH=. python tests/benchmarks/fit_verdict.py GAMES.pgn... [--engine stockfish] [--kept FILE]

Quiet positions are drawn from the games, odd and even plies equally, and judged by a search of 200,000 nodes.
Games with an even number are for fitting, those with an odd number are held out. The classical evaluation of
the same engine (Stockfish 15.1 still has one) takes the same test: it shows what a static judgement can
reach. Its terms are an independent opinion on single factors: signs are compared where the term is above a
floor.
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
from judged import NODES, Judgement, Sample, judged, samples

from patterns.boards.positions import Positions
from patterns.boards.view import View
from patterns.factors.assessment import Assessments, assess
from patterns.words.verdicts import FACTORS

Numbers = npt.NDArray[np.floating[Any]]
Chosen = npt.NDArray[np.bool_]

COMMON_WEIGHT = 0.8
"""Logits of expected score per pawn: 1 / (1 + exp(-0.8)) = .69 for a pawn up."""
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


def fitted(features: Numbers, scores: Numbers, ridge: float = 5.0) -> Numbers:
    """Weights, none below 0, of a logistic curve through `scores` (0..1), by Newton's method.

    The ridge draws them towards one weight for all: a pawn is worth a pawn, unless the data say otherwise.
    """
    used = np.ones(features.shape[1], dtype=np.bool_)
    while True:
        part, weights = features[:, used], np.full(int(used.sum()), COMMON_WEIGHT)
        for _ in range(50):
            guess = 1 / (1 + np.exp(-part @ weights))
            slope = part.T @ (guess - scores) + ridge * (weights - COMMON_WEIGHT)
            curve = (part * (guess * (1 - guess))[:, None]).T @ part + ridge * np.eye(len(weights))
            weights = weights - np.linalg.solve(curve, slope)
        if (weights >= 0).all():
            result = np.zeros(len(used))
            result[used] = weights
            return result
        used[np.flatnonzero(used)[weights < 0]] = False


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


def report(chosen: list[Sample], verdicts: list[Judgement]) -> None:
    """Fit on the even games, print the weights, then all figures for both halves."""
    view = View(Positions.from_fens([sample.fen for sample in chosen]))
    taken, early = assess(view), view.middlegame[: len(chosen)]
    expected = np.array([verdict.expected for verdict in verdicts])
    classical = np.array([verdict.classical for verdict in verdicts])
    features = np.concatenate([taken.balances * early, taken.balances * (1 - early)]).T
    level = np.abs(taken.balances[FACTORS.index("material")]) < 0.3
    for_fit = np.array([sample.game % 2 == 0 for sample in chosen])
    weights = fitted(features[for_fit], expected[for_fit])
    print("weights fitted on the even games (all pieces on, none left):")
    for number, factor in enumerate(FACTORS):
        print(f'    "{factor}": ({weights[number]:.2f}, {weights[number + len(FACTORS)]:.2f}),')
    for name, rows in (("fitted", for_fit), ("held out", ~for_fit)):
        part = [verdict for verdict, wanted in zip(verdicts, rows, strict=True) if wanted]
        games = len({sample.game for sample, wanted in zip(chosen, rows, strict=True) if wanted})
        print(f"\n{name}: {rows.sum()} positions of {games} games")
        print_verdict("weights just fitted", (features @ weights)[rows], part, level[rows])
        print_verdict("weights in use", taken.expected[rows] - 0.5, part, level[rows])
        print_verdict("classical evaluation", classical[rows], part, level[rows])
        error = np.abs(taken.expected[rows] - expected[rows])
        print(f"expected score, weights in use: mean error {error.mean():.3f}")
        print_factors(taken, verdicts, early, rows)


def main() -> int:
    """Read the arguments, judge, report."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("games", nargs="+", type=Path)
    parser.add_argument("--engine", default=shutil.which("stockfish") or "/usr/games/stockfish")
    parser.add_argument("--per-game", type=int, default=4)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kept", type=Path, default=Path(tempfile.gettempdir()) / "rondeau-judgements.jsonl")
    options = parser.parse_args()
    chosen = samples(options.games, options.per_game, options.seed)
    print(f"{len(chosen)} quiet positions; {NODES} nodes each; judgements kept in {options.kept}")
    report(chosen, judged(chosen, options.engine, options.kept))
    return 0


if __name__ == "__main__":
    sys.exit(main())
