"""From positions to findings: every motif on a whole batch of positions."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TypeVar

import chess
import numpy as np
import numpy.typing as npt

from patterns.arguments import MotifsAsked, motifs_of
from patterns.boards.bitboards import Bitboards, Rows, mirror, square_names
from patterns.boards.positions import Positions
from patterns.boards.tables import Table
from patterns.boards.view import View
from patterns.catalogue import MOTIFS
from patterns.motifs.findings import Finding, Instance, Motif

BATCH = 24576
"""The most positions in a batch. Each numpy call then has enough to do: with motifs and factors together a
position costs 34 microseconds in batches of 8192, 27 in 16384 and 24 in 29496, which takes 300 MB."""

Item = TypeVar("Item")


def batches(items: Sequence[Item]) -> Iterator[Sequence[Item]]:
    """The items in their order, in as few batches as possible, all of about the same size."""
    count = -(-len(items) // BATCH)
    for number in range(count):
        yield items[number * len(items) // count : (number + 1) * len(items) // count]


@dataclass(frozen=True)
class Detected(Table):
    """All findings of a batch, one entry each, as on the real board (nothing is mirrored).

    `position`: index into the batch. `motif`: index into the motifs asked for. `white`: whether White
    profits. `actors`, `targets`, `squares`: bitboards. `detail`: its meaning depends on the motif.
    """

    position: Rows
    motif: Rows
    white: npt.NDArray[np.bool_]
    actors: Bitboards
    targets: Bitboards
    squares: Bitboards
    detail: npt.NDArray[np.int64]


def detect(view: View, motifs: Sequence[Motif] | None = None) -> Detected:
    """Every instance of the motifs (by default of the whole catalogue) in a view, motif by motif."""
    half = len(view) // 2
    parts = []
    for number, motif in enumerate(MOTIFS.values() if motifs is None else motifs):
        found = motif.find(view)
        white = found.row < half
        actors, targets, squares = (
            np.where(white, role, mirror(role)) for role in (found.actors, found.targets, found.squares)
        )
        parts.append(
            Detected(
                found.row % half, np.full(len(found), number), white, actors, targets, squares, found.detail
            )
        )
    return Detected.joined(*parts)


def findings_in_words(
    detected: Detected, boards: Sequence[chess.Board], motifs: Sequence[Motif] | None = None
) -> list[list[Finding]]:
    """The findings of each board in words, with their notes."""
    catalogue = list(MOTIFS.values() if motifs is None else motifs)
    result: list[list[Finding]] = [[] for _ in boards]
    entries = zip(*(column.tolist() for column in vars(detected).values()), strict=True)
    for position, number, white, actors, targets, squares, detail in entries:
        motif = catalogue[number]
        instance = Instance(
            boards[position],
            white,
            chess.SquareSet(actors),
            chess.SquareSet(targets),
            chess.SquareSet(squares),
            detail,
        )
        result[position].append(
            Finding(
                motif.id,
                "white" if white else "black",
                square_names(actors),
                square_names(targets),
                square_names(squares),
                motif.tell(instance),
            )
        )
    return result


def find_in(boards: Sequence[chess.Board], motifs: MotifsAsked = None) -> list[list[Finding]]:
    """The findings of each board in words, all boards in one batch. For more than `BATCH` use `patterns.tag`.

    `motifs`: ids or motifs, one or several; by default the whole catalogue. Each board needs one king per
    side (ValueError).

    >>> [finding.motif for finding in find_in([chess.Board()])[0]]
    []
    """
    if not boards:
        return []
    wanted = motifs_of(motifs)
    return findings_in_words(detect(View(Positions.from_boards(boards)), wanted), boards, wanted)
