"""Tagging in a few lines: games or boards in, every position with its motifs in words out."""

from __future__ import annotations

import os
import warnings
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain, islice
from pathlib import Path
from typing import TextIO, cast, overload

import chess

from patterns.arguments import MotifsAsked, board_of, motifs_of, quoted, shown
from patterns.detect import BATCH, find_in, findings_in_words
from patterns.motifs.findings import Finding, Motif
from patterns.reading.fen import FenError, board_from_fen
from patterns.reading.pgn import Game, Unreadable, boards_of, read_games
from patterns.reading.text import safe
from patterns.scan import ScannedGame, scan

WANTED = (
    "the path of a PGN file, a stream open for reading text, games as patterns.read_games gives them, "
    "or chess.Boards"
)
"""What `tag` takes, for its error messages."""


class LeftOutWarning(UserWarning):
    """A game was left out because it cannot be read. The message says which game and why."""


@dataclass(frozen=True)
class TaggedBoard:
    """A position and every instance of a motif in it. `board` is a copy: the caller may keep or change it."""

    board: chess.Board
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class TaggedPosition(TaggedBoard):
    """A position of a game. `ply`: moves played before it. `move`: the next move; None after the last."""

    ply: int
    move: chess.Move | None


@dataclass(frozen=True)
class TaggedGame:
    """A game and all its positions, from the start to the position after the last move."""

    game: Game
    positions: tuple[TaggedPosition, ...]


@overload
def tag(source: chess.Board | Iterable[chess.Board], motifs: MotifsAsked = None) -> Iterator[TaggedBoard]: ...


@overload
def tag(
    source: str | os.PathLike[str] | TextIO | Game | Iterable[Game | Unreadable],
    motifs: MotifsAsked = None,
    unreadable: Callable[[Unreadable], object] | None = None,
) -> Iterator[TaggedGame]: ...


def tag(
    source: object,
    motifs: MotifsAsked = None,
    unreadable: Callable[[Unreadable], object] | None = None,
) -> Iterator[TaggedBoard] | Iterator[TaggedGame]:
    """Find motifs: in every position of every game of `source`, or in each of its boards.

    `source`: the path of a PGN file or a text stream (main lines are read), games as `read_games` gives them,
    or boards; one game, one board or any iterable. `motifs`: ids or `Motif`s, one or several; by default the
    whole catalogue. `unreadable`: called with each game that cannot be read; without it such a game is left
    out with a LeftOutWarning. The result is lazy and in the order of the source. Positions are searched in
    batches of several thousand, since a position costs far less in a batch than alone.

    TypeError or ValueError at once if `source` or `motifs` is of a wrong kind (or the file is missing), and
    later if an item is wrong. ValueError for a board without one king per side. GamesError for a file that
    has no games or is not text.
    >>> mate = chess.Board("6k1/5ppp/8/8/8/8/5PPP/4R1K1 w - - 0 1")
    >>> [(found.motif, found.side, found.squares) for one in tag(mate) for found in one.findings]
    [('back-rank', 'white', ('e8',))]
    """
    wanted = motifs_of(motifs)
    name, items = _items_of(source)
    return _tag_items(items, wanted, unreadable or _warning(name))


def in_words(scanned: ScannedGame, motifs: Sequence[Motif] | None = None) -> TaggedGame:
    """A scanned game with its findings in words. `motifs`: those that the scan was given."""
    game, boards = scanned.game, tuple(boards_of(scanned.game))
    moves: tuple[chess.Move | None, ...] = (*game.moves, None)
    by_ply = zip(boards, findings_in_words(scanned.findings, boards, motifs), moves, strict=True)
    return TaggedGame(
        game,
        tuple(
            TaggedPosition(board, tuple(findings), ply, move)
            for ply, (board, findings, move) in enumerate(by_ply)
        ),
    )


def _items_of(source: object) -> tuple[str, Iterable[object]]:
    """The name of the source in messages, and its games or boards."""
    if isinstance(source, (chess.Board, Game)):
        return "the games", (source,)
    if isinstance(source, (str, os.PathLike)):
        path = _existing(os.fspath(source))
        return safe(path), read_games(path)
    if hasattr(source, "readline"):
        return "the stream", read_games(cast(TextIO, source))
    if isinstance(source, Iterable) and not isinstance(source, (bytes, bytearray)):
        return "the games", source
    raise TypeError(f"tag takes {WANTED}, not {shown(source)}")


def _existing(path: str | bytes) -> Path:
    """The path, if there is such a file. Otherwise the error guesses what the text was meant to be."""
    if not isinstance(path, str):
        raise TypeError(f"tag takes {WANTED}, not the path {path!r} in bytes")
    if os.path.exists(path):
        return Path(path)
    if "\n" in path or path.lstrip().startswith("["):
        raise ValueError(f"{shown(path)} is PGN, not the path of a file: give it as io.StringIO(text)")
    try:
        board_from_fen(path)
    except FenError:
        raise ValueError(f"there is no file {quoted(path)}: tag takes {WANTED}") from None
    raise ValueError(f"{shown(path)} is a FEN, not the path of a file: give it as chess.Board(fen)")


def _tag_items(
    items: Iterable[object], motifs: Sequence[Motif], unreadable: Callable[[Unreadable], object]
) -> Iterator[TaggedBoard] | Iterator[TaggedGame]:
    """Search games or boards. The first item decides which of them the items are."""
    iterator = iter(items)
    first = list(islice(iterator, 1))
    items = chain(first, iterator)
    if first and isinstance(first[0], chess.Board):
        return (yield from _tag_boards(items, motifs))
    for one in scan(_games(items, unreadable), motifs=motifs):
        yield in_words(one, motifs)


def _tag_boards(items: Iterable[object], motifs: Sequence[Motif]) -> Iterator[TaggedBoard]:
    # Copy each board as it comes: the caller may make moves on one board and yield it again and again.
    boards = (_board(item, number) for number, item in enumerate(items, start=1))
    while batch := list(islice(boards, BATCH)):
        for board, findings in zip(batch, find_in(batch, motifs), strict=True):
            yield TaggedBoard(board, tuple(findings))


def _board(item: object, number: int) -> chess.Board:
    if not isinstance(item, chess.Board):
        raise TypeError(f"item {number} is {shown(item)}, not a chess.Board like those before it")
    try:
        return board_of(item)
    except ValueError as error:
        raise ValueError(f"board {number}: {error}") from error


def _games(items: Iterable[object], unreadable: Callable[[Unreadable], object]) -> Iterator[Game]:
    for number, item in enumerate(items, start=1):
        if isinstance(item, Game):
            yield item
        elif isinstance(item, Unreadable):
            unreadable(item)
        else:
            raise TypeError(f"item {number} is {shown(item)}: tag takes {WANTED}")


def _warning(source: str) -> Callable[[Unreadable], None]:
    """What happens with a game that cannot be read, unless the caller handles it."""

    def warn(game: Unreadable) -> None:
        warnings.warn(f"left out of {source}: {game}", LeftOutWarning, stacklevel=2)

    return warn
