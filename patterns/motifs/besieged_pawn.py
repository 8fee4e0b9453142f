"""The besieged pawn: it cannot move away, and all its guards are needed.

The rule. A pawn of theirs cannot leave: a man in front of it blocks it, or every advance loses by exchange
and opens no check, or it is pinned across its file. It attacks no man of ours. If it stands beside its king,
our queen does not attack it: that would be an attack on the king. It is not a passed pawn two steps from
queening. At least two pieces of ours (not king or pawns) bear on it with no man of theirs in between. As many
of our men bear on it as effectively guard it, or more. X-rays and batteries count on both sides. A man that
is pinned to its king does not count if the pawn is off the pin's line. Where the guards would be too many, a
guard does not count either if without it a piece of theirs would fall to men of ours that take no part in the
siege. No pawn guards it effectively. And the pawn is really weak: it falls by exchange, or it would fall if
one of the guards were gone. Our king is not in check. Where it is our move and the pawn falls, the look ahead
must find that taking it wins it for good. Otherwise, if it is their move, they cannot take one of the
besiegers with profit.

A hit: bishop and knight attack the pawn on d4, two knights guard it, the pawn on d5 blocks it.

>>> import chess
>>> from patterns.detect import find_in
>>> siege = "r2q1rk1/pp1b1ppp/2n1pb2/3p4/3P4/1Q3NP1/PP2NPB1/4RRK1 b - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(siege)], MOTIFS)[0]]
[('besieged-pawn', ('c6', 'f6'), ('d4',), ('d5',))]

A near miss: the bishop on e3 is a third guard, and the siege is over.

>>> find_in([chess.Board(siege.replace("1Q3NP1", "1Q2BNP1"))], MOTIFS)[0]
[]

Roles. Actors: our attackers. Targets: the pawn. Squares: the square in front of it.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.attacks import attackers
from patterns.boards.bitboards import (
    BIT,
    EMPTY,
    FILES,
    KING_STEPS,
    NORTH,
    RANKS,
    SOUTH,
    Bitboards,
    Flags,
    Rows,
    Squares,
    bishop_reach,
    count,
    exploded,
    filled_up,
    pawn_attacks_down,
    pawn_attacks_up,
    pawn_steps_down,
    rook_reach,
    shifted,
)
from patterns.boards.exchange import Binding, can_win, exchange, loses_nothing
from patterns.boards.grouping import any_of, united
from patterns.boards.legal import openers
from patterns.boards.moves import Moves
from patterns.boards.pressure import bearing, held
from patterns.boards.view import View
from patterns.motifs.findings import Instance, Motif, TakenUp
from patterns.proof.claims import Claims, claims
from patterns.words import wording

HOLDS, FALLS = range(2)


def _candidates(view: View) -> Bitboards:
    """Their pawns that we attack, that attack no man of ours, and that no unpinned pawn guards."""
    theirs = view.their_pawns & view.our_attacks
    # One beside the king that the queen attacks is a matter of the king, one that will queen is a strength.
    theirs &= ~(KING_STEPS[view.their_king] & view.our_attacks_of[chess.QUEEN])
    stopped = filled_up(shifted(view.our_pawns, NORTH)) | view.our_pawn_span
    theirs &= stopped | ~(RANKS[1] | RANKS[2])
    in_contact = pawn_attacks_up(view.us)
    guarded = pawn_attacks_down(view.their_pawns & ~view.their_pinned)
    return theirs & ~in_contact & ~guarded


def _stuck(view: View, rows: Rows, squares: Squares) -> Flags:
    """Whether every advance of each pawn of theirs is blocked, or loses the pawn and opens no check."""
    pawn = BIT[squares]
    free = ~view.occupied[rows]
    one, two = pawn_steps_down(pawn, free)
    pinned_across = np.zeros(len(rows), dtype=np.bool_)
    for line, pinner in zip(view.their_pins.pinned, view.their_pins.pinner, strict=True):
        here = (line[rows] & pawn) != EMPTY
        pinned_across |= here & ((pinner[rows] & FILES[squares & 7]) == EMPTY)
    asked = np.flatnonzero(~pinned_across)
    entry, square = exploded((one | two)[asked])
    entry = asked[entry]
    theirs = view.boards.take(view.other(rows[entry]))
    kept = loses_nothing(theirs, squares[entry] ^ 56, square ^ 56)
    kept |= (openers(theirs) & BIT[squares[entry] ^ 56]) != EMPTY
    return ~any_of(entry, kept, len(rows))


def _needed_elsewhere(view: View, rows: Rows, besiegers: Bitboards, guards: Bitboards) -> Bitboards:
    """Of each row's guards, those without which a piece would fall to men that do not besiege the pawn."""
    # Only pieces: a guard that gives up another pawn for this one has lost nothing.
    pieces = view.them & ~view.their_pawns
    attacked: Bitboards = pieces[rows] & view.our_attacks[rows]
    entry, square = exploded(attacked)
    boards = view.boards.take(rows[entry])
    helping = bearing(boards, square) & guards[entry]
    some = np.flatnonzero(helping)
    some = some[~can_win(boards.take(some), square[some], "us")]
    entry, square, helping = entry[some], square[some], helping[some]
    pair, guard = exploded(helping)
    without = Binding.of(len(pair), idle=BIT[guard] | besiegers[entry[pair]])
    falls = can_win(view.boards.take(rows[entry[pair]]), square[pair], "us", without)
    return united(entry[pair[falls]], BIT[guard[falls]], len(rows))


def besieged_pawn(view: View) -> Claims:
    """Pawns of theirs that cannot leave and have no more guards than we have attackers.

    Where it is our move and the exchange says that a pawn falls, this is a claim.
    """
    row, square = exploded(_candidates(view))
    boards = view.boards.take(row)
    men = bearing(boards, square)
    ours = men & boards.us & ~boards.kings & ~held(view.our_pins, row, square)
    guards = men & boards.them & ~held(view.their_pins, row, square)
    short = count(guards) - count(ours)
    near = np.flatnonzero((count(ours) >= 2) & ~view.in_check[row])
    near = near[_stuck(view, row[near], square[near])]
    row, square, ours, guards, short = row[near], square[near], ours[near], guards[near], short[near]
    idle = np.zeros(len(row), dtype=np.uint64)
    over = np.flatnonzero(short > 0)
    idle[over] = _needed_elsewhere(view, row[over], ours[over], guards[over])
    guards &= ~idle
    enough = np.flatnonzero(count(guards) <= count(ours))
    here = view.boards.take(row[enough])
    through_ours = here.occupied & ~ours[enough]
    clear = rook_reach(square[enough], through_ours) | bishop_reach(square[enough], through_ours)
    ours[enough] &= clear | here.knights
    enough = enough[count(ours[enough]) >= 2]
    row, square = row[enough], square[enough]
    ours, guards, idle = ours[enough], guards[enough], idle[enough]
    boards = view.boards.take(row)
    falls = can_win(boards, square, "us", Binding.of(len(row), idle=idle))
    entry, guard = exploded(np.where(falls, EMPTY, guards))
    without = Binding.of(len(entry), idle=idle[entry] | BIT[guard])
    needed = can_win(boards.take(entry), square[entry], "us", without)
    takes = falls & boards.our_move
    counts = falls | any_of(entry, needed, len(row))
    entry, man = exploded(np.where(counts & ~takes, ours, EMPTY))
    hangs = ~boards.our_move[entry] & can_win(boards.take(entry), man, "them")
    stands = np.flatnonzero(counts & ~takes & ~any_of(entry, hangs, len(row)))
    entry, origin = exploded(np.where(takes, attackers(boards, square) & ours, EMPTY))
    pays = exchange(boards.take(entry), origin, square[entry]) > 0
    each = np.concatenate([stands, entry[pays]])
    origin = np.concatenate([square[stands], origin[pays]])
    target, wins = BIT[square[each]], origin != square[each]
    detail = np.where(falls[each], FALLS, HOLDS)
    moves = Moves(row[each], origin, square[each])
    return claims(moves, ours[each], target, shifted(target, SOUTH), least=1 * wins, detail=detail)


def _tell(instance: Instance) -> str:
    board, pawn = instance.board, min(instance.targets)
    men = wording.men(board, instance.actors)
    text = f"{wording.named(board, pawn)} cannot safely advance and is attacked by {men}; "
    if instance.played and instance.move is not None:
        text = f"{wording.named(board, instance.move.from_square)} takes a besieged pawn: {text}"
    needs_help = board.turn != instance.side
    falls = "it falls unless it is helped now" if needs_help else "it falls"
    return wording.sentence(
        text + (falls if instance.detail == FALLS else "it holds only while its guards stay")
    )


MOTIFS = (
    Motif(
        id="besieged-pawn",
        title="Besieged pawn",
        definition=(
            "An enemy pawn cannot move away, no pawn guards it, and two or more of our pieces attack it, at"
            " least as many as effectively guard it. A man that is pinned off the line or needed elsewhere"
            " does not guard. The pawn falls, or would fall if one guard were gone, and they cannot take a"
            " besieger with profit. A pawn beside its king that the queen attacks is not meant."
        ),
        source="Nimzowitsch, My System (the siege of a weak pawn); named from memory",
        find=besieged_pawn,
        tell=_tell,
        taken_up=TakenUp.CAPTURE,
    ),
)
