"""A term of a factor: one kind of reason, with its worth for every row of a view."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import chess
import numpy as np
import numpy.typing as npt

from patterns.bitboards import Bitboards

Pawns = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Reason:
    """One term on a real board, for one side: what `Term.tell` words its sentence from.

    `worth`: pawns, above 0 if it speaks for `side`. `men`: the squares the term is about.
    """

    board: chess.Board
    side: chess.Color
    worth: float
    men: chess.SquareSet


@dataclass(frozen=True)
class Term:
    """One kind of reason, for "us" in each row of a view.

    `name`: kebab-case, unique within its factor. `worth`: (2N,) pawns, above 0 where it speaks for us.
    `men`: (2N,) bitboards of the men or squares it is about, in the row's orientation.
    `tell`: the sentence of one instance, naming men and squares.
    """

    name: str
    worth: Pawns
    men: Bitboards
    tell: Callable[[Reason], str]
