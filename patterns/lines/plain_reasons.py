"""What the moves of a line plainly do: what a coach says where no claim of the catalogue holds.

A claim holds whatever they answer. A line has one answer, and often they give up something else than what was
attacked. Here it is enough that a move attacks a man as the catalogue has it, and that the line takes it soon
(`SOON`). A man is attacked with profit if it is the king, worth more than the attacker, or unguarded.

- Fork: the man that moved, not the king, attacks two or more with profit, not only pawns. A man that it takes
  next without loss counts, too.
- Pin: a slider that moved looks through a piece at the king or at a man worth more that it attacks with
  profit. Skewer: it attacks the piece with profit, and the one behind is worth no more.
- Removed defender: the move takes a guard, or draws or drives it off; what it guarded falls, which it did not
  before.
- In-between move: they have just taken; before the man that took is taken back, the move takes another or
  checks.
- Loose piece: the move takes a man, and all captures on its square win a pawn at least, with what they have
  just taken there counted against it.

Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import chess

from patterns.boards.worth import WORTH
from patterns.proof.captures import best_on, captured_worth, exchange, worth_at
from patterns.proof.played_line import OwnMove, Use, gain_of, takes_in_the_end
from patterns.words.wording import men, named

SOON = 3
"""Moves of ours, the attacking one with them, within which what was attacked must fall."""

SLIDERS = (chess.BISHOP, chess.ROOK, chess.QUEEN)


class Taken(NamedTuple):
    """Where the other side has just taken a man, and what it was worth in pawns."""

    square: chess.Square
    worth: float


def plain_reasons(line: Sequence[OwnMove], taken: Taken | None) -> list[Use]:
    """What the moves of a line plainly do, in their order; the most telling of each move first.

    `taken`: what the other side took with the move before the line; None if nothing.
    """
    found: list[Use] = []
    for index, own_move in enumerate(line):
        rest = line[index : index + SOON]
        for rule in (_fork, _lined_up, _unguarded):
            found += rule(rest)
        if taken is not None:
            found += _before_taking_back(rest, taken.square)
        found += _falling(line[index:], taken)
        taken = taken_by_answer(own_move)
    return found


def taken_by_answer(own_move: OwnMove) -> Taken | None:
    """What the other side takes with its answer; None if nothing."""
    reply = own_move.reply
    if reply is None or not own_move.after.is_capture(reply):
        return None
    return Taken(reply.to_square, captured_worth(own_move.after, reply))


def _is_hit(board: chess.Board, square: chess.Square, attacker: chess.PieceType) -> bool:
    """Whether an attack by such a man on the man on the square is one with profit."""
    colour, worth = board.color_at(square), worth_at(board, square)
    assert colour is not None
    return worth > WORTH[attacker] or not board.attackers(colour, square)


def _stays(rest: Sequence[OwnMove], hit: chess.SquareSet) -> bool:
    """Whether the man that moved is not taken at once, or only by one that it attacks, which falls for it."""
    goal, reply = rest[0].move.to_square, rest[0].reply
    if reply is None or reply.to_square != goal:
        return True
    return reply.from_square in hit and len(rest) > 1 and rest[1].move.to_square == goal


def _fall(rest: Sequence[OwnMove], hit: chess.SquareSet) -> bool:
    """Whether the line takes one of these men."""
    return any(takes_in_the_end(rest, square) for square in hit)


def _hit_by(own_move: OwnMove) -> chess.SquareSet:
    """The men that the man that moved attacks with profit."""
    square = own_move.move.to_square
    kind = own_move.after.piece_type_at(square) or chess.PAWN
    hit = own_move.after.attacks(square) & own_move.theirs
    return chess.SquareSet(one for one in hit if _is_hit(own_move.after, one, kind))


def _takes_next(rest: Sequence[OwnMove]) -> chess.SquareSet:
    """The man that the man that moved attacks, and takes next without loss."""
    goal, then = rest[0].move.to_square, rest[1] if len(rest) > 1 else None
    if then is None or then.move.from_square != goal or not then.captures:
        return chess.SquareSet()
    stood = rest[0].after.attacks(goal) & rest[0].theirs & chess.BB_SQUARES[then.move.to_square]
    return stood if exchange(then.before, then.move) >= 0 else chess.SquareSet()


def _fork(rest: Sequence[OwnMove]) -> Iterator[Use]:
    own_move = rest[0]
    hit = _hit_by(own_move) | _takes_next(rest)
    pieces = hit - chess.SquareSet(own_move.after.pawns)
    if own_move.mover == chess.KING or len(hit) < 2 or not pieces - chess.SquareSet([own_move.their_king]):
        return
    if _stays(rest, hit) and _fall(rest, hit):
        forked = pieces if len(pieces) > 1 else hit
        note = f"{own_move.deed} and attacks {men(own_move.after, forked)}"
        yield own_move.use("fork", note, [own_move.move.from_square], forked)


def _behind(board: chess.Board, slider: chess.Square, front: chess.Square) -> chess.Square | None:
    """The next man behind the one in front, as the slider looks through it; None if there is none."""
    ray = chess.SquareSet(chess.ray(slider, front)) & board.occupied
    beyond = [one for one in ray if front in chess.SquareSet(chess.between(slider, one))]
    return min(beyond, key=lambda one: chess.square_distance(front, one), default=None)


def _lined_up(rest: Sequence[OwnMove]) -> Iterator[Use]:
    """Pins and skewers by the man that moved."""
    own_move, board = rest[0], rest[0].after
    square = own_move.move.to_square
    kind = board.piece_type_at(square) or chess.PAWN
    if kind not in SLIDERS:
        return
    for front in board.attacks(square) & own_move.theirs & ~board.pawns:
        rear = _behind(board, square, front)
        if rear is None or rear not in chess.SquareSet(own_move.theirs & ~board.pawns):
            continue
        both = chess.SquareSet([front, rear])
        if not _stays(rest, both) or not _fall(rest, both):
            continue
        deed, way = own_move.deed, [own_move.move.from_square]
        if worth_at(board, rear) > worth_at(board, front) and _is_hit(board, rear, kind):
            note = f"{deed} and pins {named(board, front)} to {named(board, rear)}"
            yield own_move.use(f"pin-on-{_shape(square, front)}", note, way, both)
        elif (
            worth_at(board, rear) <= worth_at(board, front)
            and _is_hit(board, front, kind)
            and takes_in_the_end(rest, rear)
        ):
            note = f"{deed} and attacks {named(board, front)}, with {named(board, rear)} behind it"
            yield own_move.use("skewer", note, way, both)


def _shape(one: chess.Square, other: chess.Square) -> str:
    if chess.square_file(one) == chess.square_file(other):
        return "file"
    return "rank" if chess.square_rank(one) == chess.square_rank(other) else "diagonal"


def _unguarded(rest: Sequence[OwnMove]) -> Iterator[Use]:
    """Guards that the move takes, draws or drives off."""
    own_move = rest[0]
    for later in rest[1:]:
        square = later.move.to_square
        if not later.captures or own_move.before.color_at(square) != (not own_move.us):
            continue
        if best_on(own_move.before, square) > 0 or exchange(later.before, later.move) < 1:
            continue
        for guard, deed in _guards_gone(own_move, later.before, square):
            note = f"{deed} {named(own_move.before, guard)}, which guarded {named(own_move.before, square)}"
            yield own_move.use("removed-defender", note, [own_move.move.from_square], [guard, square])


def _guards_gone(
    own_move: OwnMove, now: chess.Board, square: chess.Square
) -> Iterator[tuple[chess.Square, str]]:
    """Guards of the square that the move takes, or whose answer is to leave it, and what it does."""
    goal, reply = own_move.move.to_square, own_move.reply
    guards = own_move.before.attackers(not own_move.us, square)
    if own_move.captures and goal in guards and exchange(own_move.before, own_move.move) < 1:
        yield goal, f"{named(own_move.before, own_move.move.from_square)} takes"
    if reply is not None and reply.from_square in guards and square not in now.attacks(reply.to_square):
        if reply.to_square == goal:
            yield reply.from_square, f"{own_move.deed} and draws off"
        elif reply.from_square in _hit_by(own_move):
            yield reply.from_square, f"{own_move.deed} and drives off"


def _before_taking_back(rest: Sequence[OwnMove], square: chess.Square) -> Iterator[Use]:
    """A capture or check instead of taking back, when the man that has taken falls later."""
    own_move = rest[0]
    instead = own_move.captures or own_move.after.is_check()
    could = any(move.to_square == square for move in own_move.before.generate_legal_captures())
    if own_move.move.to_square != square and instead and could and takes_in_the_end(rest, square):
        note = f"{own_move.deed} before {named(own_move.before, square)} is taken back"
        yield own_move.use("in-between-move", note, [own_move.move.from_square], [square])


def _falling(rest: Sequence[OwnMove], taken: Taken | None) -> Iterator[Use]:
    """A man that the move takes with profit. If that only takes back, the line has to keep the profit."""
    board, move = rest[0].before, rest[0].move
    if not rest[0].captures or move.promotion or board.is_en_passant(move):
        return
    back = taken.worth if taken is not None and taken.square == move.to_square else 0
    if exchange(board, move) - back < 1 or (back and gain_of(rest) - back < 1):
        return
    man = worth_at(board, move.to_square)
    if not rest[0].after.attackers(not rest[0].us, move.to_square):
        why = "which nothing guards"
    elif man > WORTH[rest[0].mover]:
        why = f"which is worth more than the {chess.piece_name(rest[0].mover)}"
    else:
        why = "which its guards cannot hold"
    taker = named(board, move.from_square)
    note = f"{taker} takes {named(board, move.to_square)}, {why}"
    yield rest[0].use("loose-piece", note, [move.from_square], [move.to_square])
