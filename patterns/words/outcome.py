"""What a side gets from a line: mate, men won, or nothing that can be counted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import chess

from patterns.boards.worth import ahead
from patterns.words import wording

UNCLEAR_AFTER = 8
"""How many plies show the idea of a line in which nothing is won. The rest is the engine's guess."""

MEN = (chess.QUEEN, chess.ROOK, chess.BISHOP, chess.KNIGHT, chess.PAWN)
"""What can be won, the most valuable first."""

WINS = "wins "
"""How the words for men won begin; the men follow."""

NEAR = 1
"""Pawns that may still be given back after it is clear who won what."""


@dataclass(frozen=True)
class Outcome:
    """What a side gets from a line, in words (`wins a knight`, `mates in two`; empty: nothing to count).

    `plies`: how much of the line shows it. `pawns`: the worth of the men won minus those lost. `mates`:
    whether the line ends in mate for the side.
    """

    plies: int
    words: str
    pawns: int = 0
    mates: bool = False


def outcome(board: chess.Board, moves: Sequence[str], side: chess.Color) -> Outcome:
    """What the side gets from the line that starts at `board` (UCI moves, each legal after those before it).

    >>> outcome(chess.Board("4k3/8/8/3r4/8/4N3/8/4K3 w - - 0 1"), ["e3d5", "e8d7", "d5f4"], chess.WHITE)
    Outcome(plies=1, words='wins a rook', pawns=5, mates=False)
    >>> outcome(chess.Board("6k1/5ppp/8/8/8/8/8/K2R4 w - - 0 1"), ["d1d8"], chess.WHITE)
    Outcome(plies=1, words='mates', pawns=0, mates=True)
    """
    if not moves:
        return Outcome(0, "")
    boards = [board.copy(stack=False)]
    for uci in moves:
        boards.append(boards[-1].copy(stack=False))
        boards[-1].push_uci(uci)
    last = boards[-1]
    if last.is_checkmate() and last.turn != side:
        count = sum(before.turn == side for before in boards[:-1])
        return Outcome(len(moves), mates_in(count), mates=True)
    rests = [ply for ply, uci in enumerate([*moves[1:], ""], 1) if not uci or not _changes(boards[ply], uci)]
    start = ahead(board, side)
    gains = {ply: ahead(boards[ply], side) - start for ply in rests}
    if gains[len(moves)] < 1:
        return Outcome(min(len(moves), UNCLEAR_AFTER), "", gains[len(moves)])
    ply = _clear_from(gains)
    return Outcome(ply, _won(board, moves[:ply], side), gains[ply])


def won_in_all(board: chess.Board, moves: Sequence[str], side: chess.Color) -> Outcome:
    """What the side has won when the line is over, where `outcome` says that it wins something.

    `outcome` stops where it is clear who won what; in all more can fall.

    >>> line = ["e3d5", "e8d7", "d5c7", "d7e7", "c7b5"]
    >>> board = chess.Board("4k3/2p5/8/1p1r4/8/4N3/8/4K3 w - - 0 1")
    >>> outcome(board, line, chess.WHITE).words, won_in_all(board, line, chess.WHITE).words
    ('wins a rook', 'wins a rook and two pawns')
    """
    clear = outcome(board, moves, side)
    if clear.mates or not clear.words:
        return clear
    end = board.copy(stack=False)
    for uci in moves:
        end.push_uci(uci)
    return Outcome(len(moves), _won(board, moves, side), ahead(end, side) - ahead(board, side))


def _won(board: chess.Board, moves: Sequence[str], side: chess.Color) -> str:
    """What the side has won by these moves, in words: a man that it promoted and kept, else men by count."""
    after, promoted = board.copy(stack=False), dict[chess.Square, str]()
    for uci in moves:
        move, ours = chess.Move.from_uci(uci), after.turn == side
        kind = promoted.pop(move.from_square, "") or uci[4:]
        promoted.pop(move.to_square, None)
        if ours and kind:
            promoted[move.to_square] = kind
        after.push(move)
    if promoted:
        return f"{'queens' if 'q' in promoted.values() else 'promotes'} a pawn"
    return f"{WINS}{_exchanged(board, after, side)}"


def mates_in(count: int) -> str:
    """Says in how many moves a side mates: `mates`, `mates in two`."""
    return "mates" if count == 1 else f"mates in {wording.number(count)}"


def _changes(board: chess.Board, uci: str) -> bool:
    move = chess.Move.from_uci(uci)
    return board.is_capture(move) or move.promotion is not None


def _clear_from(gains: Mapping[int, int]) -> int:
    """The ply from which the outcome is clear: at least half of the gain is there and is not given back.

    `gains`: pawns, by the plies that no capture follows.
    """
    plies = sorted(gains)
    lasting = {
        ply: min(gains[later] for later in plies if later >= ply) + NEAR >= gains[ply] for ply in plies
    }
    return next(ply for ply in plies if lasting[ply] and 2 * gains[ply] >= gains[plies[-1]])


def surplus(board: chess.Board, side: chess.Color) -> tuple[str, str]:
    """The men that a side has more than the other, and those that it has fewer; both can be empty.

    >>> surplus(chess.Board("4k2r/8/8/8/8/8/3PB3/4K3 w k - 0 1"), chess.WHITE)
    ('a bishop and a pawn', 'a rook')
    """
    return _in_words(
        {kind: len(board.pieces(kind, side)) - len(board.pieces(kind, not side)) for kind in MEN}
    )


def _exchanged(before: chess.Board, after: chess.Board, side: chess.Color) -> str:
    """What the side has won, and for what: `a rook for a bishop and a pawn`."""
    gains = {kind: _lost(before, after, kind, not side) - _lost(before, after, kind, side) for kind in MEN}
    won, paid = _in_words(gains)
    return f"{won} for {paid}" if paid else won


def _in_words(gains: Mapping[chess.PieceType, int]) -> tuple[str, str]:
    """Men more and men fewer. A knight for a bishop is nothing; a rook for one of them is the exchange."""
    left = dict(gains)
    minors = min(abs(left[chess.KNIGHT]), abs(left[chess.BISHOP]))
    if left[chess.KNIGHT] * left[chess.BISHOP] < 0:
        for kind in (chess.KNIGHT, chess.BISHOP):
            left[kind] -= minors if left[kind] > 0 else -minors
    words = {kind: wording.amount(abs(left[kind]), kind) for kind in MEN}
    minor = next((kind for kind in (chess.KNIGHT, chess.BISHOP) if left[kind] == -1), None)
    if left[chess.ROOK] == 1 and minor and not left[chess.QUEEN]:
        words[chess.ROOK], left[minor] = "the exchange", 0
    more = [words[kind] for kind in MEN if left[kind] > 0]
    fewer = [words[kind] for kind in MEN if left[kind] < 0]
    return wording.listed(more), wording.listed(fewer)


def _lost(before: chess.Board, after: chess.Board, kind: chess.PieceType, side: chess.Color) -> int:
    return len(before.pieces(kind, side)) - len(after.pieces(kind, side))
