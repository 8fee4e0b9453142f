"""The decoy: a man given to draw a man of theirs to a square that is bad for it.

The rule. We move to a square where one man of theirs alone can take and we cannot take back. It is worth
more than what we give. The move checks, captures or threatens, so that they must or would take. From its
new place it can be attacked by another man of ours that is not simply taken. It is the king and has hardly
a flight square, so that it is mated. Or, as it could not be from its old place, it is forked with another
piece, or in line with a piece behind it (a pin or skewer). The look ahead (`patterns.proof.lookahead`)
decides whether the attack on its new place pays for the man given, and whether the move wins a pawn at
least (the exchange, if it takes as much as it gives) and more than a plain capture, or mates, whatever they
do. In a line, also on the way to mate, it is enough that the man is taken, and that our next move mates
since the taker is in its king's way, or attacks the taker on its new square, as it could not on the old
one. The line then mates, or wins; the taker is the king, or falls.

A hit: the rook is given on h8, and the knight forks king and queen from f7.

>>> import chess
>>> from patterns.detect import find_in
>>> lure = "6k1/6p1/3qP3/4N3/8/8/8/1K5R w - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(lure)], MOTIFS)[0]]
[('decoy', ('h1', 'e5'), ('d6', 'g8'), ('h8',))]

A near miss: without the knight on e5 the rook is given for nothing.

>>> find_in([chess.Board(lure.replace("4N3", "8"))], MOTIFS)[0]
[]

Roles. Actors: the man given, and the man that attacks then. Targets: the man that is drawn off, and the men
that suffer with it. Squares: where it is drawn to, if that is empty.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import chess
import numpy as np

from patterns.boards.attacks import attackers, reach
from patterns.boards.bitboards import (
    BEYOND,
    BIT,
    EMPTY,
    KING_STEPS,
    KNIGHT_STEPS,
    QUEEN_LINES,
    Bitboards,
    Flags,
    Squares,
    exploded,
    paired,
)
from patterns.boards.exchange import VALUES, capture_gain
from patterns.boards.grouping import any_of, pairs_of_equal
from patterns.boards.tables import Table
from patterns.boards.view import View
from patterns.motifs.findings import Instance, Motif
from patterns.proof import captures
from patterns.proof.aims import MATE
from patterns.proof.claims import EXCHANGE, Claims, claims
from patterns.proof.played_line import OwnMove, Use, gain_of, takes_in_the_end
from patterns.proof.strokes import Strokes, at_hand, offers, profits, strokes
from patterns.words import wording

_AROUND = QUEEN_LINES[:64] | KNIGHT_STEPS
"""The squares that some man attacks from each square of an empty board."""


@dataclass(frozen=True)
class _Lures(Table):
    """Offers that one man of theirs alone can take, each with a move of ours that attacks this man then.

    `taker`: the square of the man that takes. `after`: the squares that are occupied in the end.
    """

    offer: Strokes
    taker: Squares
    attack: Strokes
    after: Bitboards


def _lures(view: View) -> _Lures:
    """Every offer that we cannot take back, with every move by which a cheaper man hits the taker there."""
    given = view.once(offers)
    every = given.stroke
    cost = VALUES[every.kind] - every.gain
    lured = VALUES[view.kind_at(every.row, given.taker)]
    drawn = view.boards.our_move[every.row] & ~given.guarded & (cost >= 0) & (lured > np.maximum(cost, 1))
    given, lured = given.only(drawn), lured[drawn]
    moves = view.once(strokes)
    offer, move = pairs_of_equal(given.stroke.row, moves.row)
    fears = np.flatnonzero(lured[offer] > VALUES[moves.kind][move])
    offer, move = offer[fears], move[fears]
    in_line = _AROUND[moves.square[move]] & BIT[given.stroke.square[offer]]
    hits = (in_line != EMPTY) & (moves.origin[move] != given.stroke.origin[offer])
    given, moves = given.take(offer[hits]), moves.take(move[hits])
    every = given.stroke
    left = BIT[every.origin] | BIT[given.taker] | BIT[moves.origin]
    after = view.occupied[every.row] & ~left | BIT[every.square] | BIT[moves.square]
    moves = replace(moves, seen=reach(moves.kind, moves.square, after, "us"))
    return _Lures(every, given.taker, moves, after).only((moves.seen & BIT[every.square]) != EMPTY)


def _is_kept(view: View, lures: _Lures) -> Flags:
    """Whether the man that attacks then is not simply taken, except by the man drawn off, if we guard it."""
    row, new = lures.offer.row, BIT[lures.offer.square]
    boards, attack = view.boards.take(row), lures.attack
    around = attackers(boards, attack.square, lures.after & ~BIT[attack.square])
    by_them = (around & boards.them & ~new) != EMPTY
    by_us = (around & boards.us & ~new) != EMPTY
    beside = (
        reach(boards.kind_at(lures.taker), lures.offer.square, lures.after, "them") & BIT[attack.square]
    ) != EMPTY
    return ~by_them & (by_us | ~beside)


def _dearer(view: View, lures: _Lures) -> Bitboards:
    """Their pieces that are worth more than what was given."""
    cost = np.maximum(VALUES[lures.offer.kind] - lures.offer.gain, VALUES[chess.PAWN])
    found = np.zeros(len(lures), dtype=np.uint64)
    for kind, men in zip(chess.PIECE_TYPES, view.boards.men, strict=False):
        found |= np.where(VALUES[kind] > cost, men[lures.offer.row], EMPTY)
    return found & view.them[lures.offer.row] & ~BIT[lures.taker] & ~BIT[lures.offer.square]


def _suffering(view: View, lures: _Lures) -> Bitboards:
    """Pieces of theirs that are forked with the man drawn off, or behind it on the line; or none."""
    row, attack, new = lures.offer.row, lures.attack, lures.offer.square
    dear = _dearer(view, lures)
    forked = attack.seen & profits(view, attack.kind, row) & dear
    through = reach(attack.kind, attack.square, lures.after & ~BIT[new], "us")
    behind = through & paired(BEYOND, attack.square, new) & dear
    return np.where((attack.seen & BIT[lures.taker]) == EMPTY, forked | behind, EMPTY)


def _hardly_moves(view: View, lures: _Lures) -> Flags:
    """Whether the man is the king, and has no flight square from its new place."""
    row, new = lures.offer.row, lures.offer.square
    flights = KING_STEPS[new] & ~view.them[row] & ~view.our_attacks[row] & ~lures.attack.seen
    flights &= ~paired(BEYOND, lures.attack.square, new)
    return (lures.taker == view.their_king[row]) & (flights == EMPTY)


def _pays(view: View, lures: _Lures, suffering: Bitboards) -> Flags:
    """Whether attacking the man drawn off, and one that suffers if it leaves, pays for the man given."""
    offer, attack = lures.offer, lures.attack
    boards = view.boards.take(offer.row).moved(offer.origin, offer.square)
    boards = boards.moved(lures.taker, offer.square).moved(attack.origin, attack.square)
    given = VALUES[offer.kind] - offer.gain - attack.gain
    result = capture_gain(boards, offer.square, "us") > given
    entry, square = exploded(np.where(result, suffering, EMPTY))
    left = boards.take(entry).without(BIT[offer.square[entry]])
    won = capture_gain(left, square, "us") > given[entry]
    return any_of(entry, won, len(lures))


def decoy(view: View) -> Claims:
    """Men given to draw a man of theirs to a bad square."""
    lures = _lures(view)
    suffering, mates = _suffering(view, lures), _hardly_moves(view, lures)
    some = np.flatnonzero((suffering != EMPTY) | mates)
    some = some[_is_kept(view, lures.take(some))]
    lures, suffering, mates = lures.take(some), suffering[some], mates[some] & (suffering[some] == EMPTY)
    offer, attack = lures.offer, lures.attack
    least = np.where(VALUES[offer.kind] > offer.gain, 1, EXCHANGE)
    if not view.thorough:
        least = np.maximum(least, at_hand(view, offer.moves) + 1)
        some = np.flatnonzero(mates | _pays(view, lures, suffering))
        lures, suffering, mates, least = lures.take(some), suffering[some], mates[some], least[some]
        offer, attack = lures.offer, lures.attack
    goes = BIT[offer.square]
    return claims(
        offer.moves,
        BIT[offer.origin] | BIT[attack.origin],
        BIT[lures.taker] | suffering,
        goes & ~view.them[offer.row],
        least=np.where(mates, MATE, least),
        checks=1,
        detail=lures.taker,
        about=lures.taker + 64 * offer.square + 4096 * offer.origin,
    )


def _tell(instance: Instance) -> str:
    board, lured, move = instance.board, instance.detail_square, instance.move
    assert move is not None
    man, where = wording.named(board, move.from_square), chess.SQUARE_NAMES[move.to_square]
    rest = [square for square in instance.targets if square != lured]
    followers = [square for square in instance.actors if square != move.from_square]
    who = wording.named(board, lured)
    fate = f"with {wording.men(board, rest)}" if rest else ""
    return wording.sentence(
        f"{man} {instance.does('draw')} {who} to {where}, where {wording.men(board, followers)}"
        f" {'attacks' if len(followers) == 1 else 'attack'} it {fate}".rstrip()
        + wording.so_wins(instance.wins)
    )


def _in_line(own_moves: Sequence[OwnMove]) -> Iterator[Use]:
    """Men given in a line that draw the taker to a square where our next move makes it suffer."""
    for index, (gift, then) in enumerate(pairwise(own_moves)):
        assert gift.reply is not None
        taker, square = gift.reply.from_square, gift.move.to_square
        if gift.reply.to_square != square or captures.exchange(gift.before, gift.move) >= 0:
            continue
        king = square == then.their_king
        pays = (king and own_moves[-1].after.is_checkmate()) or gain_of(own_moves[index:]) > 0
        suffers = pays and (king or takes_in_the_end(own_moves[index + 1 :], square))
        if _mates_for(then, square) or (suffers and _attacks_anew(then, taker, square)):
            man, drawn = wording.named(gift.before, gift.move.from_square), wording.named(gift.after, taker)
            note = f"{man} is given and draws {drawn} to {chess.SQUARE_NAMES[square]}: then {then.deed}"
            origins = [gift.move.from_square, *({then.move.from_square} - {square})]
            yield gift.use("decoy", note, origins, [taker], [square])


def _attacks_anew(then: OwnMove, old: chess.Square, new: chess.Square) -> bool:
    """Whether the move attacks (a king: with any man of ours) the man on its new square, not on its old."""
    at = then.move.to_square
    checks = new == then.their_king and then.after.is_check()
    if at == new or not (checks or new in then.after.attacks(at)):
        return False
    there = then.after.copy(stack=False)
    man = there.remove_piece_at(new)
    there.set_piece_at(old, man)
    return not there.is_attacked_by(then.us, old)


def _mates_for(then: OwnMove, new: chess.Square) -> bool:
    """Whether the move mates, and only because the man stands on its new square."""
    if not then.after.is_checkmate() or new in (then.their_king, then.move.to_square):
        return False
    without = then.after.copy(stack=False)
    without.remove_piece_at(new)
    return not without.is_checkmate()


MOTIFS = (
    Motif(
        id="decoy",
        title="Decoy",
        definition=(
            "A man is given on a square where a certain enemy man must or would take it. On its new square"
            " that man is mated, forked, pinned or skewered, which would not be possible where it stood"
            " before. The look ahead shows that this wins, whatever they do."
        ),
        source="Hooper and Whyld, The Oxford Companion to Chess (decoy); named from memory",
        find=decoy,
        tell=_tell,
        in_line=_in_line,
    ),
)
