"""Scanning games: tagging every position of every game, as a stream, on any executor."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import Executor, Future
from dataclasses import dataclass, replace
from itertools import pairwise

import chess
import numpy as np

from patterns.boards.positions import Positions, snapshot
from patterns.boards.view import View
from patterns.detect import BATCH, Detected, detect
from patterns.motifs.findings import Motif
from patterns.reading.pgn import Game

IN_FLIGHT = 4
"""Batches given to an executor before the awaited one is done: enough for a few workers, and not too many."""

Replay = tuple[str, tuple[chess.Move, ...]]
"""What a worker needs of a game: the FEN of its start and its moves."""


@dataclass(frozen=True)
class ScannedGame:
    """A game with the findings of all its positions. `findings.position` is the ply, 0 at the start."""

    game: Game
    findings: Detected


def scan(
    games: Iterable[Game], executor: Executor | None = None, motifs: Sequence[Motif] | None = None
) -> Iterator[ScannedGame]:
    """Tag every position of the games with the motifs (by default the whole catalogue), in the games' order.

    With an executor (threads, processes, machines) batches of games are tagged there, a few in advance.
    Processes need motifs that can be pickled. Those of the catalogue can.
    """
    waiting: deque[tuple[list[Game], Future[list[Detected]]]] = deque()
    for batch in _batches(games):
        replays = [(game.start.fen(), game.moves) for game in batch]
        if executor is None:
            yield from _joined(batch, findings_of(replays, motifs))
            continue
        waiting.append((batch, executor.submit(findings_of, replays, motifs)))
        if len(waiting) > IN_FLIGHT:
            done, future = waiting.popleft()
            yield from _joined(done, future.result())
    for done, future in waiting:
        yield from _joined(done, future.result())


def findings_of(replays: Sequence[Replay], motifs: Sequence[Motif] | None = None) -> list[Detected]:
    """The findings of each game. All positions are searched in one batch."""
    snapshots, lengths = [], []
    for fen, moves in replays:
        board = chess.Board(fen)
        snapshots.append(snapshot(board))
        for move in moves:
            board.push(move)
            snapshots.append(snapshot(board))
        lengths.append(len(moves) + 1)
    found = detect(View(Positions.from_snapshots(snapshots)), motifs)
    order = np.argsort(found.position, kind="stable")
    first = np.cumsum([0, *lengths])
    cuts = np.searchsorted(found.position[order], first)
    parts = (found.take(order[begin:end]) for begin, end in pairwise(cuts))
    return [
        replace(part, position=part.position - start) for part, start in zip(parts, first[:-1], strict=True)
    ]


def _batches(games: Iterable[Game]) -> Iterator[list[Game]]:
    """Lists of games with about one batch of positions each."""
    batch: list[Game] = []
    size = 0
    for game in games:
        batch.append(game)
        size += len(game.moves) + 1
        if size >= BATCH:
            yield batch
            batch, size = [], 0
    if batch:
        yield batch


def _joined(games: Sequence[Game], findings: Sequence[Detected]) -> Iterator[ScannedGame]:
    return (ScannedGame(game, found) for game, found in zip(games, findings, strict=True))
