"""The trapped piece: attacked now or after one move, and losing material wherever it goes.

The rule. An unpinned piece of theirs (no pawn, no king) loses at least the exchange, by exchange, with every
move it has. Attacked: we win it by exchange where it stands. To be attacked: it is our move, we are not in
check, and after one safe quiet move of ours that attacks it, it falls and still has no good move. In both
cases the cheapest attacker must not fall, and no man may interpose. If the attacker is worth at least as much
as the piece, no other man of theirs may be able to guard the piece. What the piece can take is counted.
Whatever they take, check or threaten elsewhere, we must come out just as far ahead (see
`patterns.proof.gains`).

A hit: the bishop has taken on a2, the pawn has shut it in, and the king comes to b2.

>>> from patterns.detect import find_in
>>> shut_in = "6k1/5ppp/8/8/8/1P6/b1P2PPP/2K4R w - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(shut_in)], MOTIFS)[0]]
[('trapped-piece', ('c1',), ('a2',), ('b1',))]
>>> find_in([chess.Board(shut_in).mirror()], MOTIFS)[0][0].note
'The bishop on a7 can be attacked by the king on c8 from b7 and has no safe square: Black closes b8.'

A near miss: the pawn has not gone to b3, and the bishop can escape by c4 or d5.

>>> find_in([chess.Board(shut_in.replace("1P6/b1P", "8/bPP"))], MOTIFS)[0]
[]

Roles. Actors: the attackers, or the men that can attack it. Target: the piece. Squares: its flight squares,
the empty squares where it could go and which we cover.
"""

from __future__ import annotations

from dataclasses import replace

import chess
import numpy as np

from patterns.boards.attacks import reach
from patterns.boards.bitboards import BIT, count, square_of
from patterns.boards.grouping import grouped
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, findings
from patterns.proof.wins import proven_wins
from patterns.words import wording

ATTACKED, IN_SEVERAL_WAYS = 64, 65
"""`detail`: attacked already, or to be attacked from several squares. Otherwise the only such square."""


def trapped_piece(view: View) -> Findings:
    """Pieces that fall where they stand or after one safe move of ours: one finding each, with all ways."""
    traps = view.once(proven_wins).traps
    boards = view.boards.take(traps.row)
    kind = boards.kind_at(traps.piece)
    flights = reach(kind, traps.piece, boards.occupied, "them") & ~boards.occupied
    found = findings(traps.row, traps.by, BIT[traps.piece], flights).merged(traps.piece)
    from_squares = grouped(traps.row, traps.piece).united(traps.where)
    return replace(found, detail=np.where(count(from_squares) > 1, IN_SEVERAL_WAYS, square_of(from_squares)))


def _tell(instance: Instance) -> str:
    board = instance.board
    piece, men = wording.men(board, instance.targets), wording.men(board, instance.actors)
    if instance.detail == ATTACKED:
        text = f"{piece} is attacked by {men}"
    else:
        text = f"{piece} can be attacked by {men}"
        if instance.detail != IN_SEVERAL_WAYS:
            text += f" from {chess.SQUARE_NAMES[instance.detail_square]}"
    text += " and has no safe square"
    if instance.squares:
        text += f": {wording.side_name(instance.side)} closes {wording.squares(instance.squares)}"
    return wording.sentence(text)


MOTIFS = (
    Motif(
        id="trapped-piece",
        title="Trapped piece",
        definition=(
            "An unpinned piece loses at least the exchange with every move it has. It is attacked, or can"
            " be attacked by one safe move, so that it falls: no man can guard it in time or block the"
            " attack, and no capture, check or threat elsewhere makes up for it."
        ),
        source="Kasparyan, Domination in 2,545 Endgame Studies; named from memory",
        find=trapped_piece,
        tell=_tell,
    ),
)
