"""Mating nets and king hunts.

The rules. Mating net: a check of ours mates, or mates next move whatever they answer. After the check the
king has no square, or one if the checking man is safe; a check that could be taken must be given beside the
king. A mate on the back rank is a motif of its own. In a line, every move of a forced mate is told, with
the textbook name of the mate if it has one. King hunt: their king stands on its third rank or farther up,
or a check drives it there, and the check covers the way home: no square of its first two ranks is left to
it. The look ahead (`patterns.proof.lookahead`) decides whether further checks mate or win a piece. In a
line: two checks or more drive the king up to its third rank or farther, it does not come home, and the line
mates or wins a piece.

A hit: the queen mates beside the king, guarded by the bishop.

>>> from patterns.detect import find_in
>>> mate = "r1bqkb1r/pppp1ppp/2n2n2/4p2Q/2B1P3/8/PPPP1PPP/RNB1K1NR w KQkq - 4 4"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(mate)], MOTIFS)[0]]
[('mating-net', ('h5',), ('f7', 'e8'), ())]

A near miss: without the bishop the king takes the queen.

>>> find_in([chess.Board(mate.replace("2B1P3", "4P3"))], MOTIFS)[0]
[]

Roles. Actors: the man that checks. Targets: the king, and the man that is taken. Squares: where the man goes,
if the square is empty.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import chess
import numpy as np

from patterns.boards.attacks import reach
from patterns.boards.bitboards import (
    BIT,
    EMPTY,
    KING_STEPS,
    THEIR_HOME,
    Bitboards,
    Flags,
    Rows,
    Squares,
    count,
)
from patterns.boards.legal import openers
from patterns.boards.view import View
from patterns.motifs.back_rank import back_rank
from patterns.motifs.findings import Instance, Motif
from patterns.proof import mates
from patterns.proof.claims import Claims, claims
from patterns.proof.lookahead import MATE
from patterns.proof.played_line import OwnMove, Use, gain_of
from patterns.proof.strokes import Strokes, strokes
from patterns.words import wording

FLIGHTS = 1
"""The most squares that a king may have left beside it before a check, if it is caught in a net."""
PIECE = 3
"""What a hunt must win, in pawns, if it does not mate."""
HUNTERS = 2
"""How many pieces, the queen among them, it takes to hunt a king on the board."""
HOME = 2
"""How many ranks of its own side are home to a king."""


def _checking(view: View) -> tuple[Strokes, Bitboards]:
    """Our checks, and the squares beside their king that it may still go to after each."""
    every = view.once(strokes)
    king = view.their_king[every.row]
    direct = (every.seen & BIT[king]) != EMPTY
    opening = (openers(view.boards)[every.row] & BIT[every.origin]) != EMPTY
    checking = every.only(direct | opening)
    king = view.their_king[checking.row]
    # The checking man also covers what lies behind the king.
    through = view.occupied[checking.row] & ~BIT[checking.origin] & ~BIT[king]
    seen = reach(checking.kind, checking.square, through, "us")
    covered = view.our_attacks[checking.row] | seen
    return checking, KING_STEPS[king] & ~view.them[checking.row] & ~covered


def _safe(view: View, checking: Strokes) -> Flags:
    """Whether no man of theirs attacks where the check comes from, or only the king and we guard it."""
    king = view.their_king[checking.row]
    goal = BIT[checking.square]
    others = [view.their_attacks_of[kind] for kind in chess.PIECE_TYPES if kind != chess.KING]
    free = (np.bitwise_or.reduce(others)[checking.row] & goal) == EMPTY
    return free & (
        ((KING_STEPS[king] & goal) == EMPTY) | ((view.our_double_attacks[checking.row] & goal) != EMPTY)
    )


def _claims(view: View, these: Strokes, least: int, checks: int) -> Claims:
    goal = BIT[these.square]
    taken = goal & view.them[these.row]
    targets = view.their(chess.KING)[these.row] | taken
    return claims(
        these.moves, BIT[these.origin], targets, goal & ~taken, least=least, checks=checks, about=these.square
    )


def mating_net(view: View) -> Claims:
    """Checks of a king that is short of squares, but for those on its back rank."""
    checking, flights = view.once(_checking)
    beside = (KING_STEPS[view.their_king[checking.row]] & BIT[checking.square]) != EMPTY
    fits = (flights == EMPTY) & beside | (count(flights) <= FLIGHTS) & _safe(view, checking)
    told = view.once(back_rank)
    known = _key(told.row, told.origin, told.square)
    fits &= ~np.isin(_key(checking.row, checking.origin, checking.square), known)
    return _claims(view, checking.only(fits), MATE, 1)


def _key(rows: Rows, origins: Squares, squares: Squares) -> Rows:
    """One number for each move of a row."""
    return (rows * 64 + origins) * 64 + squares


def king_hunt(view: View) -> Claims:
    """Checks that leave the king no way home, where it is out or must go out."""
    checking, flights = view.once(_checking)
    fits = ((flights & THEIR_HOME) == EMPTY) & (flights != EMPTY) & _safe(view, checking)
    attack = (view.our(chess.QUEEN) != EMPTY) & (view.our_piece_count >= HUNTERS)
    return _claims(view, checking.only(fits & attack[checking.row]), PIECE, 2)


def _tell_net(instance: Instance) -> str:
    board, move = instance.board, instance.move
    assert move is not None
    man, goal = wording.named(board, move.from_square), wording.named(board, move.to_square)
    takes = board.piece_type_at(move.to_square) is not None
    verb = (
        ("takes" if takes else "checks on") if instance.played else ("can take" if takes else "can check on")
    )
    after = board.copy(stack=False)
    after.push(move)
    if after.is_checkmate():
        return wording.sentence(f"{man} {verb} {goal} and mates: {mates.told(after)}")
    answers = len(list(after.legal_moves))
    left = "has one answer" if answers == 1 else f"has {wording.number(answers)} answers"
    return wording.sentence(
        f"{man} {verb} {goal} and mates next move: {wording.side_name(after.turn)} {left}"
    )


def _tell_hunt(instance: Instance) -> str:
    board, move = instance.board, instance.move
    assert move is not None
    man, goal = wording.named(board, move.from_square), wording.named(board, move.to_square)
    takes = board.piece_type_at(move.to_square) is not None
    verb = (
        ("takes" if takes else "checks on") if instance.played else ("can take" if takes else "can check on")
    )
    king = wording.named(board, board.king(not instance.side) or 0)
    return wording.sentence(
        f"{man} {verb} {goal}{wording.so_wins(instance.wins)}: {king} is hunted and has no way home"
    )


def _net_in_line(own_moves: Sequence[OwnMove]) -> Iterator[Use]:
    last = own_moves[-1].after
    if last.is_checkmate() and not mates.back_rank(last):
        yield from mates.leading_to_mate("mating-net", own_moves, mates.told(last))


def _hunt_in_line(own_moves: Sequence[OwnMove]) -> Iterator[Use]:
    """The checks and threats from the one that first drives the king out to the last that keeps it out."""
    ranks = [each.ranks_out for each in own_moves]
    driven = [
        index
        for index, each in enumerate(own_moves[:-1])
        if each.reply is not None and each.reply.from_square == each.their_king and ranks[index + 1] >= HOME
    ]
    checks = [index for index in driven if own_moves[index].after.is_check()]
    came_home = ranks[-1] < HOME
    if len(driven) < 2 or not checks or came_home or ranks[-1] <= ranks[0]:
        return
    if not own_moves[-1].after.is_checkmate() and gain_of(own_moves) < PIECE:
        return
    start, end = (chess.SQUARE_NAMES[own_moves[index].their_king] for index in (0, -1))
    for own_move in own_moves[: driven[-1] + 1]:
        note = f"{own_move.deed}, and the king is driven from {start} up the board to {end}"
        yield own_move.use(
            "king-hunt", note, [own_move.move.from_square], [own_move.their_king], [own_move.move.to_square]
        )


MOTIFS = (
    Motif(
        id="mating-net",
        title="Mating net",
        definition=(
            "The enemy king is short of squares, and a check mates it at once or by force next move. In a"
            " line: every forced mate, with its textbook name if it has one. A mate along the king's first"
            " rank behind its own men is told as a weak back rank instead."
        ),
        source="Renaud and Kahn, The Art of the Checkmate; named from memory",
        find=mating_net,
        tell=_tell_net,
        in_line=_net_in_line,
    ),
    Motif(
        id="king-hunt",
        title="King hunt",
        definition=(
            "The enemy king is driven up the board, to its third rank or farther, by checks and threats that"
            " do not let it home, and the hunt mates or wins a piece."
        ),
        source="Vukovic, The Art of Attack in Chess; named from memory",
        find=king_hunt,
        tell=_tell_hunt,
        in_line=_hunt_in_line,
    ),
)
