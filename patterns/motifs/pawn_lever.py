"""The lever: a pawn move to where our pawn and theirs can take each other, with a gain whatever they answer.

The rule. A pawn of ours can move to a square from which it attacks one or two pawns of theirs, the targets.
We are not in check, and the pawn cannot be taken en passant. A target matters: it stands on the files c to
f, on their king's wing or on a file next to their king, on a file where we have a rook or queen, or it
guards a man. Our king does not stand on the d- or e-file while they have a queen, unless castling brings a
rook to the pawn's file. After the move they can win nothing by exchange, on any square, and neither after a
target has taken the pawn and we have taken back. Or they can win the pawn and no more (the lever offers a
pawn). We must have a gain in each of three cases:

- a target takes, and we take back;
- they leave it, and we take a target, losing nothing by exchange, and they take back as they like;
- the only target moves on past our pawn.

These are gains, if they were not there before:

- a file without our pawns, for our rook or queen on it (after castling too; beside their king a rook may also
  be one move away). No pawn that a pawn guards closes it, unless a pawn of ours hits this pawn. It leads to
  their king's wing, to a pawn that no pawn can guard, or, if it is open, to an entry on their first three
  ranks;
- a pawn of theirs that no pawn can guard any more, attacked by as many men as guard it, or by more if it is
  passed;
- a passed pawn on our fourth rank or beyond, attacked by no piece or guarded;
- a hole: a square on our ranks 4 to 6 (files b-g) that no pawn of theirs can guard any more, guarded by a
  pawn of ours, where a knight can go or the piece that took back stands;
- a diagonal that opens for a bishop or queen towards the zone of their king or a loose piece;
- the cover of their king on a wing, which loses its only pawn on a file, with queens on;
- the target itself, if it falls by exchange;
- a wedge: the target has moved on, no pawn can ever attack our pawn, and it stands on our sixth rank, or on
  the fifth with a pawn of ours beside it.

If the lever offers a pawn, the first case is another one. A man falls by exchange that the target guarded, or
that a slider of ours sees where the target stood. Or the target guarded a pawn that no pawn can guard any
more: with one more piece, which can safely attack it, we attack it with more men than guard it (it has no
guard at all, or we have one of the gains above as well). The target that took may be this pawn itself. Or the
target's file opens, and our rook on it can enter the seventh rank.

A hit: f4. Whether Black takes or waits, the f-file opens for the rook. He cannot go on, because e4 is held.

>>> from patterns.detect import find_in
>>> lever = "2n3k1/pp3ppp/3p4/4p3/4P3/2N1B3/PPP2PPP/5RK1 w - - 0 1"
>>> found = find_in([chess.Board(lever)], MOTIFS)[0]
>>> [(f.motif, f.actors, f.targets, f.squares) for f in found]
[('pawn-lever', ('f2',), ('e5',), ('f4',))]
>>> found[0].note.split("; ")[1]
'whichever way Black answers, the f-file opens for the rook on f1.'

A near miss: without the rook, nobody can use the file.

>>> find_in([chess.Board(lever.replace("5RK1", "6K1"))], MOTIFS)[0]
[]

Roles. Actors: the pawn. Targets: the pawns that it hits. Squares: the lever square.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import chess
import numpy as np

from patterns.boards.attacks import attack_from, attackers, men_of
from patterns.boards.bitboards import (
    ADVANCED_RANKS,
    BEYOND,
    BIT,
    CENTRE,
    EAST,
    EMPTY,
    FILES,
    KINGSIDE,
    MIDDLE_FILES,
    NORTH,
    PAWN_DOWN,
    PAWN_UP,
    QUEENSIDE,
    RANKS,
    RIM_FILES,
    SOUTH,
    WEST,
    Bitboards,
    Flags,
    Rows,
    Squares,
    bishop_reach,
    count,
    exploded,
    filled_down,
    filled_files,
    filled_up,
    lowest,
    paired,
    pawn_attacks_down,
    pawn_attacks_up,
    rook_reach,
    shifted,
    square_of,
)
from patterns.boards.exchange import capture_gain, exchange, is_safe
from patterns.boards.grouping import any_of, greatest
from patterns.boards.moves import pawn_steps
from patterns.boards.positions import Boards
from patterns.boards.pressure import bearing
from patterns.boards.tables import Table
from patterns.boards.view import View, reversed_sides
from patterns.motifs.findings import Findings, Instance, Motif, TakenUp, findings
from patterns.proof.lookahead import threatened
from patterns.words import wording

NOTHING, FILE, WEAK_PAWN, PASSER, HOLE, DIAGONAL, COVER, WEDGE, WINS, UNGUARDED, BEHIND, ENTRY = range(12)
"""What an answer leaves us. With a square this is a gain: the number times 64, plus the square."""
_BITS = 10
"""The bits of a gain. `detail` holds three: if they take, if they wait, if they pass by (0: they cannot)."""
_NO_ANSWER = 1 << _BITS
"""For an answer that they do not have: more than any gain."""
_HOLE_RANKS = RANKS[3] | RANKS[4] | RANKS[5]
_TOO_DEAR = -2
"""The value of a lever that costs more than a pawn."""
_CASTLING = (
    (chess.H1, chess.BB_F1 | chess.BB_G1, chess.F1),
    (chess.A1, chess.BB_B1 | chess.BB_C1 | chess.BB_D1, chess.D1),
)
"""The rook, the squares between it and the king, and the square where it lands."""


@dataclass(frozen=True)
class _Levers(Table):
    """Pawn moves to a square from which the pawn attacks `targets`, pawns of theirs. One entry each."""

    row: Rows
    origin: Bitboards
    square: Squares
    targets: Bitboards


@dataclass(frozen=True)
class _Played(_Levers):
    """Levers with the board after the move, what the move wins by exchange (0 or -1), and our gains.

    There is a gain for each answer: they take, they leave the pawn alone, the target passes by.
    """

    after: Boards
    value: Squares
    taken: Squares
    left: Squares
    passed_by: Squares


@dataclass(frozen=True)
class _Outcomes(Table):
    """What an answer leads to. `number`: of the question that it belongs to. `ours`, `theirs`: the pawns.

    `moved`: the pawn of theirs that has left its square. `taker`: the square of our piece that took back.
    """

    number: Rows
    row: Rows
    moved: Bitboards
    ours: Bitboards
    theirs: Bitboards
    taker: Bitboards


@dataclass(frozen=True)
class _Files(Table):
    """Whole files. `held`: our rook or queen is there. `reached`: or a rook can go to its first square."""

    held: Bitboards
    reached: Bitboards
    theirs: Bitboards
    with_our_pawns: Bitboards
    with_their_pawns: Bitboards
    near_their_king: Bitboards


def _castled_rooks(view: View) -> Bitboards:
    """The squares where our rooks would stand after castling, as far as nothing stands in between."""
    ours, found = view.boards.castling & view.us, np.zeros(len(view), dtype=np.uint64)
    for rook, path, lands in _CASTLING:
        free = ((ours & BIT[rook]) != EMPTY) & ((view.occupied & np.uint64(path)) == EMPTY)
        found |= np.where(free, BIT[lands], EMPTY)
    return found


def _files(view: View) -> _Files:
    heavy = view.our(chess.ROOK) | view.our(chess.QUEEN)
    goes = view.our_attacks_of[chess.ROOK] & ~view.occupied & ~view.their_attacks & RANKS[0]
    held = filled_files(heavy | view.once(_castled_rooks))
    king = view.their(chess.KING)
    wings = [np.where((king & wing) != EMPTY, wing, EMPTY) for wing in (QUEENSIDE, KINGSIDE)]
    return _Files(
        held,
        held | filled_files(goes),
        filled_files(view.their(chess.ROOK) | view.their(chess.QUEEN)),
        filled_files(view.our_pawns),
        filled_files(view.their_pawns),
        filled_files(king | shifted(king, EAST) | shifted(king, WEST)) | wings[0] | wings[1],
    )


def _passed(ours: Bitboards, theirs: Bitboards) -> Bitboards:
    """Those of our pawns that are passed."""
    return ours & ~filled_down(shifted(theirs | ours, SOUTH) | pawn_attacks_down(theirs))


def _passed_already(view: View) -> Bitboards:
    return _passed(view.our_pawns, view.their_pawns)


def _gains(view: View, outcomes: _Outcomes) -> Squares:
    """What each outcome leaves us, the first that holds of the kinds in the order of `kinds` (0: nothing)."""
    row, ours, theirs = outcomes.row, outcomes.ours, outcomes.theirs
    files = view.once(_files).take(row)
    guarded, guarded_twice, guarded_thrice = view.their_piece_attacks.take(row, axis=1)
    our_pawn_attacks, their_pawn_attacks = pawn_attacks_up(ours), pawn_attacks_down(theirs)
    span = filled_down(their_pawn_attacks)
    before = view.their_pawn_span[row]
    closed = filled_files(theirs)

    # A file: what stands on it must not be guarded by a pawn, and it leads to the king, a pawn or an entry.
    open_files = ~filled_files(ours) & (files.with_our_pawns | files.with_their_pawns & ~closed)
    open_files &= ~filled_files(theirs & their_pawn_attacks & ~our_pawn_attacks)
    open_files &= closed | ~files.theirs | files.held
    entries = (RANKS[5] | RANKS[6] | RANKS[7]) & ~their_pawn_attacks & ~guarded_twice
    loose = theirs & ~span & ~guarded_twice
    open_files &= filled_files(loose) | filled_files(entries) & ~closed | files.near_their_king
    open_files &= files.held | files.reached & files.near_their_king
    open_files = np.where((open_files & files.held) != EMPTY, open_files & files.held, open_files)

    # A weak pawn: none of theirs can ever guard it, and as many men attack it as guard it.
    hit, hit_twice, hit_thrice = view.our_piece_attacks.take(row, axis=1)
    hit_thrice |= hit_twice & our_pawn_attacks
    hit_twice |= hit & our_pawn_attacks
    hit |= our_pawn_attacks
    outnumbered = hit & ~guarded | hit_twice & ~guarded_twice | hit_thrice & ~guarded_thrice
    even = hit & ~guarded_twice | hit_twice & ~guarded_thrice | hit_thrice
    blocked = filled_up(shifted(ours | theirs, NORTH) | our_pawn_attacks)
    weak = theirs & ~span & (before | ~view.their_pawns[row]) & (outnumbered | even & blocked)

    passed = _passed(ours, theirs) & ~view.once(_passed_already)[row] & ADVANCED_RANKS
    passed &= ~guarded | hit

    holes = before & ~span & _HOLE_RANKS & ~RIM_FILES & our_pawn_attacks & ~ours & ~theirs
    free = ~view.occupied[row] | outcomes.moved
    holes &= view.our_attacks_of[chess.KNIGHT][row] & free | outcomes.taker | view.our(chess.KNIGHT)[row]

    cover = outcomes.moved & (RANKS[5] | RANKS[6]) & files.near_their_king & ~closed
    castled = (view.their(chess.KING)[row] & (RANKS[6] | RANKS[7]) & ~CENTRE) != EMPTY
    cover = np.where(castled & (view.our(chess.QUEEN)[row] != EMPTY), cover, EMPTY)

    kinds = (
        (FILE, open_files & RANKS[0]),
        (WEAK_PAWN, weak),
        (COVER, cover),
        (PASSER, passed),
        (HOLE, holes),
        (DIAGONAL, _opened_diagonals(view, outcomes)),
    )
    result = np.zeros(len(row), dtype=np.int64)
    for kind, squares in reversed(kinds):
        some = (squares != EMPTY).nonzero()[0]
        result[some] = kind << 6 | square_of(squares[some])
    return result


def _opened_diagonals(view: View, outcomes: _Outcomes) -> Bitboards:
    """Our bishops and queens that look past the pawn that has left, at the king's zone or a loose piece."""
    result = np.zeros(len(outcomes), dtype=np.uint64)
    sees = view.our_attacks_of[chess.BISHOP] | view.our_attacks_of[chess.QUEEN]
    left = outcomes.moved & ~outcomes.theirs & sees[outcomes.row]
    some = left.nonzero()[0]
    row, square = outcomes.row[some], square_of(left[some])
    boards = view.boards.take(row)
    reach = bishop_reach(square, boards.occupied)
    slider = lowest(reach & boards.us & boards.diagonal_sliders)
    beyond = np.where(slider != EMPTY, reach & paired(BEYOND, square_of(slider) & 63, square), EMPTY)
    goals = view.them[row] & ~boards.pawns & ~view.their_attacks[row]
    goals |= np.where(view.our(chess.QUEEN)[row] != EMPTY, view.their_king_zone[row], EMPTY)
    result[some] = np.where((beyond & goals) != EMPTY, slider, EMPTY)
    return result


def _contacts(view: View) -> _Levers:
    """The pawn moves after which our pawn and a pawn of theirs that matters attack each other."""
    files = view.once(_files)
    matters = MIDDLE_FILES | files.near_their_king | files.held | pawn_attacks_up(view.them)
    squares = pawn_steps(view.our_pawns, view.boards, "us") & pawn_attacks_down(view.their_pawns & matters)
    in_centre = ((view.our(chess.KING) & CENTRE) != EMPTY) & (view.their(chess.QUEEN) != EMPTY)
    squares = np.where(in_centre, squares & filled_files(view.once(_castled_rooks)), squares)
    # Only a shortcut: with such men in danger they win something after the move.
    hanging = view.us & ~view.boards.kings & view.their_attacks & ~view.our_attacks
    hanging |= view.us & ~view.boards.pawns & view.their_pawn_attacks
    row, square = exploded(np.where((hanging == EMPTY) & ~view.in_check, squares, EMPTY))
    below, ours = BIT[square] >> np.uint64(8), view.our_pawns[row]
    origin = np.where((below & ours) != EMPTY, below, below >> np.uint64(8))
    king = view.our(chess.KING)[row]
    free = ((view.our_pinned[row] & origin) == EMPTY) | ((FILES[square & 7] & king) != EMPTY)
    some = free.nonzero()[0]
    row, origin, square = row[some], origin[some], square[some]
    return _Levers(row, origin, square, PAWN_UP[square] & view.their_pawns[row])


def _worth_trying(view: View) -> _Played:
    """The levers that cost nothing and bring a gain if they are taken, and those that may offer a pawn."""
    levers = _contacts(view)
    row, targets = levers.row, levers.targets
    behind = filled_up(view.our(chess.ROOK) | view.our(chess.QUEEN))
    backed = (((view.our_attacks | behind)[row] & BIT[levers.square]) != EMPTY).nonzero()[0]
    # A pawn that nothing backs up is simply lost by exchange.
    value, taken = np.full(len(levers), -1), np.zeros(len(levers), dtype=np.int64)
    taken[backed] = _if_taken(view, levers.take(backed))
    value[backed] = _TOO_DEAR
    holding = backed[taken[backed] != NOTHING]
    before, origins = view.boards.take(row[holding]), square_of(levers.origin[holding])
    value[holding] = exchange(before, origins, levers.square[holding], floor=_TOO_DEAR)
    hope = (pawn_attacks_down(targets) & view.them[row]) != EMPTY
    lines = (view.our_attacks_of[kind] for kind in (chess.BISHOP, chess.ROOK, chess.QUEEN))
    hope |= (np.bitwise_or.reduce(list(lines))[row] & targets) != EMPTY
    hope |= (view.once(_files).held[row] & filled_files(targets)) != EMPTY
    some = ((value >= 0) | (value == -1) & (hope | (taken != NOTHING))).nonzero()[0]
    levers, value, taken = levers.take(some), value[some].clip(max=0), taken[some]
    after = view.boards.take(levers.row).moved(square_of(levers.origin), levers.square)
    nothing = np.zeros(len(levers), dtype=np.int64)
    row, origin, square, targets = vars(levers).values()
    return _Played(row, origin, square, targets, after, value, taken, nothing, nothing)


def _if_taken(view: View, levers: _Levers) -> Squares:
    """What we have if a target takes the pawn and we take back. With two targets, the lesser gain."""
    number, target_square = exploded(levers.targets)
    row, target, at = levers.row[number], BIT[target_square], BIT[levers.square[number]]
    ours, theirs = view.our_pawns[row] & ~levers.origin[number], view.their_pawns[row] & ~target
    every = np.arange(len(number))
    by_piece = _Outcomes(every, row, target, ours, theirs, at)
    taken, pawn = exploded(PAWN_DOWN[levers.square[number]] & ours)
    nobody = np.zeros(len(taken), dtype=np.uint64)
    by_pawn = _Outcomes(
        taken, row[taken], target[taken], ours[taken] & ~BIT[pawn] | at[taken], theirs[taken], nobody
    )
    outcomes = _Outcomes.joined(by_piece, by_pawn)
    return _least(number, greatest(outcomes.number, _gains(view, outcomes), len(number)), len(levers))


def _least(rows: Rows, gains: Squares, size: int) -> Squares:
    """For each row the least of its gains."""
    return _NO_ANSWER - greatest(rows, _NO_ANSWER - gains, size)


def _if_left(view: View, levers: _Played) -> Squares:
    """What we have if they leave the targets alone and we take one. They take back as suits them."""
    number, target_square = exploded(levers.targets)
    row, target = levers.row[number], BIT[target_square]
    ours, theirs = view.our_pawns[row] & ~levers.origin[number], view.their_pawns[row] & ~target
    guards = PAWN_UP[target_square] & theirs
    taken, pawn = exploded(guards)
    alone = (guards == EMPTY).nonzero()[0]
    back = np.concatenate([taken, alone])
    moved = np.concatenate([BIT[pawn], target[alone]])
    arrived = np.where(np.arange(len(back)) < len(taken), target[back], EMPTY)
    after_taking = theirs[back] & ~moved | arrived
    outcomes = _Outcomes(back, row[back], moved, ours[back], after_taking, np.zeros_like(moved))
    gains = _least(back, _gains(view, outcomes), len(number))
    won = exchange(levers.after.take(number), levers.square[number], target_square, floor=-1)
    gains = np.where(won > 0, WINS << 6 | target_square, np.where(won < 0, NOTHING, gains))
    return greatest(number, gains, len(levers))


def _if_passed_by(view: View, levers: _Played) -> Squares:
    """What we have if the only target moves on past our pawn; `_NO_ANSWER` if it cannot."""
    stop = shifted(levers.targets, SOUTH) & ~view.occupied[levers.row]
    able = ((count(levers.targets) == 1) & (stop != EMPTY)).nonzero()[0]
    lever, stop = levers.take(able), stop[able]
    row, at = lever.row, BIT[lever.square]
    ours, theirs = view.our_pawns[row] & ~lever.origin | at, view.their_pawns[row] & ~lever.targets | stop
    outcomes = _Outcomes(np.arange(len(row)), row, lever.targets, ours, theirs, np.zeros_like(at))
    gains = _gains(view, outcomes)
    some = (gains == NOTHING).nonzero()[0]
    square = square_of(stop[some])
    passed_by = lever.after.take(some).moved(square_of(lever.targets[some]), square)
    beside = shifted(ours[some], EAST) | shifted(ours[some], WEST)
    attackable = filled_down(pawn_attacks_down(theirs[some]))
    wedge = (at[some] & (RANKS[5] | RANKS[4] & beside) & ~attackable) != EMPTY
    won = capture_gain(passed_by, square, "us", enough=1) > 0
    gains[some] = np.where(won, WINS << 6 | square, np.where(wedge, WEDGE << 6 | lever.square[some], NOTHING))
    result = np.full(len(levers), _NO_ANSWER)
    result[able] = gains
    return result


def _if_given(view: View, levers: _Played) -> Squares:
    """What we have if a target takes the pawn and we cannot take back. With two targets, the lesser gain."""
    number, target = exploded(levers.targets)
    boards = levers.after.take(number).moved(target, levers.square[number])
    behind = _seen_past(boards, target)
    index, square = exploded(PAWN_DOWN[target] & boards.them | behind)
    falls = _falls(boards.take(index), square, levers.taken[number[index]] != NOTHING)
    index, square = index[falls], square[falls]
    kind = np.where((BIT[square] & behind[index]) != EMPTY, BEHIND, UNGUARDED)
    gains = greatest(index, kind << 6 | square, len(number))
    entry = _entry_on_the_seventh(boards, target) & ~view.their_attacks[levers.row[number]]
    enters = ((gains == NOTHING) & (entry != EMPTY)).nonzero()[0]
    gains[enters] = ENTRY << 6 | square_of(entry[enters])
    return _least(number, gains, len(levers))


def _seen_past(boards: Boards, left: Squares) -> Bitboards:
    """The men of theirs that our sliders see past each empty square: at most one on straight lines and one
    on diagonals."""
    found = np.zeros(len(left), dtype=np.uint64)
    for reach, sliders in (
        (rook_reach(left, boards.occupied), boards.straight_sliders),
        (bishop_reach(left, boards.occupied), boards.diagonal_sliders),
    ):
        slider = lowest(reach & sliders & boards.us)
        found |= np.where(
            slider != EMPTY, reach & paired(BEYOND, square_of(slider) & 63, left) & boards.them, EMPTY
        )
    return found


def _falls(boards: Boards, squares: Squares, also: Flags) -> Flags:
    """Whether the man of theirs on each square, which a pawn guarded until now, falls or soon will.

    `also`: whether we have another gain, so that the man may still have a guard.
    """
    result = capture_gain(boards, squares, "us", enough=1) > 0
    theirs = boards.pawns & boards.them
    lone = theirs & ~filled_down(pawn_attacks_down(theirs))
    some = (~result & ((BIT[squares] & lone) != EMPTY)).nonzero()[0]
    men = bearing(boards.take(some), squares[some])
    ours, guards = count(men & boards.us[some]), count(men & boards.them[some])
    short = ((ours >= guards) & (also[some] | (guards == 0))).nonzero()[0]
    some = some[short]
    result[some] = _can_join(boards.take(some), squares[some], men[short])
    return result


def _can_join(boards: Boards, squares: Squares, already: Bitboards) -> Flags:
    """Whether a piece of ours, not in `already`, can attack each square after one safe quiet move."""
    men = men_of(boards, "us")
    men = men.only((men.kind > chess.PAWN) & (men.kind < chess.KING))
    men = men.only((already[men.row] & BIT[men.square]) == EMPTY)
    occupied = boards.occupied[men.row]
    from_there = attack_from(men.kind, squares[men.row], occupied & ~BIT[men.square], "us")
    man, stop = exploded(from_there & men.attacks & ~occupied)
    row = men.row[man]
    return any_of(row, is_safe(boards.take(row), men.square[man], stop), len(boards))


def _entry_on_the_seventh(boards: Boards, left: Squares) -> Bitboards:
    """The square of the seventh rank that our rook below the empty square `left` sees on its file."""
    on_file = rook_reach(left, boards.occupied) & FILES[left & 7]
    rook = on_file & boards.rooks & boards.us & filled_down(BIT[left])
    return np.where(rook != EMPTY, on_file & RANKS[6] & ~boards.occupied, EMPTY)


def pawn_lever(view: View) -> Findings:
    """Levers that cost nothing, or a pawn for a gain, and bring a gain whatever they answer."""
    levers = _worth_trying(view)
    given = (levers.value < 0).nonzero()[0]
    levers.taken[given] = _if_given(view, levers.take(given))
    levers = levers.only(levers.taken != NOTHING)
    levers = replace(levers, left=_if_left(view, levers))
    levers = levers.only(levers.left != NOTHING)
    levers = replace(levers, passed_by=_if_passed_by(view, levers))
    levers = levers.only(levers.passed_by != NOTHING)
    # The capture of a pawn that is given is the only gain that they may have.
    levers = levers.only(threatened(reversed_sides(levers.after), -levers.value) == 0)
    levers = levers.only(_holds_if_taken(levers))
    passed_by = np.where(levers.passed_by == _NO_ANSWER, NOTHING, levers.passed_by)
    detail = levers.taken | levers.left << _BITS | passed_by << 2 * _BITS
    return findings(levers.row, levers.origin, levers.targets, BIT[levers.square], detail)


def _holds_if_taken(levers: _Played) -> Flags:
    """Whether a man of ours can take back whichever target takes, so that they can win nothing then."""
    number, target = exploded(np.where(levers.value < 0, EMPTY, levers.targets))
    at = levers.square[number]
    taken = levers.after.take(number).moved(target, at)
    capture, taker = exploded(attackers(taken, at) & taken.us)
    boards = taken.take(capture).moved(taker, at[capture])
    safe = threatened(reversed_sides(boards), np.zeros(len(taker), dtype=np.int64)) == 0
    held = any_of(capture, safe, len(number))
    return ~any_of(number, ~held, len(levers))


def _answers(instance: Instance) -> Iterator[tuple[str, int, chess.Square]]:
    """The target's answers, each with the kind of the gain and its square on the real board."""
    for place, answer in enumerate(("takes", "stays", "goes on")):
        gain = instance.detail >> place * _BITS & _NO_ANSWER - 1
        if gain:
            square = gain & 63
            yield answer, gain >> 6, square if instance.side == chess.WHITE else chess.square_mirror(square)


def _tell(instance: Instance) -> str:
    board, side = instance.board, wording.side_name(instance.side)
    pawn, targets = wording.named(board, min(instance.actors)), wording.men(board, instance.targets)
    square = wording.squares(instance.squares)
    answers = list(_answers(instance))
    gains: dict[tuple[int, chess.Square], list[str]] = {(kind, place): [] for _, kind, place in answers}
    for answer, kind, place in answers:
        gains[kind, place].append(answer)
    if any(kind in (UNGUARDED, BEHIND, ENTRY) for kind, _ in gains):
        text = f"{side} can offer {pawn}: from {square} it hits {targets}"
    else:
        text = f"{pawn} can go to {square} and hit {targets}"
    it = "it" if len(instance.targets) == 1 else "one of them"
    if len(gains) == 1:
        ((kind, place),) = gains
        them = wording.side_name(not instance.side)
        ending = f"whichever way {them} answers, {_gain(instance, kind, place)}"
    else:
        ending = "; ".join(
            f"if {it} {' or '.join(ways)}, {_gain(instance, *gain)}" for gain, ways in gains.items()
        )
    return wording.sentence(f"{text}; {ending}")


def _gain(instance: Instance, kind: int, square: chess.Square) -> str:
    board, us = instance.board, instance.side
    side, name = wording.side_name(us), chess.SQUARE_NAMES[square]
    if kind == FILE:
        file = chess.square_file(square)
        heavy = board.pieces(chess.ROOK, us) | board.pieces(chess.QUEEN, us)
        men = heavy & chess.SquareSet(chess.BB_FILES[file])
        return f"the {chess.FILE_NAMES[file]}-file opens for {wording.men(board, men) or 'a rook'}"
    if kind == COVER:
        king = board.king(not us)
        assert king is not None
        return f"{wording.named(board, king)} loses the cover of the pawn on {name}"
    if kind == UNGUARDED and square in instance.squares:
        return f"the pawn that took stands on {name} without a pawn to guard it"
    return {
        WEAK_PAWN: f"no pawn can guard the pawn on {name} any more",
        PASSER: f"{side} has a passed pawn on {name}",
        HOLE: f"no pawn can guard {name} against {side} any more",
        DIAGONAL: f"the diagonal opens for {wording.named(board, square)}",
        WEDGE: f"the pawn on {name} stands where no pawn can attack it",
        WINS: f"it falls on {name}",
        UNGUARDED: f"{wording.named(board, square)} has lost its guard",
        BEHIND: f"{wording.named(board, square)} falls",
        ENTRY: f"a rook enters on {name}",
    }[kind]


MOTIFS = (
    Motif(
        id="pawn-lever",
        title="Pawn lever",
        definition=(
            "A pawn can move to where it and an enemy pawn attack each other, and the move costs nothing, or"
            " a pawn for which a man that the enemy pawn guarded falls or loses its guard. Whether they"
            " take, leave it or pass by, we gain: an open file, a diagonal or a square, a passed pawn, a pawn"
            " of theirs that no pawn can guard, or a breach in the cover of their king."
        ),
        source=(
            "Kmoch, Pawn Power in Chess (the lever); the pawn that is given for a base or a file: common"
            " practice; named from memory"
        ),
        find=pawn_lever,
        tell=_tell,
        taken_up=TakenUp.ACTION,
    ),
)
