"""Moves that win material according to several motifs, tested together.

Testing a few costs nearly as much as testing many, so the motifs share one test: `patterns.proof.gains`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from patterns.boards.exchange import VALUES
from patterns.boards.grouping import grouped
from patterns.boards.positions import Boards
from patterns.boards.view import View
from patterns.proof.gains import pays, threats
from patterns.proof.guard_captures import GuardCaptures, winning_guard_captures
from patterns.proof.traps import LEAST, Traps, closed_traps


@dataclass(frozen=True)
class Wins:
    """The moves that win: captures of guards or of men they guard, and traps."""

    guard_captures: GuardCaptures
    traps: Traps


def proven_wins(view: View) -> Wins:
    """The moves that win whatever they do instead: take something else, check, or threaten something.

    A capture must win more than we could take without it. A trap must win at least the exchange.
    """
    guard_captures, traps = winning_guard_captures(view), closed_traps(view)
    moves = grouped(guard_captures.row, guard_captures.taker, guard_captures.at)
    captures = guard_captures.take(moves.first)
    boards = view.boards.take(captures.row)
    won, nothing = VALUES[boards.kind_at(captures.at)], np.zeros(len(traps), dtype=np.int64)
    stands = pays(
        Boards.joined(boards.moved(captures.taker, captures.at), traps.boards),
        np.concatenate([won, nothing]),
        np.concatenate([np.zeros_like(won), nothing + LEAST]),
        np.concatenate([threats(boards) + 1, nothing + LEAST]),
    )
    after_captures, attacked = np.split(stands, [len(captures)])
    return Wins(guard_captures.only(after_captures[moves.group]), traps.only(attacked))
