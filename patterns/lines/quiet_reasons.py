"""What a move gives away where no man falls: an open file, or pawns that are doubled or isolated.

Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import chess

from patterns.proof.played_line import OwnMove, Use
from patterns.words.wording import named

SETTLED_AFTER = 2
"""Moves of the side that answers by which the pawns that took stand where they will be weak."""


def quiet_reasons(board: chess.Board, move: chess.Move, line: Sequence[OwnMove]) -> list[Use]:
    """What the move gives the side that answers it with the line, the most telling first.

    `board`: before the move.
    """
    if not line:
        return []
    return [*_opened(board, move, line), *_entered(line[0]), *_weakened(board, line)]


def _pawns(board: chess.Board, file: int) -> chess.SquareSet:
    return chess.SquareSet(board.pawns & chess.BB_FILES[file])


def _opened(board: chess.Board, move: chess.Move, line: Sequence[OwnMove]) -> Iterator[Use]:
    """A file that the pawns leave by an exchange, the move first, and on which the other side has a rook."""
    first, file = line[0], chess.square_file(move.from_square)
    answer = first.move
    both = board.piece_type_at(move.from_square) == chess.PAWN == first.mover and board.is_capture(move)
    if not both or answer.to_square != move.to_square or chess.square_file(answer.from_square) != file:
        return
    rooks = first.after.pieces(chess.ROOK, first.us) & chess.SquareSet(chess.BB_FILES[file])
    if rooks and not _pawns(first.after, file):
        rook = named(first.after, rooks.pop())
        note = f"after the exchange of pawns the {chess.FILE_NAMES[file]}-file is open for {rook}"
        yield first.use("open-file", note, [answer.from_square], [], [])


def _entered(own_move: OwnMove) -> Iterator[Use]:
    """A rook that goes to a file without pawns."""
    file = chess.square_file(own_move.move.to_square)
    quiet = not own_move.captures and not own_move.after.is_check()
    comes = chess.square_file(own_move.move.from_square) != file
    if own_move.mover == chess.ROOK and quiet and comes and not _pawns(own_move.after, file):
        note = f"{named(own_move.before, own_move.move.from_square)} takes the open {chess.FILE_NAMES[file]}-file"
        yield own_move.use("open-file", note, [own_move.move.from_square], [], [own_move.move.to_square])


def _weakened(board: chess.Board, line: Sequence[OwnMove]) -> Iterator[Use]:
    """Pawns of theirs that take back and are then doubled or isolated, as they were not before."""
    for own_move in line[:SETTLED_AFTER]:
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
            note = f"{own_move.deed}, and after the pawn takes back {len(mine)} pawns stand on the {name}-file"
            yield own_move.use("doubled-pawns", note, [own_move.move.from_square], [])
        elif len(mine) == 1 and _is_alone(pawns, file) and not _is_alone(before, file):
            note = f"{own_move.deed}, and the pawn that takes back has no neighbour on the {name}-file"
            yield own_move.use("isolated-pawn", note, [own_move.move.from_square], [])


def _is_alone(pawns: chess.SquareSet, file: int) -> bool:
    """Whether there is a pawn on the file and none on the files beside it."""
    files = {chess.square_file(square) for square in pawns}
    return file in files and not files & {file - 1, file + 1}
