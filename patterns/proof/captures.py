"""Captures on one python-chess board: the rules of `patterns.boards.exchange`, for the few boards of a line.

The array code answers thousands of questions at once, but a single question costs as much. In a line each
question depends on the answer before it, so lines have this version. The tests compare the two.
"""

from __future__ import annotations

from collections.abc import Iterator

import chess

from patterns.boards.worth import WORTH

QUEENING = WORTH[chess.QUEEN] - WORTH[chess.PAWN]
LAST_RANKS = chess.BB_RANK_1 | chess.BB_RANK_8


def worth_at(board: chess.Board, square: chess.Square) -> int:
    """The worth of the man on the square, in pawns; 0 for an empty square."""
    return WORTH[board.piece_type_at(square) or 0]


def straight_reach(square: chess.Square, occupied: chess.Bitboard) -> chess.Bitboard:
    """What a rook on the square attacks through `occupied`."""
    return (
        chess.BB_RANK_ATTACKS[square][chess.BB_RANK_MASKS[square] & occupied]
        | chess.BB_FILE_ATTACKS[square][chess.BB_FILE_MASKS[square] & occupied]
    )


def diagonal_reach(square: chess.Square, occupied: chess.Bitboard) -> chess.Bitboard:
    """What a bishop on the square attacks through `occupied`."""
    return chess.BB_DIAG_ATTACKS[square][chess.BB_DIAG_MASKS[square] & occupied]


def bearing_on(board: chess.Board, square: chess.Square, occupied: chess.Bitboard) -> chess.Bitboard:
    """All men of both sides in `occupied` that attack the square through `occupied`."""
    white, black = board.occupied_co[chess.WHITE], board.occupied_co[chess.BLACK]
    found = chess.BB_KNIGHT_ATTACKS[square] & board.knights
    found |= chess.BB_KING_ATTACKS[square] & board.kings
    found |= chess.BB_PAWN_ATTACKS[chess.BLACK][square] & board.pawns & white
    found |= chess.BB_PAWN_ATTACKS[chess.WHITE][square] & board.pawns & black
    found |= diagonal_reach(square, occupied) & (board.bishops | board.queens)
    found |= straight_reach(square, occupied) & (board.rooks | board.queens)
    return found & occupied & ~chess.BB_SQUARES[square]


def pins(board: chess.Board, colour: chess.Color) -> Iterator[tuple[chess.Square, chess.Square]]:
    """Absolute pins of a side's men: the pinned man's square and the pinner's square."""
    king = board.king(colour)
    if king is None:
        return
    theirs = board.occupied_co[not colour]
    seen = diagonal_reach(king, theirs) & (board.bishops | board.queens)
    seen |= straight_reach(king, theirs) & (board.rooks | board.queens)
    for pinner in chess.scan_forward(seen & theirs):
        inside = chess.between(king, pinner) & board.occupied
        if inside and not inside & (inside - 1):
            yield inside.bit_length() - 1, pinner


def falls(board: chess.Board, square: chess.Square) -> int:
    """What the opponent of its owner wins by capturing the man on the square (0: no man, or no win).

    Among equal capturers the one on the lowest square, as its side sees the board, captures first.
    """
    colour, occupied = board.color_at(square), board.occupied
    attacking = bearing_on(board, square, occupied)
    if colour is None or not attacking & board.occupied_co[not colour]:
        return 0
    held = [
        (man, pinner)
        for man, pinner in (*pins(board, chess.WHITE), *pins(board, chess.BLACK))
        if pinner != square and not chess.ray(man, pinner) & chess.BB_SQUARES[square]
    ]
    standing, mover, flip = worth_at(board, square), not colour, 56 if colour == chess.WHITE else 0
    gains: list[int] = []
    while True:
        may = attacking & board.occupied_co[mover]
        for man, pinner in held:
            if occupied & chess.BB_SQUARES[pinner]:
                may &= ~chess.BB_SQUARES[man]
        capturer, kind = _cheapest(board, may, flip)
        if kind == 0:
            break
        occupied &= ~chess.BB_SQUARES[capturer]
        attacking = bearing_on(board, square, occupied)
        if kind == chess.KING and attacking & board.occupied_co[not mover]:
            break
        queens = QUEENING if kind == chess.PAWN and chess.BB_SQUARES[square] & LAST_RANKS else 0
        gains.append(standing + queens)
        standing = WORTH[kind] + queens
        mover = not mover
    result = 0
    for gain in reversed(gains):
        result = max(0, gain - result)
    return result


def _cheapest(board: chess.Board, may: chess.Bitboard, flip: int) -> tuple[chess.Square, chess.PieceType]:
    """The cheapest of these men, and its kind (0 if there is none)."""
    by_kind = (board.pawns, board.knights, board.bishops, board.rooks, board.queens, board.kings)
    for kind, men in enumerate(by_kind, start=1):
        if these := may & men:
            return min(chess.scan_forward(these), key=lambda square: square ^ flip), kind
    return 0, 0


def captured_worth(board: chess.Board, move: chess.Move) -> int:
    """What the move takes, in pawns (en passant too; a promotion as the new piece minus a pawn)."""
    taken = 1 if board.is_en_passant(move) else worth_at(board, move.to_square)
    if board.is_castling(move):
        taken = 0
    return taken + (WORTH[move.promotion] - 1 if move.promotion else 0)


def after_move(board: chess.Board, move: chess.Move) -> chess.Board:
    """The board after the move, without its history."""
    changed = board.copy(stack=False)
    changed.push(move)
    return changed


def played_out(board: chess.Board, squares: chess.SquareSet) -> int:
    """What the side to move wins by legal captures on these squares, in pawns. A side may always stop.

    Unlike `exchange` it sees pins that arise and checks that are given on the way, and takes much longer.
    """
    best = 0
    for move in board.generate_legal_captures(to_mask=int(squares)):
        if move.promotion in (None, chess.QUEEN):
            best = max(best, captured_worth(board, move) - played_out(after_move(board, move), squares))
    return best


def exchange(board: chess.Board, move: chess.Move) -> int:
    """What the move wins (or loses, below 0) after all captures on its square."""
    after = after_move(board, move)
    return captured_worth(board, move) - falls(after, move.to_square)


def best_on(board: chess.Board, square: chess.Square) -> int:
    """The most that a legal capture on the square wins by exchange, for the side to move; 0 if none wins."""
    takes = board.generate_legal_captures(to_mask=chess.BB_SQUARES[square])
    return max([0, *(exchange(board, move) for move in takes)])
