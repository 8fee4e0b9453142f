"""Slow, obvious versions of the array code on python-chess boards, for comparison in the sweeps."""

from __future__ import annotations

import chess

WORTH = {
    chess.PAWN: 1,
    chess.KNIGHT: 3,
    chess.BISHOP: 3,
    chess.ROOK: 5,
    chess.QUEEN: 9,
    chess.KING: 100,
}


def seen_by_us(board: chess.Board, colour: chess.Color) -> chess.Board:
    """The board as `colour` sees it: for Black upside down, with colours exchanged."""
    return board if colour == chess.WHITE else board.mirror()


def pins_of(board: chess.Board, colour: chess.Color) -> dict[chess.Square, chess.Square]:
    """Absolute pins of a side's men: pinned square to pinner square, found by looking along each line."""
    king = board.king(colour)
    assert king is not None
    found = {}
    for pinner in chess.scan_forward(board.occupied_co[not colour]):
        kind = board.piece_type_at(pinner)
        straight = chess.square_file(pinner) == chess.square_file(king) or chess.square_rank(
            pinner
        ) == chess.square_rank(king)
        if not chess.ray(pinner, king) or kind not in (chess.BISHOP, chess.ROOK, chess.QUEEN):
            continue
        if (kind == chess.BISHOP and straight) or (kind == chess.ROOK and not straight):
            continue
        inside = list(chess.SquareSet(chess.between(pinner, king) & board.occupied))
        if len(inside) == 1 and board.color_at(inside[0]) == colour:
            found[inside[0]] = pinner
    return found


def settle(board: chess.Board, square: chess.Square, standing: int, side: chess.Color, gone: int = 0) -> int:
    """What `side` wins by capturing first on the square, by plain recursion over the stated rules."""
    pins = {colour: pins_of(board, colour) for colour in chess.COLORS}
    return _go_on(board, square, standing, side, gone, pins)


def _attackers(
    board: chess.Board, colour: chess.Color, square: chess.Square, gone: int
) -> list[chess.Square]:
    occupied = board.occupied & ~gone
    return [
        origin
        for origin in chess.SquareSet(
            board.attackers_mask(colour, square) | _x_rays(board, colour, square, occupied)
        )
        if occupied >> origin & 1 and origin != square
    ]


def _x_rays(board: chess.Board, colour: chess.Color, square: chess.Square, occupied: int) -> int:
    found = 0
    for origin in chess.scan_forward(board.occupied_co[colour] & occupied):
        kind = board.piece_type_at(origin)
        line = chess.ray(origin, square)
        if not line or kind not in (chess.BISHOP, chess.ROOK, chess.QUEEN):
            continue
        straight = chess.square_file(origin) == chess.square_file(square) or chess.square_rank(
            origin
        ) == chess.square_rank(square)
        fits = kind == chess.QUEEN or (kind == chess.ROOK) == straight
        if fits and not chess.between(origin, square) & occupied:
            found |= 1 << origin
    return found


def _go_on(
    board: chess.Board,
    square: chess.Square,
    standing: int,
    side: chess.Color,
    gone: int,
    pins: dict[chess.Color, dict[chess.Square, chess.Square]],
) -> int:
    may = []
    for origin in _attackers(board, side, square, gone):
        pinner = pins[side].get(origin)
        held = pinner is not None and pinner != square and not gone >> pinner & 1
        if held and not chess.ray(pinner or 0, square) >> origin & 1:
            continue
        if board.piece_type_at(origin) == chess.KING and _attackers(
            board, not side, square, gone | 1 << origin
        ):
            continue
        may.append(origin)
    if not may:
        return 0
    kinds = {origin: board.piece_type_at(origin) or 0 for origin in may}
    capturer = min(may, key=lambda origin: (kinds[origin], origin))
    queens = kinds[capturer] == chess.PAWN and chess.square_rank(square) in (0, 7)
    worth = WORTH[kinds[capturer]] + 8 * queens
    return max(0, standing + 8 * queens - _go_on(board, square, worth, not side, gone | 1 << capturer, pins))


def exchange(board: chess.Board, origin: chess.Square, destination: chess.Square) -> int:
    """What White wins by the move, by the stated rules."""
    after = board.copy(stack=False)
    mover = after.remove_piece_at(origin)
    assert mover is not None
    standing = after.piece_type_at(destination)
    taken = WORTH[standing] if standing else 0
    if mover.piece_type == chess.PAWN and destination == board.ep_square and not standing:
        after.remove_piece_at(destination - 8)
        taken = 1
    after.set_piece_at(destination, mover)
    queens = mover.piece_type == chess.PAWN and chess.square_rank(destination) == 7
    worth = WORTH[mover.piece_type] + 8 * queens
    return taken + 8 * queens - settle(after, destination, worth, chess.BLACK)
