"""The sacrifice for the king's cover: a piece given for a pawn in front of the king, for an attack that pays.

The rule. Their king stands on a wing (files a-c or f-h). A piece of ours takes a pawn of its cover (on the
king's file or a neighbouring one, beside the king or up to two ranks in front of it), and loses by exchange
when it does so. It does not open a line of ours to a piece that we could win: that is a discovered attack.
Whichever man takes it, two other pieces of ours are then after the king, or three if the capture is no check:
they bear on a square beside it, or can check it. The queen is one of them, or is given herself. The look
ahead (`patterns.proof.lookahead`) decides whether checks and captures win back more than was given, whatever
they answer; an attack that goes on by itself (`patterns.proof.attack`) is worth a minor piece. In a line it
is enough that the piece is taken, that our next move checks or newly hits a square beside the king, and that
the line mates or is no more than a minor piece behind.

A hit: the bishop takes on h7. Then the knight checks on g5, the queen on d3, with the other bishop behind.

>>> from patterns.detect import find_in
>>> gift = "rnbq1rk1/pppn1ppp/4p3/3pP3/1b1P3P/2NB1N2/PPP2PP1/R1BQK2R w KQ - 0 8"
>>> [(f.motif, f.actors, f.targets) for f in find_in([chess.Board(gift)], MOTIFS)[0]]
[('cover-sacrifice', ('c1', 'd1', 'd3', 'f3'), ('h7', 'g8'))]

A near miss: a knight on f6 recaptures on h7, and the king stays at home.

>>> guarded = "rnbq1rk1/ppp2ppp/4pn2/3p4/1b1P3P/2NB1N2/PPP2PP1/R1BQK2R w KQ - 0 8"
>>> find_in([chess.Board(guarded)], MOTIFS)[0]
[]

Roles. Actors: the piece that is given, and the pieces that go on with the attack. Targets: the pawn and the
king. Squares: none.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import chess
import numpy as np

from patterns.boards.bitboards import ALL, BIT, CENTRE, EMPTY, Bitboards, count, king_ring
from patterns.boards.exchange import loses_nothing
from patterns.boards.grouping import marked, united
from patterns.boards.legal import legal_moves, made
from patterns.boards.positions import Positions
from patterns.boards.view import View
from patterns.motifs.findings import Instance, Motif
from patterns.proof.attack import after_the_king
from patterns.proof.captures import exchange
from patterns.proof.claims import Claims, claims
from patterns.proof.played_line import OwnMove, Use, gain_of
from patterns.proof.strokes import Strokes, profits, strokes_to
from patterns.words import wording

HELPERS = 2
"""How many other pieces of ours must be after the king, the queen among them; one more without a check."""
CHECKS = 3
"""How many checks the look ahead may try."""
ATTACK = 3
"""What an attack that goes on by itself is worth, in pawns: a minor piece."""


def _cover(view: View) -> Bitboards:
    """The pawns of their king's cover, beside and in front of it, where the king stands on a wing."""
    king = view.their(chess.KING) & ~CENTRE
    ring = king_ring(king)
    return view.their_pawns & (ring | ring >> np.uint64(8))


def cover_sacrifice(view: View) -> Claims:
    """Captures of cover pawns by pieces that lose by exchange, with other pieces after the king."""
    every = strokes_to(view, _cover(view))
    offers = every.only(~loses_nothing(view.boards.take(every.row), every.origin, every.square))
    offers = offers.only((BIT[offers.origin] & _uncovering(view)[offers.row]) == EMPTY)
    helpers = _helpers(view, offers)
    with_queen = (helpers | BIT[offers.origin]) & view.boards.queens[offers.row]
    quiet = (offers.seen & view.their(chess.KING)[offers.row]) == EMPTY
    some = np.flatnonzero((with_queen != EMPTY) & (count(helpers) >= HELPERS + quiet))
    offers, helpers = offers.take(some), helpers[some]
    targets = view.their(chess.KING)[offers.row] | BIT[offers.square]
    return claims(
        offers.moves,
        BIT[offers.origin] | helpers,
        targets,
        least=1,
        checks=CHECKS,
        attack=ATTACK,
        wanted=view.them[offers.row],
    )


def _uncovering(view: View) -> Bitboards:
    """Our men alone on a line between a slider of ours and a piece of theirs that it could win."""
    lines = view.our_sight_lines
    aims = profits(view, view.kind_at(lines.row, lines.square), lines.row)
    opened = (lines.rear & aims & ~(view.boards.kings | view.boards.pawns)[lines.row]) != EMPTY
    return united(lines.row[opened], (lines.front & view.us[lines.row])[opened], len(view))


def _helpers(view: View, offers: Strokes) -> Bitboards:
    """Our pieces that are after the king whichever man takes the piece; empty if none can."""
    after = made(view.boards, offers.moves).after
    taken = made(after, legal_moves(after, BIT[offers.square ^ 56]))
    result = marked(taken.row, len(offers)) * ALL
    np.bitwise_and.at(result, taken.row, after_the_king(taken.after) & ~taken.after.pawns)
    return result


def _tell(instance: Instance) -> str:
    board, move = instance.board, instance.move
    assert move is not None
    king = board.king(not instance.side)
    helping = instance.actors - chess.SquareSet([move.from_square])
    helpers, goes = wording.men(board, helping), "goes" if len(helping) == 1 else "go"
    given = "is" if instance.played else "can be"
    man, pawn, owner = (wording.named(board, at) for at in (move.from_square, move.to_square, king or 0))
    return wording.sentence(
        f"{man} {given} given for {pawn}, cover of {owner}{wording.so_wins(instance.wins)}:"
        f" {helpers} {goes} on with the attack"
    )


def _in_line(own_moves: Sequence[OwnMove]) -> Iterator[Use]:
    """Pieces given for a cover pawn in a line that goes on at the king."""
    for gift, then in pairwise(own_moves):
        pays = own_moves[-1].after.is_checkmate() or gain_of(own_moves[gift.ply - 1 :]) >= -ATTACK
        if _gives_for_cover(gift) and _goes_on(then) and pays:
            square, king = gift.move.to_square, gift.their_king
            given = (gift.move.from_square, square, king)
            man, pawn, owner = (wording.named(gift.before, at) for at in given)
            note = f"{man} is given for {pawn}, cover of {owner}, and the attack goes on: {then.deed}"
            yield gift.use("cover-sacrifice", note, [gift.move.from_square], [square, king])


def _gives_for_cover(own_move: OwnMove) -> bool:
    """Whether a piece takes a pawn of the king's cover, loses by exchange, and is taken."""
    square, reply = own_move.move.to_square, own_move.reply
    if reply is None or reply.to_square != square:
        return False
    cover = _cover(View(Positions.from_boards([own_move.before])))[0 if own_move.us == chess.WHITE else 1]
    seen = square if own_move.us == chess.WHITE else chess.square_mirror(square)
    return bool(cover & BIT[seen]) and exchange(own_move.before, own_move.move) < 0


def _goes_on(own_move: OwnMove) -> bool:
    """Whether the move checks, or newly hits a square beside their king."""
    move, ring = own_move.move, chess.BB_KING_ATTACKS[own_move.their_king]
    new = own_move.after.attacks_mask(move.to_square) & ~own_move.before.attacks_mask(move.from_square)
    return own_move.after.is_check() or bool(new & ring)


MOTIFS = (
    Motif(
        id="cover-sacrifice",
        title="Sacrifice for the cover",
        definition=(
            "A piece can be given for a pawn of the king's cover, and other pieces go on with an attack that"
            " pays: checks, mate threats and captures win back more than was given, or drive the king out."
            " The program looks only a few moves ahead; the rest has to be worked out."
        ),
        source="Vukovic, The Art of Attack in Chess (sacrifices on the castled king); named from memory",
        find=cover_sacrifice,
        tell=_tell,
        in_line=_in_line,
    ),
)
