"""Batches of positions as arrays, and the same positions seen by one side.

`Positions` holds N positions as they are. `Boards` holds any number of positions as seen by a side called
"us", which moves up the board. For Black everything is mirrored, so that each rule is written only once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import chess
import numpy as np

from patterns.boards.bitboards import BIT, EMPTY, Bitboards, Flags, Rows, Squares, mirror
from patterns.boards.tables import Table

PIECES = ("pawns", "knights", "bishops", "rooks", "queens", "kings")


_ONE = np.uint64(1)
_MEN = slice(0, len(PIECES))
_KINDS = np.arange(1, len(PIECES) + 1)
_BITBOARDS = (*PIECES, "white", "castling", "en_passant")

Snapshot = tuple[int, ...]
"""One position as plain integers, in the order of `Positions`' fields."""


def snapshot(board: chess.Board) -> Snapshot:
    """The part of a board that a batch keeps. It is cheaper than a copy while a game is replayed."""
    return (
        board.pawns,
        board.knights,
        board.bishops,
        board.rooks,
        board.queens,
        board.kings,
        board.occupied_co[chess.WHITE],
        board.castling_rights,
        0 if board.ep_square is None else 1 << board.ep_square,
        board.turn,
    )


@dataclass(frozen=True)
class Positions(Table):
    """N positions. Each field is an array of shape (N,).

    The piece fields hold both sides' men. `castling`: the squares of rooks that may still castle.
    `en_passant`: the square behind a pawn that has just moved two steps, as a board. `white_to_move`: flags.
    """

    pawns: Bitboards
    knights: Bitboards
    bishops: Bitboards
    rooks: Bitboards
    queens: Bitboards
    kings: Bitboards
    white: Bitboards
    castling: Bitboards
    en_passant: Bitboards
    white_to_move: Flags

    @classmethod
    def from_boards(cls, boards: Sequence[chess.Board]) -> Positions:
        """The batch of these boards, in order. Each needs one king per side (ValueError names the index)."""
        return cls.from_snapshots([snapshot(board) for board in boards])

    @classmethod
    def from_snapshots(cls, snapshots: Sequence[Snapshot]) -> Positions:
        """The batch of these snapshots, in order; ValueError names the first without one king per side."""
        table = np.array(snapshots, dtype=np.uint64).reshape(-1, 10)
        columns = [np.ascontiguousarray(column) for column in table.T]
        kings, white = columns[5], columns[6]
        one_each = (np.bitwise_count(kings & white) == 1) & (np.bitwise_count(kings & ~white) == 1)
        if not one_each.all():
            index = int(np.flatnonzero(~one_each)[0])
            raise ValueError(f"position {index} needs one king per side")
        bitboards = dict(zip(_BITBOARDS, columns, strict=False))
        return cls(**bitboards, white_to_move=columns[9].astype(np.bool_))

    @classmethod
    def from_fens(cls, fens: Sequence[str]) -> Positions:
        """The batch of these FENs, in order. An invalid FEN raises the ValueError of python-chess."""
        return cls.from_boards([chess.Board(fen) for fen in fens])

    def side_view(self, colour: chess.Color) -> Boards:
        """These positions as `colour` sees them, moving up the board."""
        black = self.occupied & ~self.white
        us, them = (self.white, black) if colour == chess.WHITE else (black, self.white)
        men = np.array([*(getattr(self, name) for name in PIECES), us, them])
        castling, en_passant = self.castling, self.en_passant
        if colour == chess.BLACK:
            men, castling, en_passant = mirror(men), mirror(castling), mirror(en_passant)
        return Boards(men, castling, en_passant, self.white_to_move == (colour == chess.WHITE))

    def both_views(self) -> Boards:
        """2N boards: White's view of the N positions, then Black's view of the same positions."""
        return Boards.joined(self.side_view(chess.WHITE), self.side_view(chess.BLACK))

    @property
    def occupied(self) -> Bitboards:
        return self.pawns | self.knights | self.bishops | self.rooks | self.queens | self.kings


@dataclass(frozen=True)
class Boards(Table):
    """M positions as "us" sees them: we move up the board.

    `men`: (8, M), both sides' men by kind, pawns to kings, then all of ours and all of theirs. Each of these
    rows is also a property. The other fields are as in `Positions`. `our_move`: whether it is our move.
    """

    men: Bitboards
    castling: Bitboards
    en_passant: Bitboards
    our_move: Flags

    @property
    def pawns(self) -> Bitboards:
        return self.men[0]

    @property
    def knights(self) -> Bitboards:
        return self.men[1]

    @property
    def bishops(self) -> Bitboards:
        return self.men[2]

    @property
    def rooks(self) -> Bitboards:
        return self.men[3]

    @property
    def queens(self) -> Bitboards:
        return self.men[4]

    @property
    def kings(self) -> Bitboards:
        return self.men[5]

    @property
    def us(self) -> Bitboards:
        return self.men[6]

    @property
    def them(self) -> Bitboards:
        return self.men[7]

    @property
    def occupied(self) -> Bitboards:
        return self.us | self.them

    @property
    def straight_sliders(self) -> Bitboards:
        return self.rooks | self.queens

    @property
    def diagonal_sliders(self) -> Bitboards:
        return self.bishops | self.queens

    def without(self, squares: Bitboards) -> Boards:
        """The same boards with the men on `squares` (one bitboard per row) taken off."""
        return replace(self, men=self.men & ~squares)

    def moved(self, origins: Squares, destinations: Squares) -> Boards:
        """The same boards after the man on each origin has moved to its destination and captured there.

        If the two are equal, it stays. Only the men move. The caller has to handle en passant, castling and
        promotion.
        """
        origin, destination = BIT.take(origins), BIT.take(destinations)
        # Few large arrays: allocating them takes most of the time.
        goes = self.men & origin
        there = (goes != EMPTY) * destination
        men = np.bitwise_and(self.men, ~(origin | destination), out=goes)
        men |= there
        return replace(self, men=men)

    def kind_at(self, squares: Squares, rows: Rows | None = None) -> Squares:
        """The piece type on each square (python-chess numbers, 1 pawn to 6 king), 0 for an empty square.

        `squares` has one square per board, or, if `rows` is given, one square per entry of `rows`.
        """
        if rows is None:
            return _KINDS @ ((self.men[_MEN] & BIT.take(squares)) != EMPTY)
        by_digit = (
            self.pawns | self.bishops | self.queens,
            self.knights | self.bishops | self.kings,
            self.rooks | self.queens | self.kings,
        )
        kinds = np.zeros(len(squares), dtype=np.uint64)
        for digit, men in enumerate(by_digit):
            kinds |= (men[rows] >> squares.view(np.uint64) & _ONE) << np.uint64(digit)
        return kinds.view(np.int64)
