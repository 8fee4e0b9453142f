"""Pawn weaknesses that can be attacked: isolated, backward, doubled and hanging pawns.

The rule. All four are pawns of theirs that no pawn of theirs can ever guard:

- isolated: no pawn of theirs is on a neighbouring file, no pawn of ours on its own file or in contact with
  it. It is not passed, unless our piece stands in front of it and it is not yet two steps from its last rank.
  Outside the files c to f it is not passed at all, and we attack it at least as often as they guard it. Our
  king is not in check;
- backward: all pawns of theirs on the neighbouring files are ahead of it, a pawn of ours holds the square in
  front of it, and we have no pawn on its file. A guarded piece of ours on that square will do if the pawn has
  moved and is attacked. So will two pieces of ours that attack this empty square, more than theirs, if the
  pawn is on its third rank and not passed. Outside the files c to f it must be attacked now. The position is
  settled (`patterns.proof.quiet`);
- doubled: one of two or more pawns on a file that has moved; the foremost is not passed and none is in
  contact with a pawn of ours, in a settled position;
- hanging: pawns side by side on the c- and d-file, on their fourth or fifth rank, no pawn of theirs on the
  files next to the two, no pawn of ours on the files of the two, neither doubled nor passed. Each side
  has a queen, a rook and another piece, and the position is settled.

A weakness counts if a real attack on it is possible. Our attackers are the pieces that bear on the pawn
(x-rays and batteries included, king and pawns not), and one more if it is lined up behind a piece of ours or
can join by one safe quiet move and does not hang. There must be more attackers than guards, or as many and
two at least, or as many with the one that joins. Or the pawn is attacked now, and a piece of ours stands on
the square in front of it, or can safely go there while one attacker is missing at most. Doubled pawns are
common: they must be attacked now. So are isolated pawns: they too, or they have no guard while a minor piece
or two pieces other than the queen can come. But an isolated pawn on the files c to f that has moved also
counts if a guarded knight or bishop of ours stands in front of it, hit by no pawn, with a rook or queen
behind on the file. Nobody comes to attack a backward pawn while our king is in check or a piece of ours
hangs.

Hanging pawns are a strength, too: it is our move, they are ours, each side has a rook and two more pieces,
and the d-pawn can advance to where it attacks a man of theirs, and loses nothing by it (the look ahead says
so).

A hit: the pawn on d5 is alone, the rook attacks it, and the knight can settle in front of it.

>>> from patterns.detect import find_in
>>> alone = "3r2k1/pp3ppp/4b3/3p4/8/4PN2/PP3PPP/3R2K1 w - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(alone)], MOTIFS)[0]]
[('isolated-pawn', ('d1',), ('d5',), ('d4',))]

A near miss: with a pawn on c6 beside it, it has a guard.

>>> find_in([chess.Board(alone.replace("pp3ppp/4b3", "p4ppp/2p1b3"))], MOTIFS)[0]
[]

Roles. Actors: our attackers or, if there are none yet, the men that can become one in one move. Targets: the
pawn, or all pawns of the group. Squares: the squares in front of them (of doubled pawns: of the foremost).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import chess
import numpy as np

from patterns.boards.bitboards import (
    BIT,
    EAST,
    EMPTY,
    FILES,
    MIDDLE_FILES,
    NORTH,
    RANKS,
    SOUTH,
    Bitboards,
    Flags,
    Rows,
    Squares,
    count,
    exploded,
    filled_up,
    lowest,
    shifted,
    square_of,
)
from patterns.boards.exchange import can_win
from patterns.boards.grouping import any_of, united
from patterns.boards.moves import Moves
from patterns.boards.pressure import bearing, can_go, held, joiners, lined_up
from patterns.boards.tables import Table
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, TakenUp, findings
from patterns.motifs.isolani_play import advances
from patterns.motifs.weak_pawns import passed_squares, structure
from patterns.proof.claims import Claims, claims
from patterns.proof.quiet import SETTLED, in_need, is_settled
from patterns.words import wording

CAN_BE_ATTACKED, ATTACKED, CAN_ADVANCE = range(3)
_PIECES = 3


@dataclass(frozen=True)
class _Attackable(Table):
    """Their weak pawns, one entry each: our men that attack it or can, how many of ours attack it already and
    of theirs guard it, whether it counts as attackable.
    """

    row: Rows
    square: Squares
    actors: Bitboards
    attackers: Squares
    guards: Squares
    counts: Flags

    @property
    def attacked(self) -> Flags:
        """Whether one of our pieces attacks it already."""
        return self.attackers > 0


def _attackable(view: View) -> _Attackable:
    """Every weak pawn of theirs, of any kind, and whether it can be attacked as the rule says."""
    sorts = view.once(structure)
    weak = sorts.isolated | sorts.backward | sorts.doubled | sorts.hanging | shifted(sorts.hanging, EAST)
    row, square = exploded(weak)
    boards = view.boards.take(row)
    men = bearing(boards, square)
    ours = men & boards.us & ~boards.pawns & ~boards.kings & ~held(view.our_pins, row, square)
    guards = count(men & boards.them & ~held(view.their_pins, row, square))
    attackers = count(ours)
    attacked = attackers > 0
    holds = (attackers > guards) | (attackers >= 2) & (attackers == guards)
    helpers = np.zeros(len(row), dtype=np.uint64)

    common = (BIT[square] & (sorts.isolated | sorts.doubled)[row]) != EMPTY
    may_join = (attackers + 1 >= guards) & (attacked | (guards == 0) | ~common)
    # Such a pawn is too common to be weak only because a queen can come to attack it.
    no_help = view.our_pinned[row] | np.where(common & ~attacked, view.our(chess.QUEEN)[row], EMPTY)
    one_short = np.flatnonzero(~holds & may_join)
    boards = boards.take(one_short)
    helpers[one_short] = lined_up(boards, square[one_short]) & ~no_help[one_short]
    # With a piece of ours to save there is no time to come for a backward pawn.
    only_backward = (BIT[square] & sorts.backward[row] & ~(sorts.doubled | sorts.hanging)[row]) != EMPTY
    comes = attacked | ~only_backward | (view.once(in_need)[row] == EMPTY)
    still = one_short[(helpers[one_short] == EMPTY) & comes[one_short]]
    helpers[still] = joiners(view, row[still], square[still], (men | no_help)[still])
    entry, man = exploded(helpers)
    hangs = can_win(view.boards.take(row[entry]), man, "them")
    helpers &= ~united(entry[hangs], BIT[man[hangs]], len(row))
    holds[one_short] = helpers[one_short] != EMPTY

    # One rook that can come is found in every ending.
    rook_alone = ~attacked & (count(helpers) == 1) & ((helpers & view.boards.straight_sliders[row]) != EMPTY)
    holds &= ~rook_alone | ((BIT[square] & sorts.isolated[row]) == EMPTY)

    in_front = square - 8
    blockaders = view.us & ~view.our_pawns & ~view.our(chess.KING) & ~view.their_pawn_attacks
    holds |= attacked & ((BIT[in_front] & blockaders[row]) != EMPTY)
    doubtful = np.flatnonzero(~holds & attacked & (attackers + 1 >= guards))
    holds[doubtful] = can_go(view, row[doubtful], in_front[doubtful]) != EMPTY

    # Held up by a minor piece with a rook or queen behind it: a target once the minor pieces are gone.
    stopped = (
        BIT[in_front] & (blockaders & (view.boards.knights | view.boards.bishops) & view.our_attacks)[row]
    )
    stopped &= shifted(sorts.isolated & MIDDLE_FILES & ~RANKS[6], SOUTH)[row]
    held_up = np.flatnonzero(~holds & (stopped != EMPTY))
    behind = lined_up(view.boards.take(row[held_up]), square[held_up]) & FILES[square[held_up] & 7]
    behind &= view.boards.straight_sliders[row[held_up]]
    holds[held_up] = behind != EMPTY
    helpers[held_up] |= behind

    actors = np.where(attacked, ours, helpers)
    return _Attackable(row, square, actors, attackers, guards, holds)


def _each(view: View, pawns: Bitboards) -> Findings:
    """One finding for each attackable pawn of these, where our king is not in check."""
    found = view.once(_attackable)
    found = found.only(found.counts & ~view.in_check[found.row])
    found = found.only((pawns[found.row] & BIT[found.square]) != EMPTY)
    target = BIT[found.square]
    return findings(found.row, found.actors, target, shifted(target, SOUTH), found.attacked)


def _each_group(view: View, members: Bitboards, weak: Bitboards) -> Findings:
    """One finding for each row whose group `members` has an attackable pawn that is also in `weak`."""
    found = view.once(_attackable)
    found = found.only((weak[found.row] & BIT[found.square]) != EMPTY)
    attacked = any_of(found.row, found.attacked, len(view))
    # Men that can join are named only for groups that no man attacks yet.
    named = found.only(found.attacked | ~attacked[found.row])
    actors = united(named.row, named.actors, len(view))
    row = np.flatnonzero(any_of(found.row, found.counts, len(view)))
    group = members[row]
    foremost = group & ~filled_up(shifted(group, NORTH))
    return findings(row, actors[row], group, shifted(foremost, SOUTH), attacked[row])


def isolated_pawn(view: View) -> Findings:
    """Isolated pawns of theirs that can be attacked."""
    return _each(view, view.once(structure).isolated & view.once(_worth_a_siege))


def backward_pawn(view: View) -> Findings:
    """Backward pawns of theirs that can be attacked, in settled positions."""
    found = _each(view, view.once(structure).backward)
    on_the_wing = (found.targets & ~MIDDLE_FILES) != EMPTY
    found = found.only(~on_the_wing | (found.detail == ATTACKED))
    return found.only(is_settled(view, found.row))


def _worth_a_siege(view: View) -> Bitboards:
    """Their pawns on the files c to f, and weak ones that are not passed and that we attack enough."""
    found = view.once(_attackable)
    enough = found.attackers >= found.guards
    some = found.only(enough & ((BIT[found.square] & ~passed_squares(view)[found.row]) != EMPTY))
    return view.their_pawns & MIDDLE_FILES | united(some.row, BIT[some.square], len(view))


def doubled_pawns(view: View) -> Findings:
    """Doubled pawns of theirs, one finding per file, of which one pawn is attacked."""
    weak = view.once(structure).doubled
    groups = [(view.their_pawns & file, weak & file) for file in FILES]
    found = _of_groups(view, groups)
    found = found.only(found.detail > 0)
    return found.only(is_settled(view, found.row))


def hanging_pawns(view: View) -> Claims:
    """Hanging pawns of theirs of which one can be attacked, and ours of which one can advance."""
    left = view.once(structure).hanging
    pairs = [(left & file) | shifted(left & file, EAST) for file in FILES]
    found = _of_groups(view, [(pair, pair) for pair in pairs])
    queens = (view.our(chess.QUEEN) != EMPTY) & (view.their(chess.QUEEN) != EMPTY)
    found = found.only((queens & _rooks_and_more(view))[found.row])
    found = found.only(is_settled(view, found.row))
    foremost = square_of(lowest(found.targets))
    standing = claims(
        Moves(found.row, foremost, foremost),
        found.actors,
        found.targets,
        found.squares,
        least=0,
        detail=found.detail,
    )
    return Claims.joined(standing, _strong_pairs(view))


def _rooks_and_more(view: View) -> Flags:
    """Whether each side has a rook and two more pieces: with fewer, nobody plays around hanging pawns."""
    rooks = (view.our(chess.ROOK) != EMPTY) & (view.their(chess.ROOK) != EMPTY)
    return rooks & (np.minimum(view.our_piece_count, view.their_piece_count) >= _PIECES)


def _strong_pairs(view: View) -> Claims:
    """Advances of our hanging d-pawns that attack a man and lose nothing, where it is our move."""
    left = view.swapped(view.once(structure).hanging)
    pair = left | shifted(left, EAST)
    flags = view.boards.our_move & _rooks_and_more(view)
    row, pawn = exploded(np.where(flags, shifted(left, EAST), EMPTY))
    moves = advances(view, row, pawn)
    return replace(moves, actors=pair[moves.row], detail=np.full(len(moves), CAN_ADVANCE))


def _of_groups(view: View, groups: Sequence[tuple[Bitboards, Bitboards]]) -> Findings:
    """The findings of several groups. Each group is given as its members and the weak pawns among them."""
    found = [_each_group(view, members, weak) for members, weak in groups if weak.any()]
    return Findings.joined(findings(np.zeros(0, dtype=np.int64)), *found)


_SUBJECTS = {
    "isolated-pawn": "the isolated pawn on {}",
    "backward-pawn": "the backward pawn on {}",
    "doubled-pawns": "the doubled pawns on {}",
    "hanging-pawns": "the hanging pawns on {}",
}


def _tell(id: str, instance: Instance) -> str:
    board = instance.board
    if instance.detail == CAN_ADVANCE:
        return _tell_advance(instance)
    subject = _SUBJECTS[id].format(wording.squares(instance.targets))
    men = wording.men(board, instance.actors)
    hit = [pawn for pawn in instance.targets if instance.actors & board.attackers(instance.side, pawn)]
    if instance.detail != ATTACKED:
        text = f"{subject} can be attacked by {men}"
    elif 0 < len(hit) < len(instance.targets):
        text = f"{subject}: that on {wording.squares(hit)} is attacked by {men}"
    else:
        text = f"{subject} {'are' if len(instance.targets) > 1 else 'is'} attacked by {men}"
    in_front = [
        square
        for square in instance.squares
        if board.color_at(square) == instance.side
        and board.piece_type_at(square) != chess.PAWN
        and not board.attackers(not instance.side, square) & board.pawns
    ]
    if in_front:
        text += f"; {wording.men(board, in_front)} stands in front"
    return wording.sentence(text)


def _tell_advance(instance: Instance) -> str:
    board, pawns = instance.board, wording.squares(instance.actors)
    ahead, hit = wording.squares(instance.squares), wording.men(board, instance.targets)
    goes = f"the d-pawn {instance.does('advance')} to {ahead} against {hit}, to open lines"
    return wording.sentence(f"the hanging pawns on {pawns} are strong: {goes}")


def _declare(
    id: str, title: str, definition: str, source: str, find: Callable[[View], Findings | Claims]
) -> Motif:
    ending = (
        " It counts when it can be attacked, now or after one safe move, by as many pieces as guard it, or"
        " when it is attacked and a piece of ours holds the square in front of it."
    )
    return Motif(
        id, title, definition + ending, source, find, lambda instance: _tell(id, instance), TakenUp.CAPTURE
    )


MOTIFS = (
    _declare(
        "isolated-pawn",
        "Isolated pawn",
        "An enemy pawn has no pawn of its own side on the neighbouring files, so that only pieces can guard"
        " it, and none of ours on its own file; it is not passed, or a piece of ours blockades it. Outside"
        " the files c to f it is not passed and has no more guards than attackers.",
        "Nimzowitsch, My System (the isolated queen's pawn); Kmoch, Pawn Power in Chess; named from memory",
        isolated_pawn,
    ),
    _declare(
        "backward-pawn",
        "Backward pawn",
        "An enemy pawn has fallen behind its neighbours, none of which stands level with it or behind it; a"
        " pawn of ours holds the square in front of it, or a guarded piece stands there and the pawn is"
        " attacked, or more pieces of ours than of theirs attack the square; and"
        " we have no pawn on its file. Outside the files c to f it must be attacked now." + SETTLED,
        "Nimzowitsch, My System; Kmoch, Pawn Power in Chess; named from memory",
        backward_pawn,
    ),
    _declare(
        "doubled-pawns",
        "Doubled pawns",
        "Two or more enemy pawns stand on one file, the foremost not passed, none in contact with a pawn of"
        " ours, and no enemy pawn can ever guard one of them that has moved." + SETTLED,
        "Nimzowitsch, My System (the doubled pawn); Kmoch, Pawn Power in Chess; named from memory",
        doubled_pawns,
    ),
    _declare(
        "hanging-pawns",
        "Hanging pawns",
        "Enemy pawns on the c- and d-file stand abreast on their fourth or fifth rank, no enemy pawn stands"
        " on the files outside them, we have no pawn on their files, and neither is passed. They are the"
        " strength of their owner where the d-pawn can advance against a man, with nothing lost. They are"
        " a target only with queens on; each side has a rook and two more pieces." + SETTLED,
        "Nimzowitsch, My System (hanging pawns); Kmoch, Pawn Power in Chess; named from memory",
        hanging_pawns,
    ),
)
