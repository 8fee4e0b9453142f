"""The threat of mate: a quiet move after which we mate next move, if they do nothing.

The rule. Our move takes nothing, gives no check, and does not answer one. If it were our move again, one
move would mate. It is told if the line loses nothing. If the line ends in mate, what leads to mate is told
instead. The motif lives in lines: on the board every second move of a queen near a king threatens mate.

A hit: the queen comes to h5 and threatens mate on h7; the rook that hangs on d8 cannot be helped.

>>> from patterns.lines import parse_line, uses
>>> attack = "3r1rk1/5pp1/8/3q2N1/8/8/5PPP/3Q2K1 w - - 0 1"
>>> def notes(line):
...     board = chess.Board(attack)
...     return [use.note for use in uses(board, parse_line(board, line)) if use.motif == "threat-of-mate"]
>>> notes("Qh5")
['The queen on d1 goes to h5 and threatens mate on h7.']

A near miss: the queen takes, and the threat is beside the point.

>>> notes("Qxd5 Rxd5")
[]

Roles. Actors: the man that moves. Target: their king. Squares: where we would mate.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import chess

from patterns.motifs.findings import Motif
from patterns.proof.captures import after_move
from patterns.proof.played_line import OwnMove, Use, gain_of
from patterns.words import wording


def _mates_next(own_move: OwnMove) -> list[chess.Move]:
    """The moves that would mate if they did nothing, none if they are in check."""
    if own_move.after.is_check():
        return []
    passed = after_move(own_move.after, chess.Move.null())
    return [
        move
        for move in passed.legal_moves
        if passed.gives_check(move) and after_move(passed, move).is_checkmate()
    ]


def threats_of_mate(own_moves: Sequence[OwnMove]) -> Iterator[Use]:
    """Quiet moves of a line that threaten mate."""
    if own_moves[-1].after.is_checkmate():
        return
    for index, own_move in enumerate(own_moves):
        if own_move.captures or own_move.before.is_check() or gain_of(own_moves[index:]) < 0:
            continue
        if mates := [move.to_square for move in _mates_next(own_move)]:
            note = f"{own_move.deed} and threatens mate on {wording.either(set(mates))}"
            yield own_move.use(
                "threat-of-mate", note, [own_move.move.from_square], [own_move.their_king], mates
            )


MOTIFS = (
    Motif(
        id="threat-of-mate",
        title="Threat of mate",
        definition=(
            "A quiet move after which one more move would mate. They must meet it. Lines that end in mate"
            " are told as mating nets."
        ),
        source="common practice, no source",
        in_line=threats_of_mate,
    ),
)
