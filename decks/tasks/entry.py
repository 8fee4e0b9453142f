"""Reading what a student types: a move in SAN or UCI, a square, or why it is neither.

Notation: SAN of the PGN standard, section 8.2.3; UCI's long algebraic move.
"""

from __future__ import annotations

import re
from contextlib import suppress

import chess

from patterns.reading.text import safe

SHOWN_MOVES = 8
"""How many legal moves a message offers."""

_UCI = re.compile(r"([a-h][1-8])-?([a-h][1-8])=?([qrbnQRBN])?")
_SAN = re.compile(r"[NBRQK]?[a-h]?[1-8]?[-x]?[a-h][1-8](=?[NBRQnbrq])?[+#]?|[O0]-[O0](-[O0])?[+#]?")
_NUMBER = re.compile(r"^(\d+\s*\.+|\.+)\s*")
_GLYPHS = re.compile(r"[!?\s]+$")
_SQUARE = re.compile(r"[a-h][1-8]")


class EntryError(ValueError):
    """What was typed is not a move to play here; the message quotes it and says what would be right."""


class InvalidEntry(EntryError):
    """Not a move in any notation we read."""


class IllegalEntry(EntryError):
    """A move, but not a legal one in this position."""


class AmbiguousEntry(EntryError):
    """More than one legal move fits."""


def read_move(board: chess.Board, text: str) -> chess.Move:
    """The legal move that `text` means on `board`.

    A move number before it, annotation glyphs behind it and a small piece letter are forgiven.

    >>> read_move(chess.Board(), "1. nf3!").uci(), read_move(chess.Board(), "e2e4").uci()
    ('g1f3', 'e2e4')
    >>> read_move(chess.Board(), "Ne4")
    Traceback (most recent call last):
    decks.tasks.entry.IllegalEntry: Ne4 is not legal here: a knight can go Na3, Nc3, Nf3, Nh3
    """
    wanted = _GLYPHS.sub("", _NUMBER.sub("", text.strip()))
    if long := _UCI.fullmatch(wanted):
        return _long_move(board, wanted, *long.groups())
    for spelling in dict.fromkeys((wanted, wanted[:1].upper() + wanted[1:])):
        if not _SAN.fullmatch(spelling):
            continue
        try:
            return board.parse_san(spelling)
        except ValueError:
            fitting = _fitting(board, spelling)
            if len(fitting) > 1:
                raise AmbiguousEntry(f"{safe(wanted, 20)} could be {_any_of(fitting)}: say which") from None
    spelling = wanted[:1].upper() + wanted[1:]
    if not _SAN.fullmatch(wanted) and not _SAN.fullmatch(spelling):
        raise InvalidEntry(f"'{safe(wanted, 20)}' is not a move: write it like {_examples(board)}")
    if wanted[0] in "Oo0":
        raise IllegalEntry(f"{safe(wanted, 20)} is not legal here: the king can't castle that way now")
    # A small b is the file first; a small n, r, q or k can only be a piece.
    letter = "" if _SAN.fullmatch(wanted) and wanted[0] == "b" else spelling[0]
    letter = letter if letter in "NBRQK" else ""
    raise IllegalEntry(f"{safe(wanted, 20)} is not legal here: {_what_can_go(board, letter)}")


def read_square(text: str) -> str | None:
    """The square named, or None."""
    square = text.strip().lower()
    return square if _SQUARE.fullmatch(square) else None


def legal_san(board: chess.Board) -> tuple[str, ...]:
    """Every legal move in SAN, sorted; for completion."""
    return tuple(sorted(board.san(move) for move in board.legal_moves))


def _long_move(board: chess.Board, wanted: str, start: str, end: str, promotion: str | None) -> chess.Move:
    with suppress(ValueError):
        return board.parse_uci(start + end + (promotion or "").lower())
    fitting = [other for other in board.legal_moves if other.uci().startswith(start + end)]
    if promotion is None and fitting:
        choices = [board.san(other) for other in fitting]
        raise AmbiguousEntry(f"{wanted} could be {_any_of(choices)}: say which")
    piece = board.piece_at(chess.parse_square(start))
    if piece is None:
        raise IllegalEntry(f"{wanted} is not legal here: {start} is empty")
    if piece.color != board.turn:
        raise IllegalEntry(f"{wanted} is not legal here: the man on {start} is not yours")
    own = [board.san(other) for other in board.legal_moves if other.uci().startswith(start)]
    why = (
        f"the {chess.piece_name(piece.piece_type)} on {start} can go {_list(own)}"
        if own
        else (f"the {chess.piece_name(piece.piece_type)} on {start} can't move" + _in_check(board))
    )
    raise IllegalEntry(f"{wanted} is not legal here: {why}")


def _fitting(board: chess.Board, san: str) -> list[str]:
    """Legal moves of the named piece to the named square, as an ambiguous entry leaves them open."""
    end = re.findall(r"[a-h][1-8]", san)
    if not end:
        return []
    letter = san[0] if san[0] in "NBRQK" else ""
    hint = san.rstrip("+#").replace("x", "").replace("-", "").removeprefix(letter).split(end[-1])[0]
    return [
        board.san(move)
        for move in sorted(board.legal_moves, key=chess.Move.uci)
        if chess.square_name(move.to_square) == end[-1]
        and _letter(board, move) == letter
        and all(mark in chess.square_name(move.from_square) for mark in hint)
    ]


def _letter(board: chess.Board, move: chess.Move) -> str:
    piece = board.piece_type_at(move.from_square)
    return "" if piece in (None, chess.PAWN) else chess.piece_symbol(piece).upper()


def _what_can_go(board: chess.Board, letter: str) -> str:
    name = chess.piece_name(chess.PIECE_SYMBOLS.index(letter.lower())) if letter else "pawn"
    moves = sorted(board.san(move) for move in board.legal_moves if _letter(board, move) == letter)
    return f"a {name} can go {_list(moves)}" if moves else f"no {name} of yours can move{_in_check(board)}"


def _in_check(board: chess.Board) -> str:
    return " out of this check" if board.is_check() else ""


def _list(moves: list[str]) -> str:
    moves = sorted(moves)
    return ", ".join(moves[:SHOWN_MOVES]) + (" ..." if len(moves) > SHOWN_MOVES else "")


def _any_of(moves: list[str]) -> str:
    return f"{', '.join(moves[:-1])} or {moves[-1]}"


def _examples(board: chess.Board) -> str:
    moves = sorted(board.legal_moves, key=chess.Move.uci)
    return f"{board.san(moves[0])} or {moves[0].uci()}" if moves else "Nf3 or g1f3"
