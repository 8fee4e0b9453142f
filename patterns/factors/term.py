"""A term of a factor: one kind of reason, with its worth for every row of a view."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, TypeVar

import chess
import numpy as np
import numpy.typing as npt

from patterns.boards.bitboards import EMPTY, Bitboards, Flags
from patterns.words.wording import listed, side_name

Value = TypeVar("Value", bound=np.generic)
Pawns = npt.NDArray[np.floating[Any]]


@dataclass(frozen=True)
class Reason:
    """One term on a real board, for one side. `Term.tell` makes its sentence from this.

    `worth`: pawns, above 0 if it speaks for `side`. `men`: the squares the term is about.
    """

    board: chess.Board
    side: chess.Color
    worth: float
    men: chess.SquareSet

    @property
    def name(self) -> str:
        """`White` or `Black`: the side the term is about."""
        return side_name(self.side)

    @property
    def opponent(self) -> str:
        """The other side's name."""
        return side_name(not self.side)

    @property
    def king(self) -> str:
        """`White's king on g1`."""
        return f"{self.name}'s king on {_king(self.board, self.side)}"

    @property
    def opponent_king(self) -> str:
        """`Black's king on g8`, the other side's."""
        return f"{self.opponent}'s king on {_king(self.board, not self.side)}"

    def ours(self) -> str:
        """The term's men as `White's knight on e5 and pawns on a2 and c3`."""
        return f"{self.name}'s {men_by_kind(self.board, self.men)}"

    def theirs(self) -> str:
        """The same where the men are the other side's."""
        return f"{self.opponent}'s {men_by_kind(self.board, self.men)}"

    def choose(self, one: str, several: str) -> str:
        """One of two words, depending on the number of men."""
        return one if len(self.men) == 1 else several


@dataclass(frozen=True)
class Term:
    """One kind of reason, for "us" in each row of a view.

    `name`: kebab-case, unique within its factor. `worth`: (2N,) pawns, above 0 where it speaks for us.
    `men`: (2N,) bitboards of the men or squares it is about, oriented as the row is.
    `tell`: the sentence of one instance, with men and squares named.
    """

    name: str
    worth: Pawns
    men: Bitboards
    tell: Callable[[Reason], str]


def men_by_kind(board: chess.Board, squares: Iterable[chess.Square]) -> str:
    """Men by kind, most valuable first: `queen on d4, rook on d1 and pawns on a2 and c3`."""
    by_kind: dict[int, list[str]] = {}
    for square in sorted(squares):
        by_kind.setdefault(board.piece_type_at(square) or 0, []).append(chess.SQUARE_NAMES[square])
    parts = []
    for kind in sorted(by_kind, reverse=True):
        names = by_kind[kind]
        word = chess.piece_name(kind) if kind else "square"
        parts.append(f"{word if len(names) == 1 else word + 's'} on {listed(names)}")
    return listed(parts)


def file_names(squares: Iterable[chess.Square]) -> str:
    """The files of the squares: `h-file`, `g- and h-files`."""
    letters = sorted({chess.FILE_NAMES[chess.square_file(square)] for square in squares})
    if len(letters) == 1:
        return f"{letters[0]}-file"
    return listed(f"{letter}-" for letter in letters) + "files"


def without_owner(owner_and_man: str) -> str:
    """`the king on g1` from `White's king on g1`, for use where the owner has just been named."""
    return "the " + owner_and_man.partition("'s ")[2]


def other_side(ours: npt.NDArray[Value]) -> npt.NDArray[Value]:
    """The other side's value in each row, of a number or flag per row (a bitboard would need mirroring)."""
    half = len(ours) // 2
    return np.concatenate([ours[half:], ours[:half]])


def lead(ours: Pawns, theirs: Pawns) -> Pawns:
    """How far we are ahead of them. 0 where we are behind, so that only one side has the reason."""
    return np.maximum(0.0, ours - theirs)


def masked(flags: Flags, boards: Bitboards) -> Bitboards:
    """The boards where the flag is set, empty boards elsewhere."""
    return np.where(flags, boards, EMPTY)


def _king(board: chess.Board, side: chess.Color) -> str:
    square = board.king(side)
    return "?" if square is None else chess.SQUARE_NAMES[square]
