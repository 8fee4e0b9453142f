"""The lever: a pawn move to where our pawn and theirs can take each other, with a gain whatever they answer.

The rule. A pawn of ours can move to a square from which it attacks one or two pawns of theirs, the targets.
A target matters: it stands on the files c to f, before their castled king, or before a man of ours, or it
guards another pawn. The position is quiet: we are not in check, no piece is attacked unless a pawn guards it,
and nobody wins anything by a capture. With their queen on the board, the pawn stands neither before our
king nor beside it, except on the c- or f-file. A king on the d- or e-file must be able to castle towards the
lever. No pawn of ours on its second or third rank loses its last pawn guard.

We must have a gain in each of three cases: a target takes, and we take back; they leave it, and we take a
target; the only target goes past. These are gains, if they were not there before:

- a file without pawns of ours, for our rook on it or after castling (four files from our king also for a rook
  that can come at once), and without a pawn of theirs that a pawn guards;
- a pawn of theirs that we attack and no pawn can guard, fixed in place or attacked by more men than guard it;
- a passed pawn that they do not attack or that we guard;
- the target itself, if it falls.

If they go past, it is also a gain that no pawn can ever attack our pawn on the fifth rank (with a pawn beside
it) or the sixth. A lever may offer a pawn if, after the capture, we can attack a pawn that no pawn can
guard with more men than guard it, if our rook on the target's file can enter the seventh rank, or if a man
falls. Then, if they leave it, a target must fall or a pawn be passed. The look ahead
(`patterns.proof.lookahead`) decides whether the move loses something.

A hit: f4. Whether Black takes or waits, the f-file opens for the rook. He cannot go past, because e4 is held.

>>> from patterns.detect import find_in
>>> lever = "2n3k1/pp3ppp/3p4/4p3/4P3/2N1B3/PPP2PPP/5RK1 w - - 0 1"
>>> found = find_in([chess.Board(lever)], MOTIFS)[0]
>>> [(f.motif, f.actors, f.targets, f.squares) for f in found]
[('pawn-lever', ('f2',), ('e5',), ('f4',))]
>>> found[0].note
'f2-f4 hits the pawn on e5: whichever way Black answers, the f-file opens for the rook on f1.'

A near miss: without the rook, nobody can use the file.

>>> find_in([chess.Board(lever.replace("5RK1", "6K1"))], MOTIFS)[0]
[]

Roles. Actors: the pawn. Targets: the pawns that it hits. Squares: the lever square.
"""

from __future__ import annotations

from dataclasses import dataclass

import chess
import numpy as np

from patterns.boards.attacks import attack_from, men_of
from patterns.boards.bitboards import (
    ADVANCED_RANKS,
    BIT,
    CENTRE,
    EAST,
    EMPTY,
    FILES,
    MIDDLE_FILES,
    NORTH,
    OUR_HOME,
    PAWN_DOWN,
    PAWN_UP,
    RANKS,
    SOUTH,
    THEIR_HOME,
    WEST,
    Bitboards,
    Flags,
    Rows,
    Squares,
    count,
    exploded,
    filled_down,
    filled_files,
    filled_up,
    neighbour_files,
    pawn_attacks_down,
    pawn_attacks_up,
    rook_reach,
    shifted,
    square_of,
)
from patterns.boards.castling import WINGS
from patterns.boards.exchange import capture_gain, exchange, is_safe
from patterns.boards.grouping import any_of, greatest
from patterns.boards.moves import Moves, pawn_steps
from patterns.boards.positions import Boards
from patterns.boards.pressure import bearing
from patterns.boards.tables import Table
from patterns.boards.view import View, reversed_sides
from patterns.motifs.findings import Instance, Motif
from patterns.proof.claims import Claims, claims
from patterns.proof.lookahead import threatened, wins
from patterns.words import wording

NO_ANSWER, FILE, WEAK, PASSER, FALLS, WEDGE, BASE, ENTRY, NOTHING = range(9)
"""What an answer leaves us, best first. With a square this is a gain: the number times 64, plus the square."""
_BITS = 10
"""The bits of a gain. `detail` holds three: if they take, if they leave it, if they go past."""
_NOTHING = NOTHING << 6
_FAR = np.array([sum(chess.BB_FILES[f] for f in range(8) if abs(f - king) > 3) for king in range(8)], np.uint64)
"""By the file of our king: the files at least four away."""


@dataclass(frozen=True)
class _Levers(Table):
    """Pawn moves to a square from which the pawn attacks `targets`, pawns of theirs. One entry each.

    `offers`: whether the move gives a pawn by exchange.
    """

    row: Rows
    origin: Squares
    square: Squares
    targets: Bitboards
    offers: Flags


@dataclass(frozen=True)
class _Outcomes(Table):
    """The pawns that an answer leads to, one entry each. `number`: of the question that it belongs to."""

    number: Rows
    row: Rows
    ours: Bitboards
    theirs: Bitboards


def _castled_rooks(view: View) -> Bitboards:
    """The squares where our rooks would stand after castling, as far as nothing stands in between."""
    ours, found = view.boards.castling & view.us, np.zeros(len(view), dtype=np.uint64)
    for wing in WINGS:
        free = (view.occupied & np.uint64(chess.between(chess.E1, wing.rook))) == EMPTY
        found |= np.where(free & ((ours & BIT[wing.rook]) != EMPTY), BIT[wing.rook_to], EMPTY)
    return found


def _rook_files(view: View) -> Bitboards:
    """The files where a rook of ours stands or would stand after castling, and far ones where it can come."""
    comes = view.our_attacks_of[chess.ROOK] & ~view.occupied & ~view.their_attacks & RANKS[0]
    return filled_files(view.our(chess.ROOK) | view.once(_castled_rooks) | comes & _FAR[view.our_king & 7])


def _quiet(view: View) -> Flags:
    """Whether we are not in check and no piece of either side is attacked, unless a pawn guards it."""
    pieces = ~view.boards.pawns & ~view.boards.kings
    ours = view.us & pieces & view.their_attacks & ~view.our_pawn_attacks
    theirs = view.them & pieces & view.our_attacks & ~view.their_pawn_attacks
    return ((ours | theirs) == EMPTY) & ~view.in_check


def _contacts(view: View) -> _Levers:
    """The pawn moves in quiet positions that hit a pawn that matters, and leave neither king nor pawn bare."""
    squares = pawn_steps(view.our_pawns, view.boards, "us") & pawn_attacks_down(view.their_pawns)
    row, square = exploded(np.where(_quiet(view), squares, EMPTY))
    ours, theirs, at = view.our_pawns[row], view.their_pawns[row], BIT[square]
    origin = np.where((at >> np.uint64(8) & ours) != EMPTY, at >> np.uint64(8), at >> np.uint64(16))
    targets, king = PAWN_UP[square] & theirs, view.our(chess.KING)[row]
    castled = view.their(chess.KING)[row] & THEIR_HOME & ~CENTRE
    fixed = shifted(view.us[row], NORTH)
    matter = MIDDLE_FILES | filled_files(castled) | neighbour_files(castled) | fixed | pawn_attacks_up(theirs)
    file, near = FILES[square & 7], filled_files(king) | neighbour_files(king)
    bare = (file & near & ~FILES[2] & ~FILES[5]) != EMPTY
    bare |= ((king & CENTRE) != EMPTY) & ((file & view.once(_castled_rooks)[row]) == EMPTY)
    bare &= view.their(chess.QUEEN)[row] != EMPTY
    pinned = ((view.our_pinned[row] & origin) != EMPTY) & ((file & king) == EMPTY)
    left = pawn_attacks_up(origin) & ours & (OUR_HOME | RANKS[2]) & ~pawn_attacks_up(ours & ~origin)
    some = np.flatnonzero(((targets & matter) != EMPTY) & ~bare & ~pinned)
    row, origins, square = row[some], square_of(origin[some]), square[some]
    cost = exchange(view.boards.take(row), origins, square, floor=-2)
    return _Levers(row, origins, square, targets[some], cost == -1).only(cost >= -1)


def _passed(ours: Bitboards, theirs: Bitboards) -> Bitboards:
    """Those of our pawns that are passed."""
    return ours & ~filled_down(shifted(theirs | ours, SOUTH) | pawn_attacks_down(theirs))


def _gains(view: View, outcomes: _Outcomes) -> Squares:
    """What each outcome leaves us: a file, a weak pawn, a passed pawn or nothing."""
    row, ours, theirs = outcomes.row, outcomes.ours, outcomes.theirs
    guarded, guarded_twice, guarded_thrice = view.their_piece_attacks.take(row, axis=1)
    hit, hit_twice, _ = view.our_piece_attacks.take(row, axis=1)
    up, down = pawn_attacks_up(ours), pawn_attacks_down(theirs)
    had, had_theirs = filled_files(view.our_pawns[row]), filled_files(view.their_pawns[row])
    opened = ~filled_files(ours) & (had | had_theirs & ~filled_files(theirs))
    opened &= ~filled_files(theirs & down & ~up) & view.once(_rook_files)[row]
    hit, hit_twice = hit | up, hit_twice | hit & up
    fixed = shifted(ours | theirs | up, NORTH)
    weak = hit & ~guarded | hit_twice & ~guarded_twice | fixed & (hit & ~guarded_twice | hit_twice & ~guarded_thrice)
    weak &= theirs & ~filled_down(down) & (view.their_pawn_span[row] | ~view.their_pawns[row])
    passed = _passed(ours, theirs) & ~_passed(view.our_pawns[row], view.their_pawns[row])
    passed &= ADVANCED_RANKS & (~guarded | hit)
    result = np.full(len(row), _NOTHING)
    for kind, squares in ((PASSER, passed), (WEAK, weak), (FILE, opened & RANKS[0])):
        some = squares.nonzero()[0]
        result[some] = kind << 6 | square_of(squares[some])
    return result


def _least(numbers: Rows, gains: Squares, size: int) -> Squares:
    """The best gain of each question: the choice is ours. Without any, nothing."""
    return _NOTHING - greatest(numbers, _NOTHING - gains, size)


def _if_taken(view: View, levers: _Levers) -> Squares:
    """What we have if a target takes the pawn, and we take back as we like. They choose the target."""
    number, target = exploded(levers.targets)
    row, at = levers.row[number], BIT[levers.square[number]]
    ours, theirs = view.our_pawns[row] & ~BIT[levers.origin[number]], view.their_pawns[row] & ~BIT[target]
    behind = view.our_piece_attacks[0] | filled_up(view.our(chess.ROOK) | view.our(chess.QUEEN))
    piece = (behind[row] & at).nonzero()[0]
    taken, pawn = exploded(PAWN_DOWN[levers.square[number]] & ours)
    by_piece = _Outcomes(piece, row[piece], ours[piece], theirs[piece])
    by_pawn = _Outcomes(taken, row[taken], ours[taken] & ~BIT[pawn] | at[taken], theirs[taken])
    outcomes = _Outcomes.joined(by_piece, by_pawn)
    gains = _least(outcomes.number, _gains(view, outcomes), len(number))
    return greatest(number, gains, len(levers))


def _if_we_take(view: View, row: Rows, square: Squares, ours: Bitboards, theirs: Bitboards) -> Squares:
    """What we have if a pawn of ours, left out of `ours`, takes the pawn on `square`. They take back as they like."""
    guards = PAWN_UP[square] & theirs
    taken, pawn = exploded(guards)
    by_pawn = _Outcomes(taken, row[taken], ours[taken], theirs[taken] & ~BIT[pawn])
    piece = ((guards == EMPTY) | ((view.their_piece_attacks[0][row] & BIT[square]) != EMPTY)).nonzero()[0]
    by_piece = _Outcomes(piece, row[piece], ours[piece], theirs[piece] & ~BIT[square[piece]])
    outcomes = _Outcomes.joined(by_pawn, by_piece)
    return greatest(outcomes.number, _gains(view, outcomes), len(row))


def _if_left(view: View, levers: _Levers) -> Squares:
    """What we have if they leave the targets alone and we take one."""
    number, target = exploded(levers.targets)
    lever = levers.take(number)
    ours, theirs = view.our_pawns[lever.row] & ~BIT[lever.origin], view.their_pawns[lever.row]
    gains = _if_we_take(view, lever.row, target, ours, theirs)
    won = exchange(view.boards.take(lever.row).moved(lever.origin, lever.square), lever.square, target, floor=-1)
    gains = np.where(won > 0, FALLS << 6 | target, np.where(won < 0, _NOTHING, gains))
    return greatest(number, gains, len(levers))


def _if_passed_by(view: View, levers: _Levers) -> Squares:
    """What we have if the only target goes past our pawn; `NO_ANSWER` if it cannot."""
    free = shifted(levers.targets, SOUTH) & ~view.occupied[levers.row]
    able = ((count(levers.targets) == 1) & (free != EMPTY)).nonzero()[0]
    lever, stop = levers.take(able), square_of(free[able])
    row, at, target = lever.row, BIT[lever.square], lever.targets
    ours, theirs = view.our_pawns[row] & ~BIT[lever.origin] | at, view.their_pawns[row] & ~target | BIT[stop]
    after = view.boards.take(row).moved(lever.origin, lever.square).moved(square_of(target), stop)
    gains = _gains(view, _Outcomes(able, row, ours, theirs))
    beside = shifted(ours, EAST) | shifted(ours, WEST)
    wedge = (at & (RANKS[5] | RANKS[4] & beside) & ~filled_down(pawn_attacks_down(theirs))) != EMPTY
    gains = np.where((gains == _NOTHING) & wedge, WEDGE << 6 | lever.square, gains)
    takes, pawn = exploded(PAWN_DOWN[stop] & ours)
    even = exchange(after.take(takes), pawn, stop[takes], floor=-1) >= 0
    takes, pawn = takes[even], pawn[even]
    taking = _if_we_take(view, row[takes], stop[takes], ours[takes] & ~BIT[pawn], theirs[takes])
    gains = np.minimum(gains, _least(takes, taking, len(able)))
    gains[(PAWN_DOWN[stop] & view.us[row] & ~view.boards.pawns[row]) != EMPTY] = _NOTHING
    falls = (capture_gain(after, stop, "us", enough=1) > 0) & (gains == _NOTHING)
    result = np.zeros(len(levers), dtype=np.int64)
    result[able] = np.where(falls, FALLS << 6 | stop, gains)
    return result


def _if_given(view: View, levers: _Levers) -> Squares:
    """What we have if a target takes the pawn and we cannot take back. They choose the target."""
    number, target = exploded(levers.targets)
    lever = levers.take(number)
    boards = view.boards.take(lever.row).moved(lever.origin, lever.square).moved(target, lever.square)
    theirs = boards.pawns & boards.them
    enters = rook_reach(target, boards.occupied) & FILES[target & 7] & boards.rooks & boards.us
    enters = filled_up(enters) & RANKS[6] & ~boards.occupied & ~view.their_attacks[lever.row]
    gains = np.where(enters != EMPTY, ENTRY << 6 | square_of(enters), _NOTHING)
    loose = theirs & ~filled_down(pawn_attacks_down(theirs)) & (PAWN_DOWN[target] | BIT[lever.square])
    index, square = exploded(loose)
    falls = _can_be_outnumbered(boards.take(index), square)
    gains = np.minimum(gains, _least(index[falls], BASE << 6 | square[falls], len(number)))
    nothing = np.zeros(len(number), dtype=np.int64)
    entry, square, _ = wins(boards, nothing, nothing + 1)
    gains = np.minimum(gains, _least(entry, FALLS << 6 | square, len(number)))
    return greatest(number, gains, len(levers))


def _can_be_outnumbered(boards: Boards, squares: Squares) -> Flags:
    """Whether one more piece of ours can safely come so that more men bear on each square than guard it."""
    men = bearing(boards, squares)
    ours, guards = men & boards.us, count(men & boards.them)
    pieces = men_of(boards, "us")
    pieces = pieces.only((pieces.kind > chess.PAWN) & (pieces.kind < chess.KING))
    pieces = pieces.only((ours[pieces.row] & BIT[pieces.square]) == EMPTY)
    free = ~boards.occupied[pieces.row]
    stops = attack_from(pieces.kind, squares[pieces.row], ~free & ~BIT[pieces.square], "us")
    man, stop = exploded(stops & pieces.attacks & free)
    row = pieces.row[man]
    joins = any_of(row, is_safe(boards.take(row), pieces.square[man], stop), len(boards))
    return (count(ours) >= guards) & (count(ours) + joins > guards)


def pawn_lever(view: View) -> Claims:
    """Levers that bring a gain whatever they answer."""
    levers = _contacts(view)
    taken, given = np.full(len(levers), _NOTHING), levers.offers.nonzero()[0]
    sound = (~levers.offers).nonzero()[0]
    taken[sound], taken[given] = _if_taken(view, levers.take(sound)), _if_given(view, levers.take(given))
    levers, taken = levers.only(taken < _NOTHING), taken[taken < _NOTHING]
    left = _if_left(view, levers)
    past = _if_passed_by(view, levers)
    good = (left < _NOTHING) & (past < _NOTHING)
    good &= (taken < BASE << 6) | (left >> 6 == FALLS) | (left >> 6 == PASSER)
    levers, detail = levers.only(good), (taken | left << _BITS | past << 2 * _BITS)[good]
    boards, nothing = view.boards.take(levers.row), np.zeros(len(levers), dtype=np.int64)
    calm = (threatened(boards, nothing) == 0) & (threatened(reversed_sides(boards), nothing) == 0)
    levers, detail = levers.only(calm), detail[calm]
    # A pawn that is given for the attack on another one comes back later than we look ahead.
    least = -levers.offers.astype(np.int64)
    moves = Moves(levers.row, levers.origin, levers.square)
    return claims(moves, BIT[levers.origin], levers.targets, BIT[levers.square], least=least, detail=detail)


def _tell(instance: Instance) -> str:
    board, us = instance.board, instance.side
    gains = [instance.detail >> place * _BITS & (1 << _BITS) - 1 for place in range(3)]
    takes, stays, past = (_gain(instance, gain >> 6, gain & 63) for gain in gains)
    text = f"{wording.squares(instance.actors)}-{wording.squares(instance.squares)} hits"
    text += f" {wording.men(board, instance.targets)}"
    if takes == stays and past in (takes, ""):
        return wording.sentence(f"{text}: whichever way {wording.side_name(not us)} answers, {takes}")[0:]
    otherwise = f"otherwise {stays}" if past in (stays, "") else f"if they leave it, {stays}"
    return f"{text}: if it is taken, {takes}; {otherwise}."


def _gain(instance: Instance, kind: int, square: chess.Square) -> str:
    board, us = instance.board, instance.side
    return f"{kind}:{chess.SQUARE_NAMES[square if us else square ^ 56]}" if kind else ""


MOTIFS = (
    Motif(
        id="pawn-lever",
        title="Pawn lever",
        definition=(
            "x"
        ),
        source="Kmoch, Pawn Power in Chess (the lever); named from memory",
        find=pawn_lever,
        tell=_tell,
    ),
)
