"""From positions to findings: every motif on a whole batch of positions."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TypeVar

import chess
import numpy as np
import numpy.typing as npt

from patterns.arguments import MotifsAsked, motifs_of
from patterns.boards.bitboards import Bitboards, Flags, Rows, mirror, square_names
from patterns.boards.exchange import Values
from patterns.boards.grouping import grouped
from patterns.boards.moves import Moves
from patterns.boards.positions import Positions
from patterns.boards.tables import Table
from patterns.boards.view import View
from patterns.catalogue import MOTIFS
from patterns.motifs.findings import NO_MOVE, Finding, Findings, Instance, Motif
from patterns.proof.claims import Claims, hold, to_the_point, worth

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
    profits. `actors`, `targets`, `squares`: bitboards. `detail`: its meaning depends on the motif. `move`: as
    in `Findings`, oriented as the side that profits sees the board.
    """

    position: Rows
    motif: Rows
    white: npt.NDArray[np.bool_]
    actors: Bitboards
    targets: Bitboards
    squares: Bitboards
    detail: npt.NDArray[np.int64]
    move: npt.NDArray[np.int64]


def detect(view: View, motifs: Sequence[Motif] | None = None) -> Detected:
    """Every instance of the motifs (by default of the whole catalogue) in a view, motif by motif."""
    found = _found(view, list(MOTIFS.values() if motifs is None else motifs))
    half = len(view) // 2
    return Detected.joined(*(_on_the_board(these, number, half) for number, these in enumerate(found)))


def _on_the_board(found: Findings, number: int, half: int) -> Detected:
    """The findings of the motif with this number, as on the real board. `half`: how many positions."""
    white = found.row < half
    actors, targets, squares = (
        np.where(white, role, mirror(role)) for role in (found.actors, found.targets, found.squares)
    )
    position, motif = found.row % half, np.full(len(found), number)
    return Detected(position, motif, white, actors, targets, squares, found.detail, found.move)


def _found(view: View, motifs: Sequence[Motif]) -> Iterator[Findings]:
    """The findings of each motif. The claims of all motifs are tested together."""
    every = [motif.find(view) for motif in motifs]
    proposed = [found for found in every if isinstance(found, Claims)]
    told = iter(np.split(_told(view, proposed), np.cumsum([len(part) for part in proposed])))
    for found in every:
        yield Findings.of_claims(found.only(next(told))) if isinstance(found, Claims) else found


def _told(view: View, proposed: Sequence[Claims]) -> Flags:
    """Which claims, one motif's after the other's, hold and are to the point."""
    if not proposed:
        return np.zeros(0, dtype=np.bool_)
    claims = Claims.joined(*proposed)
    told = hold(view, claims)
    told[told] = to_the_point(view, claims.only(told))
    return told


def findings_in_words(
    detected: Detected, boards: Sequence[chess.Board], motifs: Sequence[Motif] | None = None
) -> list[list[Finding]]:
    """The findings of each board in words, with their notes."""
    catalogue = list(MOTIFS.values() if motifs is None else motifs)
    result: list[list[Finding]] = [[] for _ in boards]
    wins = _winnings(detected, boards)
    for number, motif in enumerate(catalogue):
        these = detected.motif == number
        for position, instance in _instances(detected.only(these), boards, wins[these]):
            result[position].append(finding_of(motif, instance))
    return result


def instances_of(
    found: Findings, boards: Sequence[chess.Board], wins: Values | None = None
) -> Iterator[tuple[int, Instance]]:
    """The findings of a view of these boards on the real boards: the index of the board, and the instance.

    `wins`: what the move of each finding wins, if that is known.
    """
    yield from _instances(_on_the_board(found, 0, len(boards)), boards, wins)


def _instances(
    detected: Detected, boards: Sequence[chess.Board], wins: Values | None
) -> Iterator[tuple[int, Instance]]:
    columns = [*vars(detected).values(), np.zeros(len(detected), dtype=np.int64) if wins is None else wins]
    entries = zip(*(column.tolist() for column in columns), strict=True)
    for position, _, white, actors, targets, squares, detail, move, won in entries:
        board = boards[position]
        actors, targets, squares = (chess.SquareSet(role) for role in (actors, targets, squares))
        move_there = _move_on(board, white, move)
        yield position, Instance(board, white, actors, targets, squares, detail, move_there, won)


def finding_of(motif: Motif, instance: Instance) -> Finding:
    """An instance in words."""
    return Finding(
        motif.id,
        "white" if instance.side == chess.WHITE else "black",
        square_names(int(instance.actors)),
        square_names(int(instance.targets)),
        square_names(int(instance.squares)),
        motif.tell(instance),
    )


def _move_on(board: chess.Board, white: bool, move: int) -> chess.Move | None:
    """The move of a finding on the real board."""
    if move == NO_MOVE:
        return None
    origin, square = (end if white else chess.square_mirror(end) for end in (move % 64, move // 64))
    promotes = board.piece_type_at(origin) == chess.PAWN and chess.square_rank(square) in (0, 7)
    return chess.Move(origin, square, chess.QUEEN if promotes else None)


def _winnings(detected: Detected, boards: Sequence[chess.Board]) -> npt.NDArray[np.int64]:
    """What the move of each finding wins, 0 where there is none."""
    result = np.zeros(len(detected), dtype=np.int64)
    some = np.flatnonzero(detected.move != NO_MOVE)
    if len(some):
        view = View(Positions.from_boards(boards))
        row = np.where(detected.white, detected.position, detected.position + len(boards))[some]
        moves = grouped(row, detected.move[some])
        row, move = row[moves.first], detected.move[some][moves.first]
        result[some] = worth(view, Moves(row, move % 64, move // 64))[moves.group]
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
