"""Strokes: every legal move of the side to move, with what the man that has moved attacks then."""

from __future__ import annotations

from dataclasses import dataclass, replace

import chess
import numpy as np

from patterns.boards.attacks import Men, attackers, reach
from patterns.boards.bitboards import (
    ALL,
    BIT,
    EMPTY,
    KING_STEPS,
    Bitboards,
    Flags,
    Rows,
    Squares,
    exploded,
    square_of,
)
from patterns.boards.exchange import VALUES, Values, can_win, loses_nothing
from patterns.boards.grouping import any_of, grouped, united
from patterns.boards.legal import legal_men
from patterns.boards.moves import Moves
from patterns.boards.tables import Table
from patterns.boards.view import View, reversed_sides
from patterns.proof.claims import EXCHANGE
from patterns.proof.gains import threats
from patterns.proof.quiet import lead


@dataclass(frozen=True)
class Strokes(Table):
    """Legal moves of ours in the rows where it is our move, one entry each, rows ascending.

    `kind`: of the man after the move (a pawn that promotes is a queen). `gain`: what the move takes, and what
    a promotion gains, in pawns (a pawn taken en passant is left out). `seen`: what the man attacks from its
    new square, the first man on each line included.
    """

    row: Rows
    origin: Squares
    square: Squares
    kind: Squares
    gain: Values
    seen: Bitboards

    @property
    def moves(self) -> Moves:
        """The bare moves."""
        return Moves(self.row, self.origin, self.square)


def movers(view: View) -> Men:
    """Our men where it is our move, with their legal moves as `attacks`. Ask with `view.once(movers)`."""
    rows = np.flatnonzero(view.boards.our_move)
    boards = view.boards.take(rows)
    place = np.cumsum(view.boards.our_move) - 1
    men = view.our_men.only(view.boards.our_move[view.our_men.row])
    men = legal_men(boards, men=replace(men, row=place[men.row]))
    return replace(men, row=rows[men.row])


def strokes(view: View) -> Strokes:
    """The strokes of a view. Ask for them with `view.once(strokes)`."""
    return strokes_of(view, view.once(movers))


def strokes_to(view: View, goals: Bitboards) -> Strokes:
    """The strokes to the goals of each row of the view: faster than to choose among all strokes."""
    men = view.once(movers)
    return strokes_of(view, replace(men, attacks=men.attacks & goals[men.row]))


def strokes_of(view: View, men: Men) -> Strokes:
    """The strokes of these men. Their `attacks`: where they go."""
    man, square = exploded(men.attacks)
    row, origin, kind = men.row[man], men.square[man], men.kind[man]
    gain = VALUES[view.kind_at(row, square)]
    promotes = np.flatnonzero((kind == chess.PAWN) & (square >= chess.A8))
    kind[promotes] = chess.QUEEN
    gain[promotes] += VALUES[chess.QUEEN] - VALUES[chess.PAWN]
    seen = reach(kind, square, view.occupied[row] & ~BIT[origin], "us")
    return Strokes(row, origin, square, kind, gain, seen)


def profitable(view: View) -> Bitboards:
    """By kind of attacker and row, shape (7, 2N): their men that a man of ours attacks with profit.

    These are the king, men worth more than the attacker, and unguarded men.
    """
    boards, them = view.boards, view.them
    unguarded = them & ~view.their_attacks
    found = np.tile(boards.kings & them | unguarded, (chess.KING + 1, 1))
    found[: chess.QUEEN] |= boards.queens & them
    found[: chess.ROOK] |= boards.rooks & them
    found[: chess.KNIGHT] |= (boards.knights | boards.bishops) & them
    return found


def profits(view: View, kinds: Squares, rows: Rows) -> Bitboards:
    """Their men that a man of ours of each kind attacks with profit, in these rows."""
    return view.once(profitable).take(kinds * len(view) + rows)


def hits(view: View) -> Bitboards:
    """What the man of each stroke attacks with profit from its new square.

    Where we are thorough also a guarded piece that we win by exchange then, as its guards are too few.
    """
    every = view.once(strokes)
    found = every.seen & profits(view, every.kind, every.row)
    if view.thorough:
        pieces = view.them & ~view.boards.pawns & ~view.boards.kings
        entry, square = exploded(every.seen & pieces[every.row] & ~found)
        after = view.boards.take(every.row[entry]).moved(every.origin[entry], every.square[entry])
        won = can_win(after, square, "us")
        found |= united(entry[won], BIT[square[won]], len(every))
    return found


def hitting(view: View) -> tuple[Strokes, Bitboards]:
    """The strokes that attack something with profit, and what. Ask with `view.once(hitting)`."""
    hit = view.once(hits)
    some = np.flatnonzero(hit)
    return view.once(strokes).take(some), hit[some]


def worth_claiming(view: View, these: Strokes) -> Flags:
    """Whether each stroke loses nothing by exchange. Where we are thorough, all are worth claiming."""
    if view.thorough:
        return np.ones(len(these), dtype=np.bool_)
    return loses_nothing(view.boards.take(these.row), these.origin, these.square)


def at_hand(view: View, moves: Moves) -> Values:
    """The most that we could win by a plain capture elsewhere than on the square of each move, shape (M,).

    As if it were our move.
    """
    groups = grouped(moves.row, moves.square)
    row, square = moves.row[groups.first], moves.square[groups.first]
    return threats(view.boards.take(row), ~BIT[square])[groups.group]


def pending(view: View, rows: Rows) -> Flags:
    """Whether it is their move and a plain capture wins them the exchange at least, by row."""
    groups = grouped(rows)
    boards = view.boards.take(rows[groups.first])
    theirs = threats(reversed_sides(boards), np.full(len(boards), ALL)) >= EXCHANGE
    return (theirs & ~boards.our_move)[groups.group]


def trades_off(view: View, these: Strokes, men: Bitboards) -> Flags:
    """Whether it is their move and one of the men can take a piece, not the one to move, and lose nothing.

    `men`: some of their men, by stroke.
    """
    row = these.row
    entry, man = exploded(np.where(view.boards.our_move[row], EMPTY, men & view.them[row]))
    boards = view.boards.take(row[entry])
    pieces = boards.us & ~(boards.pawns | boards.kings | BIT[these.origin[entry]])
    pair, square = exploded(reach(boards.kind_at(man), man, boards.occupied, "them") & pieces)
    theirs = view.boards.take(view.other(row[entry[pair]]))
    keeps = loses_nothing(theirs, man[pair] ^ 56, square ^ 56)
    return any_of(entry[pair], keeps, len(these))


def restores(view: View, rows: Rows, gains: Values, ahead: int = 0) -> Flags:
    """Whether it is our move and a capture that wins so much leaves us level in material, or less.

    Then it is likely to end an exchange that they began. `ahead`: it may leave us so many pawns ahead. In a
    thorough view it never counts as that: a line shows what it ends.
    """
    boards = view.boards.take(rows)
    return boards.our_move & (gains + lead(boards) <= ahead) & (not view.thorough)


def forcing(view: View) -> Strokes:
    """Strokes that take, check directly, or hit a man profitably, rows ascending.

    In the rows where it is their move: our captures, as if it were ours, of which nothing is seen.
    """
    every = view.once(strokes)
    forces = (every.gain > 0) | (view.once(hits) != EMPTY)
    men = view.our_men.only(~view.boards.our_move[view.our_men.row])
    man, square = exploded(men.attacks & (view.them & ~view.boards.kings)[men.row])
    row, kind = men.row[man], men.kind[man]
    gain, nothing = VALUES[view.kind_at(row, square)], np.zeros(len(man), dtype=np.uint64)
    both = Strokes.joined(every.only(forces), Strokes(row, men.square[man], square, kind, gain, nothing))
    return both.take(both.row.argsort(kind="stable"))


@dataclass(frozen=True)
class Offers(Table):
    """Forcing strokes to a square where one man of theirs alone can take, one entry each.

    `taker`: the square of this man. `guarded`: whether we could take back.
    """

    stroke: Strokes
    taker: Squares
    guarded: Flags


def offers(view: View) -> Offers:
    """The offers of a view. Ask for them with `view.once(offers)`."""
    every = view.once(forcing)
    # Where two men can take, one of them must be the king, which may not.
    once = view.their_attacks & (~view.their_double_attacks | KING_STEPS[view.their_king])
    every = every.only((once[every.row] & BIT[every.square]) != EMPTY)
    boards = view.boards.take(every.row)
    by = attackers(boards, every.square, boards.occupied & ~BIT[every.origin])
    guarded = (by & boards.us) != EMPTY
    by &= boards.them & ~np.where(guarded, boards.kings, EMPTY)
    alone = (by != EMPTY) & ((by & (by - np.uint64(1))) == EMPTY)
    return Offers(every.only(alone), square_of(by[alone]), guarded[alone])
