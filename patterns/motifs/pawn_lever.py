"""The lever: a pawn move to where our pawn and theirs can take each other."""

from __future__ import annotations

from dataclasses import dataclass

import chess
import numpy as np

from patterns.boards.attacks import attack_from, men_of
from patterns.boards.bitboards import (
    ADVANCED_RANKS,
    BEYOND,
    BETWEEN,
    BIT,
    CENTRE,
    EAST,
    EMPTY,
    FILES,
    KINGSIDE,
    MIDDLE_FILES,
    PAWN_DOWN,
    PAWN_UP,
    QUEENSIDE,
    RANKS,
    RIM_FILES,
    SOUTH,
    THEIR_HOME,
    OUR_HOME,
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
    rook_reach,
    NORTH,
    king_ring,
    lowest,
    pawn_attacks_down,
    pawn_attacks_up,
    shifted,
    square_of,
)
from patterns.boards.exchange import capture_gain, exchange, is_safe
from patterns.boards.grouping import any_of, greatest
from patterns.boards.moves import Moves, pawn_steps
from patterns.boards.pressure import bearing
from patterns.boards.tables import Table
from patterns.boards.view import View, reversed_sides
from patterns.boards.castling import WINGS
from patterns.motifs.findings import Instance, Motif
from patterns.proof.claims import Claims, claims
from patterns.proof.lookahead import threatened, wins
from patterns.words import wording

NO_ANSWER, FILE, WEAK, PASSER, REACHED, HOLE, DIAGONAL, COVER, FALLS, WEDGE, UNGUARDED, NOTHING = range(12)
_BITS = 10
_NOTHING = NOTHING << 6


@dataclass(frozen=True)
class _Levers(Table):
    row: Rows
    origin: Squares
    square: Squares
    targets: Bitboards


@dataclass(frozen=True)
class _Pawns(Table):
    """`number`"""

    number: Rows
    row: Rows
    moved: Bitboards
    ours: Bitboards
    theirs: Bitboards


def _heavy_files(view):
    ours, found = view.boards.castling & view.us, view.our(chess.ROOK) | view.our(chess.QUEEN)
    for wing in WINGS:
        free = (view.occupied & np.uint64(chess.between(chess.E1, wing.rook))) == EMPTY
        found |= np.where(free & ((ours & BIT[wing.rook]) != EMPTY), BIT[wing.rook_to], EMPTY)
    return filled_files(found)


def _cover(view):
    king = view.their(chess.KING) & THEIR_HOME & ~CENTRE
    return filled_files(king | shifted(king, EAST) | shifted(king, WEST)) & ~RANKS[2]


def _contacts(view: View) -> _Levers:
    squares = pawn_steps(view.our_pawns, view.boards, "us") & pawn_attacks_down(view.their_pawns)
    row, square = exploded(np.where(view.in_check, EMPTY, squares))
    ours, theirs, at = view.our_pawns[row], view.their_pawns[row], BIT[square]
    origin = np.where((at >> np.uint64(8) & ours) != EMPTY, at >> np.uint64(8), at >> np.uint64(16))
    targets = PAWN_UP[square] & theirs
    fixed = shifted(targets, SOUTH) & view.occupied[row]
    matters = MIDDLE_FILES | view.once(_cover)[row] | pawn_attacks_up(theirs) | shifted(fixed, NORTH)
    king = view.our(chess.KING)[row]
    able = ((view.our_pinned[row] & origin) == EMPTY) | ((FILES[square & 7] & king) != EMPTY)
    centre = ((king & CENTRE) != EMPTY) & (view.their(chess.QUEEN)[row] != EMPTY)
    bare = centre & ((view.boards.castling[row] & view.us[row]) == EMPTY)
    some = np.flatnonzero(able & ((targets & matters) != EMPTY) & ~bare)
    return _Levers(row[some], square_of(origin[some]), square[some], targets[some])


def _calm(view, levers):
    boards = view.boards.take(levers.row)
    nothing = np.zeros(len(levers), dtype=np.int64)
    ours = threatened(boards, nothing) == 0
    return ours & (threatened(reversed_sides(boards), nothing) == 0)


def _passed(ours, theirs):
    return ours & ~filled_down(shifted(theirs | ours, SOUTH) | pawn_attacks_down(theirs))


def _gains(view, pawns: _Pawns):
    row, ours, theirs = pawns.row, pawns.ours, pawns.theirs
    guarded, guarded_twice, guarded_thrice = view.their_piece_attacks.take(row, axis=1)
    hit, hit_twice, _ = view.our_piece_attacks.take(row, axis=1)
    up, down = pawn_attacks_up(ours), pawn_attacks_down(theirs)
    span, before = filled_down(down), view.their_pawn_span[row]
    heavy = view.once(_heavy_files)[row]
    goes = filled_files((view.our_attacks_of[chess.ROOK] & ~view.occupied & ~view.their_attacks & RANKS[0])[row])
    had = filled_files(view.our_pawns[row])
    newly = ~filled_files(ours) & (had | filled_files(view.their_pawns[row]) & ~filled_files(theirs))
    newly &= ~filled_files(theirs & down & ~up)
    hit_twice = hit_twice | hit & up
    hit = hit | up
    fixed = shifted(ours | theirs, NORTH) | up << np.uint64(8)
    outnumbered = hit & ~guarded | hit_twice & ~guarded_twice
    weak = theirs & ~span & (before | ~view.their_pawns[row]) & (outnumbered | hit & ~guarded_twice & fixed | hit_twice & ~guarded_thrice & fixed)
    passed = _passed(ours, theirs) & ~_passed(view.our_pawns[row], view.their_pawns[row]) & ADVANCED_RANKS
    passed &= ~guarded | hit
    holes = before & ~span & (RANKS[3] | RANKS[4] | RANKS[5]) & ~RIM_FILES & up & ~ours & ~theirs
    holes &= view.our_attacks_of[chess.KNIGHT][row] | view.our(chess.KNIGHT)[row]
    cover = view.once(_cover)[row] & pawns.moved & ~filled_files(theirs)
    cover = np.where(view.our(chess.QUEEN)[row] != EMPTY, cover, EMPTY)
    kinds = (
        (FILE, newly & heavy & RANKS[0]),
        (WEAK, weak),
        (PASSER, passed),
        (REACHED, newly & goes & RANKS[0]),
        (HOLE, holes),
        (COVER, cover),
    )
    result = np.full(len(row), _NOTHING)
    for kind, squares in reversed(kinds):
        some = np.flatnonzero(squares)
        result[some] = kind << 6 | square_of(squares[some])
    return result


def _least(rows, gains, size):
    return _NOTHING - greatest(rows, _NOTHING - gains, size)


def _if_taken(view, levers):
    number, target = exploded(levers.targets)
    lever, target = levers.take(number), BIT[target]
    row, at = lever.row, BIT[lever.square]
    ours, theirs = view.our_pawns[row] & ~BIT[lever.origin], view.their_pawns[row] & ~target
    behind = view.our_piece_attacks[0] | filled_up(view.our(chess.ROOK) | view.our(chess.QUEEN))
    piece = np.flatnonzero(behind[row] & at)
    taken, pawn = exploded(PAWN_DOWN[lever.square] & ours)
    pawns = _Pawns.joined(
        _Pawns(piece, row[piece], target[piece], ours[piece], theirs[piece]),
        _Pawns(taken, row[taken], target[taken], ours[taken] & ~BIT[pawn] | at[taken], theirs[taken]),
    )
    return greatest(number, _least(pawns.number, _gains(view, pawns), len(number)), len(levers))


def _if_we_take(view, row, target, ours, theirs):
    """ours: without our taker. theirs: with target."""
    taken, pawn = exploded(PAWN_UP[square_of(target)] & theirs)
    by_pawn = _Pawns(taken, row[taken], BIT[pawn], ours[taken], theirs[taken] & ~BIT[pawn])
    alone = np.flatnonzero(((PAWN_UP[square_of(target)] & theirs) == EMPTY) | ((view.their_piece_attacks[0][row] & target) != EMPTY))
    by_piece = _Pawns(alone, row[alone], target[alone], ours[alone], theirs[alone] & ~target[alone])
    pawns = _Pawns.joined(by_pawn, by_piece)
    return greatest(pawns.number, _gains(view, pawns), len(row))


def _if_left(view, levers):
    number, target = exploded(levers.targets)
    lever = levers.take(number)
    row = lever.row
    ours, theirs = view.our_pawns[row] & ~BIT[lever.origin], view.their_pawns[row]
    gains = _if_we_take(view, row, BIT[target], ours, theirs)
    after = view.boards.take(row).moved(lever.origin, lever.square)
    won = exchange(after, lever.square, target, floor=-1)
    gains = np.where(won > 0, FALLS << 6 | target, np.where(won < 0, _NOTHING, gains))
    return greatest(number, gains, len(levers))


def _if_passed_by(view, levers):
    stop = shifted(levers.targets, SOUTH) & ~view.occupied[levers.row]
    able = np.flatnonzero((count(levers.targets) == 1) & (stop != EMPTY))
    lever, stop = levers.take(able), stop[able]
    row, at, target = lever.row, BIT[lever.square], lever.targets
    ours, theirs = view.our_pawns[row] & ~BIT[lever.origin] | at, view.their_pawns[row] & ~target | stop
    gains = _gains(view, _Pawns(able, row, target, ours, theirs))
    tempo = (pawn_attacks_down(stop) & view.us[row] & ~view.boards.pawns[row]) != EMPTY
    gains[tempo] = _NOTHING
    beside = shifted(ours, EAST) | shifted(ours, WEST)
    wedge = (at & (RANKS[5] | RANKS[4] & beside) & ~filled_down(pawn_attacks_down(theirs))) != EMPTY
    gains = np.where((gains == _NOTHING) & wedge, WEDGE << 6 | lever.square, gains)
    after = view.boards.take(row).moved(lever.origin, lever.square).moved(square_of(target), square_of(stop))
    some = np.flatnonzero(gains == _NOTHING)
    won = capture_gain(after.take(some), square_of(stop[some]), "us", enough=1) > 0
    gains[some[won]] = FALLS << 6 | square_of(stop[some[won]])
    some = np.flatnonzero((gains == _NOTHING) & ~tempo)
    pair, pawn = exploded(pawn_attacks_down(stop[some]) & ours[some])
    here = some[pair]
    sound = exchange(after.take(here), pawn, square_of(stop[here]), floor=-1) == 0
    pair, pawn, here = pair[sound], pawn[sound], here[sound]
    taking = _if_we_take(view, row[here], stop[here], ours[here] & ~BIT[pawn], theirs[here])
    gains[some] = _least(pair, taking, len(some))
    result = np.zeros(len(levers), dtype=np.int64)
    result[able] = gains
    return result


def _if_given(view, levers):
    number, target = exploded(levers.targets)
    lever = levers.take(number)
    row, at = lever.row, BIT[lever.square]
    boards = view.boards.take(row).moved(lever.origin, lever.square).moved(target, lever.square)
    theirs = view.their_pawns[row] & ~BIT[target] | at
    loose = theirs & ~filled_down(pawn_attacks_down(theirs)) & (PAWN_DOWN[target] | at)
    index, square = exploded(loose)
    falls = _can_be_won(boards.take(index), square)
    gains = _least(index[falls], UNGUARDED << 6 | square[falls], len(number))
    some = np.flatnonzero(gains == _NOTHING)
    nothing = np.zeros(len(some), dtype=np.int64)
    entry, square, _ = wins(boards.take(some), nothing, nothing + 1)
    gains[some] = _least(entry, FALLS << 6 | square, len(some))
    on_file = rook_reach(target, boards.occupied) & FILES[target & 7]
    rook = on_file & boards.rooks & boards.us & filled_down(BIT[target])
    enters = (rook != EMPTY) & ((on_file & RANKS[6] & ~boards.occupied & ~view.their_attacks[row]) != EMPTY)
    gains = np.where((gains == _NOTHING) & enters, REACHED << 6 | target, gains)
    return greatest(number, gains, len(levers))


def _can_be_won(boards, squares):
    """Whether"""
    men = bearing(boards, squares)
    ours, guards = men & boards.us, count(men & boards.them)
    pieces = men_of(boards, "us")
    pieces = pieces.only((pieces.kind > chess.PAWN) & (pieces.kind < chess.KING) & ((ours[pieces.row] & BIT[pieces.square]) == EMPTY))
    occupied = boards.occupied[pieces.row]
    stops = attack_from(pieces.kind, squares[pieces.row], occupied & ~BIT[pieces.square], "us") & pieces.attacks & ~occupied
    man, stop = exploded(stops)
    row = pieces.row[man]
    joins = any_of(row, is_safe(boards.take(row), pieces.square[man], stop), len(boards))
    return (count(ours) >= guards) & (count(ours) + joins > guards)


def pawn_lever(view: View) -> Claims:
    levers = _contacts(view)
    before = view.boards.take(levers.row)
    value = exchange(before, levers.origin, levers.square, floor=-2)
    levers, value = levers.only(value >= -1), value[value >= -1].clip(max=0)
    taken = _if_taken(view, levers)
    offered = np.flatnonzero(value < 0)
    taken[offered] = _if_given(view, levers.take(offered))
    good = np.flatnonzero(taken != _NOTHING)
    levers, value, taken = levers.take(good), value[good], taken[good]
    left = _if_left(view, levers)
    good = np.flatnonzero(left != _NOTHING)
    levers, value, taken, left = levers.take(good), value[good], taken[good], left[good]
    passed = _if_passed_by(view, levers)
    good = np.flatnonzero((passed != _NOTHING))
    levers, value, taken, left, passed = levers.take(good), value[good], taken[good], left[good], passed[good]
    calm = _calm(view, levers)
    levers, value, taken, left, passed = levers.only(calm), value[calm], taken[calm], left[calm], passed[calm]
    detail = taken | left << _BITS | passed << 2 * _BITS
    moves = Moves(levers.row, levers.origin, levers.square)
    value = np.where(taken >> 6 == FALLS, 0, value)
    return claims(moves, BIT[levers.origin], levers.targets, BIT[levers.square], least=value, detail=detail)


def _tell(instance: Instance) -> str:
    parts = []
    for place, answer in enumerate(("takes", "stays", "past")):
        gain = instance.detail >> place * _BITS & (1 << _BITS) - 1
        if gain:
            square = gain & 63
            square = square if instance.side == chess.WHITE else chess.square_mirror(square)
            kind = "NO_ANSWER, FILE, WEAK, PASSER, REACHED, HOLE, DIAGONAL, COVER, FALLS, WEDGE, UNGUARDED, NOTHING".split(", ")[gain >> 6]
            parts.append(f"{answer}:{kind}:{chess.SQUARE_NAMES[square]}")
    return wording.sentence(f"{chess.SQUARE_NAMES[min(instance.actors)]} {wording.squares(instance.squares)} {' '.join(parts)}")


MOTIFS = (
    Motif(
        id="pawn-lever",
        title="Pawn lever",
        definition="x",
        source="Kmoch",
        find=pawn_lever,
        tell=_tell,
    ),
)
