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


def settle(
    board: chess.Board,
    square: chess.Square,
    standing: int,
    side: chess.Color,
    gone: int = 0,
    idle: frozenset[chess.Square] = frozenset(),
) -> int:
    """What `side` wins by capturing first on the square, by plain recursion over the stated rules.

    `idle`: men that do not capture.
    """
    pins = {colour: pins_of(board, colour) for colour in chess.COLORS}
    return _go_on(board, square, standing, side, gone, pins, idle)


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
    idle: frozenset[chess.Square],
) -> int:
    may = []
    for origin in _attackers(board, side, square, gone):
        if origin in idle:
            continue
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
    return max(
        0, standing + 8 * queens - _go_on(board, square, worth, not side, gone | 1 << capturer, pins, idle)
    )


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


MATE = 1000
QUEENING = WORTH[chess.QUEEN] - WORTH[chess.PAWN]


def holds(board: chess.Board, needed: int, wanted: chess.SquareSet, checks: int = 0, looks: int = 2) -> bool:
    """Whether the side that is not to move reaches its aims, whatever is answered."""
    forced = board.is_check()
    if needed > 0 and not forced and not collects(passed(board), needed, wanted, min(checks, 1), 0):
        return False
    every = needed > 0 or looks == 2 or forced
    answers = [move for move in moves(board) if every or gain(board, move) or board.gives_check(move)]
    if every and not answers and not forced:
        return False
    for move in answers:
        after, still, wanted_then = pushed(board, move), needed + gain(board, move), wanted | {move.to_square}
        if parried(after, still):
            continue
        followed = looks > 1 or gain(board, move) or forced
        then = checks if followed else min(checks, 1)
        if not collects(after, still, wanted_then, then, looks - 1, driven=forced):
            return False
    return True


def parried(board: chess.Board, needed: int) -> bool:
    """Whether the side to move has what is needed and keeps it by a quiet move."""
    threats = [won for won in wins(board, not board.turn).values() if won > -needed]
    checked = board.is_check()
    if needed > 0 or len(threats) > (0 if checked else 1):
        return False
    return not checked or any(not can_take(pushed(board, m), gain(board, m) - needed) for m in moves(board))


def collects(
    board: chess.Board,
    needed: int,
    wanted: chess.SquareSet,
    checks: int = 0,
    looks: int = 1,
    driven: bool = False,
) -> bool:
    """Whether the side to move reaches its aims by a move that takes something or checks."""
    beyond = max(needed, 1) - 1
    promising = {square for square, won in wins(board, board.turn).items() if won > beyond} & set(wanted)
    captures = [move for move in moves(board) if move.to_square in promising and gain(board, move) >= needed]
    captures = [move for move in captures if not can_take(pushed(board, move), gain(board, move) - needed)]
    if looks == 0:
        return bool(captures) or forced_through(board, needed, wanted, checks)
    tried = captures + [move for move in moves(board) if checks > 0 and board.gives_check(move)]
    if promising or checks > 0 or needed <= 0:
        bold = checks > 0 and driven
        takes = [move for move in moves(board) if needed < MATE and board.piece_at(move.to_square)]
        tried += [move for move in takes if bold or is_even(board, move)]
        out = moves(board) if board.is_check() else []
        tried += [move for move in out if needed >= MATE or not gain(board, move)]
    return any(
        holds(
            pushed(board, move), needed - gain(board, move), wanted, checks - board.gives_check(move), looks
        )
        for move in tried
    )


def forced_through(board: chess.Board, needed: int, wanted: chess.SquareSet, checks: int) -> bool:
    """Whether a check mates, or leaves at most two answers, and the aims are reached after each of them."""
    for move in moves(board) if checks > 0 else ():
        after, left = pushed(board, move), needed - gain(board, move)
        answers = moves(after)
        if not after.is_check() or (answers and checks == 1) or len(answers) > 2:
            continue
        if all(
            collects(
                pushed(after, answer), left + gain(after, answer), wanted | {answer.to_square}, checks - 1, 0
            )
            for answer in answers
        ):
            return True
    return False


def moves(board: chess.Board) -> list[chess.Move]:
    """The legal moves, with promotions to queens only."""
    return [move for move in board.legal_moves if move.promotion in (None, chess.QUEEN)]


def pushed(board: chess.Board, move: chess.Move) -> chess.Board:
    after = board.copy(stack=False)
    after.push(move)
    return after


def passed(board: chess.Board) -> chess.Board:
    return pushed(board, chess.Move.null())


def gain(board: chess.Board, move: chess.Move) -> int:
    """What a move takes and promotes to, in pawns."""
    if board.is_castling(move):
        return 0
    taken = chess.PAWN if board.is_en_passant(move) else board.piece_type_at(move.to_square)
    return (WORTH[taken] if taken else 0) + (QUEENING if move.promotion else 0)


def wins(board: chess.Board, side: chess.Color) -> dict[chess.Square, int]:
    """What a side wins by exchange, by square, if it were its move."""
    seen, flip = seen_by_us(board, side), 0 if side == chess.WHITE else 56
    found = {}
    for square in chess.SquareSet(seen.occupied_co[chess.BLACK] & ~seen.kings):
        worth = WORTH[seen.piece_type_at(square) or 0]
        ours, guards = (seen.attackers(colour, square) for colour in chess.COLORS)
        dear = len(ours) == 1 and WORTH[seen.piece_type_at(ours.pop()) or 0] > worth
        if not (guards and dear):
            found[square ^ flip] = settle(seen, square, worth, chess.WHITE)
    for pawn in seen.pieces(chess.PAWN, chess.WHITE) & chess.BB_RANK_7:
        if not seen.piece_at(pawn + 8):
            after = seen.copy(stack=False)
            after.remove_piece_at(pawn)
            after.set_piece_at(pawn + 8, chess.Piece(chess.QUEEN, chess.WHITE))
            lost = settle(after.mirror(), pawn + 8 ^ 56, WORTH[chess.QUEEN], chess.WHITE)
            found[pawn + 8 ^ flip] = QUEENING - lost
    return found


def can_take(board: chess.Board, beyond: int) -> bool:
    """Whether the side to move could win more than that by exchange; in check by a legal capture at all."""
    if not any(won > beyond for won in wins(board, board.turn).values()):
        return False
    return not board.is_check() or any(gain(board, move) > beyond for move in moves(board))


def is_even(board: chess.Board, move: chess.Move) -> bool:
    """Whether a capture wins and loses nothing by exchange."""
    flip = 0 if board.turn == chess.WHITE else 56
    seen = seen_by_us(board, board.turn)
    return exchange(seen, move.from_square ^ flip, move.to_square ^ flip) == 0
