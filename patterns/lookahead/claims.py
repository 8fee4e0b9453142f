"""What is claimed to win material, by whatever motif, put to the test at once.

A test of few claims costs nearly as much as one of many, so the motifs share one: see
`patterns.lookahead.reckoning`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from patterns.exchange import VALUES
from patterns.lookahead.blows import Blows, winning_blows
from patterns.lookahead.reckoning import pays, threats
from patterns.lookahead.traps import LEAST, Traps, closed_traps
from patterns.positions import stacked
from patterns.view import View


@dataclass(frozen=True)
class Claims:
    """Blows at guards, and traps."""

    blows: Blows
    traps: Traps


def standing_claims(view: View) -> Claims:
    """The claims that stand whatever they do instead: take something else, check, or threaten something.

    A blow must win more than we could take without it, a trap the exchange at least.
    """
    blows, traps = winning_blows(view), closed_traps(view)
    moves = blows.row << 12 | blows.taker << 6 | blows.at
    _, first, which = np.unique(moves, return_index=True, return_inverse=True)
    captures = blows.only(first)
    boards = view.boards.take(captures.row)
    won, nothing = VALUES[boards.kind_at(captures.at)], np.zeros(len(traps.row), dtype=np.int64)
    stands = pays(
        stacked(boards.moved(captures.taker, captures.at), traps.boards),
        np.concatenate([won, nothing]),
        np.concatenate([np.zeros_like(won), nothing + LEAST]),
        np.concatenate([threats(boards) + 1, nothing + LEAST]),
    )
    after_captures, attacked = np.split(stands, [len(first)])
    return Claims(blows.only(after_captures[which]), traps.only(np.flatnonzero(attacked)))
