"""Double attacks: one safe man that attacks two others profitably, and unguarded men that it hits.

The rule. A man of ours forks two or more men of theirs if it is safe and attacks each profitably: the king,
a man worth more than itself, or one that nobody guards. Safe: where it stands it can be neither won nor
traded evenly. Whatever they reply in one move - a target that leaves with check or takes something, a guard,
a man stepping between - we must still win the exchange at least (`patterns.proof.threats`). Pawns do not
make a fork, and no king makes one here.
It counts as it stands, or, when it is our move and we are not in check, after one move of a man that is not
pinned.

A piece of theirs that nobody guards is loose. It counts when we can take it with profit (and not merely
because a cheaper man attacks it, in a trade it can begin itself, or with a man they can trade first), or when
one safe move of ours hits it together with something else (that is, in a fork).

A hit: the knight comes to c7.

>>> from patterns.detect import find_in
>>> board = chess.Board("r3k3/8/8/3N4/8/8/8/4K3 w q - 0 1")
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([board], MOTIFS)[0]]
[('fork', ('d5',), ('a8', 'e8'), ('c7',)), ('loose-piece', ('d5',), ('a8',), ('c7',))]

A near miss: a bishop on d8 guards c7, so the knight would not be safe there; nor is anything loose.

>>> find_in([chess.Board("r2bk3/8/8/3N4/8/8/8/4K3 w q - 0 1")], MOTIFS)[0]
[]

Roles. Actors: the man that forks, or attacks what is loose. Targets: the men forked, or the loose one.
Squares: where it goes to do so; none if it does already.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import chess
import numpy as np

from patterns.boards.attacks import Men, attackers, reach
from patterns.boards.bitboards import (
    BIT,
    EMPTY,
    KNIGHT_STEPS,
    PAWN_UP,
    SOUTH_EAST,
    SOUTH_WEST,
    Bitboards,
    Flags,
    Rows,
    Squares,
    bishop_reach,
    exploded,
    once_and_twice,
    pawn_attacks_down,
    rook_reach,
    shifted,
)
from patterns.boards.exchange import VALUES, Values, can_win
from patterns.boards.moves import pawn_steps, stands_firm
from patterns.boards.positions import Boards
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, findings
from patterns.motifs.grouped import joined, one_a_deed
from patterns.proof.threats import EXCHANGE, Threats, gone, outlasts
from patterns.words import wording

FORKERS = (chess.PAWN, chess.KNIGHT, chess.BISHOP, chess.ROOK, chess.QUEEN)


@dataclass(frozen=True)
class DoubleAttacks:
    """Men of ours that fork, one way an entry: from where, to where (the same if they do already).

    Of the men attacked `worthier` are king or worth more than the attacker, `loose` those nobody guards.
    """

    row: Rows
    origin: Squares
    destination: Squares
    worthier: Bitboards
    loose: Bitboards

    @property
    def targets(self) -> Bitboards:
        """The men attacked profitably."""
        return self.worthier | self.loose

    def only(self, chosen: Rows) -> DoubleAttacks:
        """The chosen entries."""
        return DoubleAttacks(*(getattr(self, field.name)[chosen] for field in fields(self)))


def _loose(view: View) -> Bitboards:
    """Their pieces that nobody of theirs guards."""
    return view.them & ~view.boards.pawns & ~view.boards.kings & ~view.their_attacks


def _worthier(view: View, kind: chess.PieceType) -> Bitboards:
    """Their king, and their men worth more than one of this kind."""
    boards = view.boards
    worthier = boards.kings
    if kind < chess.QUEEN:
        worthier = worthier | boards.queens
    if kind < chess.ROOK:
        worthier = worthier | boards.rooks
    if kind == chess.PAWN:
        worthier = worthier | boards.knights | boards.bishops
    return view.them & worthier


def _profitable(view: View) -> dict[chess.PieceType, Bitboards]:
    """Their men that a man of ours of each kind attacks profitably."""
    return {kind: _worthier(view, kind) | view.once(_loose) for kind in FORKERS}


def _attack_from(kind: chess.PieceType, squares: Squares, occupied: Bitboards) -> Bitboards:
    """The squares from which a man of ours of this kind attacks each square."""
    if kind == chess.KNIGHT:
        return KNIGHT_STEPS[squares]
    lines = np.zeros(len(squares), dtype=np.uint64)
    if kind != chess.ROOK:
        lines |= bishop_reach(squares, occupied)
    if kind != chess.BISHOP:
        lines |= rook_reach(squares, occupied)
    return lines


def _forking_squares(view: View, kind: chess.PieceType, rows: Rows) -> Bitboards:
    """For each of the rows the squares from which this kind of man, once there, attacks two targets.

    Of pieces only squares they can go to.
    """
    targets = view.once(_profitable)[kind][rows]
    if kind == chess.PAWN:
        return _below_two(targets)
    entry, square = exploded(targets)
    goes = view.our_attacks_of[kind] & ~view.us
    seen = _attack_from(kind, square, view.occupied[rows[entry]]) & goes[rows[entry]]
    some = np.flatnonzero(seen != EMPTY)
    some = some[_repeated(entry[some])]
    _, twice = once_and_twice(entry[some], seen[some], len(rows))
    return twice


def _below_two(targets: Bitboards) -> Bitboards:
    """The squares from which a pawn of ours attacks two targets."""
    return shifted(targets, SOUTH_EAST) & shifted(targets, SOUTH_WEST)


def _pawns_below_two(view: View) -> Men:
    """Our pawns that attack two targets."""
    row, square = exploded(_below_two(view.once(_profitable)[chess.PAWN]) & view.our_pawns)
    return Men(row, square, np.full(len(row), chess.PAWN), PAWN_UP[square])


def _several(boards: Bitboards) -> Flags:
    """Which of the boards hold two squares at least."""
    flags: Flags = (boards & (boards - np.uint64(1))) != EMPTY
    return flags


def _repeated(rows: Rows) -> Flags:
    """Which of the rows, ascending, occur more than once."""
    again = np.concatenate([[False], rows[1:] == rows[:-1], [False]])
    return again[: len(rows)] | again[1 : len(rows) + 1]


_Moves = tuple[Rows, Squares, Squares]
"""Moves by row of the view, from where, to where."""


def _moves(view: View, men: Men, rows: Rows, wanted: Bitboards) -> _Moves:
    """Moves of these pieces to wanted squares, a board a row of `rows`."""
    on_rows = np.zeros(len(view), dtype=np.uint64)
    on_rows[rows] = wanted & ~view.us[rows]
    man, square = exploded(men.attacks & on_rows[men.row])
    return men.row[man], men.square[man], square


def _pawn_moves(view: View, rows: Rows, wanted: Bitboards) -> _Moves:
    """Moves of our pawns to wanted squares, a board a row of `rows`."""
    takes = pawn_attacks_down(wanted & view.them[rows])
    near = wanted >> np.uint64(8) | wanted >> np.uint64(16) | takes
    entry, origin = exploded(view.our_pawns[rows] & near)
    steps = pawn_steps(BIT[origin], view.boards.take(rows[entry]), "us")
    goes = steps | PAWN_UP[origin] & view.them[rows[entry]]
    pawn, square = exploded(goes & wanted[entry])
    return rows[entry[pawn]], origin[pawn], square


def _after_a_move(view: View, kind: chess.PieceType, men: Men) -> DoubleAttacks:
    """Moves of unpinned men of this kind after which they attack two men, safe from pawns."""
    two = _several(view.once(_profitable)[kind])
    rows = np.flatnonzero(two & view.boards.our_move & ~view.in_check & (view.our(kind) != EMPTY))
    wanted = _forking_squares(view, kind, rows) & ~(view.boards.kings | view.their_pawn_attacks)[rows]
    rows, wanted = rows[wanted != EMPTY], wanted[wanted != EMPTY]
    pawns = kind == chess.PAWN
    row, origin, square = _pawn_moves(view, rows, wanted) if pawns else _moves(view, men, rows, wanted)
    free = np.flatnonzero((view.our_pinned[row] & BIT[origin]) == EMPTY)
    row, origin, square = row[free], origin[free], square[free]
    occupied = view.occupied[row] & ~BIT[origin] | BIT[square]
    seen = reach(np.full(len(row), kind), square, occupied, "us")
    return _hitting_two(view, kind, row, origin, square, seen & ~BIT[square])


def _as_they_stand(view: View, kind: chess.PieceType, men: Men) -> DoubleAttacks:
    """Men of this kind that attack two men already, safe from pawns."""
    if kind == chess.PAWN:
        men = _pawns_below_two(view)
    found = _hitting_two(view, kind, men.row, men.square, men.square, men.attacks)
    return found.only(np.flatnonzero((view.their_pawn_attacks[found.row] & BIT[found.origin]) == EMPTY))


def _hitting_two(
    view: View, kind: chess.PieceType, row: Rows, origin: Squares, square: Squares, seen: Bitboards
) -> DoubleAttacks:
    """The entries that see two men worth attacking."""
    hit = seen & view.once(_profitable)[kind][row]
    two = np.flatnonzero(_several(hit))
    row, hit = row[two], hit[two]
    loose = hit & view.once(_loose)[row]
    return DoubleAttacks(row, origin[two], square[two], hit & _worthier(view, kind)[row], loose)


def _holding(found: DoubleAttacks, before: Boards, after: Boards, taken: Values) -> DoubleAttacks:
    """Those that are safe, still attack two men profitably after the move, and win something for all they do.

    The move may bring a guard to a loose man, and a loose man that attacks back offers a captures.
    `taken`: what the move has won.
    """
    firm = np.flatnonzero(stands_firm(after, found.destination))
    found, after, taken = found.only(firm), after.take(firm), taken[firm]
    loose = found.loose & (found.worthier | ~attackers(after, found.destination))
    entry, target = exploded(loose)
    guarded = (attackers(after.take(entry), target) & after.them[entry]) != EMPTY
    np.bitwise_xor.at(loose, entry[guarded], BIT[target[guarded]])
    held = replace(found, loose=loose)
    keep = np.flatnonzero(_several(held.targets))
    held, after, taken = held.only(keep), after.take(keep), taken[keep]
    before = before.take(firm[keep])
    least = np.full(len(taken), EXCHANGE)
    lasts = outlasts(Threats(before, after, BIT[held.destination], held.targets, taken, least))
    return held.only(np.flatnonzero(lasts))


def double_attacks(view: View) -> DoubleAttacks:
    """Every fork that stands or can be made by one safe move."""
    kinds = [(kind, view.our_men_of[kind]) for kind in FORKERS]
    standing = [_as_they_stand(view, kind, men) for kind, men in kinds]
    coming = [_after_a_move(view, kind, men) for kind, men in kinds]
    every = _joined([*standing, *coming])
    before = view.boards.take(every.row)
    stays = every.origin == every.destination
    taken = np.where(stays, 0, VALUES[before.kind_at(every.destination)])
    return _holding(every, before, gone(before, every.origin, every.destination), taken)


def _joined(parts: Sequence[DoubleAttacks]) -> DoubleAttacks:
    columns = ([getattr(part, field.name) for part in parts] for field in fields(DoubleAttacks))
    return DoubleAttacks(*(np.concatenate(column) for column in columns))


def fork(view: View) -> Findings:
    """Men that fork, now or after one safe move."""
    found = view.once(double_attacks)
    squares = np.where(found.origin == found.destination, EMPTY, BIT[found.destination])
    return one_a_deed(found.row, found.origin, found.targets, squares)


def _taken_for_nothing(view: View) -> tuple[Rows, Squares]:
    """Loose pieces that we can take because they are loose, and that cannot hit back first: row and square.

    One that a cheaper man attacks would fall guarded or not; one that attacks its attacker offers a trade; an
    attacker that they can trade evenly may never come to take.
    """
    row, target = exploded(view.once(_loose) & view.our_attacks & ~view.our_pawn_attacks)
    boards = view.boards.take(row)
    kind = boards.kind_at(target)
    by = attackers(boards, target) & boards.us
    rooks_and_below = by & ~boards.queens & ~boards.kings
    cheaper = np.where(kind == chess.QUEEN, rooks_and_below, rooks_and_below & ~boards.rooks)
    cheaper[kind < chess.ROOK] = EMPTY
    back = reach(kind, target, boards.occupied, "them") & by
    keep = np.flatnonzero((cheaper == EMPTY) & ((back == EMPTY) | boards.our_move))
    keep = keep[can_win(boards.take(keep), target[keep], "us")]
    entry, attacker = exploded(by[keep])
    lasts = boards.our_move[keep]
    lasts[entry[stands_firm(boards.take(keep[entry]), attacker)]] = True
    keep = keep[lasts]
    return row[keep], target[keep]


def loose_piece(view: View) -> Findings:
    """Unguarded pieces that we can take with profit, or hit together with something else."""
    row, target = _taken_for_nothing(view)
    by = attackers(view.boards.take(row), target) & view.us[row]
    taken = findings(row, by, BIT[target])
    double = view.once(double_attacks)
    entry, hit = exploded(np.where(double.origin != double.destination, double.loose, EMPTY))
    falls_now = np.zeros(len(view), dtype=np.uint64)
    np.bitwise_or.at(falls_now, row, BIT[target])
    new = np.flatnonzero((falls_now[double.row[entry]] & BIT[hit]) == EMPTY)
    entry, hit = entry[new], hit[new]
    later = one_a_deed(double.row[entry], double.origin[entry], BIT[hit], BIT[double.destination[entry]])
    return joined(taken, later)


def _tell_fork(instance: Instance) -> str:
    board, forker = instance.board, instance.actors.pop()
    forked = wording.men(board, instance.targets)
    if not instance.squares:
        return wording.sentence(f"{wording.named(board, forker)} forks {forked}")
    where = " or ".join(chess.SQUARE_NAMES[square] for square in instance.squares)
    return wording.sentence(f"{wording.named(board, forker)} forks {forked} from {where}")


def _tell_loose(instance: Instance) -> str:
    board, loose = instance.board, wording.men(instance.board, instance.targets)
    men = wording.men(board, instance.actors)
    if not instance.squares:
        can = "can take it" if len(instance.actors) == 1 else "can each take it"
        return wording.sentence(f"{loose} is unguarded, and {men} {can}")
    where = " or ".join(chess.SQUARE_NAMES[square] for square in instance.squares)
    return wording.sentence(f"{loose} is unguarded: {men} hits it from {where} with a second threat")


MOTIFS = (
    Motif(
        id="fork",
        title="Fork",
        definition=(
            "One safe man attacks two or more enemy men profitably, or can do so by one safe move: the king,"
            " a man worth more than itself, or one that nobody guards. Pawns do not make a fork."
        ),
        source="Averbakh, on the double attack; named from memory",
        find=fork,
        tell=_tell_fork,
    ),
    Motif(
        id="loose-piece",
        title="Loose piece",
        definition=(
            "An enemy piece that nobody guards, and that can be taken, or is hit by one safe move that also"
            " attacks the king or another man with profit."
        ),
        source="Nunn, Secrets of Practical Chess (loose pieces drop off); named from memory",
        find=loose_piece,
        tell=_tell_loose,
    ),
)
