"""Moves that several motifs hold to win material, put to the test together.

A test of a few costs nearly as much as one of many, so the motifs share one: see `patterns.proof.gains`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from patterns.boards.exchange import VALUES
from patterns.boards.positions import stacked
from patterns.boards.view import View
from patterns.proof.gains import pays, threats
from patterns.proof.guard_captures import GuardCaptures, winning_guard_captures
from patterns.proof.traps import LEAST, Traps, closed_traps


@dataclass(frozen=True)
class Wins:
    """What wins: captures of guards or on their duties, and traps."""

    guard_captures: GuardCaptures
    traps: Traps


def proven_wins(view: View) -> Wins:
    """What wins whatever they do instead: take something else, check, or threaten something.

    A capture must win more than we could take without it, a trap the exchange at least.
    """
    guard_captures, traps = winning_guard_captures(view), closed_traps(view)
    moves = guard_captures.row << 12 | guard_captures.taker << 6 | guard_captures.at
    _, first, which = np.unique(moves, return_index=True, return_inverse=True)
    captures = guard_captures.only(first)
    boards = view.boards.take(captures.row)
    won, nothing = VALUES[boards.kind_at(captures.at)], np.zeros(len(traps.row), dtype=np.int64)
    stands = pays(
        stacked(boards.moved(captures.taker, captures.at), traps.boards),
        np.concatenate([won, nothing]),
        np.concatenate([np.zeros_like(won), nothing + LEAST]),
        np.concatenate([threats(boards) + 1, nothing + LEAST]),
    )
    after_captures, attacked = np.split(stands, [len(first)])
    return Wins(guard_captures.only(after_captures[which]), traps.only(np.flatnonzero(attacked)))
