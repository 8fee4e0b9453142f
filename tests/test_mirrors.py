"""Every motif sees on a mirrored board the mirror image of what it saw, for colours or files exchanged."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import chess
from real_positions import positions_in, wandered

from patterns.catalogue import MOTIFS
from patterns.detect import find_in
from patterns.motifs.findings import Finding, Motif

Shape = tuple[str, str, frozenset[str], frozenset[str], frozenset[str]]


def shapes(findings: list[Finding]) -> set[Shape]:
    return {
        (one.motif, one.side, frozenset(one.actors), frozenset(one.targets), frozenset(one.squares))
        for one in findings
    }


def turned(shape: Shape, square_map: dict[str, str], other_side: bool) -> Shape:
    motif, side, *roles = shape
    if other_side:
        side = "black" if side == "white" else "white"
    actors, targets, squares = (frozenset(square_map[name] for name in role) for role in roles)
    return motif, side, actors, targets, squares


RANKS_TURNED = {chess.SQUARE_NAMES[s]: chess.SQUARE_NAMES[s ^ 56] for s in chess.SQUARES}
FILES_TURNED = {chess.SQUARE_NAMES[s]: chess.SQUARE_NAMES[s ^ 7] for s in chess.SQUARES}


def file_mirrored(board: chess.Board) -> chess.Board:
    """The board with files exchanged. It has no castling rights, since these do not mirror."""
    mirrored = board.transform(chess.flip_horizontal)
    mirrored.castling_rights = chess.BB_EMPTY
    return mirrored


def check(motifs: list[Motif], boards: Sequence[chess.Board]) -> int:
    """Compare with both mirror images. Returns how many findings were compared."""
    seen = 0
    plain = find_in(boards, motifs)
    colours = find_in([board.mirror() for board in boards], motifs)
    stripped = [board.copy(stack=False) for board in boards]
    for board in stripped:
        board.castling_rights = chess.BB_EMPTY
    bare = find_in(stripped, motifs)
    files = find_in([file_mirrored(board) for board in boards], motifs)
    for board, one, other, without, flipped in zip(boards, plain, colours, bare, files, strict=True):
        expected = {turned(shape, RANKS_TURNED, other_side=True) for shape in shapes(one)}
        assert shapes(other) == expected, f"colours exchanged: {board.fen()}"
        expected = {turned(shape, FILES_TURNED, other_side=False) for shape in shapes(without)}
        assert shapes(flipped) == expected, f"files exchanged: {board.fen()}"
        seen += len(one)
    return seen


def test_mirrors_of_real_games(chess_archive: Path) -> None:
    """Real games of the python-chess source archive (data/pgn)."""
    boards = positions_in(chess_archive / "data" / "pgn")
    assert len(boards) > 500
    assert check(list(MOTIFS.values()), boards) > 1000


def test_mirrors_of_random_walks() -> None:
    walks = [wandered(seed, games=2, plies=80)[10::3] for seed in range(10)]
    assert check(list(MOTIFS.values()), [board for walk in walks for board in walk]) > 100


def test_a_batch_of_one_finds_what_a_large_batch_finds() -> None:
    boards = list(wandered(11, games=4))
    together = find_in(boards)
    assert sum(map(len, together[::29])) > 10
    assert [find_in([board])[0] for board in boards[::29]] == together[::29]
