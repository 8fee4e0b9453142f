"""Useful squares: where a piece can go without losing anything by exchange.

Our own count. Mobility, trapped men, the squares beside a king and checks rest on it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from patterns.boards.attacks import Men
from patterns.boards.bitboards import ALL, BIT, EMPTY, LINE, exploded, pawn_attacks_down
from patterns.boards.exchange import loses_nothing
from patterns.boards.grouping import united
from patterns.boards.view import View


def useful_squares(view: View) -> Men:
    """`view.our_pieces`, whose `attacks` are the squares to which each can go and lose nothing by exchange.

    A pinned piece moves along its pin only. Whose move it is, and whether we are in check, do not matter.
    Ask for them with `view.once(useful_squares)`.
    """
    pieces = view.our_pieces
    row, at = pieces.row, BIT[pieces.square]
    pinned = (at & view.our_pinned[row]) != EMPTY
    goes = pieces.attacks & ~(view.us | view.boards.kings)[row]
    goes &= np.where(pinned, LINE[view.our_king[row], pieces.square], ALL)
    # Where a pawn attacks, only a man that is taken there can make up for the piece. A slider that attacks
    # the piece may follow it along its line.
    pawns = view.their_pawns & ~view.their_pinned
    hopeless = (pawn_attacks_down(pawns) & ~view.them)[row]
    attacked = np.where((at & view.their_attacks[row]) != EMPTY, ALL, view.their_attacks[row])
    piece, square = exploded(goes & attacked & ~hopeless)
    fine = loses_nothing(view.boards.take(row[piece]), pieces.square[piece], square)
    safe = united(piece[fine], BIT[square[fine]], len(row))
    return replace(pieces, attacks=goes & ~attacked & ~hopeless | safe)
