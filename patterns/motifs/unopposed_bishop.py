"""The bishop without an opponent: an attack on squares of a colour that nothing else holds.

The rule. We have a bishop of a colour. They have no bishop of this colour, or only one that is shut in: it
has at most one move, even if its pawns that can advance did so and its pieces made room, is no longer on its
first square, and neither stands on one of the squares below nor guards one. No minor piece of theirs attacks
our bishop, no two pieces of theirs or more attack squares by our king unless as many of ours attack squares
by theirs, and the position is calm (`patterns.proof.quiet`). Our bishop is not blunted: blunted means that
every line forward ends at a pawn of theirs that a pawn guards. An attack needs men: queens on, or one queen,
four pieces each and their king still on its first two ranks. If it is their move, their queen does not attack
ours. Within two king steps of their king, on their own third and fourth ranks, at least two squares of that
colour are weak: a pawn of theirs can never guard them. Or they would be without one single pawn there, which
alone holds the colour.

Our bishop, or our queen in front of it or behind it on its line, hits one of these squares where no pawn of
ours stands, or the single pawn. Or the bishop will after one safe move of its own, if there is a single pawn
or another piece of ours attacks one of the squares, or of a man of ours before it (which need not be safe if
it opens the line to the king). A single pawn must give way: we attack it along the bishop's line, it is
pinned, or a pawn of ours hits it, now or after one step.

A hit of each: the pawn on g6 no longer guards f6 and h6, the dark bishop is gone, and ours bears on h6. The
pawn on g7 alone holds these squares, and f6 hits it.

>>> from patterns.detect import find_in
>>> holes = "r2q1rk1/pp3p1p/2n1p1p1/3p4/3P4/2P5/PP1Q1PPP/R1B2RK1 w - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(holes)], MOTIFS)[0]]
[('unopposed-bishop', ('c1', 'd2'), ('g8',), ('f6', 'h6'))]
>>> single = "r2q1rk1/pp3ppp/2n5/3p1P2/3P4/2P5/PP1Q2PP/R1B2RK1 w - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(single)], MOTIFS)[0]]
[('unopposed-bishop', ('c1', 'd2', 'f5'), ('g7', 'g8'), ('f6', 'h6'))]

A near miss of each: with their own dark bishop on g7 these squares are guarded. The pawn on f5 is gone.

>>> find_in([chess.Board(holes.replace("pp3p1p", "pp3pbp"))], MOTIFS)[0]
[]
>>> find_in([chess.Board(single.replace("3p1P2", "3p4"))], MOTIFS)[0]
[]

Roles. Actors: the bishop, the man that can open its line, a queen on its line or that attacks one of the
squares, and the men that pin or hit the single pawn. Targets: the king, and the single pawn. Squares: the
weak squares, or those that would be weak without the single pawn; and the entry squares of that colour, which
lie beside the king (also on its second rank), are guarded by no pawn now, and are attacked by the bishop or
by the queen on its line.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.attacks import Men, reach
from patterns.boards.bitboards import (
    BEYOND,
    BISHOP_LINES,
    BIT,
    DARK,
    DIAGONAL,
    EMPTY,
    LIGHT,
    LINE,
    NORTH,
    NORTH_EAST,
    NORTH_WEST,
    RANKS,
    RAYS,
    SOUTH,
    THEIR_HOME,
    ZONE_2,
    Bitboards,
    Flags,
    Rows,
    Squares,
    bishop_reach,
    count,
    exploded,
    filled_down,
    first_on_ray,
    paired,
    pawn_attacks_down,
    shifted,
    square_of,
)
from patterns.boards.exchange import is_safe
from patterns.boards.grouping import any_of, united
from patterns.boards.moves import pawn_steps
from patterns.boards.pressure import men_of_rows
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, TakenUp, findings
from patterns.proof.attack import at_our_king, at_their_king, queens_meet
from patterns.proof.quiet import CALM, is_calm
from patterns.words import wording

_THEIR_THIRD_AND_FOURTH = RANKS[4] | RANKS[5]
_PIECES = 4
"""The fewest pieces of each side for an attack with one queen on the board."""
_ENTRY_RANKS = RANKS[4] | RANKS[5] | RANKS[6]
_BISHOPS_BEGIN = BIT[chess.C8] | BIT[chess.F8]

WEAK, ON_ONE_PAWN = range(2)
"""Whether the squares are weak already, or one pawn still holds them."""


def _colour_of(squares: Squares) -> Bitboards:
    """For each square, all squares of the same colour."""
    return np.where((BIT[squares] & LIGHT) != EMPTY, LIGHT, DARK)


def _active_bishops(view: View) -> Bitboards:
    """Their bishops that are not shut in."""
    theirs = view.as_theirs(view.our_men_of[chess.BISHOP])
    # A pawn that can advance shuts nobody in, nor does a piece.
    can_move = view.their_pawns & shifted(~view.occupied, NORTH) | view.them & ~view.their_pawns
    opened = bishop_reach(theirs.square, (view.occupied & ~can_move)[theirs.row])
    active = count(opened & ~view.them[theirs.row]) > 1
    active |= (BIT[theirs.square] & _BISHOPS_BEGIN) != EMPTY
    return united(theirs.row[active], BIT[theirs.square[active]], len(view))


def _blunted(view: View, ours: Men) -> Flags:
    """Whether every line forward ends at a pawn of theirs that a pawn guards."""
    walls = (view.their_pawns & view.their_pawn_attacks)[ours.row]
    blunted, some = np.ones(len(ours), dtype=np.bool_), np.zeros(len(ours), dtype=np.bool_)
    for direction in (NORTH_EAST, NORTH_WEST):
        ray = RAYS[direction][ours.square]
        first = first_on_ray(ray & view.occupied[ours.row], direction)
        blunted &= (ray == EMPTY) | ((first & walls) != EMPTY)
        some |= ray != EMPTY
    return blunted & some


def _hits_after_a_safe_move(view: View, ours: Men, weak: Bitboards) -> Flags:
    """Whether after one safe move the bishop bears on a weak square (or stands on one)."""
    goes = ours.attacks & ~(view.us | view.their(chess.KING))[ours.row]
    entry, square = exploded(goes)
    bears = bishop_reach(square, view.occupied[ours.row[entry]]) & weak[entry]
    some = np.flatnonzero(bears)
    entry, square = entry[some], square[some]
    safe = is_safe(view.boards.take(ours.row[entry]), ours.square[entry], square)
    return any_of(entry, safe, len(ours))


def _line_openers(view: View, ours: Men, aim: Bitboards) -> tuple[Bitboards, Bitboards]:
    """Our men that stand before each bishop and can leave its line to the aim, and what it attacks then.

    They leave it by a safe move, or give check to the king by leaving it.
    """
    boards = view.boards.take(ours.row)
    which, square = exploded(ours.attacks & boards.us)
    ray, front = paired(BEYOND, ours.square[which], square), BIT[square]
    beyond = bishop_reach(square, boards.occupied[which]) & ray
    useful = np.flatnonzero(beyond & aim[which])
    which, square, front, beyond = which[useful], square[useful], front[useful], beyond[useful]
    here, ray = boards.take(which), paired(LINE, ours.square[which], square)
    kind = here.kind_at(square)
    goes = reach(kind, square, here.occupied, "us") & ~here.us & ~here.kings & ~ray
    pawns = goes & here.them | pawn_steps(front, here, "us")
    man, to = exploded(np.where(kind == chess.PAWN, pawns, goes))
    well = ((beyond & here.kings & here.them) != EMPTY)[man]
    doubtful = np.flatnonzero(~well)
    well[doubtful] = is_safe(here.take(man[doubtful]), square[man[doubtful]], to[doubtful])
    able = np.flatnonzero(any_of(man, well, len(which)))
    return united(which[able], front[able], len(ours)), united(which[able], beyond[able], len(ours))


def _line(view: View, ours: Men, aim: Bitboards) -> tuple[Bitboards, Bitboards]:
    """What each bishop attacks, also through our queen, and the queen if it shares a line to the aim."""
    queens = view.our(chess.QUEEN)[ours.row]
    seen, helper = ours.attacks.copy(), np.zeros(len(ours), dtype=np.uint64)
    for direction in DIAGONAL:
        ray, back = RAYS[direction][ours.square], RAYS[(direction + 4) % 8][ours.square]
        met = ours.attacks & ray & queens
        through = np.flatnonzero(met)
        beyond = np.zeros(len(ours), dtype=np.uint64)
        occupied = view.occupied[ours.row[through]]
        beyond[through] = bishop_reach(square_of(met[through]), occupied) & ray[through]
        seen |= beyond
        helper |= np.where(((beyond | ours.attacks & back) & aim) != EMPTY, met, EMPTY)
    return seen, helper


def _attackable(view: View) -> Flags:
    """Whether the king is a target: with queens on, or at home with many men. Otherwise it is a fighter.

    Where they can trade queens at once, nothing is.
    """
    ours, theirs = ((queens != EMPTY) for queens in (view.our(chess.QUEEN), view.their(chess.QUEEN)))
    home = (view.their(chess.KING) & THEIR_HOME) != EMPTY
    many = np.minimum(view.our_piece_count, view.their_piece_count) >= _PIECES
    traded = view.once(queens_meet) & ~view.boards.our_move
    return (ours & theirs | (ours | theirs) & home & many) & ~traded


def unopposed_bishop(view: View) -> Findings:
    """Bishops that can attack the king on squares of their colour, and that no enemy bishop opposes."""
    ours = view.our_men_of[chess.BISHOP]
    opposed = _active_bishops(view)[ours.row] & _colour_of(ours.square)
    attacked = (view.their_attacks_of[chess.KNIGHT] | view.their_attacks_of[chess.BISHOP])[ours.row]
    safe = ((opposed | attacked & BIT[ours.square]) == EMPTY) & _attackable(view)[ours.row]
    ours = ours.only(safe)
    weak, single = _weak_complex(view, ours)
    # A bishop of theirs on another colour guards none of these squares.
    guarded = (view.their_attacks_of[chess.BISHOP] | view.their(chess.BISHOP))[ours.row]
    some = np.flatnonzero((weak != EMPTY) & ((guarded & weak) == EMPTY))
    some = some[~_blunted(view, ours.take(some))]
    ours, weak, single = ours.take(some), weak[some], single[some]

    aim = (weak | single) & ~view.our_pawns[ours.row]
    seen, queen = _line(view, ours, aim)
    pressing = _pressing(view, ours, single, seen)
    hits = ((seen | BIT[ours.square]) & aim) != EMPTY
    possible = (single == EMPTY) | (pressing != EMPTY)
    later = np.flatnonzero(~hits & possible)
    opener, opened = _line_openers(view, ours.take(later), aim[later])
    # A bishop that has yet to come must not be alone there.
    helped = (view.our_piece_attacks[0][ours.row[later]] & weak[later] | single[later]) != EMPTY
    comes = helped & _hits_after_a_safe_move(view, ours.take(later), aim[later])
    hits[later] = comes | (opener != EMPTY)
    pressing[later] |= opener
    seen[later] |= opened
    some = np.flatnonzero(hits & possible)
    under_fire = view.once(at_our_king) > np.maximum(view.once(at_their_king), 1)
    some = some[~under_fire[ours.row[some]]]
    some = some[is_calm(view, ours.row[some])]
    ours, seen = ours.take(some), seen[some]
    row = ours.row
    entry = seen & view.their_king_zone[row] & _ENTRY_RANKS & ~(view.their_pawn_attacks | view.occupied)[row]
    squares = weak[some] & ~view.our_pawns[row] | entry
    return findings(
        row,
        BIT[ours.square] | queen[some] | pressing[some] | _queens_at(view, row, squares),
        view.their(chess.KING)[row] | single[some],
        squares,
        np.where(single[some] != EMPTY, ON_ONE_PAWN, WEAK),
    )


def _queens_at(view: View, rows: Rows, squares: Bitboards) -> Bitboards:
    """Our queens that attack one of the squares. One board of squares per row."""
    queens = view.our_men_of[chess.QUEEN]
    entry, men = men_of_rows(queens, rows)
    helps = (men.attacks & squares[entry]) != EMPTY
    return united(entry[helps], BIT[men.square[helps]], len(rows))


def _weak_complex(view: View, ours: Men) -> tuple[Bitboards, Bitboards]:
    """For each bishop, the squares of its colour near their king that are weak, at least two, or else none.

    If they would be weak only without one pawn there, the second board has this pawn.
    """
    row, single = ours.row, np.zeros(len(ours), dtype=np.uint64)
    region = (ZONE_2[view.their_king] & _THEIR_THIRD_AND_FOURTH)[row] & _colour_of(ours.square)
    weak = region & ~view.their_pawn_span[row]
    few = np.flatnonzero(count(weak) < 2)
    weak[few] = EMPTY
    cover = (view.their_pawns & ZONE_2[view.their_king])[row[few]] & _colour_of(ours.square[few])
    which, pawn = exploded(cover)
    entry = few[which]
    others = view.their_pawns[row[entry]] & ~BIT[pawn]
    without = region[entry] & ~filled_down(pawn_attacks_down(others))
    alone = np.flatnonzero(count(without) >= 2)
    weak[entry[alone]] = without[alone]
    single[entry[alone]] = BIT[pawn[alone]]
    return weak, single


def _pressing(view: View, ours: Men, single: Bitboards, seen: Bitboards) -> Bitboards:
    """The men that make the single pawn give way. Empty where there are none or there is no such pawn.

    They are the bishop itself where it attacks the pawn, the man that pins it, and our pawns that hit it now
    or after one step.
    """
    row = ours.row
    men: Bitboards = np.where((seen & single) != EMPTY, BIT[ours.square], EMPTY)
    pins = view.their_pins
    for pinned, pinner in zip(pins.pinned, pins.pinner, strict=True):
        men |= np.where((pinned[row] & single) != EMPTY, pinner[row], EMPTY)
    touch = pawn_attacks_down(single)
    return men | view.our_pawns[row] & (touch | shifted(touch & ~view.occupied[row], SOUTH))


def _cover_pawns(board: chess.Board, side: chess.Color, colour: int) -> chess.SquareSet:
    """The pawns near the attacked side's king that still guard squares of the colour near it."""
    king = board.king(not side)
    if king is None:
        return chess.SquareSet()
    return chess.SquareSet(
        pawn
        for pawn in board.pieces(chess.PAWN, not side)
        if chess.square_distance(pawn, king) <= 2 and board.attacks_mask(pawn) & colour & int(ZONE_2[king])
    )


def _tell(instance: Instance) -> str:
    board, king = instance.board, wording.men(instance.board, instance.targets & instance.board.kings)
    bishop = next(square for square in instance.actors if board.piece_type_at(square) == chess.BISHOP)
    light = bool(BIT[bishop] & LIGHT)
    text = (
        f"{wording.named(board, bishop)} has no opponent on the {'light' if light else 'dark'} squares, and"
    )
    if instance.detail == ON_ONE_PAWN:
        pawn = (instance.targets & board.pawns).pop()
        held = instance.squares & board.attacks(pawn)
        text += f" {wording.named(board, pawn)} alone holds {wording.squares(held)} by {king}"
        parts = _ways_against(instance, pawn, bishop)
    else:
        held = chess.SquareSet([square for square in instance.squares if not _guardable(instance, square)])
        text += f" no pawn can ever guard {wording.squares(held)} by {king}"
        cover = _cover_pawns(board, instance.side, int(LIGHT if light else DARK))
        parts = [f"only {wording.men(board, cover)} still holds that colour"] if len(cover) == 1 else []
    if instance.squares - held:
        parts.append(f"no pawn guards {wording.squares(instance.squares - held)} now")
    for man in board.attacks(bishop) & instance.actors - board.queens:
        if BEYOND[bishop, man] & int(instance.squares | instance.targets):
            parts.append(f"{wording.named(board, man)} can open its line")
    for queen in instance.actors & board.queens:
        beyond = BEYOND[bishop, queen] | BEYOND[queen, bishop]
        on_line = bool(BISHOP_LINES[bishop] & BIT[queen]) and bool(beyond & int(instance.squares))
        parts.append(f"{wording.named(board, queen)} helps{' on the diagonal' if on_line else ''}")
    return wording.sentence("; ".join([text, *parts]))


def _ways_against(instance: Instance, pawn: chess.Square, bishop: chess.Square) -> list[str]:
    """What makes the single pawn give way: levers, pins and attacks of the bishop."""
    board, hits = instance.board, chess.SquareSet(chess.BB_PAWN_ATTACKS[not instance.side][pawn])
    levers = [
        square
        for man in instance.actors & board.pawns
        for square in hits & chess.BB_FILES[chess.square_file(man)]
    ]
    pinners = instance.actors & board.attackers(instance.side, pawn) - board.pawns - board.queens
    parts = [f"{chess.SQUARE_NAMES[square]} hits it" for square in levers]
    parts += [f"{wording.named(board, man)} pins it" for man in pinners if man != bishop]
    return parts + (["the bishop attacks it"] if bishop in pinners else [])


def _guardable(instance: Instance, square: chess.Square) -> bool:
    """Whether a pawn of theirs guards the square or can come to guard it."""
    up = 1 if instance.side == chess.WHITE else -1
    return any(
        abs(chess.square_file(pawn) - chess.square_file(square)) == 1
        and (chess.square_rank(pawn) - chess.square_rank(square)) * up > 0
        for pawn in instance.board.pieces(chess.PAWN, not instance.side)
    )


MOTIFS = (
    Motif(
        id="unopposed-bishop",
        title="Bishop without an opponent",
        definition=(
            "The enemy has no bishop of a colour, or only one that is shut in. Near the king no enemy pawn"
            " can ever guard the squares of that colour, or a single one holds them that is attacked, pinned"
            " or hit by a pawn. Our bishop of that colour, or the queen on its line, hits such a square or"
            " this pawn now or after one safe move, and neither guarded pawns blunt it nor a minor piece"
            " attacks it. There are queens enough for an attack, and our own king is not under more fire."
            + CALM
        ),
        source="Pachman, Modern Chess Strategy (weak colour complexes); named from memory",
        find=unopposed_bishop,
        tell=_tell,
        taken_up=TakenUp.ENTRY | TakenUp.ACTION | TakenUp.CAPTURE | TakenUp.AIM,
    ),
)
