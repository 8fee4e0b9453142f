"""Plain words for men and squares, shared by every note and reason."""

from __future__ import annotations

from collections.abc import Iterable

import chess

NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight")


def named(board: chess.Board, square: chess.Square) -> str:
    """A man and its square: `the knight on e5`; an empty square by its name."""
    kind = board.piece_type_at(square)
    name = chess.SQUARE_NAMES[square]
    return f"the {chess.piece_name(kind)} on {name}" if kind else name


def listed(words: Iterable[str]) -> str:
    """Words as a list in a sentence: `a`, `a and b`, `a, b and c`."""
    every = list(words)
    return " and ".join([", ".join(every[:-1]), every[-1]] if len(every) > 2 else every)


def shade(square: chess.Square) -> str:
    """The colour of a square: light or dark.

    >>> shade(chess.A1)
    'dark'
    """
    return "light" if chess.BB_SQUARES[square] & chess.BB_LIGHT_SQUARES else "dark"


def squares(these: Iterable[chess.Square]) -> str:
    """Square names as a list in a sentence, a1 first."""
    return listed(chess.SQUARE_NAMES[square] for square in sorted(these))


def either(these: Iterable[chess.Square]) -> str:
    """Square names as alternatives in a sentence, a1 first: `a1`, `a1 or b2`, `a1, b2 or c3`."""
    names = [chess.SQUARE_NAMES[square] for square in sorted(these)]
    return " or ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def men(board: chess.Board, these: Iterable[chess.Square]) -> str:
    """Men and their squares as a list in a sentence."""
    return listed(named(board, square) for square in sorted(these))


def move(board: chess.Board, these: chess.Move) -> str:
    """A move in SAN, also if it is not its side's turn; if it is not legal even then, its two squares."""
    turned = board.copy(stack=False)
    turned.turn = bool(board.color_at(these.from_square))
    if turned.is_legal(these):
        return turned.san(these)
    return f"{named(board, these.from_square)} to {chess.SQUARE_NAMES[these.to_square]}"


def sentence(text: str) -> str:
    """The text with a capital letter and a full stop."""
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")


def side_name(colour: chess.Color) -> str:
    """`White` or `Black`."""
    return "White" if colour else "Black"


def number(count: int) -> str:
    """A small number as a word, a larger one in digits."""
    return NUMBERS[count] if count < len(NUMBERS) else str(count)


def amount(count: int, kind: chess.PieceType) -> str:
    """A number of men of a kind: `a rook`, `two pawns`."""
    return f"{'a' if count == 1 else number(count)} {chess.piece_name(kind)}{'s' if count > 1 else ''}"


_WON = {1: "at least a pawn"} | {
    wins: f"material worth at least {man}"
    for wins, man in ((2, "the exchange"), (3, "a piece"), (5, "a rook"), (8, "a queen"))
}


def so_wins(wins: int) -> str:
    """The consequence of a move, as the end of a sentence: `, which wins at least a pawn`.

    `wins`: one of `patterns.proof.claims.WORTHS`; empty for 0.
    """
    if wins == 0:
        return ""
    return f", which wins {_WON[wins]}" if wins in _WON else ", which mates"
