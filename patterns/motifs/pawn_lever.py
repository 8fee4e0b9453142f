"""The lever: a pawn move to where our pawn and theirs can take each other, with a file to gain.

The rule. Neither side is a rook ahead, we stay in the game (`patterns.proof.quiet`), and the position is
quiet: we are not in check, no piece is attacked unless a pawn guards it, and nobody wins anything by a
capture. A pawn of ours can go to where it attacks one or two pawns of theirs, the targets, and no pawn of
theirs attacks another one of ours within two files that a pawn guards: there they would rather take. With
their queen on the board, this is neither before our king nor beside it, except on the c- or f-file, and a
king on the d- or e-file must be able to castle with the rook to that file. One of these holds:

- a man of ours stands before a target, our rook is on the file, and the pawn goes beyond our third rank;
- a pawn guards a target, our king is three files away (or they have no queen), and no other pawn of ours is
  attacked;
- on our third rank: pawns guard both the lever and a target, which must fall if it stays, or can go past.

If a target takes and we take back (with a piece only if that loses nothing), a file
must open for a rook: one that stands there, also after castling, or three files from our king one that can
come at once. No pawn that a pawn guards closes it. If they leave it and we take, or if the only target goes
past, we must have such a file, a passed pawn or the target. They have no check that loses nothing.

Or it is our move, and the lever offers a pawn. After the capture a rook or queen falls, two rooks can enter
the seventh rank, or a pawn has lost its last pawn guard (the one that has taken must be attacked; near their
king, or if a file opens when they go past). If they leave it, a target must fall or a pawn be passed. They
can go past only to our gain: also if no pawn can attack our pawn on its sixth rank, or on its fifth with a
neighbour. The look ahead (`patterns.proof.lookahead`) decides whether a lever loses anything else.

A hit: f4. Whether Black takes or waits, the f-file opens for the rook. He cannot go past, because e4 is held.

>>> from patterns.detect import find_in
>>> lever = "2nr2k1/pp3ppp/3p4/4p3/4P3/2N1B3/PPP2PPP/5RK1 w - - 0 1"
>>> find_in([chess.Board(lever)], MOTIFS)[0][0].note
'With f2-f4 White hits the pawn on e5: whichever way Black answers, the f-file opens for the rook on f1.'

A near miss: without the rook, nobody can use the file.

>>> find_in([chess.Board(lever.replace("5RK1", "6K1"))], MOTIFS)[0]
[]

Roles. Actors: the pawn. Targets: the pawns that it hits. Squares: the lever square.
"""

from __future__ import annotations

from dataclasses import dataclass

import chess
import numpy as np

from patterns.boards import bitboards as bits
from patterns.boards.bitboards import (
    BIT,
    EMPTY,
    FILES,
    PAWN_DOWN,
    PAWN_UP,
    RANKS,
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
    shifted,
    square_of,
)
from patterns.boards.castling import castlings
from patterns.boards.exchange import capture_gain, exchange, loses_nothing
from patterns.boards.grouping import any_of, greatest, united
from patterns.boards.legal import checks
from patterns.boards.moves import Moves, pawn_steps
from patterns.boards.tables import Table
from patterns.boards.view import View, reversed_sides
from patterns.motifs.findings import Instance, Motif
from patterns.proof.claims import Claims, claims
from patterns.proof.gains import threatened, wins
from patterns.proof.quiet import lead, stays_in_the_game
from patterns.words import wording

NO_ANSWER, FILE, PASSER, FALLS, WEDGE, BASE, ENTRY, NOTHING = range(8)
"""What an answer leaves us, best first. A gain is this number times 64, plus a square."""
_BITS = 9
"""The bits of a gain. `detail` holds three: if they take, if they leave it, if they go past."""
_NOTHING = NOTHING << 6
_DECIDED = 5
"""With a lead of so many pawns the game is decided, and nobody needs a lever."""
_AWAY = np.array(
    [sum(chess.BB_FILES[f] for f in range(8) if abs(f - king) > 2) for king in range(8)], np.uint64
)
"""By the file of our king: the files at least three away."""


@dataclass(frozen=True)
class _Levers(Table):
    """Pawn moves that hit `targets`, pawns of theirs. `offers`: whether the move gives a pawn by exchange."""

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


def _castled(view: View) -> Bitboards:
    """Where a rook of ours would stand after castling."""
    moved = castlings(view.boards)
    return united(moved.row, moved.after.rooks & moved.after.us, len(view)) & ~view.our(chess.ROOK)


def _quiet(view: View) -> Flags:
    """Whether we are not in check and no piece of either side is attacked, unless a pawn guards it."""
    attacked = view.us & view.their_attacks & ~view.our_pawn_attacks
    attacked |= view.them & view.our_attacks & ~view.their_pawn_attacks
    return ((attacked & ~view.boards.pawns & ~view.boards.kings) == EMPTY) & ~view.in_check


def _contacts(view: View) -> _Levers:
    """The pawn moves in quiet positions that hit a pawn, do not bare our king, and may bring a gain."""
    squares = pawn_steps(view.our_pawns, view.boards, "us") & pawn_attacks_down(view.their_pawns)
    row, square = exploded(np.where(_quiet(view), squares, EMPTY))
    at, file, ours, king = BIT[square], FILES[square & 7], view.our_pawns[row], view.our(chess.KING)[row]
    one, rank = at >> np.uint64(8), square >> 3
    origin = np.where((one & ours) != EMPTY, one, one >> np.uint64(8))
    targets, queens = PAWN_UP[square] & view.their_pawns[row], view.their(chess.QUEEN)[row] != EMPTY
    bare = (file & (filled_files(king) | neighbour_files(king)) & ~FILES[2] & ~FILES[5]) != EMPTY
    bare |= ((king & bits.CENTRE) != EMPTY) & ((file & filled_files(view.once(_castled)[row])) == EMPTY)
    pinned = ((view.our_pinned[row] & origin) != EMPTY) & ((file & king) == EMPTY)
    fixed = (targets & shifted(view.us[row], bits.NORTH)) != EMPTY
    fixed &= (rank > 2) & ((view.our(chess.ROOK)[row] & file) != EMPTY)
    chain = (targets & view.their_pawn_attacks[row]) != EMPTY
    away = ((file & _AWAY[view.our_king[row] & 7]) != EMPTY) | ~queens
    away &= chain & ((ours & view.their_attacks[row] & ~origin) == EMPTY)
    third = chain & (rank == 2) & ((view.our_pawn_attacks[row] & at) != EMPTY)
    rooks = view.our_attacks_of[chess.ROOK][row] | view.our_attacks_of[chess.QUEEN][row]
    offer = view.boards.our_move[row] & ((rank > 3) | ((rooks & targets) != EMPTY))
    chained = ours & view.our_pawn_attacks[row] & ~origin & ~_AWAY[square & 7]
    tension = (chained & view.their_pawn_attacks[row]) != EMPTY
    some = np.flatnonzero((fixed | away | third | offer) & ~pinned & ~(bare & queens) & ~tension)
    row, origins, square = row[some], square_of(origin[some]), square[some]
    cost = exchange(view.boards.take(row), origins, square, floor=-2)
    useful = np.where(cost == -1, offer[some], (cost == 0) & (fixed | away | third)[some])
    return _Levers(row, origins, square, targets[some], cost == -1).only(useful)


def _passed(ours: Bitboards, theirs: Bitboards) -> Bitboards:
    return ours & ~filled_down(shifted(theirs | ours, bits.SOUTH) | pawn_attacks_down(theirs))


def _gains(view: View, outcomes: _Outcomes) -> Squares:
    """What each outcome leaves us: a file, a passed pawn or nothing."""
    row, ours, theirs = outcomes.row, outcomes.ours, outcomes.theirs
    comes = view.our_attacks_of[chess.ROOK] & ~view.occupied & ~view.their_attacks & RANKS[0]
    rooks = view.our(chess.ROOK) | view.once(_castled) | comes & _AWAY[view.our_king & 7]
    had, had_theirs = filled_files(view.our_pawns[row]), filled_files(view.their_pawns[row])
    opened = ~filled_files(ours) & (had | had_theirs & ~filled_files(theirs)) & filled_files(rooks[row])
    opened &= ~filled_files(theirs & pawn_attacks_down(theirs) & ~bits.pawn_attacks_up(ours))
    held = opened & filled_files(view.our(chess.ROOK)[row])
    opened = np.where(held != EMPTY, held, opened)
    passed = _passed(ours, theirs) & ~_passed(view.our_pawns[row], view.their_pawns[row])
    passed &= bits.ADVANCED_RANKS & (view.our_attacks | ~view.their_attacks)[row]
    gains = np.where(passed != EMPTY, PASSER << 6 | square_of(passed), _NOTHING)
    return np.where(opened != EMPTY, FILE << 6 | square_of(opened & RANKS[0]), gains)


def _best(numbers: Rows, gains: Squares, size: int) -> Squares:
    """The best gain of each question, where the choice is ours; `greatest` is the worst one."""
    return _NOTHING - greatest(numbers, _NOTHING - gains, size)


def _if_taken(view: View, levers: _Levers) -> Squares:
    """What we have if a target takes the pawn, and we take back as we like. Only a file counts."""
    number, target = exploded(levers.targets)
    row, at = levers.row[number], BIT[levers.square[number]]
    ours, theirs = view.our_pawns[row] & ~BIT[levers.origin[number]], view.their_pawns[row] & ~BIT[target]
    behind = view.our_piece_attacks[0] | filled_up(view.our(chess.ROOK) | view.our(chess.QUEEN))
    piece = np.flatnonzero(behind[row] & at)
    piece = piece[_retakes(view, levers, number[piece], target[piece])]
    taken, pawn = exploded(PAWN_DOWN[levers.square[number]] & ours)
    by_piece = _Outcomes(piece, row[piece], ours[piece], theirs[piece])
    by_pawn = _Outcomes(taken, row[taken], ours[taken] & ~BIT[pawn] | at[taken], theirs[taken])
    outcomes = _Outcomes.joined(by_piece, by_pawn)
    gains = _best(outcomes.number, _gains(view, outcomes), len(number))
    return greatest(number, np.where(gains >> 6 == FILE, gains, _NOTHING), len(levers))


def _retakes(view: View, levers: _Levers, number: Rows, targets: Squares) -> Flags:
    """Whether a piece of ours can take each target back on the lever square, and loses nothing by it."""
    square = levers.square[number]
    taken = view.boards.take(levers.row[number]).moved(levers.origin[number], square).moved(targets, square)
    ours, theirs = PAWN_DOWN[square] & taken.us & taken.pawns, PAWN_UP[square] & taken.them & taken.pawns
    # As many pawns on both sides trade each other off before a piece takes.
    off = ours | np.where(count(ours) == count(theirs), theirs, EMPTY)
    return capture_gain(taken.without(off), square, "us", enough=1) > 0


def _if_we_take(view: View, row: Rows, square: Squares, ours: Bitboards, theirs: Bitboards) -> Squares:
    """What we have if a pawn, left out of `ours`, takes on `square`, and they take back as they like."""
    guards = PAWN_UP[square] & theirs
    taken, pawn = exploded(guards)
    piece = np.flatnonzero((guards == EMPTY) | ((view.their_piece_attacks[0][row] & BIT[square]) != EMPTY))
    by_pawn = _Outcomes(taken, row[taken], ours[taken], theirs[taken] & ~BIT[pawn])
    by_piece = _Outcomes(piece, row[piece], ours[piece], theirs[piece] & ~BIT[square[piece]])
    outcomes = _Outcomes.joined(by_pawn, by_piece)
    return greatest(outcomes.number, _gains(view, outcomes), len(row))


def _if_left(view: View, levers: _Levers) -> Squares:
    """What we have if they leave the targets alone and we take one."""
    number, target = exploded(levers.targets)
    lever = levers.take(number)
    ours, theirs = view.our_pawns[lever.row] & ~BIT[lever.origin], view.their_pawns[lever.row]
    gains = _if_we_take(view, lever.row, target, ours, theirs)
    after = view.boards.take(lever.row).moved(lever.origin, lever.square)
    won = exchange(after, lever.square, target, floor=-1)
    gains = np.where(won > 0, FALLS << 6 | target, np.where(won < 0, _NOTHING, gains))
    return greatest(number, gains, len(levers))


def _if_passed_by(view: View, levers: _Levers) -> Squares:
    """What we have if the only target goes past our pawn and hits no piece; `NO_ANSWER` if it cannot go."""
    free = shifted(levers.targets, bits.SOUTH) & ~view.occupied[levers.row]
    able = np.flatnonzero((count(levers.targets) == 1) & (free != EMPTY))
    lever, stop = levers.take(able), square_of(free[able])
    row, at, target = lever.row, BIT[lever.square], lever.targets
    ours, theirs = view.our_pawns[row] & ~BIT[lever.origin] | at, view.their_pawns[row] & ~target | BIT[stop]
    after = view.boards.take(row).moved(lever.origin, lever.square).moved(square_of(target), stop)
    gains = _gains(view, _Outcomes(able, row, ours, theirs))
    firm = RANKS[5] | RANKS[4] & (shifted(ours, bits.EAST) | shifted(ours, bits.WEST))
    wedge = (at & firm & ~filled_down(pawn_attacks_down(theirs))) != EMPTY
    gains = np.where((gains == _NOTHING) & wedge, WEDGE << 6 | lever.square, gains)
    takes, pawn = exploded(PAWN_DOWN[stop] & ours)
    even = loses_nothing(after.take(takes), pawn, stop[takes])
    takes, pawn = takes[even], pawn[even]
    taking = _if_we_take(view, row[takes], stop[takes], ours[takes] & ~BIT[pawn], theirs[takes])
    gains = np.minimum(gains, _best(takes, taking, len(able)))
    gains[(PAWN_DOWN[stop] & view.us[row] & ~view.boards.pawns[row]) != EMPTY] = _NOTHING
    falls = (gains == _NOTHING) & (capture_gain(after, stop, "us", enough=1) > 0)
    result = np.zeros(len(levers), dtype=np.int64)
    result[able] = np.where(falls, FALLS << 6 | stop, gains)
    return result


def _if_given(view: View, levers: _Levers) -> Squares:
    """What we have if a target takes the pawn and we cannot take back."""
    number, target = exploded(levers.targets)
    row, at, file = levers.row[number], levers.square[number], FILES[target & 7]
    boards = view.boards.take(row).moved(levers.origin[number], at).moved(target, at)
    theirs, rooks = boards.pawns & boards.them, boards.rooks & boards.us & file
    enters = file & RANKS[6] & ~boards.occupied & ~view.their_attacks[row]
    free = (boards.occupied & file & ~rooks & filled_up(bits.lowest(rooks))) == EMPTY
    gains = np.where((count(rooks) > 1) & free & (enters != EMPTY), ENTRY << 6 | square_of(enters), _NOTHING)
    loose = theirs & ~filled_down(pawn_attacks_down(theirs)) & (PAWN_DOWN[target] | BIT[at])
    guarded, hit = view.their_piece_attacks.take(row, axis=1), view.our_attacks[row]
    loose &= ~guarded[0] & ~BIT[at] | hit & ~guarded[1]
    gains = np.where(loose != EMPTY, BASE << 6 | square_of(loose), gains)
    nothing = np.zeros(len(number), dtype=np.int64)
    entry, square, _ = wins(boards, nothing + 3, nothing + 4)
    return greatest(number, np.minimum(gains, _best(entry, FALLS << 6 | square, len(number))), len(levers))


def pawn_lever(view: View) -> Claims:
    """Levers that bring a gain whatever they answer."""
    levers = _contacts(view)
    left = _if_left(view, levers)
    levers, left = levers.only(left < _NOTHING), left[left < _NOTHING]
    taken = np.full(len(levers), _NOTHING)
    for offers, gain in ((False, _if_taken), (True, _if_given)):
        some = np.flatnonzero(levers.offers == offers)
        taken[some] = gain(view, levers.take(some))
    past = _if_passed_by(view, levers)
    good = (taken < _NOTHING) & (past < _NOTHING)
    good &= (levers.square >> 3 > 2) | (left >> 6 == FALLS) | (past > NO_ANSWER)
    real = (left >> 6 == FALLS) | (left >> 6 == PASSER) | (taken >> 6 == FALLS)
    good &= ~levers.offers | real & (past > NO_ANSWER)
    near = filled_files(view.their(chess.KING)) | neighbour_files(view.their(chess.KING))
    near = (near & ~view.their_piece_attacks[0])[levers.row] & BIT[levers.square]
    good &= (taken >> 6 != BASE) | (near != EMPTY) | (past >> 6 == FILE)
    levers, detail = levers.only(good), (taken | left << _BITS | past << 2 * _BITS)[good]
    calm = _calm(view, levers)
    levers, detail = levers.only(calm), detail[calm]
    moves = Moves(levers.row, levers.origin, levers.square)
    # A pawn that is given for an attack on another one comes back later than we look ahead.
    least = -levers.offers.astype(np.int64)
    return claims(moves, BIT[levers.origin], levers.targets, BIT[levers.square], least=least, detail=detail)


def _calm(view: View, levers: _Levers) -> Flags:
    """Whether nothing is decided or won by a capture, and a lever without offer allows no sound check."""
    boards, nothing = view.boards.take(levers.row), np.zeros(len(levers), dtype=np.int64)
    calm = (np.abs(lead(boards)) < _DECIDED) & stays_in_the_game(view, levers.row)
    calm &= (threatened(boards, nothing) == 0) & (threatened(reversed_sides(boards), nothing) == 0)
    after = reversed_sides(boards.moved(levers.origin, levers.square))
    given = checks(after)
    sound = loses_nothing(after.take(given.row), given.origin, given.square)
    return calm & (levers.offers | ~any_of(given.row, sound, len(levers)))


_TOLD = {
    PASSER: "{side} has a passed pawn on {square}",
    FALLS: "{man} falls",
    WEDGE: "no pawn can attack the pawn on {square}",
    BASE: "no pawn guards the pawn on {square} any more",
    ENTRY: "a rook can enter on {square}",
}


def _tell(instance: Instance) -> str:
    board, us = instance.board, instance.side
    ways: dict[str, list[str]] = {}
    for place, answer in enumerate(("takes", "stays", "goes past")):
        kind, square = divmod(instance.detail >> place * _BITS & (1 << _BITS) - 1, 64)
        if kind:
            ways.setdefault(_gain(instance, kind, square if us else square ^ 56), []).append(answer)
    offers = instance.detail >> 6 & 7 != FILE
    move = f"{chess.SQUARE_NAMES[min(instance.actors)]}-{wording.squares(instance.squares)}"
    text = f"With {move} {wording.side_name(us)} {'offers a pawn and ' * offers}hits"
    text += f" {wording.men(board, instance.targets)}: "
    if len(ways) == 1:
        return f"{text}whichever way {wording.side_name(not us)} answers, {min(ways)}."
    it = "it" if len(instance.targets) == 1 else "one of them"
    branches = [f"if {it} {' or '.join(answers)}, {gain}" for gain, answers in ways.items()]
    return f"{text}{'; '.join(branches[:2])}."


def _gain(instance: Instance, kind: int, square: chess.Square) -> str:
    board, us, name = instance.board, instance.side, chess.SQUARE_NAMES[square]
    if kind == FILE:
        rooks = board.pieces(chess.ROOK, us) & chess.SquareSet(chess.BB_FILES[square & 7])
        return f"the {name[0]}-file opens for {wording.men(board, rooks) or 'a rook'}"
    man = wording.named(board, square) if board.piece_at(square) else f"the pawn on {name}"
    return _TOLD[kind].format(side=wording.side_name(us), man=man, square=name)


MOTIFS = (
    Motif(
        id="pawn-lever",
        title="Pawn lever",
        definition=(
            "In a quiet position where nobody is a rook ahead, no passed pawn is about to become a queen and"
            " we are not a piece behind, a pawn can go to where it and an enemy pawn"
            " can take each other, and loses nothing; no guarded pawn beside it is in contact already. If"
            " they take, a file opens for our rook. If they leave it or go past, a file opens, a pawn is"
            " passed or theirs falls. Or it offers a pawn, for which another one loses its guard, two rooks"
            " enter or a man falls."
        ),
        source=(
            "Kmoch, Pawn Power in Chess (the lever); the pawn that is given for a base or a file: common"
            " practice; named from memory"
        ),
        find=pawn_lever,
        tell=_tell,
    ),
)
