"""The exchange sacrifice: a rook given for a minor piece, for something that lasts.

The rule. A rook of ours takes a knight or bishop and is taken. Or a knight or bishop takes it and is taken
back, though the rook could have moved without our losing more than a pawn. We are then behind by no more than
the exchange, the line does not win it back and has not won it before, and the look ahead
(`patterns.proof.lookahead`) finds no way to do it by force. Something pays for it:

- cover: a pawn that stood before their king took the rook, and our queen is on the board;
- chain: two more pawns of theirs are isolated or doubled than before;
- colour: the minor piece was a bishop, and now we alone have a bishop of its colour;
- outpost: at the end of the line a minor piece of ours stands on our fourth to sixth rank, guarded by a pawn,
  where no pawn can ever attack it, and it did not stand there before.

It lives in lines, whose moves are taken for good ones. A position shows such captures everywhere, and the
look ahead cannot tell which of them hold.

A hit: the rook takes the knight on c3, and a pawn has to leave the king.

>>> from patterns.lines import parse_line, uses
>>> dragon = "3q1rk1/pp1bppbp/3p2pB/8/2rNn1P1/2N1QP2/PPP5/2KR3R b - - 1 17"
>>> line = "Rxc3 bxc3 Nf6 Bxg7 Kxg7"
>>> def notes(fen, line):
...     board = chess.Board(fen)
...     return [u.note for u in uses(board, parse_line(board, line)) if u.motif == "exchange-sacrifice"]
>>> for note in notes(dragon, line): print(note)
The rook on c4 is given for the knight on c3: the pawn on b2 leaves the king on c1 and the pawns on a2, c2 \
and c3 are left weak.

A near miss: if a queen takes back, nothing is left behind.

>>> notes(dragon, "Rxc3 Qxc3 Nxc3 bxc3")
[]

Another one: if they gave a rook for a bishop first, the rooks are traded.

>>> traded = "4r1k1/pbp5/1p4p1/3p1qB1/2P2P1Q/1P6/Pb4BP/2R4K w - - 5 30"
>>> notes(traded, "Re1 Re4 Bxe4 dxe4 Re3 Bd4 Qg3 Bxe3 Qxe3")
[]

Roles. Actor: the rook. Target: the minor piece. Square: where the rook is taken.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import chess
import numpy as np

from patterns.boards.positions import Positions
from patterns.boards.worth import ahead
from patterns.motifs.findings import Motif
from patterns.proof.aims import Aims
from patterns.proof.captures import after_move
from patterns.proof.gains import threatened
from patterns.proof.lookahead import holds
from patterns.proof.played_line import OwnMove, Use, gain_of
from patterns.words import wording

MINORS = (chess.KNIGHT, chess.BISHOP)
BEHIND = range(-2, 0)
"""What the line may win in pawns: nothing, and no less than the exchange costs."""
WEAKENED = 2
"""The fewest pawns that must become weak for a broken chain."""


def exchange_sacrifices(own_moves: Sequence[OwnMove]) -> Iterator[Use]:
    """Moves of a line that give a rook for a minor piece, told of the move that offers it."""
    for index, taken in enumerate(own_moves):
        minor = _minor_for_rook(taken, own_moves[index + 1 :])
        if minor is None or taken.reply is None:
            continue
        line = own_moves[_offered(own_moves[: index + 1], taken.reply) :]
        offer, square = line[0], taken.reply.to_square
        rook = offer.move.from_square if offer.move.to_square == square else square
        if minor != square and not _could_be_saved(offer.before, rook):
            continue
        if gain_of(line) not in BEHIND or gain_of(own_moves) >= 0 or _won_back(line):
            continue
        if pays := wording.listed(_what_pays(taken, taken.reply, minor, line[-1].after)):
            given, got = wording.named(offer.before, rook), wording.named(offer.before, minor)
            note = f"{given} is given for {got}: {pays}"
            yield offer.use("exchange-sacrifice", note, [rook], [minor], [square])


def _minor_for_rook(taken: OwnMove, rest: Sequence[OwnMove]) -> chess.Square | None:
    """The minor piece that we get for a rook which the reply takes: before it, or by taking back."""
    reply = taken.reply
    if reply is None or taken.after.piece_type_at(reply.to_square) != chess.ROOK:
        return None
    if taken.move.to_square == reply.to_square:
        return reply.to_square if taken.before.piece_type_at(reply.to_square) in MINORS else None
    taken_back = rest and rest[0].move.to_square == reply.to_square
    return (
        reply.from_square if taken_back and taken.after.piece_type_at(reply.from_square) in MINORS else None
    )


def _offered(own_moves: Sequence[OwnMove], reply: chess.Move) -> int:
    """The first move after which the rook stood where the last reply takes it, and its taker attacked it."""
    first = len(own_moves) - 1
    while first > 0:
        earlier = own_moves[first - 1].after
        rook = earlier.piece_at(reply.to_square) == chess.Piece(chess.ROOK, own_moves[0].us)
        if not rook or reply.to_square not in earlier.attacks(reply.from_square):
            break
        first -= 1
    return first


def _could_be_saved(board: chess.Board, rook: chess.Square) -> bool:
    """Whether our rook has a move after which they win no more than a pawn by exchange."""
    after = [after_move(board, move) for move in board.generate_legal_moves(chess.BB_SQUARES[rook])]
    seen = Positions.from_boards(after).side_view(not board.turn)
    return bool((threatened(seen, np.ones(len(after), dtype=np.int64)) == 0).any())


def _won_back(line: Sequence[OwnMove]) -> bool:
    """Whether after the line we win back what we have given, whatever they answer."""
    us, last = line[0].us, line[-1].after
    board = Positions.from_boards([last]).side_view(not us)
    needed = ahead(line[0].before, us) - ahead(last, us)
    return bool(holds(board, Aims.of(np.array([needed]), checks=np.array([1])))[0])


def _what_pays(taken: OwnMove, reply: chess.Move, minor: chess.Square, end: chess.Board) -> Iterator[str]:
    """What we have for the exchange at the end of the line, in words."""
    us, them, before, after = taken.us, not taken.us, taken.before, after_move(taken.after, reply)
    king, taker = taken.their_king, reply.from_square
    covers = taker & 7 in range((king & 7) - 1, (king & 7) + 2) and chess.square_distance(king, taker) <= 2
    if taken.after.piece_type_at(taker) == chess.PAWN and covers and end.pieces(chess.QUEEN, us):
        yield f"{wording.named(taken.after, taker)} leaves {wording.named(after, king)}"
    weakened = _weak_pawns(after, them) - _weak_pawns(before, them)
    if len(weakened) >= WEAKENED:
        yield f"the pawns on {wording.squares(weakened)} are left weak"
    light = bool(chess.BB_SQUARES[minor] & chess.BB_LIGHT_SQUARES)
    bishops = end.bishops & (chess.BB_LIGHT_SQUARES if light else chess.BB_DARK_SQUARES)
    if before.piece_type_at(minor) == chess.BISHOP and bishops and not bishops & end.occupied_co[them]:
        yield f"only {wording.side_name(us)} has a bishop for the {'light' if light else 'dark'} squares"
    for square in _outposts(end, us) - _outposts(before, us):
        yield f"{wording.named(end, square)} stands where no pawn can attack it"


def _weak_pawns(board: chess.Board, colour: chess.Color) -> chess.SquareSet:
    """A side's isolated pawns, and those with another of its pawns behind them on the file."""
    pawns = board.pieces(chess.PAWN, colour)
    files = {chess.square_file(square) for square in pawns}
    back = chess.A1 if colour == chess.WHITE else chess.A8

    def is_weak(square: chess.Square) -> bool:
        file = chess.square_file(square)
        behind = chess.between(square, back + file) | chess.BB_SQUARES[back + file]
        return bool(behind & int(pawns)) or not {file - 1, file + 1} & files

    return chess.SquareSet(square for square in pawns if is_weak(square))


def _outposts(board: chess.Board, colour: chess.Color) -> chess.SquareSet:
    """A side's minor pieces on its fourth to sixth rank that a pawn guards and none can ever attack."""
    found = chess.SquareSet()
    pawns = board.pieces(chess.PAWN, colour)
    for square in board.pieces(chess.KNIGHT, colour) | board.pieces(chess.BISHOP, colour):
        rank = chess.square_rank(square) if colour else 7 - chess.square_rank(square)
        guarded = board.attackers(colour, square) & pawns
        if rank in (3, 4, 5) and guarded and not _can_be_hit(board, square, not colour):
            found.add(square)
    return found


def _can_be_hit(board: chess.Board, square: chess.Square, by: chess.Color) -> bool:
    """Whether a pawn of this side attacks the square, or could after advancing past no other pawn."""
    back = -8 if by == chess.WHITE else 8
    for here in chess.SquareSet(chess.BB_PAWN_ATTACKS[not by][square]):
        while here in chess.SQUARES and board.piece_type_at(here) != chess.PAWN:
            here += back
        if here in chess.SQUARES and board.color_at(here) == by:
            return True
    return False


MOTIFS = (
    Motif(
        id="exchange-sacrifice",
        title="Exchange sacrifice",
        definition=(
            "A rook is given for a knight or bishop, and not to win it back by force. What it gets for it"
            " lasts: a king without its cover, broken pawns, the squares of one colour, or an outpost."
        ),
        source="Watson, Secrets of Modern Chess Strategy (the exchange sacrifice); named from memory",
        in_line=exchange_sacrifices,
    ),
)
