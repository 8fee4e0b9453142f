"""The base of the chain: the pawn that holds up a locked chain, hit by a lever or besieged.

The rule. Two or more pawns of theirs stand in a chain, each guarding the next, and a pawn of ours stands
directly in front of each: the chain is locked. The base is the rearmost of these pawns. It is the base even
if a pawn behind it, which can still move, guards it. One of these holds:

- a pawn of ours attacks the base;
- a pawn of ours can move to a square from where it attacks the base, and loses nothing there by exchange;
- two men of ours bear on the base, and more than of theirs; or three, and as many (x-rays and batteries
  included, men pinned off the line not). Where it is our move, a piece other than the queen that can join
  them by one safe move counts.

No exchange wins the side to move more than a pawn, and our king is not in check.

A hit: the French chain. The base is d4, and the lever is c5.

>>> import chess
>>> from patterns.detect import find_in
>>> french = "rnbqkbnr/ppp2ppp/4p3/3pP3/3P4/8/PPP2PPP/RNBQKBNR b KQkq - 0 3"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(french)], MOTIFS)[0]]
[('base-of-the-chain', ('c7',), ('d4',), ('c5',))]

A near miss: without the ram on e6 the chain is not locked, because e5 can still move on.

>>> find_in([chess.Board(french.replace("ppp2ppp/4p3", "ppp1pppp/8"))], MOTIFS)[0]
[]

Roles. Actors: the pawns that hit the base or can, or, if there is none, the men that bear on it. Targets: the
base. Squares: the lever squares (a pawn's own square if it is there already).
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.bitboards import (
    BIT,
    EMPTY,
    NORTH,
    PAWN_DOWN,
    SOUTH,
    Bitboards,
    count,
    exploded,
    lowest,
    pawn_attacks_down,
    pawn_attacks_up,
    shifted,
    square_of,
)
from patterns.boards.exchange import loses_nothing
from patterns.boards.grouping import united
from patterns.boards.moves import pawn_steps
from patterns.boards.pressure import bearing, held, joiners
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, TakenUp, findings
from patterns.proof.quiet import is_quiet
from patterns.words import wording

HIT, COMING, BESIEGED = range(3)


def _bases(view: View) -> Bitboards:
    """Their pawns that are the rearmost of a locked chain."""
    rammed = view.their_pawns & shifted(view.our_pawns, NORTH)
    return rammed & pawn_attacks_up(rammed) & ~pawn_attacks_down(rammed)


def base_of_the_chain(view: View) -> Findings:
    """Bases of locked chains that we hit, can hit in one move, or besiege with enough men."""
    row, base = exploded(_bases(view))
    touch = PAWN_DOWN[base]
    here = touch & view.our_pawns[row]
    boards = view.boards.take(row)
    steps = np.where(here == EMPTY, touch & pawn_steps(boards.pawns & boards.us, boards, "us"), EMPTY)
    steps &= ~_under_our_pinned(view)[row]

    entry, square = exploded(steps)
    one = BIT[square] >> np.uint64(8)
    pawn = np.where((one & view.our_pawns[row[entry]]) != EMPTY, one, one >> np.uint64(8))
    sound = loses_nothing(boards.take(entry), square_of(pawn), square)
    coming = united(entry[sound], pawn[sound], len(row))
    squares = here | united(entry[sound], BIT[square[sound]], len(row))

    actors = here | coming
    detail = np.where(here != EMPTY, HIT, COMING)
    alone = (actors == EMPTY).nonzero()[0]
    men = bearing(boards.take(alone), base[alone])
    ours = men & boards.us[alone] & ~held(view.our_pins, row[alone], base[alone])
    guards = men & boards.them[alone] & ~held(view.their_pins, row[alone], base[alone])
    some = np.flatnonzero(boards.our_move[alone])
    # A queen that comes last takes nothing.
    known = men[some] | boards.queens[alone[some]]
    ours[some] |= lowest(joiners(view, row[alone[some]], base[alone[some]], known))
    besiegers = count(ours)
    enough = (besiegers >= 2) & (besiegers > count(guards)) | (besiegers >= 3) & (besiegers == count(guards))
    actors[alone] = np.where(enough, ours, EMPTY)
    detail[alone] = BESIEGED
    found = findings(row, actors, BIT[base], squares, detail).only(actors != EMPTY)
    return found.only(is_quiet(view, found.row))


def _under_our_pinned(view: View) -> Bitboards:
    """The squares that our pinned pawns could step to, except along a pin on the file."""
    across = view.our_pins.pinned[[d for d in range(8) if d not in (NORTH, SOUTH)]]
    pinned = np.bitwise_or.reduce(across, axis=0) & view.our_pawns
    one = shifted(pinned, NORTH)
    return one | shifted(one, NORTH)


def _tell(instance: Instance) -> str:
    board, side = instance.board, instance.side
    base = min(instance.targets)
    fronts = board.attacks(base) & board.pieces(chess.PAWN, not side)
    fronts = chess.SquareSet(front for front in fronts if _is_rammed(board, front, side))
    text = f"{wording.named(board, base)} is the base of {_other(side)}'s chain; "
    actors = wording.men(board, instance.actors)
    if instance.detail == HIT:
        text += f"{actors} {'hit' if len(instance.actors) > 1 else 'hits'} it"
    elif instance.detail == COMING:
        text += f"{actors} can hit it from {wording.squares(instance.squares)}"
    else:
        text += f"{actors} besiege it"
    bare = [front for front in fronts if not _other_pawn_guards(board, front, base)]
    if bare:
        lose = "lose their last pawn guards" if len(bare) > 1 else "loses its last pawn guard"
        text += f", and without it {wording.men(board, bare)} {lose}"
    return wording.sentence(text)


def _other(side: chess.Color) -> str:
    return wording.side_name(not side)


def _is_rammed(board: chess.Board, square: chess.Square, side: chess.Color) -> bool:
    ahead = square + (-8 if side == chess.WHITE else 8)
    return board.piece_at(ahead) == chess.Piece(chess.PAWN, side)


def _other_pawn_guards(board: chess.Board, square: chess.Square, base: chess.Square) -> bool:
    owner = board.color_at(square)
    assert owner is not None
    guards = board.attackers(owner, square) & board.pieces(chess.PAWN, owner)
    return bool(guards - chess.SquareSet([base]))


MOTIFS = (
    Motif(
        id="base-of-the-chain",
        title="Base of the chain",
        definition=(
            "Enemy pawns stand in a locked chain: each guards the next, and one of our pawns blocks each of"
            " them. The rearmost of them is the base. A pawn of ours hits it or can in one move, losing"
            " nothing there, or more of our men attack it than guard it, or three and as many; one that can"
            " join them at once counts."
        ),
        source="Nimzowitsch, My System (the pawn chain and the attack on its base); named from memory",
        find=base_of_the_chain,
        tell=_tell,
        taken_up=TakenUp.ACTION,
    ),
)
