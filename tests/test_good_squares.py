"""Pieces on good squares, and their ways there, compared with slow loops over python-chess boards.

Each loop is written for White from the rule in the docstring of the motif. Black is seen on the mirrored
board.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import chess
import numpy as np
import pytest
import slow
from real_positions import positions_in, wandered

from patterns.boards.moves import Moves, stands_firm
from patterns.boards.positions import Positions
from patterns.boards.view import View
from patterns.detect import find_in
from patterns.proof.claims import claims, hold
from patterns.proof.strokes import at_hand, pending

WHITE, BLACK = chess.WHITE, chess.BLACK
Shape = tuple[int, int, int]
"""Actors, targets and squares of a finding."""


def bit(square: int) -> int:
    return 1 << square


def pieces(board: chess.Board, colour: chess.Color) -> int:
    return chess.popcount(board.occupied_co[colour] & ~board.pawns & ~board.kings)


def attacked_by_pawn(board: chess.Board, square: int, colour: chess.Color) -> bool:
    return bool(board.attackers(colour, square) & board.pawns)


def safe(board: chess.Board, origin: int, square: int) -> bool:
    """Whether White's move loses nothing, and no black pawn attacks its square."""
    return not attacked_by_pawn(board, square, BLACK) and slow.exchange(board, origin, square) >= 0


def falls(board: chess.Board, square: int) -> bool:
    worth = slow.WORTH[board.piece_type_at(square) or 0]
    return slow.settle(board, square, worth, BLACK) > 0


def pinned(board: chess.Board, colour: chess.Color) -> set[int]:
    return set(slow.pins_of(board, colour))


def keeps_a_minor(board: chess.Board, square: int, coming: int = 0) -> bool:
    minors = board.knights | board.bishops
    mine = [s for s in board.attackers(WHITE, square) if bit(s) & minors and s not in pinned(board, WHITE)]
    theirs = [s for s in board.attackers(BLACK, square) if bit(s) & minors and s not in pinned(board, BLACK)]
    on_it = (
        board.color_at(square) == WHITE and bool(bit(square) & minors) and square not in pinned(board, WHITE)
    )
    attacked = any(bit(s) & minors for s in board.attackers(BLACK, square))
    return not attacked or len(mine) + on_it + coming > len(theirs)


def can_come_to_attack(board: chess.Board, square: int) -> bool:
    """Whether a black pawn attacks the square, or could after advancing past no white pawn."""
    for pawn in board.pieces(chess.PAWN, BLACK):
        step = pawn
        while step >= 8:
            if abs(chess.square_file(step) - chess.square_file(square)) == 1 and step // 8 == square // 8 + 1:
                return True
            step -= 8
            if board.piece_at(step) == chess.Piece(chess.PAWN, WHITE):
                break
    return False


def is_outpost(board: chess.Board, square: int) -> bool:
    return (
        3 <= square // 8 <= 5
        and 1 <= square % 8 <= 6
        and attacked_by_pawn(board, square, WHITE)
        and not can_come_to_attack(board, square)
    )


def is_deep(board: chess.Board, square: int) -> bool:
    """Whether a minor piece holds the square on the sixth rank and no black pawn or minor piece comes."""
    minors = board.knights | board.bishops
    ours, theirs = (any(bit(s) & minors for s in board.attackers(c, square)) for c in (WHITE, BLACK))
    crowd = min(pieces(board, colour) for colour in chess.COLORS) >= 5
    deep = square // 8 == 5 and 1 <= square % 8 <= 6 and not can_come_to_attack(board, square)
    return deep and ours and not theirs and crowd


def outposts(board: chess.Board) -> set[Shape]:
    found = set()
    files = {
        file + by for pawn in board.pieces(chess.PAWN, BLACK) for file in [pawn % 8] for by in (-1, 0, 1)
    }
    free = [square for square in chess.SQUARES if board.piece_at(square) is None]
    goals = [s for s in free if is_outpost(board, s) and s // 8 >= 4 and s % 8 in files]
    minors = board.knights | board.bishops
    for knight in board.pieces(chess.KNIGHT, WHITE):
        if is_outpost(board, knight):
            if keeps_a_minor(board, knight):
                guards = board.attackers(WHITE, knight) & board.pawns
                found.add((bit(knight) | int(guards), 0, 0))
            continue
        if is_deep(board, knight):
            found.add((bit(knight) | int(board.attackers(WHITE, knight)), 0, 0))
            continue
        if (
            knight in pinned(board, WHITE)
            or knight // 8 >= 4
            or min(pieces(board, c) for c in chess.COLORS) < 3
        ):
            continue
        near = [s for s in goals if s in board.attacks(knight)]
        near = [s for s in near if keeps_a_minor(board, s) and safe(board, knight, s)]
        if near:
            found.add((bit(knight), 0, sum(map(bit, near))))
            continue
        if knight in (chess.D4, chess.E4):
            continue
        way = 0
        for stop in board.attacks(knight):
            hit = any(bit(s) & minors for s in board.attackers(BLACK, stop))
            if stop not in free or hit or not safe(board, knight, stop):
                continue
            for goal in goals:
                seen = chess.BB_KNIGHT_ATTACKS[stop] & bit(goal) and 2 <= goal % 8 <= 5
                if seen and keeps_a_minor(board, goal, 1) and safe(board, knight, goal):
                    way |= bit(stop) | bit(goal)
        if way:
            found.add((bit(knight), 0, way))
    return found


def blockades(board: chess.Board) -> set[Shape]:
    found: set[Shape] = set()
    in_check = board.is_attacked_by(BLACK, board.king(WHITE) or 0)
    if in_check or min(pieces(board, colour) for colour in chess.COLORS) < 2:
        return found
    alone = {pawn - 8: isolated_only(board, pawn) for pawn in to_be_held_up(board)}
    for stop in alone:
        if can_come_to_attack(board, stop):
            continue
        if board.color_at(stop) == WHITE and board.piece_type_at(stop) in (chess.KNIGHT, chess.BISHOP):
            takers = [s for s in board.attackers(WHITE, stop) if not bit(s) & board.pawns]
            held = keeps_a_minor(board, stop) or (alone[stop] and len(takers) >= 2)
            if held and not falls(board, stop) and (seen := work_before_a_pawn(board, stop)):
                found.add((bit(stop), *seen))
        if board.piece_at(stop) or board.turn == BLACK or not keeps_a_minor(board, stop):
            continue
        for move in board.legal_moves:
            knight = move.from_square
            goes = move.to_square == stop and board.piece_type_at(knight) == chess.KNIGHT
            if goes and slow.exchange(board, knight, stop) >= 0:
                after = board.copy(stack=False)
                after.set_piece_at(stop, chess.Piece(chess.KNIGHT, WHITE))
                if seen := work_before_a_pawn(after, stop):
                    found.add((bit(knight), seen[0], seen[1] | bit(stop)))
    return found


def isolated_only(board: chess.Board, pawn: int) -> bool:
    """Whether a black pawn on the files c to f is isolated, and no white pawn stands on its file."""
    ours, theirs = board.pieces(chess.PAWN, WHITE), board.pieces(chess.PAWN, BLACK)
    beside = any(abs(p % 8 - pawn % 8) == 1 for p in theirs)
    return 2 <= pawn % 8 <= 5 and not beside and not any(p % 8 == pawn % 8 for p in ours)


def to_be_held_up(board: chess.Board) -> list[int]:
    """The black pawns whose blockade matters: passed and advanced, or isolated or guarded in the middle."""
    ours, theirs = board.pieces(chess.PAWN, WHITE), board.pieces(chess.PAWN, BLACK)
    found = []
    for pawn in theirs:
        file = pawn % 8
        passed = 1 <= pawn // 8 <= 4 and not any(abs(p % 8 - file) <= 1 and p < pawn - pawn % 8 for p in ours)
        passed &= not any(p % 8 == file and p < pawn for p in theirs)
        head = 2 <= file <= 5 and attacked_by_pawn(board, pawn, BLACK)
        if passed or head or isolated_only(board, pawn):
            found.append(pawn)
    return found


def work_before_a_pawn(board: chess.Board, stop: int) -> tuple[int, int] | None:
    """What the man on the square attacks: black men with the pawn before it, and free squares, if enough."""
    hit = board.attacks(stop) & board.occupied_co[BLACK]
    hit.discard(stop + 8)
    beyond = [s for s in board.attacks(stop) if s // 8 >= 4 and board.piece_at(s) is None]
    seen = [s for s in beyond if not attacked_by_pawn(board, s, BLACK)]
    return (int(hit) | bit(stop + 8), sum(map(bit, seen))) if hit or len(seen) >= 2 else None


def seventh_ranks(board: chess.Board) -> set[Shape]:
    seventh, eighth = chess.BB_RANKS[6], chess.BB_RANKS[7]
    king = board.king(BLACK)
    assert king is not None

    def work(origin: int, square: int) -> int:
        after = board.copy(stack=False)
        queen = after.remove_piece_at(origin) == chess.Piece(chess.QUEEN, WHITE)
        for heavy in chess.scan_forward((after.rooks | after.queens) & after.occupied_co[WHITE] & seventh):
            after.remove_piece_at(heavy)
        after.set_piece_at(square, chess.Piece(chess.ROOK, WHITE))
        targets = 0
        for hit in after.attacks(square) & seventh:
            kind = board.piece_type_at(hit) if board.color_at(hit) == BLACK else None
            near_king = bit(king) & eighth and chess.square_distance(hit, king) <= 1
            others = [man for man in board.attackers(WHITE, hit) if man != origin]
            if near_king and (others or not queen):
                targets |= bit(king)
            loose = kind in (chess.PAWN, chess.KNIGHT, chess.BISHOP) and not board.attackers(BLACK, hit)
            if (loose and bit(king) & eighth) or (kind == chess.PAWN and not queen):
                targets |= bit(hit)
        return targets

    heavy = list(chess.scan_forward((board.rooks | board.queens) & board.occupied_co[WHITE]))
    there = [man for man in heavy if bit(man) & seventh and work(man, man) and not falls(board, man)]
    if there:
        targets = 0
        for man in there:
            targets |= work(man, man)
        return {(sum(map(bit, there)), targets, 0)}
    found = set()
    for man in heavy:
        if bit(man) & seventh or man in pinned(board, WHITE):
            continue
        targets = squares = 0
        for square in board.attacks(man) & seventh & ~board.occupied_co[WHITE]:
            new = work(man, square) & ~int(board.attacks(man))
            if new and safe(board, man, square):
                targets, squares = targets | new, squares | bit(square)
        if squares:
            found.add((bit(man), targets, squares))
    return found


def their_capture_comes_first(board: chess.Board) -> bool:
    return bool(pending(View(Positions.from_boards([board])), np.array([0]))[0])


def passes(board: chess.Board, rook: int, square: int) -> bool:
    """Whether the rook can be neither taken nor traded off on the square."""
    after = board.copy(stack=False)
    after.remove_piece_at(rook)
    after.set_piece_at(square, chess.Piece(chess.ROOK, WHITE))
    boards = View(Positions.from_boards([after])).boards.take(np.array([0]))
    return bool(stands_firm(boards, np.array([square]))[0])


def loses_nothing(board: chess.Board, rook: int, square: int) -> bool:
    """Whether no capture comes before the rook's move, and it loses nothing (tested for the look ahead)."""
    view, moves = View(Positions.from_boards([board])), Moves(*(np.array([n]) for n in (0, rook, square)))
    man = np.array([bit(rook)], dtype=np.uint64)
    quiet = claims(moves, man, man, least=0, threat=True)
    first = their_capture_comes_first(board) or at_hand(view, moves)[0] >= 2
    return not first and bool(hold(view, quiet)[0])


def heavy_pieces(board: chess.Board) -> set[Shape]:
    king = board.king(BLACK)
    assert king is not None
    attack = king // 8 >= 6 and king % 8 not in (3, 4) and board.pieces(chess.QUEEN, WHITE)
    if not attack or pieces(board, WHITE) < 3 or board.attackers(BLACK, board.king(WHITE) or 0):
        return set()
    entries = [
        square
        for square in chess.SQUARES
        if chess.square_distance(square, king) == 1
        and board.attackers(BLACK, square) == chess.SquareSet([king])
        and board.color_at(square) != WHITE
    ]

    def hits(rook: int, square: int) -> list[int]:
        after = board.copy(stack=False)
        for gone in [rook, *board.pieces(chess.QUEEN, WHITE)]:
            after.remove_piece_at(gone)
        after.set_piece_at(square, chess.Piece(chess.ROOK, WHITE))
        up = [s for s in after.attacks(square) if s % 8 == square % 8 and s > square and s in entries]
        if rook != square:
            up = [s for s in up if not board.attackers(WHITE, s) & board.pieces(chess.ROOK, WHITE)]
        return [s for s in up if set(board.attackers(WHITE, s) - board.pieces(chess.PAWN, WHITE)) - {rook}]

    def shape(rook: int, entered: set[int], way: set[int]) -> Shape:
        actors, targets, squares = bit(rook), bit(king), sum(map(bit, way))
        for entry in entered:
            actors |= 0 if way else int(board.attackers(WHITE, entry))
            if board.piece_at(entry):
                targets |= bit(entry)
            else:
                squares |= bit(entry)
        return actors, targets, squares

    found = set()
    for rook in board.pieces(chess.ROOK, WHITE):
        if now := hits(rook, rook):
            if not falls(board, rook) and not their_capture_comes_first(board):
                found.add(shape(rook, set(now), set()))
            continue
        goals = [s for s in chess.SQUARES if s // 8 <= 4 and board.piece_at(s) is None and hits(rook, s)]
        goals = [s for s in goals if not attacked_by_pawn(board, s, BLACK) and passes(board, rook, s)]
        near = [s for s in goals if s in board.attacks(rook) and loses_nothing(board, rook, s)]
        if near:
            found.add(shape(rook, {entry for s in near for entry in hits(rook, s)}, set(near)))
            continue
        entered: set[int] = set()
        way: set[int] = set()
        for stop in board.attacks(rook):
            up = stop % 8 == rook % 8 and stop > rook and stop // 8 in (2, 3)
            if not up or board.piece_at(stop) or attacked_by_pawn(board, stop, BLACK):
                continue
            if not passes(board, rook, stop) or not loses_nothing(board, rook, stop):
                continue
            after = board.copy(stack=False)
            after.remove_piece_at(rook)
            after.set_piece_at(stop, chess.Piece(chess.ROOK, WHITE))
            for goal in goals:
                if goal // 8 == stop // 8 and goal in after.attacks(stop):
                    entered |= set(hits(rook, goal))
                    way |= {stop, goal}
        if way:
            found.add(shape(rook, entered, way))
    return found


def to_the_point(board: chess.Board, shape: Shape) -> bool:
    """Whether White, to move, has no mate at hand, and Black, to move, can take no actor with profit."""
    if board.turn == BLACK:
        return board.is_check() or not any(falls(board, square) for square in chess.SquareSet(shape[0]))
    for move in board.legal_moves:
        after = board.copy(stack=False)
        after.push(move)
        if after.is_checkmate():
            return False
    return True


SLOW: list[tuple[str, Callable[[chess.Board], set[Shape]], int, bool]] = [
    ("outpost", outposts, 50, True),
    ("blockade", blockades, 15, True),
    ("seventh-rank", seventh_ranks, 30, True),
    ("heavy-pieces-at-the-king", heavy_pieces, 3, False),
]


@pytest.mark.parametrize(("motif", "slowly", "least", "refuses"), SLOW, ids=[motif for motif, *_ in SLOW])
def test_the_array_rule_finds_what_the_slow_loop_finds(
    motif: str, slowly: Callable[[chess.Board], set[Shape]], least: int, refuses: bool, chess_archive: Path
) -> None:
    boards = [*positions_in(chess_archive / "data" / "pgn")[::2], *wandered(5)[::3]]
    seen = [slow.seen_by_us(board, colour) for board in boards for colour in chess.COLORS]
    assert len(seen) > 1000
    shown = 0
    for board, found in zip(seen, find_in(seen, motif), strict=True):
        roles = (
            tuple(
                sum(bit(chess.parse_square(name)) for name in role)
                for role in (f.actors, f.targets, f.squares)
            )
            for f in found
            if f.side == "white"
        )
        expected = {shape for shape in slowly(board) if to_the_point(board, shape)}
        told = set(roles)
        # The look ahead and a restless position can only refuse what the geometry proposes.
        assert told == expected or (refuses and told < expected), (board.fen(), expected)
        shown += bool(told)
    assert shown > least, shown
