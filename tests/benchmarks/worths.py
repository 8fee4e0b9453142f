"""The worths in `patterns/factors`, one by one: what each adds to the balance of positions, and their fit."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import ModuleType
from typing import Any

import numpy as np
import numpy.typing as npt

from patterns.boards.view import View
from patterns.factors.assessment import MODULES
from patterns.factors.weights import PER_PAWN

Numbers = npt.NDArray[np.floating[Any]]

NO_WORTHS = {"USUAL", "NO_PAWNS", "OPPOSITE_BISHOPS", "FEW_PAWNS", "MATES"}
"""Constants that are no worths, or are set by what they mean."""
A_LITTLE = 0.25
"""By what part a worth is changed to see what it adds."""


@dataclass(frozen=True)
class Worth:
    """One number of a factor's module: a constant, or an entry of one."""

    module: ModuleType
    name: str
    key: Any = None

    def __str__(self) -> str:
        place = f"{self.module.__name__.rpartition('.')[2]}.{self.name}"
        return place if self.key is None else f"{place}[{self.key}]"

    @property
    def value(self) -> float:
        whole = getattr(self.module, self.name)
        return float(whole if self.key is None else whole[self.key])

    def put(self, value: float) -> None:
        """Sets it in the module."""
        if self.key is None:
            setattr(self.module, self.name, value)
        else:
            getattr(self.module, self.name)[self.key] = value


def worths() -> Iterator[Worth]:
    """Every worth above 0, except the pawn's, in which the others are measured."""
    for module in MODULES.values():
        for name, whole in vars(module).items():
            if not name.isupper() or name in NO_WORTHS:
                continue
            if isinstance(whole, float):
                yield Worth(module, name)
            elif isinstance(whole, np.ndarray) and whole.dtype == float:
                yield from (Worth(module, name, key) for key in np.flatnonzero(whole))
            elif isinstance(whole, Mapping) and all(isinstance(one, float) for one in whole.values()):
                yield from (Worth(module, name, key) for key, one in whole.items() if one != 1.0)


def slopes(view: View) -> tuple[list[Worth], Numbers]:
    """For each worth, by how many pawns White's balance grows with each pawn of it. Shape (worths, N)."""
    every, columns = list(worths()), []
    for one in every:
        before, value = _balance(one.module, view), one.value
        one.put(value * (1 + A_LITTLE))
        columns.append((_balance(one.module, view) - before) / (value * A_LITTLE))
        one.put(value)
    return every, np.array(columns)


def _balance(module: ModuleType, view: View) -> Numbers:
    total = np.sum([term.worth for term in module.terms(view)], axis=0)
    half = len(total) // 2
    return np.asarray(total[:half] - total[half:])


def fitted(
    values: Numbers, slope: Numbers, balances: Numbers, scores: Numbers, ridge: float
) -> tuple[Numbers, Numbers]:
    """Worths for a logistic curve through `scores` (0..1), and their standard errors.

    `balances`: with the worths as they are (`values`). The ridge draws each to what it is now.
    """
    logits = PER_PAWN * slope.T * values
    change = np.zeros(len(values))

    def loss(by: Numbers) -> float:
        at = PER_PAWN * balances + logits @ by
        return float((np.logaddexp(0, at) - scores * at).sum() + ridge / 2 * (by**2).sum())

    for _ in range(40):
        guess = 1 / (1 + np.exp(-np.clip(PER_PAWN * balances + logits @ change, -30, 30)))
        down = logits.T @ (guess - scores) + ridge * change
        curve = (logits * (guess * (1 - guess))[:, None]).T @ logits + ridge * np.eye(len(values))
        step, length = np.linalg.solve(curve, down), 1.0
        while length > 0.001 and loss(change - length * step) > loss(change):
            length /= 2
        change = change - length * step
    return values * (1 + change), values * np.sqrt(np.diag(np.linalg.inv(curve)))
