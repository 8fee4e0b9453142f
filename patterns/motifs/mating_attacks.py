"""Mating nets and king hunts.

The rules. Mating net: a check of ours mates, or mates next move whatever they answer. After the check the
king cannot take, and has no square, or only one if the checking man is safe and another man of ours covers a
square beside the king or beside that one. Where a check mates at once, only such checks are told. A mate on
the back rank is a motif of its own. Nets that begin with a quiet move are told in lines alone: on the board
they cost much to find, and are very rare. In a line, every move of a forced mate is told, with the textbook
name of the mate if it has one.

King hunt: a safe check leaves their king only squares farther up the board, on its third rank or beyond, and
up to three more checks mate. If the next one does, it is a net and no hunt. In a line: the king takes two
steps or more on its third rank or farther, at least one of them in check, it does not come home, and the line
mates or wins a piece. A line that stops earlier is enough, if the king is then in check on its fourth rank or
beyond. The hunt begins with the move that first makes the king step up the board.

The look ahead (`patterns.proof.lookahead`) decides what mates.

A hit: the queen mates beside the king, guarded by the bishop.

>>> from patterns.detect import find_in
>>> mate = "r1bqkb1r/pppp1ppp/2n2n2/4p2Q/2B1P3/8/PPPP1PPP/RNB1K1NR w KQkq - 4 4"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(mate)], MOTIFS)[0]]
[('mating-net', ('h5',), ('f7', 'e8'), ())]

A near miss: without the bishop the king takes the queen.

>>> find_in([chess.Board(mate.replace("2B1P3", "4P3"))], MOTIFS)[0]
[]

Roles. Actors: the man that moves. Targets: the king, and the man that is taken. Squares: where the man goes,
if the square is empty.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import chess
import numpy as np

from patterns.boards.attacks import in_check, reach
from patterns.boards.bitboards import (
    BIT,
    EMPTY,
    KING_STEPS,
    RANKS,
    THEIR_HOME,
    Bitboards,
    Flags,
    Rows,
    count,
    square_of,
)
from patterns.boards.grouping import marked
from patterns.boards.legal import has_move, made, openers
from patterns.boards.moves import Moves
from patterns.boards.tables import Table
from patterns.boards.view import View
from patterns.motifs.back_rank import back_rank
from patterns.motifs.findings import Instance, Motif
from patterns.proof import captures, mates
from patterns.proof.aims import MATE
from patterns.proof.claims import Claims, claims, hold
from patterns.proof.played_line import OwnMove, Use, gain_of
from patterns.proof.strokes import Strokes, hitting, movers, strokes_of
from patterns.words import wording

NET, HUNT = 1, 3
"""How many checks may follow, until one mates."""
PIECE = 3
"""What a hunt in a line must win, in pawns, if it does not mate."""
STEPS = 2
"""How many steps of a king out there are a hunt, if it is caught in the end."""
HOME = 2
"""How many ranks of its own side are home to a king."""
OUT = 3
"""How many ranks in front of its first one a king in check is hunted, though the line stops there."""
AHEAD = ~THEIR_HOME & np.array([np.bitwise_or.reduce(RANKS[:rank], initial=EMPTY) for rank in range(8)])
"""For the rank of a king of theirs: the squares farther up the board, without its home."""


@dataclass(frozen=True)
class _Checks(Table):
    """Checks of ours that their king cannot take, and all that mate, one entry each.

    `flights`: the squares beside the king that it may go to. `helped`: whether another man of ours covers a
    square beside the king or beside its one flight. `safe`: whether no other man of theirs can take.
    """

    stroke: Strokes
    flights: Bitboards
    helped: Flags
    safe: Flags
    mates: Flags


def _checks(view: View) -> _Checks:
    """Our checks; in rows where one mates, only those that mate."""
    every, hit = view.once(hitting)
    men = view.once(movers)
    opening = strokes_of(view, men.only((openers(view.boards)[men.row] & BIT[men.square]) != EMPTY))
    direct = (hit & BIT[view.their_king[every.row]]) != EMPTY
    beside = (opening.seen & BIT[view.their_king[opening.row]]) == EMPTY
    these = Strokes.joined(every.only(direct), opening.only(beside))
    row, origin, goal = these.row, BIT[these.origin], BIT[these.square]
    king, twice = view.their_king[row], view.our_double_attacks[row]
    # The checking man covers what lies behind the king, and no longer what it alone covered before.
    seen = reach(these.kind, these.square, view.occupied[row] & ~origin & ~BIT[king], "us")
    before = reach(view.kind_at(row, these.origin), these.origin, view.occupied[row], "us")
    beside, covered = KING_STEPS[king], view.our_attacks[row] & (twice | ~before)
    flights = beside & ~view.them[row] & ~covered & ~seen
    others = [view.their_attacks_of[kind] for kind in chess.PIECE_TYPES if kind != chess.KING]
    safe = (np.bitwise_or.reduce(others)[row] & goal) == EMPTY
    shut = np.flatnonzero(flights == EMPTY)
    after = made(view.boards, these.take(shut).moves).after
    mates = marked(shut[in_check(after, "us") & ~has_move(after)], len(these))
    near = beside | KING_STEPS[square_of(flights) & 63]
    checks = _Checks(these, flights, (near & covered) != EMPTY, safe, mates)
    return checks.only(mates | ((beside & goal & ~twice) == EMPTY) & ~marked(row[mates], len(view))[row])


def _claims(view: View, these: Strokes, checks: int) -> Claims:
    goal, them = BIT[these.square], view.them[these.row]
    targets, free = view.their(chess.KING)[these.row] | goal & them, goal & ~them
    return claims(
        these.moves, BIT[these.origin], targets, free, least=MATE, checks=checks, about=these.square
    )


def mating_net(view: View) -> Claims:
    """Checks of a king that is short of squares, but for those on its back rank."""
    checks, told = view.once(_checks), view.once(back_rank)
    one_left = (count(checks.flights) == 1) & checks.safe & checks.helped
    these = checks.stroke.only((checks.flights == EMPTY) | one_left)
    known = np.isin(_key(these.moves), _key(Moves(told.row, told.origin, told.square)))
    return _claims(view, these.only(~known), NET)


def _key(moves: Moves) -> Rows:
    """One number for each move of a row."""
    return (moves.row * 64 + moves.origin) * 64 + moves.square


def king_hunt(view: View) -> Claims:
    """Safe checks that drive the king up the board, and do not mate it at its first step."""
    checks = view.once(_checks)
    ahead = AHEAD[view.their_king[checks.stroke.row] >> 3]
    driven = (checks.flights != EMPTY) & ((checks.flights & ~ahead) == EMPTY)
    these = checks.stroke.only(driven & checks.safe)
    return _claims(view, these.only(~hold(view, _claims(view, these, NET))), HUNT)


def _deed(instance: Instance) -> str:
    """The check as what is or can be done: `the queen on d1 can take the pawn on h5`."""
    board, move = instance.board, instance.move
    assert move is not None
    goal = wording.named(board, move.to_square)
    if board.is_capture(move):
        does = f"{instance.does('take')} {goal}"
    elif captures.after_move(board, move).checkers_mask() & chess.BB_SQUARES[move.to_square]:
        does = f"{instance.does('check')} on {goal}"
    else:
        does = f"{instance.does('move')} to {goal} with check"
    return f"{wording.named(board, move.from_square)} {does}"


def _tell_net(instance: Instance) -> str:
    board, move = instance.board, instance.move
    assert move is not None
    deed, mating = _deed(instance), "mates" if instance.played else "mate"
    after = captures.after_move(board, move)
    if after.is_checkmate():
        return wording.sentence(f"{deed} and {mating}: {mates.told(after)}")
    answers = defaultdict(list)
    for answer in after.legal_moves:
        answers[_mating_move(captures.after_move(after, answer))].append(after.san(answer))
    if "" in answers:
        return wording.sentence(f"{deed} and {mating} whatever {wording.side_name(after.turn)} answers")
    ways = (f"after {wording.listed(sans)} {way}" for way, sans in answers.items())
    return wording.sentence(f"{deed} and {mating} next move: {wording.listed(ways)}")


def _mating_move(board: chess.Board) -> str:
    """The move that mates: `the queen mates on f2`; empty if none does."""
    for move in board.legal_moves:
        if captures.after_move(board, move).is_checkmate():
            kind = chess.piece_name(board.piece_type_at(move.from_square) or chess.PAWN)
            return f"the {kind} mates on {chess.SQUARE_NAMES[move.to_square]}"
    return ""


def _tell_hunt(instance: Instance) -> str:
    board, move = instance.board, instance.move
    assert move is not None
    king = board.king(not instance.side)
    assert king is not None
    steps = [
        step.to_square for step in captures.after_move(board, move).legal_moves if step.from_square == king
    ]
    goes = f"{wording.named(board, king)} can only go to {wording.either(steps)}, and more checks mate it"
    return wording.sentence(f"{_deed(instance)}: {goes}")


def _net_in_line(own_moves: Sequence[OwnMove]) -> Iterator[Use]:
    last = own_moves[-1].after
    if last.is_checkmate() and not mates.back_rank(last):
        yield from mates.leading_to_mate("mating-net", own_moves, mates.told(last))


def _hunt_in_line(own_moves: Sequence[OwnMove]) -> Iterator[Use]:
    """The checks and threats from the one that first brings the king out to the last that keeps it out."""
    ranks = [each.ranks_out for each in own_moves]
    steps = [
        index
        for index, each in enumerate(own_moves[:-1])
        if each.reply is not None and each.reply.from_square == each.their_king
    ]
    driven = [index for index in steps if ranks[index + 1] >= HOME]
    checks = [index for index in driven if own_moves[index].after.is_check()]
    came_home = ranks[-1] < HOME
    in_check = own_moves[-1].after.is_check()
    if not checks or came_home or ranks[-1] <= ranks[0]:
        return
    mates = own_moves[-1].after.is_checkmate()
    goes_on = in_check and not mates and len(driven) == len(checks) and ranks[-1] >= OUT
    succeeds = (mates or gain_of(own_moves) >= PIECE) and len(driven) >= STEPS
    if not goes_on and not succeeds:
        return
    begins = next(index for index in steps if ranks[index + 1] > ranks[index])
    start, end = (chess.SQUARE_NAMES[own_moves[index].their_king] for index in (0, -1))
    for own_move in own_moves[begins : driven[-1] + 1]:
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
            "The enemy king is driven up the board, to its third rank or farther, by checks that do not let"
            " it home, and the hunt mates. In a line the king takes two such steps or more, the hunt may"
            " also win a piece, threats may take part, and a line that stops early is enough if the king is"
            " then in check on its fourth rank or beyond."
        ),
        source="Vukovic, The Art of Attack in Chess; named from memory",
        find=king_hunt,
        tell=_tell_hunt,
        in_line=_hunt_in_line,
    ),
)
