"""What a move gives away besides men: the king's safety, a file, or the health of the pawns.

- Open king: at most `FEW` pawns stand before the king, and of the next `ATTACK` moves at least `BLOWS` check
  it or newly attack a square beside it, with a queen that stays; or more than `BLOWS` check it. On the d- or
  e-file it is a king in the centre.
- Pawn storm: two of the next `STORM` moves are pawn moves at most two files from a king on a wing, with a
  queen on their side. They take no piece.
- Open file: two pawns are exchanged and leave a file to a rook or queen of theirs; or a rook of theirs goes
  to a file without pawns, and neither takes nor checks.
- Pawn lever: one of the next `SETTLED_AFTER` moves is a pawn move, no capture, after which that pawn and one
  of theirs can take each other.
- Doubled, isolated pawns: of the next `SETTLED_AFTER` moves one takes, and a pawn that takes back becomes it.
- Passed pawn: the line ends without queens, and they have passed pawns on two files side by side.

Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import chess

from patterns.proof.played_line import OwnMove, Use
from patterns.words.wording import listed, men, named, number, side_name, squares

FEW = 1
ATTACK, BLOWS = 4, 2
STORM = 3
SETTLED_AFTER = 2
CENTRE_FILES = (3, 4)


def quiet_reasons(board: chess.Board, move: chess.Move, line: Sequence[OwnMove], wins: float) -> list[Use]:
    """What the move gives the side that answers it with the line, the most telling first.

    `board`: before the move. `wins`: pawns that the line wins. If it wins something, weak pawns are not why.
    """
    if not line:
        return []
    return [
        *at_the_king(line),
        *_storm(line[:STORM]),
        *_opened(board, move, line),
        *_entered(line[0]),
        *_lever(line[:SETTLED_AFTER]),
        *(_weakened(board, line[:SETTLED_AFTER]) if wins < 1 else ()),
        *_passed(line[-1]),
    ]


def at_the_king(line: Sequence[OwnMove]) -> Iterator[Use]:
    """An attack on a king that has hardly a pawn before it."""
    line = line[:ATTACK]
    first, king = line[0], line[0].their_king
    pawns = _pawns_before(first.before, king)
    if pawns > FEW:
        return
    checks = sum(own_move.after.is_check() for own_move in line)
    blows = sum(_strikes_at_the_king(own_move) for own_move in line)
    if checks > BLOWS or (blows >= BLOWS and line[-1].after.pieces(chess.QUEEN, first.us)):
        cover = "only one pawn stands" if pawns else "no pawn stands"
        near = "the next moves check it or attack squares beside it"
        note = f"{cover} before {named(first.before, king)}, and {near}"
        centre = chess.square_file(king) in CENTRE_FILES
        yield first.use("king-in-centre" if centre else "open-king", note, [first.move.from_square], [king])


def _pawns_before(board: chess.Board, king: chess.Square) -> int:
    """How many pawns of its own stand on the two ranks before a king, on its file and those beside it."""
    side = bool(board.color_at(king))
    up = 1 if side else -1
    return sum(
        abs(chess.square_file(pawn) - chess.square_file(king)) <= 1
        and 0 < up * (chess.square_rank(pawn) - chess.square_rank(king)) <= 2
        for pawn in board.pieces(chess.PAWN, side)
    )


def _strikes_at_the_king(own_move: OwnMove) -> bool:
    """Whether the move checks, or the man that moved attacks a square beside the king and did not before."""
    move, beside = own_move.move, chess.SquareSet(chess.BB_KING_ATTACKS[own_move.their_king])
    comes = own_move.after.attacks(move.to_square) & beside
    return own_move.after.is_check() or (
        bool(comes) and not own_move.before.attacks(move.from_square) & beside
    )


def _storm(line: Sequence[OwnMove]) -> Iterator[Use]:
    """Pawns that go against a king on a wing."""
    king, us = line[0].their_king, line[0].us
    near = [
        own_move
        for own_move in line
        if own_move.mover == chess.PAWN
        and (not own_move.captures or own_move.before.piece_type_at(own_move.move.to_square) == chess.PAWN)
        and abs(chess.square_file(own_move.move.to_square) - chess.square_file(king)) <= 2
    ]
    on_a_wing = chess.square_file(king) not in CENTRE_FILES
    if len(near) > 1 and on_a_wing and line[0].before.pieces(chess.QUEEN, us):
        first, second = near[:2]
        moves = listed(own_move.before.san(own_move.move) for own_move in (first, second))
        note = f"the pawn moves {moves} go against {named(line[0].before, king)}"
        yield second.use("pawn-storm", note, [second.move.from_square], [king])


def _opened(board: chess.Board, move: chess.Move, line: Sequence[OwnMove]) -> Iterator[Use]:
    """A file that the pawns leave by an exchange, and that a rook or queen of the other side takes."""
    first, file = line[0], chess.square_file(move.from_square)
    answer = first.move
    pawns = board.piece_type_at(move.from_square) == chess.PAWN == first.mover
    if not pawns or answer.to_square != move.to_square:
        return
    end, name = line[-1].after, chess.FILE_NAMES[file]
    heavy = (end.rooks | end.queens) & end.occupied_co[first.us] & chess.BB_FILES[file]
    if heavy and not first.after.pawns & chess.BB_FILES[file]:
        man = chess.piece_name(end.piece_type_at(chess.msb(heavy)) or chess.ROOK)
        whose = side_name(first.us)
        note = f"after the exchange of pawns the {name}-file is open, and {whose}'s {man} takes it"
        yield first.use("open-file", note, [answer.from_square])


def _entered(own_move: OwnMove) -> Iterator[Use]:
    """A rook that goes to a file without pawns."""
    file = chess.square_file(own_move.move.to_square)
    quiet = not own_move.captures and not own_move.after.is_check()
    comes = chess.square_file(own_move.move.from_square) != file
    if own_move.mover == chess.ROOK and quiet and comes and not own_move.after.pawns & chess.BB_FILES[file]:
        rook = named(own_move.before, own_move.move.from_square)
        note = f"{rook} takes the open {chess.FILE_NAMES[file]}-file"
        yield own_move.use("open-file", note, [own_move.move.from_square], [], [own_move.move.to_square])


def _lever(line: Sequence[OwnMove]) -> Iterator[Use]:
    """A pawn that goes up against a pawn of theirs."""
    for own_move in line:
        move = own_move.move
        hit = own_move.after.attacks(move.to_square) & own_move.theirs & own_move.after.pawns
        if own_move.mover == chess.PAWN and not own_move.captures and not move.promotion and hit:
            note = f"{own_move.deed} and hits {men(own_move.after, hit)}"
            yield own_move.use("pawn-lever", note, [move.from_square], hit)


def _weakened(board: chess.Board, line: Sequence[OwnMove]) -> Iterator[Use]:
    """Pawns of theirs that take back and are then doubled or isolated, as they were not before."""
    for own_move in line:
        reply = own_move.reply
        if reply is None or own_move.after.piece_type_at(reply.from_square) != chess.PAWN:
            continue
        if not own_move.captures or reply.to_square != own_move.move.to_square:
            continue
        now = own_move.after.copy(stack=False)
        now.push(reply)
        file, them = chess.square_file(reply.to_square), not own_move.us
        before, pawns = (one.pieces(chess.PAWN, them) for one in (board, now))
        mine = [square for square in pawns if chess.square_file(square) == file]
        name = chess.FILE_NAMES[file]
        if len(mine) > 1 and len(mine) > sum(chess.square_file(square) == file for square in before):
            count = number(len(mine))
            note = f"{own_move.deed}, and when a pawn takes back, {count} pawns stand on the {name}-file"
            yield own_move.use("doubled-pawns", note, [own_move.move.from_square], [])
        elif _is_alone(pawns, file) and not _is_alone(before, chess.square_file(reply.from_square)):
            note = f"{own_move.deed}, and the pawn that takes back is isolated on the {name}-file"
            yield own_move.use("isolated-pawn", note, [own_move.move.from_square], [])


def _is_alone(pawns: chess.SquareSet, file: int) -> bool:
    """Whether there is a pawn on the file and none on the files beside it."""
    files = {chess.square_file(square) for square in pawns}
    return file in files and not files & {file - 1, file + 1}


def _passed(last: OwnMove) -> Iterator[Use]:
    """Two passed pawns side by side, in an ending that the line leads to."""
    board = last.after
    passed = [square for square in board.pieces(chess.PAWN, last.us) if _is_passed(board, square)]
    files = {chess.square_file(square) for square in passed}
    if not board.queens and any(file + 1 in files for file in files):
        note = f"in the ending {side_name(last.us)} has passed pawns on {squares(passed)}"
        yield last.use("passed-pawn", note, [last.move.from_square])


def _is_passed(board: chess.Board, square: chess.Square) -> bool:
    us, file, rank = bool(board.color_at(square)), chess.square_file(square), chess.square_rank(square)
    return not any(
        abs(chess.square_file(other) - file) <= 1
        and (chess.square_rank(other) > rank if us else chess.square_rank(other) < rank)
        for other in board.pieces(chess.PAWN, not us)
    )
