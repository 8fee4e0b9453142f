"""Findings: instances of a motif with their evidence, as arrays inside a detector and as words outside it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from enum import Flag, auto
from typing import Any, Literal

import chess
import numpy as np
import numpy.typing as npt

from patterns.boards.bitboards import EMPTY, Bitboards, Rows
from patterns.boards.grouping import grouped
from patterns.boards.tables import Table
from patterns.boards.view import View
from patterns.proof.claims import Claims
from patterns.proof.played_line import OwnMove, Use

NO_MOVE = -1


@dataclass(frozen=True)
class Findings(Table):
    """Rows of a view that show a motif, one instance per entry.

    `row`: row of the view; its "us" profits. `actors`, `targets`, `squares`: the evidence as bitboards,
    oriented as the row is. `detail`: a small number; the motif states its meaning (for example a variant).
    `move`: the move that takes it up, as origin + 64 * destination; `NO_MOVE` if nothing need be moved.
    """

    row: Rows
    actors: Bitboards
    targets: Bitboards
    squares: Bitboards
    detail: npt.NDArray[np.int64]
    move: npt.NDArray[np.int64]

    def merged(self, *keys: npt.NDArray[Any]) -> Findings:
        """Findings of one row that also agree in `keys` become one finding, with their roles united.

        They are sorted by row, then by the keys. `detail` and `move` are those of the first.
        """
        groups = grouped(self.row, *keys)
        return Findings(
            self.row[groups.first],
            groups.united(self.actors),
            groups.united(self.targets),
            groups.united(self.squares),
            self.detail[groups.first],
            self.move[groups.first],
        )

    @classmethod
    def of_claims(cls, proven: Claims) -> Findings:
        """Claims that hold, as findings. Those that are about the same are one finding."""
        alone = proven.about < 0
        moved = proven.origin != proven.square
        move = np.where(moved, proven.origin + 64 * proven.square, NO_MOVE)
        every = cls(proven.row, proven.actors, proven.targets, proven.squares, proven.detail, move)
        actors, targets = (np.where(alone, role, EMPTY) for role in (proven.actors, proven.targets))
        return every.merged(proven.about, actors, targets)


def findings(
    rows: Rows,
    actors: Bitboards | None = None,
    targets: Bitboards | None = None,
    squares: Bitboards | None = None,
    detail: npt.NDArray[Any] | None = None,
) -> Findings:
    """Findings of these rows. A role that is not given is empty."""
    nothing = np.zeros(len(rows), dtype=np.uint64)
    return Findings(
        rows,
        nothing if actors is None else actors,
        nothing if targets is None else targets,
        nothing if squares is None else squares,
        np.zeros(len(rows), dtype=np.int64) if detail is None else detail.astype(np.int64),
        np.full(len(rows), NO_MOVE),
    )


def where(
    flags: npt.NDArray[np.bool_],
    actors: Bitboards | None = None,
    targets: Bitboards | None = None,
    squares: Bitboards | None = None,
    detail: npt.NDArray[Any] | None = None,
) -> Findings:
    """Findings for the flagged rows of a view, from role arrays over all its rows."""
    rows = np.flatnonzero(flags)
    every = [None if role is None else role[rows] for role in (actors, targets, squares, detail)]
    return findings(rows, *every)


@dataclass(frozen=True)
class Instance:
    """One instance on a real board. A motif's `tell` makes its note from this.

    `move`: the move that takes it up, if any. `wins`: what this move wins for good, as
    `patterns.proof.claims.worth` says. `played`: whether the note is about a line in which it was played.
    """

    board: chess.Board
    side: chess.Color
    actors: chess.SquareSet
    targets: chess.SquareSet
    squares: chess.SquareSet
    detail: int
    move: chess.Move | None = None
    wins: int = 0
    played: bool = False

    def does(self, verb: str) -> str:
        """The verb of a note: what the side does in a line, or can do on the board, or does already."""
        ending = "es" if verb.endswith("o") else "s"
        return verb + ending if self.played or self.move is None else f"can {verb}"

    @property
    def detail_square(self) -> chess.Square:
        """For motifs whose `detail` is a square in the row's orientation: that square on the real board."""
        return self.detail if self.side == chess.WHITE else chess.square_mirror(self.detail)


class TakenUp(Flag):
    """How a move takes up a motif that stood on the board before it."""

    CAPTURE = auto()
    """The move takes a target."""
    ENTRY = auto()
    """Any piece of ours arrives on one of the squares."""
    ACTION = auto()
    """An actor arrives on one of the squares, or takes a target."""
    ADVANCE = auto()
    """An actor moves."""
    AIM = auto()
    """An actor newly hits a target or one of the squares, because it moves or its line opens."""


NOT_TAKEN_UP = TakenUp(0)


def _nowhere(view: View) -> Findings:
    """What a motif that lives only in lines finds in positions."""
    return findings(np.zeros(0, dtype=np.int64))


def _untold(instance: Instance) -> str:
    """No position shows a motif that lives only in lines, so there is nothing to tell."""
    raise AssertionError("no position shows this motif")


@dataclass(frozen=True)
class Motif:
    """A motif's declaration and its detector.

    `id`: kebab-case. `definition`: one paragraph. `source`: where the definition is published. `find`: all
    instances in a view, or claims that are still to be tested (`patterns.proof.claims`). `tell`: the note of
    one instance, one plain sentence. `taken_up`: how a move in a line takes up an instance that the board
    showed before it; for claims this is their move. `in_line`: what the motif finds in a line. A motif that
    lives only in lines has this alone, and neither `find` nor `tell`.
    """

    id: str
    title: str
    definition: str
    source: str
    find: Callable[[View], Findings | Claims] = _nowhere
    tell: Callable[[Instance], str] = _untold
    taken_up: TakenUp = NOT_TAKEN_UP
    in_line: Callable[[Sequence[OwnMove]], Iterable[Use]] | None = None

    @property
    def on_the_board(self) -> bool:
        """Whether positions can show it, and not only lines."""
        return self.find is not _nowhere


@dataclass(frozen=True)
class Finding:
    """One instance in words: squares by name, a1 first. `side` is the side that profits."""

    motif: str
    side: Literal["white", "black"]
    actors: tuple[str, ...]
    targets: tuple[str, ...]
    squares: tuple[str, ...]
    note: str
