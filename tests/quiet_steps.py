"""Positions a quiet move apart, and by how much the stock-taking's levels differ between them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import chess
import chess.pgn
import numpy as np
import numpy.typing as npt

from patterns.boards.positions import Positions
from patterns.boards.view import View
from patterns.engines.scores import verdict_from_expected
from patterns.factors.assessment import Assessments, assess
from patterns.factors.initiative import LITTLE, TAKES
from patterns.factors.weights import EXPECTED_BORDER, expected_score
from patterns.words.verdicts import FACTORS

FIRST_MOVE = 8
ROWS = (*FACTORS, "verdict")


@dataclass(frozen=True)
class Steps:
    """N quiet moves.

    `jumps`: (9, N) whether a row of ROWS jumps by two levels or more. `clear`: (9, N) the same where near a
    border both neighbours count, as they do when a ballot is graded. `plain`: (N,) whether no piece can be
    won and no mate be given, before or after; where one can, the level has to change.
    """

    jumps: npt.NDArray[np.bool_]
    clear: npt.NDArray[np.bool_]
    plain: npt.NDArray[np.bool_]


def quiet_steps(games: Iterable[chess.pgn.Game]) -> Steps:
    """Compares the positions before and after each quiet move of the games."""
    befores, afters = [], []
    for game in games:
        board = game.board()
        for move in game.mainline_moves():
            before = board.copy(stack=False)
            board.push(move)
            forced = before.is_capture(move) or move.promotion or before.is_check() or board.is_check()
            if board.fullmove_number >= FIRST_MOVE and not forced:
                befores.append(before)
                afters.append(board.copy(stack=False))
    one, other = (assess(View(Positions.from_boards(boards))) for boards in (befores, afters))
    jumps = np.abs(_levels(one) - _levels(other)) >= 2
    clear = (_levels(one, -1) - _levels(other, 1) >= 2) | (_levels(other, -1) - _levels(one, 1) >= 2)
    return Steps(jumps, clear, ~(_claimed(one) | _claimed(other)))


def _levels(taken: Assessments, borders: int = 0) -> npt.NDArray[np.int64]:
    """The level of each row; with -1 or 1 the lowest or the highest that is right near a border."""
    expected = expected_score(np.array([*taken.balances, taken.balances.sum(axis=0)]))
    scores = expected + borders * EXPECTED_BORDER
    return np.array([[verdict_from_expected(float(one)).signed for one in row] for row in scores])


def _claimed(taken: Assessments) -> npt.NDArray[np.bool_]:
    counted = taken.counted[FACTORS.index("initiative")]
    claims = [term.worth >= TAKES * LITTLE for term in counted.terms if term.name in ("wins", "mate")]
    ours, theirs = np.array(claims).reshape(len(claims), 2, -1).swapaxes(0, 1)
    found: npt.NDArray[np.bool_] = np.logical_or.reduce([*ours, *theirs])
    return found
