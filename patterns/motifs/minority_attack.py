"""The minority attack: fewer pawns advance against more, to leave a weak pawn on a half-open file.

The rule. On one wing (files a-c or f-h) they have more pawns than we have, and neither king stands there. The
file of the wing next to the centre (c or f) is half-open: they have one pawn on it (doubled pawns are weak
already), we have none, and we have a rook or queen to use it. They have a piece left too. No more pieces of
theirs attack squares by our king than of ours by theirs, and if our pawn has not moved, fewer than two pawns
of ours have advanced to the fourth rank on the other wing: with these we play there. Our pawn on the next
file (b or g) attacks that pawn from our fourth or fifth rank, now or after one or two advances over empty
squares. If a pawn of theirs attacks one of these squares, a pawn of ours guards it. On the last square the
pawn is not simply lost: they win nothing by exchange there, or another pawn of ours can come to guard it. And
both answers leave a weak pawn. If they let us take, then after the pawns on the b- or g-file are gone, no
pawn of theirs can ever guard the target. If they take, either a pawn in the centre is left alone, because the
target was the only pawn that guarded it; or the target, on their third rank, was the head of a chain (a pawn
guards it), and our pawn from the a- or h-file takes back and opens that file too. In this second case at most
one advance is missing. The look ahead (`patterns.proof.lookahead`) finds that the step to the lever loses
nothing. Any other step may cost a pawn, since there is time to prepare it. The position is settled
(`patterns.proof.quiet`).

A hit: the pawn goes to b5 and hits c6, the only support of d5.

>>> import chess
>>> from patterns.detect import find_in
>>> minority = "r2qr1k1/pp1nbpp1/2p2n1p/3p4/1P1P4/2NBPN2/P1Q2PPP/1R3RK1 b - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(minority)], MOTIFS)[0]]
[('minority-attack', ('c2', 'b4'), ('d5', 'c6'), ('b5',))]

A near miss: without the pawns on d5 and a2, Black takes on b5 and has no weak pawn.

>>> find_in([chess.Board(minority.replace("3p4", "8").replace("P1Q2PPP", "2Q2PPP"))], MOTIFS)[0]
[]

Roles. Actors: the pawn that makes the lever, and our rooks and queens behind the target on its file. Targets:
the pawn it attacks, and the pawns that only this one guards. Squares: the lever square (the pawn's own square
if it is there already).
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.bitboards import (
    ADVANCED_RANKS,
    EMPTY,
    FILES,
    KINGSIDE,
    NORTH,
    QUEENSIDE,
    RANKS,
    SOUTH,
    Bitboards,
    count,
    filled_down,
    filled_up,
    lowest,
    pawn_attacks_down,
    pawn_attacks_up,
    pawn_steps_up,
    shifted,
    square_of,
)
from patterns.boards.exchange import settle
from patterns.boards.moves import Moves
from patterns.boards.view import View
from patterns.motifs.findings import Instance, Motif
from patterns.proof.attack import at_our_king, at_their_king
from patterns.proof.claims import Claims, claims
from patterns.proof.quiet import SETTLED, is_settled
from patterns.words import wording

THERE, COMING = range(2)

_WINGS = (
    (QUEENSIDE, FILES[1], FILES[2]),
    (KINGSIDE, FILES[6], FILES[5]),
)
"""The files of each wing, the file of the lever, the file of the target."""
_LEVER_RANKS = RANKS[3] | RANKS[4]
_OUTSIDE = QUEENSIDE | KINGSIDE
_STORM = 2
"""With so many pawns advanced on the other wing we play there."""


def minority_attack(view: View) -> Claims:
    """Minority attacks on either wing, at most one per wing."""
    found = Claims.joined(*(_on_wing(view, *wing) for wing in _WINGS))
    return found.only(is_settled(view, found.row))


def _on_wing(view: View, wing: Bitboards, lever_file: Bitboards, target_file: Bitboards) -> Claims:
    ours, theirs = view.our_pawns, view.their_pawns
    flags = (view.boards.kings & wing) == EMPTY
    flags &= ((ours & target_file) == EMPTY) & (count(theirs & target_file) == 1)
    flags &= count(ours & wing) < count(theirs & wing)
    flags &= ((view.us & view.boards.straight_sliders) != EMPTY) & (view.their_piece_count > 0)
    flags &= view.once(at_our_king) <= view.once(at_their_king)
    busy = count(ours & _OUTSIDE & ~wing & ADVANCED_RANKS) >= _STORM
    flags &= ((ours & lever_file & ~RANKS[1]) != EMPTY) | ~busy
    rows = np.flatnonzero(flags)
    boards = view.boards.take(rows)
    ours, theirs, free = ours[rows], theirs[rows], ~view.occupied[rows]

    # Their pawns on the lever file are left out: they guard the target only until they are exchanged.
    guardable = filled_down(pawn_attacks_down(theirs & ~lever_file))
    targets = theirs & target_file & ~guardable
    supported = pawn_attacks_down(targets) & theirs & ~pawn_attacks_down(theirs & ~targets)
    chained = targets & RANKS[5] & pawn_attacks_down(theirs)
    targets &= np.where(supported != EMPTY, targets, chained)
    touch = pawn_attacks_down(targets) & _LEVER_RANKS
    foremost = ours & lever_file
    foremost &= ~filled_down(shifted(foremost, SOUTH))
    here = foremost & touch
    # A pawn of theirs can take ours on its way (en passant too), unless a pawn of ours recaptures.
    way = ~view.their_pawn_attacks[rows] | view.our_pawn_attacks[rows]
    one = shifted(foremost, NORTH) & free
    two = shifted(one & way, NORTH) & free
    # A pawn that is three squares from a lever rank is on its first rank, so it needs two advances.
    three = shifted(two & way, NORTH) & free
    far = np.where(supported != EMPTY, two | three, EMPTY)
    squares = lowest(here | (one | far) & touch)
    some = np.flatnonzero(squares)
    rows, boards, squares, foremost = rows[some], boards.take(some), squares[some], foremost[some]
    here, targets, supported, ours = here[some], targets[some], supported[some], ours[some]

    after = boards.moved(square_of(foremost), square_of(squares))
    lost = settle(after, square_of(squares), np.ones(len(rows), dtype=np.int64), "them")
    helped = squares & filled_up(pawn_attacks_up(ours))
    counts = (supported != EMPTY) & (lost <= 0) | (helped != EMPTY)
    behind = filled_down(targets) & boards.us & boards.straight_sliders
    variant = np.where(here != EMPTY, THERE, COMING)
    one, two = pawn_steps_up(foremost, ~boards.occupied)
    coming = np.where(((squares & one) != EMPTY) | (two == EMPTY), one, two)
    first = np.where(here != EMPTY, targets, coming)
    moves = Moves(rows, square_of(foremost), square_of(first))
    least = np.where(((first & squares) != EMPTY) & (lost <= 0), 0, -1)
    attacks = claims(moves, foremost | behind, targets | supported, squares, least=least, detail=variant)
    return attacks.only(counts)


def _tell(instance: Instance) -> str:
    board = instance.board
    pawn = next(square for square in instance.actors if board.piece_type_at(square) == chess.PAWN)
    lever = instance.squares.pop()
    hit = chess.BB_PAWN_ATTACKS[instance.side][lever]
    target = wording.men(board, (square for square in instance.targets if hit & chess.BB_SQUARES[square]))
    alone = wording.men(board, (square for square in instance.targets if not hit & chess.BB_SQUARES[square]))
    pawn_name, side = chess.SQUARE_NAMES[pawn], wording.side_name(instance.side)
    if instance.detail == THERE:
        text = f"{side}'s minority attack has reached its lever: the pawn on {pawn_name} hits {target}"
    else:
        where = chess.SQUARE_NAMES[lever]
        text = f"{side} has a minority attack: the pawn on {pawn_name} goes to {where} and hits {target}"
    chain = f"the only support of {alone}" if alone else "the head of a chain"
    return f"{text}, {chain}; whichever side takes, a weak pawn is left."


MOTIFS = (
    Motif(
        id="minority-attack",
        title="Minority attack",
        definition=(
            "On a wing where neither king stands we have fewer pawns than they have, and the c- or f-file"
            " is half-open for us. Our b- or g-pawn attacks their pawn on it, or can after one or two"
            " advances without being simply lost. Their pawn is the only support of a pawn in the centre, or"
            " the head of a chain while our outer pawn supports the lever; and after the pawns beside it are"
            " exchanged no pawn can guard it. Our own king is not under more fire than theirs, and an unmoved"
            " pawn counts only while fewer than two others storm on the other wing." + SETTLED
        ),
        source="Pachman, Modern Chess Strategy (the minority attack); named from memory",
        find=minority_attack,
        tell=_tell,
    ),
)
