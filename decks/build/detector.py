"""A detector that keeps what it finds, so that a second build need not look again.

What is kept holds only for the rules by which it was found (`rules`): other rules may find something else.
"""

from __future__ import annotations

import hashlib
import json
import zlib
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import astuple, dataclass
from itertools import islice
from pathlib import Path
from typing import Any, Protocol, TypeVar

import chess
import numpy as np

import patterns
from patterns.detect import Detected
from patterns.lines import Line, Use, uses_of_many
from patterns.reading.pgn import Game
from patterns.refuted import Refuted, refuted_in
from patterns.scan import ScannedGame, scan

GAMES_AT_ONCE = 256
"""Games that are scanned and kept together: about one batch of positions."""

Item = TypeVar("Item")
Found = TypeVar("Found")


class Kept(Protocol):
    """Where findings of the same rules are kept, as bytes under names."""

    def get(self, names: Collection[str]) -> Mapping[str, bytes]:
        """What was kept under these names. A name under which nothing was kept is left out."""
        ...

    def put(self, found: Mapping[str, bytes]) -> None:
        """Keep this, by name."""
        ...


class NotKept:
    """Keeps nothing."""

    def get(self, names: Collection[str]) -> Mapping[str, bytes]:
        """As `Kept.get`."""
        return {}

    def put(self, found: Mapping[str, bytes]) -> None:
        """As `Kept.put`."""


@dataclass(frozen=True)
class Detector:
    """Finds the motifs of the whole catalogue. What was kept is not looked for again."""

    kept: Kept

    def scanned(self, games: Iterable[Game]) -> Iterator[ScannedGame]:
        """As `patterns.scan.scan`."""
        games = iter(games)
        while batch := list(islice(games, GAMES_AT_ONCE)):
            names = [_name("game", game.start, game.moves) for game in batch]
            found = self._found(dict(zip(names, batch, strict=True)), _scanned, _plain, _detected)
            yield from (ScannedGame(game, found[name]) for name, game in zip(names, batch, strict=True))

    def uses_of_many(self, lines: Sequence[Line]) -> list[list[Use]]:
        """As `patterns.lines.uses_of_many`."""
        names = [_name("line", *line) for line in lines]
        found = self._found(dict(zip(names, lines, strict=True)), uses_of_many, _rows, _uses)
        return [found[name] for name in names]

    def refuted_in(self, boards: Sequence[chess.Board], motifs: Collection[str]) -> list[list[Refuted]]:
        """As `patterns.refuted.refuted_in`."""
        names = [_name("strokes", board, ()) for board in boards]
        found = self._found(dict(zip(names, boards, strict=True)), refuted_in, _strokes, _refuted)
        return [[one for one in found[name] if one.motif in motifs] for name in names]

    def _found(
        self,
        items: Mapping[str, Item],
        find: Callable[[list[Item]], Iterable[Found]],
        plain: Callable[[Found], object],
        read: Callable[[Any], Found],
    ) -> dict[str, Found]:
        """What is found of each item: what was kept, and what `find` finds of the others.

        `plain`: what is found as lists of numbers and texts. `read`: the reverse. What can't be read counts
        as not kept.
        """
        found: dict[str, Found] = {}
        for name, packed in self.kept.get(items).items():
            try:
                found[name] = read(json.loads(zlib.decompress(packed)))
            except (zlib.error, ValueError, TypeError):
                continue
        left = {name: item for name, item in items.items() if name not in found}
        new = dict(zip(left, find(list(left.values())), strict=True)) if left else {}
        if new:
            self.kept.put({name: zlib.compress(json.dumps(plain(one)).encode()) for name, one in new.items()})
        return found | new


def rules() -> str:
    """Names the rules of the detector: a hash of the source of `patterns` and of how findings are kept."""
    digest = hashlib.blake2b(chess.__version__.encode(), digest_size=16)
    for path in (Path(__file__), *sorted(Path(patterns.__file__).parent.rglob("*.py"))):
        digest.update(path.read_bytes())
    return digest.hexdigest()


def _name(kind: str, start: chess.Board, moves: Iterable[chess.Move]) -> str:
    text = " ".join([kind, start.fen(), *map(chess.Move.uci, moves)])
    return hashlib.blake2b(text.encode(), digest_size=16).hexdigest()


def _scanned(games: Sequence[Game]) -> Iterator[Detected]:
    return (one.findings for one in scan(games))


def _plain(found: Detected) -> list[list[int]]:
    return [column.tolist() for column in vars(found).values()]


def _detected(columns: Iterable[Sequence[int]]) -> Detected:
    position, motif, white, actors, targets, squares, detail, move = columns
    return Detected(
        np.array(position, np.int64),
        np.array(motif, np.int64),
        np.array(white, np.bool_),
        np.array(actors, np.uint64),
        np.array(targets, np.uint64),
        np.array(squares, np.uint64),
        np.array(detail, np.int64),
        np.array(move, np.int64),
    )


def _strokes(refuted: Sequence[Refuted]) -> list[tuple[str, str, int]]:
    return [(one.motif, one.move.uci(), one.by) for one in refuted]


def _refuted(strokes: Iterable[tuple[str, str, int]]) -> list[Refuted]:
    return [Refuted(motif, chess.Move.from_uci(move), by) for motif, move, by in strokes]


def _rows(uses: Sequence[Use]) -> list[tuple[object, ...]]:
    return [astuple(use) for use in uses]


def _uses(rows: Iterable[Sequence[Any]]) -> list[Use]:
    return [
        Use(ply, motif, tuple(actors), tuple(targets), tuple(squares), *rest)
        for ply, motif, actors, targets, squares, *rest in rows
    ]
