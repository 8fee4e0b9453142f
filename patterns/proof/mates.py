"""Mates on one python-chess board: their textbook names, and how the moves of a line lead to them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import chess

from patterns.proof.played_line import OwnMove, Use
from patterns.words.wording import men, named, number

LONG_DIAGONALS = chess.SquareSet(chess.between(chess.A1, chess.H8) | chess.between(chess.A8, chess.H1))
EXPLAINED = 2
"""How many moves before a mate what makes it is told, if it has no name."""
CORNERS = chess.SquareSet(chess.BB_CORNERS)


def back_rank(board: chess.Board) -> bool:
    """Whether the mated king is shut in on its first rank, and a rook or queen checks it along the rank.

    The squares in front of it are held by its own men, at least one, or covered by our men without the king
    and without the checking man (except along its file). If the checking man is beside the king, a bishop on
    a long diagonal does not do as its only support.

    >>> back_rank(chess.Board("4R1k1/5ppp/8/8/8/8/8/6K1 b - - 0 1"))
    True
    >>> back_rank(chess.Board("4R1k1/8/6K1/8/8/8/8/8 b - - 0 1"))
    False
    """
    king, first = _king(board), chess.BB_RANK_1 if board.turn else chess.BB_RANK_8
    along = chess.SquareSet(board.checkers_mask() & first & (board.rooks | board.queens))
    if not first & chess.BB_SQUARES[king] or not along:
        return False
    (checker,) = along
    front = chess.SquareSet(chess.BB_KING_ATTACKS[king] & ~first)
    own = front & board.occupied_co[board.turn]
    others = chess.SquareSet(board.occupied_co[not board.turn] & ~board.kings) - along
    rest = front - own - chess.SquareSet(chess.BB_FILES[chess.square_file(checker)])
    backed = board.attackers(not board.turn, checker) - (LONG_DIAGONALS & board.bishops)
    beside = chess.square_distance(king, checker) == 1
    return (
        bool(own)
        and all(board.attackers(not board.turn, at) & others for at in rest)
        and (not beside or bool(backed))
    )


def name_of(board: chess.Board) -> str:
    """The textbook name of a mate, or empty. Common practice, no source.

    >>> name_of(chess.Board("6rk/5Npp/8/8/8/8/8/6K1 b - - 0 1"))
    'a smothered mate'
    """
    king, ring = _king(board), chess.SquareSet(chess.BB_KING_ATTACKS[_king(board)])
    own, checkers = ring & board.occupied_co[board.turn], board.checkers()
    ours = board.occupied_co[not board.turn]
    kinds = {board.piece_type_at(square) for square in checkers}
    knights = chess.SquareSet(board.knights & ours)
    if kinds == {chess.KNIGHT} and own == ring:
        return "a smothered mate"
    if kinds == {chess.ROOK}:
        (rook,) = checkers
        beside = chess.square_distance(king, rook) == 1
        if king in CORNERS and beside and board.attackers(not board.turn, rook) & knights:
            return "an Arabian mate"
        on_file = chess.square_file(rook) == chess.square_file(king) in (0, 7)
        if on_file and not beside and own and any(board.attacks(knight) & ring for knight in knights):
            return "Anastasia's mate"
    if kinds == {chess.BISHOP} and (board.bishops & ours).bit_count() == 2 and not board.queens & ours:
        return "a mate of two crossing bishops"
    if kinds == {chess.QUEEN} and _has_epaulettes(board, king):
        return "an epaulette mate"
    return ""


def _has_epaulettes(board: chess.Board, king: chess.Square) -> bool:
    """Whether rooks of its own stand on both sides of the king on its rank."""
    beside = chess.BB_KING_ATTACKS[king] & chess.BB_RANKS[chess.square_rank(king)]
    return beside.bit_count() == 2 and not beside & ~(board.rooks & board.occupied_co[board.turn])


def _king(board: chess.Board) -> chess.Square:
    king = board.king(board.turn)
    assert king is not None
    return king


def leading_to_mate(motif: str, own_moves: Sequence[OwnMove], why: str) -> Iterator[Use]:
    """A use of each move of a line that mates: what it does for the mate. `why`: a clause about the mate."""
    mate = own_moves[-1]
    square = chess.SQUARE_NAMES[mate.move.to_square]
    for own_move in own_moves:
        left = mate.ply - own_move.ply
        mater = named(mate.before, mate.move.from_square)
        if left == 0:
            note = f"{mater} mates on {square}: {why}"
        else:
            later = "next move" if left == 1 else f"{number(left)} moves later"
            answer = _answer(own_move, mate.move.to_square)
            because = f": {why}" if left <= EXPLAINED or name_of(mate.after) else ""
            note = f"{own_move.deed}{answer}; {later} {mater} mates on {square}{because}"
        yield own_move.use(
            motif, note, [own_move.move.from_square], [own_move.their_king], [own_move.move.to_square]
        )


def _answer(own_move: OwnMove, mating_square: chess.Square) -> str:
    """What the answer to our move does for the mate: the king moves or takes, or a guard is called away."""
    reply, after = own_move.reply, own_move.after
    if reply is None:
        return ""
    man, goal = named(after, reply.from_square), chess.SQUARE_NAMES[reply.to_square]
    takes = reply.to_square == own_move.move.to_square
    if reply.from_square == own_move.their_king and after.is_check():
        return f" and {'draws' if takes else 'drives'} the king to {goal}"
    if not takes:
        return ""
    if after.attacks_mask(reply.from_square) & chess.BB_SQUARES[mating_square]:
        return f" and calls away {man}, which guarded {chess.SQUARE_NAMES[mating_square]}"
    return f" and {man} takes it"


def told(board: chess.Board) -> str:
    """What makes a mate, as a clause: its textbook name, or the men that help the mating man.

    >>> told(chess.Board("6k1/6Q1/5P2/8/8/8/8/6K1 b - - 0 1"))
    'the pawn on f6 helps to cover the squares of the king on g8'
    """
    king, checkers = _king(board), board.checkers()
    if name := name_of(board):
        return f"it is {name}"
    near = chess.SquareSet(chess.BB_KING_ATTACKS[king] & ~board.occupied_co[board.turn])
    helping = [
        man
        for man in chess.SquareSet(board.occupied_co[not board.turn]) - checkers
        if board.attacks(man) & near
    ]
    if not helping:
        return f"{named(board, king)} has no square"
    verb = "helps" if len(helping) == 1 else "help"
    return f"{men(board, helping)} {verb} to cover the squares of {named(board, king)}"
