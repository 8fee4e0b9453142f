"""Double attacks: one safe man that attacks two others profitably, and unguarded men that it hits.

The rule. A man of ours forks two or more men of theirs if it is safe and attacks each profitably. It attacks
profitably the king, a man worth more than itself, and a man that is not guarded. It is safe if it can be
neither won nor traded evenly where it stands. Whatever they reply in one move (a target leaves with check or
takes something, a man guards, a man interposes), we must still win at least the exchange
(`patterns.proof.threats`). An attack on pawns is not a fork, and a king does not fork here. The fork counts
as it stands or, if it is our move and we are not in check, after one move of an unpinned man.

A piece of theirs that no man guards is loose. It counts if we can take it with profit, or if one safe move of
ours hits it together with something else (that is, in a fork). It does not count if we win it only because a
cheaper man attacks it, if it can begin a trade itself, or if they can first trade the man that would take it.

A hit: the knight comes to c7.

>>> from patterns.detect import find_in
>>> board = chess.Board("r3k3/8/8/3N4/8/8/8/4K3 w q - 0 1")
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([board], MOTIFS)[0]]
[('fork', ('d5',), ('a8', 'e8'), ('c7',)), ('loose-piece', ('d5',), ('a8',), ('c7',))]

A near miss: a bishop on d8 guards c7, so the knight would not be safe there. And nothing is loose.

>>> find_in([chess.Board("r2bk3/8/8/3N4/8/8/8/4K3 w q - 0 1")], MOTIFS)[0]
[]

Roles. Actors: the man that forks, or attacks the loose piece. Targets: the forked men, or the loose piece.
Squares: where the actor goes to attack; empty if it attacks already.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import chess
import numpy as np

from patterns.boards.attacks import Men, attackers, reach, reach_of
from patterns.boards.bitboards import (
    BIT,
    EMPTY,
    PAWN_UP,
    SOUTH_EAST,
    SOUTH_WEST,
    Bitboards,
    Flags,
    Rows,
    Squares,
    exploded,
    pawn_attacks_down,
    shifted,
)
from patterns.boards.exchange import VALUES, Values, can_win
from patterns.boards.grouping import any_of, once_and_twice, united
from patterns.boards.moves import Moves, pawn_steps, stands_firm
from patterns.boards.positions import Boards
from patterns.boards.tables import Table
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, findings
from patterns.proof.threats import EXCHANGE, Threats, gone, outlasts
from patterns.words import wording

FORKERS = (chess.PAWN, chess.KNIGHT, chess.BISHOP, chess.ROOK, chess.QUEEN)


@dataclass(frozen=True)
class DoubleAttacks(Table):
    """Ways in which men of ours fork, one entry each: from where, to where (the same if the fork stands).

    Of the attacked men, `worthier` are the king and men worth more than the attacker, `loose` the unguarded.
    """

    row: Rows
    origin: Squares
    destination: Squares
    worthier: Bitboards
    loose: Bitboards

    @property
    def targets(self) -> Bitboards:
        """The men that are attacked profitably."""
        return self.worthier | self.loose


def _loose(view: View) -> Bitboards:
    """Their pieces that no man of theirs guards."""
    return view.them & ~view.boards.pawns & ~view.boards.kings & ~view.their_attacks


def _worthier(view: View, kind: chess.PieceType) -> Bitboards:
    """Their king, and their men worth more than a man of this kind."""
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
    """For each kind: their men that a man of ours of this kind attacks profitably."""
    return {kind: _worthier(view, kind) | view.once(_loose) for kind in FORKERS}


def _forking_squares(view: View, kind: chess.PieceType, rows: Rows) -> Bitboards:
    """For each of the rows, the squares from which a man of this kind would attack two targets.

    For pieces only squares that they can reach.
    """
    targets = view.once(_profitable)[kind][rows]
    if kind == chess.PAWN:
        return _below_two(targets)
    entry, square = exploded(targets)
    goes = view.our_attacks_of[kind] & ~view.us
    seen = reach_of(kind, square, view.occupied[rows[entry]], "us") & goes[rows[entry]]
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
    """Which of the boards hold at least two squares."""
    flags: Flags = (boards & (boards - np.uint64(1))) != EMPTY
    return flags


def _repeated(rows: Rows) -> Flags:
    """Which of the rows occur more than once. Rows must ascend."""
    again = np.concatenate([[False], rows[1:] == rows[:-1], [False]])
    return again[: len(rows)] | again[1 : len(rows) + 1]


def _moves(view: View, men: Men, rows: Rows, wanted: Bitboards) -> Moves:
    """Moves of these pieces to the wanted squares. `wanted`: one board per entry of `rows`."""
    on_rows = np.zeros(len(view), dtype=np.uint64)
    on_rows[rows] = wanted & ~view.us[rows]
    man, square = exploded(men.attacks & on_rows[men.row])
    return Moves(men.row[man], men.square[man], square)


def _pawn_moves(view: View, rows: Rows, wanted: Bitboards) -> Moves:
    """Moves of our pawns to the wanted squares. `wanted`: one board per entry of `rows`."""
    takes = pawn_attacks_down(wanted & view.them[rows])
    near = wanted >> np.uint64(8) | wanted >> np.uint64(16) | takes
    entry, origin = exploded(view.our_pawns[rows] & near)
    steps = pawn_steps(BIT[origin], view.boards.take(rows[entry]), "us")
    goes = steps | PAWN_UP[origin] & view.them[rows[entry]]
    pawn, square = exploded(goes & wanted[entry])
    return Moves(rows[entry[pawn]], origin[pawn], square)


def _after_a_move(view: View, kind: chess.PieceType, men: Men) -> DoubleAttacks:
    """Moves of unpinned men of this kind after which they attack two men. No pawn attacks them there."""
    two = _several(view.once(_profitable)[kind])
    rows = np.flatnonzero(two & view.boards.our_move & ~view.in_check & (view.our(kind) != EMPTY))
    wanted = _forking_squares(view, kind, rows) & ~(view.boards.kings | view.their_pawn_attacks)[rows]
    rows, wanted = rows[wanted != EMPTY], wanted[wanted != EMPTY]
    pawns = kind == chess.PAWN
    moves = _pawn_moves(view, rows, wanted) if pawns else _moves(view, men, rows, wanted)
    moves = moves.only((view.our_pinned[moves.row] & BIT[moves.origin]) == EMPTY)
    square = BIT[moves.square]
    occupied = view.occupied[moves.row] & ~BIT[moves.origin] | square
    seen = reach_of(kind, moves.square, occupied, "us")
    return _hitting_two(view, kind, moves, seen & ~square)


def _as_they_stand(view: View, kind: chess.PieceType, men: Men) -> DoubleAttacks:
    """Men of this kind that already attack two men. No pawn attacks them."""
    if kind == chess.PAWN:
        men = _pawns_below_two(view)
    found = _hitting_two(view, kind, Moves(men.row, men.square, men.square), men.attacks)
    return found.only((view.their_pawn_attacks[found.row] & BIT[found.origin]) == EMPTY)


def _hitting_two(view: View, kind: chess.PieceType, moves: Moves, seen: Bitboards) -> DoubleAttacks:
    """The moves after which a man sees two men worth attacking. Staying counts as a move too."""
    hit = seen & view.once(_profitable)[kind][moves.row]
    two = np.flatnonzero(_several(hit))
    moves, hit = moves.take(two), hit[two]
    worthier, loose = hit & _worthier(view, kind)[moves.row], hit & view.once(_loose)[moves.row]
    return DoubleAttacks(moves.row, moves.origin, moves.square, worthier, loose)


def _holding(found: DoubleAttacks, before: Boards, after: Boards, taken: Values) -> DoubleAttacks:
    """Those that are safe, still attack two men profitably after the move, and win whatever they reply.

    The move may bring a guard to a loose man, and a loose man that attacks back offers a trade.
    `taken`: what the move has won.
    """
    firm = np.flatnonzero(stands_firm(after, found.destination))
    found, after, taken = found.take(firm), after.take(firm), taken[firm]
    loose = found.loose & (found.worthier | ~attackers(after, found.destination))
    entry, target = exploded(loose)
    guarded = (attackers(after.take(entry), target) & after.them[entry]) != EMPTY
    loose &= ~united(entry[guarded], BIT[target[guarded]], len(found))
    held = replace(found, loose=loose)
    keep = np.flatnonzero(_several(held.targets))
    held, after, taken = held.take(keep), after.take(keep), taken[keep]
    before = before.take(firm[keep])
    least = np.full(len(taken), EXCHANGE)
    return held.only(outlasts(Threats(before, after, BIT[held.destination], held.targets, taken, least)))


def double_attacks(view: View) -> DoubleAttacks:
    """Every fork that stands or can be made by one safe move."""
    kinds = [(kind, view.our_men_of[kind]) for kind in FORKERS]
    standing = [_as_they_stand(view, kind, men) for kind, men in kinds]
    coming = [_after_a_move(view, kind, men) for kind, men in kinds]
    every = DoubleAttacks.joined(*standing, *coming)
    before = view.boards.take(every.row)
    stays = every.origin == every.destination
    taken = np.where(stays, 0, VALUES[before.kind_at(every.destination)])
    return _holding(every, before, gone(before, every.origin, every.destination), taken)


def fork(view: View) -> Findings:
    """Men that fork, now or after one safe move."""
    found = view.once(double_attacks)
    squares = np.where(found.origin == found.destination, EMPTY, BIT[found.destination])
    every = findings(found.row, BIT[found.origin], found.targets, squares)
    return every.merged(every.actors, every.targets)


def _taken_for_nothing(view: View) -> tuple[Rows, Squares]:
    """Loose pieces that we can take because they are loose and that cannot hit back first: row and square.

    A piece that a cheaper man attacks would fall even if guarded. A piece that attacks its attacker offers a
    trade. An attacker that they can trade evenly may never be able to take.
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
    stands = any_of(entry, stands_firm(boards.take(keep[entry]), attacker), len(keep))
    keep = keep[stands | boards.our_move[keep]]
    return row[keep], target[keep]


def loose_piece(view: View) -> Findings:
    """Unguarded pieces that we can take with profit, or hit together with something else."""
    row, target = _taken_for_nothing(view)
    by = attackers(view.boards.take(row), target) & view.us[row]
    taken = findings(row, by, BIT[target])
    double = view.once(double_attacks)
    entry, hit = exploded(np.where(double.origin != double.destination, double.loose, EMPTY))
    falls_now = united(row, BIT[target], len(view))
    double = double.take(entry)
    later = findings(double.row, BIT[double.origin], BIT[hit], BIT[double.destination])
    later = later.only((falls_now[double.row] & BIT[hit]) == EMPTY)
    return Findings.joined(taken, later.merged(later.actors, later.targets))


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
            "One safe man attacks two or more enemy men profitably, or can do so by one safe move: the"
            " king, a man worth more than itself, or a man that is not guarded. An attack on pawns is not a"
            " fork."
        ),
        source="Averbakh, on the double attack; named from memory",
        find=fork,
        tell=_tell_fork,
    ),
    Motif(
        id="loose-piece",
        title="Loose piece",
        definition=(
            "An enemy piece is not guarded, and it can be taken, or one safe move hits it and also attacks"
            " the king or another man with profit."
        ),
        source="Nunn, Secrets of Practical Chess (loose pieces drop off); named from memory",
        find=loose_piece,
        tell=_tell_loose,
    ),
)
