"""Reading a position from text, and saying all that is wrong with one that is not a position.

FEN is section 16.1 of the PGN standard: six fields, placement, side to move, castling, en passant and two
counters. The counters may be left out (as in EPD, section 16.2).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping

import chess

from patterns.reading.text import counted

_ROOK_HOMES = {"K": chess.H1, "Q": chess.A1, "k": chess.H8, "q": chess.A8}


class FenError(ValueError):
    """The text is no FEN, or its position cannot arise; the message names every field and square at fault."""


def board_from_fen(text: str) -> chess.Board:
    """The legal position that `text` describes; FenError says what is wrong, all at once.

    >>> board_from_fen("4k3/8/8/8/8/8/8/4K2R w K -").fen()
    '4k3/8/8/8/8/8/8/4K2R w K - 0 1'
    >>> board_from_fen("4k3/8/8/8/8/8/8/4K2R1 w K - 0 1")
    Traceback (most recent call last):
    patterns.reading.fen.FenError: not a FEN: rank 1 ('4K2R1') has 9 squares, not 8
    >>> board_from_fen("4k2P/8/8/8/8/8/8/5K2 w K - 0 1")
    Traceback (most recent call last):
    patterns.reading.fen.FenError: impossible position: a pawn on h8; castling K without king and rook at home
    """
    fields = text.split()
    misspelt = _syntax_faults(fields)
    if misspelt:
        raise FenError(f"not a FEN: {'; '.join(misspelt)}")
    board = chess.Board(" ".join(fields + ["0", "1"][len(fields) - 4 :]))
    # python-chess drops a right for which there is no rook at all, and takes a rook that is not at home.
    board.castling_rights = chess.SquareSet(_ROOK_HOMES[right] for right in fields[2].strip("-")).mask
    status = board.status()
    impossible = [
        words if isinstance(words, str) else words(board)
        for flag, words in _STATUS_WORDS.items()
        if status & flag
    ]
    if impossible:
        raise FenError(f"impossible position: {'; '.join(impossible)}")
    return board


def _syntax_faults(fields: list[str]) -> list[str]:
    if not fields:
        return ["there is nothing there"]
    if len(fields) not in (4, 6):
        wanted = "placement, side to move, castling, en passant, two counters"
        return [f"{counted(len(fields), 'field')}, not 6 ({wanted})"]
    placement, turn, castling, en_passant, *counters = fields
    faults = _placement_faults(placement)
    if turn not in ("w", "b"):
        faults.append(f"side to move is w or b, not {turn!r}")
    if not re.fullmatch("-|K?Q?k?q?", castling):
        faults.append(f"castling is - or some of KQkq in that order, not {castling!r}")
    if not re.fullmatch("-|[a-h][36]", en_passant):
        faults.append(f"en passant is - or a square of rank 3 or 6, not {en_passant!r}")
    for name, counter in zip(("half-move clock", "move number"), counters, strict=False):
        if not re.fullmatch("[0-9]{1,4}", counter):
            faults.append(f"the {name} is a number, not {counter!r}")
    return faults


def _placement_faults(placement: str) -> list[str]:
    ranks = placement.split("/")
    if len(ranks) != 8:
        return [f"the placement has {counted(len(ranks), 'rank')}, not 8"]
    faults = []
    for number, rank in zip(range(8, 0, -1), ranks, strict=True):
        strange = sorted(set(rank) - set("pnbrqkPNBRQK12345678"))
        squares = sum(int(sign) if sign.isdecimal() else 1 for sign in rank)
        if strange:
            faults.append(f"rank {number} ({rank!r}) has {', '.join(map(repr, strange))}, no piece letter")
        elif squares != 8:
            faults.append(f"rank {number} ({rank!r}) has {counted(squares, 'square')}, not 8")
        elif re.search("[1-8][1-8]", rank):
            faults.append(f"rank {number} ({rank!r}) has two numbers side by side")
    return faults


def _squares(squares: Iterable[chess.Square]) -> str:
    return ", ".join(chess.square_name(square) for square in squares)


def _kings(board: chess.Board) -> str:
    return f"two or more kings of one side ({_squares(chess.SquareSet(board.kings))})"


def _pawns_at_the_rim(board: chess.Board) -> str:
    return f"a pawn on {_squares(chess.SquareSet(board.pawns & chess.BB_BACKRANKS))}"


def _bad_castling(board: chess.Board) -> str:
    lost = board.castling_rights & ~board.clean_castling_rights()
    names = "".join(right for right, square in _ROOK_HOMES.items() if chess.BB_SQUARES[square] & lost)
    return f"castling {names} without king and rook at home"


def _bad_en_passant(board: chess.Board) -> str:
    assert board.ep_square is not None
    return f"en passant on {_squares([board.ep_square])}, but no pawn has just passed it"


def _waiting_king(board: chess.Board) -> str:
    king = board.king(not board.turn)
    assert king is not None
    return f"the side that is not to move is in check ({_squares([king])})"


def _too_many_checkers(board: chess.Board) -> str:
    return f"check from {_squares(board.checkers())}: more than two at once"


def _impossible_check(board: chess.Board) -> str:
    return f"check from {_squares(board.checkers())}: no move could have given it"


_STATUS_WORDS: Mapping[int, str | Callable[[chess.Board], str]] = {
    chess.STATUS_NO_WHITE_KING: "White has no king",
    chess.STATUS_NO_BLACK_KING: "Black has no king",
    chess.STATUS_TOO_MANY_KINGS: _kings,
    chess.STATUS_TOO_MANY_WHITE_PAWNS: "White has more than 8 pawns",
    chess.STATUS_TOO_MANY_BLACK_PAWNS: "Black has more than 8 pawns",
    chess.STATUS_TOO_MANY_WHITE_PIECES: "White has more than 16 men",
    chess.STATUS_TOO_MANY_BLACK_PIECES: "Black has more than 16 men",
    chess.STATUS_PAWNS_ON_BACKRANK: _pawns_at_the_rim,
    chess.STATUS_BAD_CASTLING_RIGHTS: _bad_castling,
    chess.STATUS_INVALID_EP_SQUARE: _bad_en_passant,
    chess.STATUS_OPPOSITE_CHECK: _waiting_king,
    chess.STATUS_TOO_MANY_CHECKERS: _too_many_checkers,
    chess.STATUS_IMPOSSIBLE_CHECK: _impossible_check,
}
