"""Knights: the outpost, and the knight out of play.

The rules. *Outpost*: our knight stands on ranks 4 to 6 and files b to g, and a pawn of ours guards it. No
pawn of theirs can ever attack its square, and no minor piece of theirs attacks it now.

*Sidelined knight* (it is theirs, we profit): it stands on the a- or h-file, or on b2, g2 or ranks 7 and 8 (as
its owner sees the board), and at least four king steps from both kings. It attacks no man of ours and guards
no man of its own side that we attack. It has at most two safe moves. None of them goes into play (files b to
g, its own ranks 3 to 6) or hits a king, queen or rook. It cannot simply be taken.

A hit of each:

>>> from patterns.detect import find_in
>>> outpost_on_d5 = "2rq1rk1/1p2bppp/p2p4/3Np3/4P3/1P6/P1P2PPP/R2Q1RK1 w - - 0 1"
>>> aside = "6k1/1p3ppp/4p3/n2P4/8/3P1N2/PPP2PPP/6K1 b - - 0 1"
>>> for fen in (outpost_on_d5, aside):
...     found = find_in([chess.Board(fen)], MOTIFS)[0]
...     print([(f.motif, f.side, f.actors, f.targets, f.squares) for f in found])
[('outpost', 'white', ('e4', 'd5'), (), ())]
[('sidelined-knight', 'white', (), ('a5',), ('b3', 'c4', 'c6'))]

Near misses: a pawn on c6 drives the knight away; with the pawn on c4 the other knight attacks something.

>>> near = [outpost_on_d5.replace("p2p4", "p1pp4"), aside.replace("n2P4/8", "n2P4/2P5")]
>>> [find_in([chess.Board(fen)], MOTIFS)[0] for fen in near]
[[], []]

Roles. Outpost: actors, the knight and the pawns that guard it. Sidelined knight: target, the knight;
squares, the empty squares in play that it cannot safely go to.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.bitboards import (
    BIT,
    DISTANCE,
    EMPTY,
    KNIGHT_STEPS,
    PAWN_DOWN,
    RANKS,
    RIM_FILES,
    THEIR_HOME,
    exploded,
    mirror,
)
from patterns.boards.exchange import can_win, is_safe
from patterns.boards.grouping import any_of
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, findings
from patterns.words import wording

_OUTPOSTS = (RANKS[3] | RANKS[4] | RANKS[5]) & ~RIM_FILES
_IN_PLAY = (RANKS[2] | RANKS[3] | RANKS[4] | RANKS[5]) & ~RIM_FILES
_ASTRAY = BIT[chess.B2] | BIT[chess.G2] | THEIR_HOME
_FAR = 4
_FEW_MOVES = 2


def outpost(view: View) -> Findings:
    """Knights on outposts, one instance each."""
    minors = view.their_attacks_of[chess.KNIGHT] | view.their_attacks_of[chess.BISHOP]
    held = view.our_pawn_attacks & ~view.their_pawn_span & ~minors & _OUTPOSTS
    row, square = exploded(view.our(chess.KNIGHT) & held)
    return findings(row, BIT[square] | PAWN_DOWN[square] & view.our_pawns[row])


def sidelined_knight(view: View) -> Findings:
    """Knights out of play: found as ours, reported for the other side."""
    row, square = exploded(view.our(chess.KNIGHT))
    steps = KNIGHT_STEPS[square]
    far = (DISTANCE[square, view.our_king[row]] >= _FAR) & (DISTANCE[square, view.their_king[row]] >= _FAR)
    aside = ((BIT[square] & RIM_FILES) != EMPTY) | far & ((BIT[square] & _ASTRAY) != EMPTY)
    aside &= (steps & (view.them | view.us & view.their_attacks)[row]) == EMPTY
    free = steps & ~view.occupied[row]
    aside &= (free & _IN_PLAY & ~view.their_attacks[row]) == EMPTY
    row, square, free = row[aside], square[aside], free[aside]
    entry, destination = exploded(free)
    safe = is_safe(view.boards.take(row[entry]), square[entry], destination)
    entry, destination = entry[safe], destination[safe]
    few = np.bincount(entry, minlength=len(row)) <= _FEW_MOVES
    big = (view.boards.straight_sliders | view.boards.kings) & view.them
    useful = (BIT[destination] & _IN_PLAY) | (KNIGHT_STEPS[destination] & big[row[entry]])
    stuck = few & ~any_of(entry, useful != EMPTY, len(row))
    row, square, free = row[stuck], square[stuck], free[stuck]
    stays = ~can_win(view.boards.take(row), square, "them")
    row, square, free = row[stays], square[stays], free[stays]
    return findings(view.other(row), targets=mirror(BIT[square]), squares=mirror(free & _IN_PLAY))


def _tell_outpost(instance: Instance) -> str:
    board = instance.board
    knight = next(square for square in instance.actors if board.piece_type_at(square) == chess.KNIGHT)
    pawns = wording.men(board, (square for square in instance.actors if square != knight))
    return wording.sentence(
        f"{wording.named(board, knight)} has an outpost: {pawns} "
        f"{'holds' if len(instance.actors) == 2 else 'hold'} it and no pawn can drive it off"
    )


def _tell_sidelined(instance: Instance) -> str:
    text = f"{wording.men(instance.board, instance.targets)} stands aside"
    if instance.squares:
        verb = "is" if len(instance.squares) == 1 else "are"
        return wording.sentence(f"{text}: {wording.squares(instance.squares)} {verb} taken from it")
    return wording.sentence(f"{text}, without a way back into play")


MOTIFS = (
    Motif(
        id="outpost",
        title="Outpost",
        definition=(
            "A knight on its ranks 4 to 6 and the files b to g, guarded by a pawn, on a square no enemy"
            " pawn can ever attack, and attacked by no minor piece that could exchange it at once."
        ),
        source="Nimzowitsch, My System (the outpost); named from memory",
        find=outpost,
        tell=_tell_outpost,
    ),
    Motif(
        id="sidelined-knight",
        title="Sidelined knight",
        definition=(
            "A knight on the a- or h-file, or on another remote square, is far from both kings. It attacks"
            " nothing, guards nothing that is attacked, and has at most two safe moves, none of them useful."
            " The other side profits."
        ),
        source="Tarrasch (the knight on the rim); named from memory",
        find=sidelined_knight,
        tell=_tell_sidelined,
    ),
)
