"""The weak back rank: a check on the enemy king's first rank that the king cannot escape.

The rule. Their king stands on its first rank. The squares in front of it are held by its own men, at least
one, or covered by men of ours other than the king and the man that checks, unless it is on the file of its
check. A rook or queen of ours bears on an entry square of that
rank, from which it would check along the rank. It may look through one man on its file, of either side. A
check beside the king counts only if a rook gives it, or a rook or queen backs it. The guards of the entry are
their men that can take there, step between, or stand in the line. Then one of these moves is proposed:

- a check on the entry square that the guards do not outnumber, or that calls away a guard from a piece that
  we attack (it must win a piece besides a loose man that it takes, and mate where it also hits another man);
- where their king may castle no more: a capture of a guard, or of a man that only guards could take back,
  which would lose by exchange;
- there also a move to a square where only guards could take, which hits an unguarded queen, or any queen
  with a smaller man;
- a capture by our own man in the line.

The look ahead (`patterns.proof.lookahead`) decides whether it wins or mates, or in the third case loses
nothing but a pawn elsewhere. If it is their move, a threat of mate counts too, and so does a piece of ours
that only guards attack and that hits one of them, unless their king is in check. In a line that ends in such
a mate, every move is told.

A hit: the rook mates on e8.

>>> from patterns.detect import find_in
>>> mate = "6k1/5ppp/8/8/8/8/5PPP/4R1K1 w - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(mate)], MOTIFS)[0]]
[('back-rank', ('e1',), ('g8',), ('e8',))]

A near miss: the king has a flight square on h7.

>>> find_in([chess.Board(mate.replace("5ppp/8", "5pp1/7p"))], MOTIFS)[0]
[]

Roles. Actors: the man that moves, and the rooks and queens that bear on the entry square. Targets: the king,
the guards that are overworked, and what we take or hit. Squares: the entry square, and where the man goes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import chess
import numpy as np
import numpy.typing as npt

from patterns.boards.attacks import attackers, between, reach
from patterns.boards.bitboards import (
    BIT,
    EMPTY,
    FILES,
    KING_STEPS,
    NORTH,
    RANKS,
    RAYS,
    Bitboards,
    Rows,
    Squares,
    count,
    exploded,
    rook_reach,
    square_of,
)
from patterns.boards.exchange import VALUES, Values, exchange
from patterns.boards.grouping import marked, united
from patterns.boards.moves import Moves, stands_firm
from patterns.boards.positions import Boards
from patterns.boards.tables import Table
from patterns.boards.view import View
from patterns.motifs.findings import Instance, Motif
from patterns.proof import mates
from patterns.proof.aims import MATE
from patterns.proof.claims import Claims, claims
from patterns.proof.played_line import OwnMove, Use
from patterns.proof.strokes import profits
from patterns.words import wording

ENTERS, STRIKES, OPENS, STANDS = range(4)
"""Ways: a check on the rank, a move against its guards, a capture that opens the line, a man that the guards
may not take. The `detail` of a finding is the entry square plus 64 times the way."""
CHECKS = 2
"""How many checks the look ahead may try."""
A_PIECE = 3
"""What a check that takes a loose man must win besides it."""
KEEPS = -1
"""What a man that cannot be taken wins at least: elsewhere a pawn may be lost."""


@dataclass(frozen=True)
class _Entries(Table):
    """Rooks and queens of ours that bear on an entry square, one entry each.

    `screen`: the man that it looks through, or empty. `support`: our men that bear on the square. `takers`:
    their men that can take there. `guards`: these without the king, those that can step between, and a screen
    of theirs.
    """

    row: Rows
    man: Squares
    square: Squares
    screen: Bitboards
    support: Bitboards
    takers: Bitboards
    guards: Bitboards

    def left(self, boards: Boards, squares: Squares) -> tuple[Bitboards, Values]:
        """What happens on a square of each board: the guards that take there, and how many takers are left.

        If others than guards can take there, no guard is called away. A man of theirs on the square is gone.
        """
        back = attackers(boards, squares) & boards.them
        back = np.where((back & ~self.guards) == EMPTY, back, EMPTY)
        called = (back != EMPTY) & ((back & ~self.takers) == EMPTY)
        return back, count(self.takers & ~BIT[squares]) - called


def _heavy_on_entries(view: View) -> Iterator[tuple[Rows, Squares, Squares, Bitboards]]:
    """Row, rook or queen, entry square and screen, where their king is hemmed in on its first rank."""
    king, first = view.their_king, RANKS[7]
    hemmed = ((view.their(chess.KING) & first) != EMPTY) & ~view.in_check
    hemmed &= (KING_STEPS[king] & RANKS[6] & view.them) != EMPTY
    squares = np.where(hemmed, rook_reach(king, view.occupied) & first, EMPTY)
    first_men = squares & view.them
    beyond = np.where(hemmed, rook_reach(king, view.occupied & ~first_men) & first, EMPTY)
    beyond &= ~squares & ~view.us
    squares &= ~view.us
    men = view.our_pieces
    men = men.only((men.kind >= chess.ROOK) & hemmed[men.row])
    for goals, screen in ((squares, squares & EMPTY), (beyond, first_men)):
        man, square = exploded(men.attacks & goals[men.row])
        row = men.row[man]
        yield row, men.square[man], square, screen[row] & between(view.their_king[row], square)
    lines = view.our_sight_lines
    lines = lines.only((lines.direction == NORTH) & (squares[lines.row] != EMPTY))
    behind = RAYS[NORTH][square_of(lines.front)] & squares[lines.row]
    clear = (lines.rear == EMPTY) | (lines.rear == behind)
    line, square = exploded(np.where(clear, behind, EMPTY))
    yield lines.row[line], lines.square[line], square, lines.front[line]


def _entries(view: View) -> _Entries:
    """The entries to the back ranks of kings that have no square off them."""
    row, man, square, screen = (np.concatenate(parts) for parts in zip(*_heavy_on_entries(view), strict=True))
    # A square in front of the king on the file of the entry is covered by the checking man itself.
    ours = [view.our_attacks_of[kind] for kind in chess.PIECE_TYPES if kind != chess.KING]
    open_to_king = KING_STEPS[view.their_king] & RANKS[6] & ~view.them
    flights = open_to_king & ~np.bitwise_or.reduce(ours)
    closed = np.flatnonzero((flights[row] & ~FILES[square & 7]) == EMPTY)
    row, man, square, screen = row[closed], man[closed], square[closed], screen[closed]
    entry, flight = exploded(open_to_king[row] & ~FILES[square & 7])
    boards = view.boards.take(row[entry])
    covering = attackers(boards, flight) & boards.us & ~boards.kings & ~BIT[man[entry]]
    closed = np.flatnonzero(~marked(entry[covering == EMPTY], len(row)))
    row, man, square, screen = row[closed], man[closed], square[closed], screen[closed]
    boards, king = view.boards.take(row), view.their_king[row]
    heavy = boards.straight_sliders & boards.us
    bearing = attackers(boards, square, boards.occupied & ~screen)
    # Our rooks and queens may stand behind one another.
    bearing |= attackers(boards, square, boards.occupied & ~screen & ~(bearing & heavy))
    support, takers = bearing & boards.us & ~boards.kings, bearing & boards.them
    entry, step = exploded(between(king, square))
    stepping = attackers(boards.take(entry), step) & (boards.them & ~boards.pawns)[entry]
    guards = (takers | united(entry, stepping, len(row)) | screen & boards.them) & ~boards.kings
    return _Entries(row, man, square, screen, support, takers, guards)


def _checks(view: View, entries: _Entries) -> Claims:
    """Checks that the guards do not outnumber, or that call away a guard from a piece we attack."""
    entries = entries.only(entries.screen == EMPTY)
    support, takers = count(entries.support), count(entries.takers)
    entry, guard = exploded(np.where(support == takers, entries.takers & entries.guards, EMPTY))
    boards = view.boards.take(entries.row[entry])
    held = reach(boards.kind_at(guard), guard, boards.occupied, "them") & boards.them & ~boards.pawns
    held &= view.our_attacks[entries.row[entry]] & ~BIT[entries.square[entry]] & ~boards.kings
    held = united(entry, held, len(entries))
    row, boards = entries.row, view.boards.take(entries.row)
    heavy = boards.straight_sliders & boards.us & ~BIT[entries.man]
    beside = (KING_STEPS[view.their_king[row]] & BIT[entries.square]) != EMPTY
    backed = ((boards.rooks & BIT[entries.man]) != EMPTY) | ((entries.support & heavy) != EMPTY)
    some = np.flatnonzero(((support > takers) | (held != EMPTY)) & (backed | ~beside))
    some = some[boards.our_move[some] | stands_firm(boards.take(some), entries.man[some])]
    entries, boards = entries.take(some), boards.take(some)
    # A loose man that falls there says nothing of the rank without a piece more, a fork without mate.
    kinds, square = boards.kind_at(entries.man), entries.square
    seen = reach(kinds, square, boards.occupied & ~BIT[entries.man], "us")
    forked = seen & profits(view, kinds, entries.row) & ~boards.kings & ~held[some]
    won = exchange(boards, entries.man, square)
    least = np.where(forked != EMPTY, MATE, np.where(won > 0, won + A_PIECE, 1))
    moves = Moves(entries.row, entries.man, entries.square)
    return _claims(view, moves, entries, held[some], ENTERS, least=least)


def _blows(view: View, entries: _Entries) -> Claims:
    """Moves that take a guard, or go where only guards could take, and then too few guards are left."""
    # A king that may still castle is not at home on its back rank.
    may_castle = (view.boards.castling & view.them) != EMPTY
    few = (count(entries.takers) <= count(entries.support) + 1) & ~may_castle[entries.row]
    entries = entries.only(few & ((entries.screen & view.us[entries.row]) == EMPTY))
    entry, guard = exploded(entries.guards)
    boards = view.boards.take(entries.row[entry])
    goals = reach(boards.kind_at(guard), guard, boards.occupied, "them") & ~boards.us | BIT[guard]
    goals = united(entry, goals & ~boards.kings, len(entries))
    entry, square = exploded(goals & (view.our_attacks & view.their_attacks)[entries.row])
    entries = entries.take(entry)
    boards, goal = view.boards.take(entries.row), BIT[square]
    back, left = entries.left(boards, square)
    theirs = entries.screen & boards.them
    fits = ((back | goal & entries.guards) != EMPTY) & ((theirs & ~back & ~goal) == EMPTY)
    movers = attackers(boards, square) & boards.us & ~boards.kings & ~BIT[entries.man]
    movers &= ~np.where((goal & boards.them) == EMPTY, boards.pawns, EMPTY)
    way, origin = exploded(np.where(fits, movers, EMPTY))
    way, origin = (each[count(entries.support[way] & ~BIT[origin]) > left[way]] for each in (way, origin))
    entries, boards, square, back = entries.take(way), boards.take(way), square[way], back[way]
    hit = _hit(view, boards, entries.row, origin, square)
    quiet = (BIT[square] & boards.them) == EMPTY
    won = exchange(boards, origin, square, floor=-1)
    works = (hit != EMPTY) & (won < np.where(quiet, 0, VALUES[boards.kind_at(square)]))
    some = np.flatnonzero(works & ~(quiet & marked(entries.row[works & ~quiet], len(view))[entries.row]))
    entries, moves = entries.take(some), Moves(entries.row, origin, square).take(some)
    least = np.where(quiet, KEEPS, np.maximum(won + 1, 1))[some]
    return _claims(view, moves, entries, (hit | back)[some], STRIKES, least=least)


def _hit(view: View, boards: Boards, rows: Rows, origins: Squares, squares: Squares) -> Bitboards:
    """What each move takes; if nothing, the queen that it hits, if unguarded or hit by a smaller man."""
    taken = BIT[squares] & boards.them
    kinds = boards.kind_at(origins)
    seen = reach(kinds, squares, boards.occupied & ~BIT[origins], "us") & boards.them & boards.queens
    return np.where(
        taken != EMPTY, taken, np.where(kinds < chess.QUEEN, seen, seen & ~view.their_attacks[rows])
    )


def _openings(view: View, entries: _Entries) -> Claims:
    """Captures of guarded men by our own man in the line."""
    entries = entries.only((entries.screen & view.us[entries.row]) != EMPTY)
    entries = entries.only(count(entries.support & ~entries.screen) > count(entries.takers))
    origin, boards = square_of(entries.screen), view.boards.take(entries.row)
    takes = reach(boards.kind_at(origin), origin, boards.occupied, "us") & boards.them & ~boards.kings
    takes &= view.their_attacks[entries.row] & ~FILES[origin & 7]
    entry, square = exploded(takes)
    moves = Moves(entries.row[entry], origin[entry], square)
    return _claims(view, moves, entries.take(entry), BIT[square], OPENS)


def _standing(view: View, entries: _Entries) -> Claims:
    """Our pieces that only guards attack, and that hit one of them, while it is their move."""
    free = ~view.boards.our_move & ((view.our_attacks & view.their(chess.KING)) == EMPTY)
    entries = entries.only(free[entries.row])
    loose = view.us & view.their_attacks & ~view.our_attacks & ~view.our_pawns
    entry, square = exploded(loose[entries.row] & ~BIT[entries.man])
    entries = entries.take(entry)
    boards = view.boards.take(entries.row)
    back, left = entries.left(boards, square)
    back &= reach(boards.kind_at(square), square, boards.occupied, "us")
    fits = np.flatnonzero((back != EMPTY) & (count(entries.support) >= left))
    entries, square = entries.take(fits), square[fits]
    return _claims(view, Moves(entries.row, square, square), entries, back[fits], STANDS, least=KEEPS)


def _claims(
    view: View,
    moves: Moves,
    entries: _Entries,
    hit: Bitboards,
    way: int,
    *,
    least: npt.NDArray[np.int64] | int = 1,
) -> Claims:
    heavy = (view.our(chess.ROOK) | view.our(chess.QUEEN))[moves.row]
    actors = BIT[moves.origin] | BIT[entries.man] | entries.support & heavy
    targets = view.their(chess.KING)[moves.row] | hit
    squares = BIT[entries.square] | BIT[moves.square] & ~view.occupied[moves.row]
    threatens = (way != STANDS) & ~view.boards.our_move[moves.row]
    return claims(
        moves,
        actors,
        targets,
        squares,
        least=np.where(threatens, MATE, least),
        checks=CHECKS,
        detail=64 * way + entries.square,
        wanted=targets | RANKS[7],
    )


def back_rank(view: View) -> Claims:
    """Checks on the rank, and moves that they make possible."""
    entries = _entries(view)
    parts = (propose(view, entries) for propose in (_checks, _blows, _openings, _standing))
    return Claims.joined(*parts)


def _tell(instance: Instance) -> str:
    board, (way, entry) = instance.board, divmod(instance.detail, 64)
    entry = entry if instance.side == chess.WHITE else chess.square_mirror(entry)
    king = board.king(not instance.side)
    assert king is not None
    square = chess.SQUARE_NAMES[entry]
    rank = f"{wording.named(board, king)} has no flight from a check on {square}"
    guards = instance.targets - chess.SquareSet([king])
    if instance.move is None:
        free = next(man for man in instance.actors if board.attackers(not instance.side, man) & guards)
        return wording.sentence(
            f"{wording.men(board, guards)} cannot take {wording.named(board, free)}: {rank}"
        )
    man, goal = instance.move.from_square, instance.move.to_square
    can = "" if instance.played else "can " if board.turn == instance.side else "threatens to "
    deed = f"{wording.named(board, man)} {can}"
    wins = wording.so_wins(instance.wins)
    if way == ENTERS:
        checks = "check" if can else "checks"
        return wording.sentence(f"{deed}{checks} on {wording.squares(instance.squares)}{wins}: {rank}")
    takes = board.piece_type_at(goal) is not None
    verb = "take" if takes else "go to"
    verb = verb if can else {"take": "takes", "go to": "goes to"}[verb]
    deed += f"{verb} {wording.named(board, goal)}{wins}"
    heavy = wording.men(board, instance.actors - chess.SquareSet([man]))
    bound = guards & board.attackers(not instance.side, goal)
    if way == OPENS:
        return wording.sentence(f"{deed}, and opens the line of {heavy}: {rank}")
    if bound:
        return wording.sentence(f"{deed}: {wording.men(board, bound)} must guard {square} against {heavy}")
    stops = (
        f"stands between {square} and the king"
        if goal in chess.SquareSet.between(entry, king)
        else f"guards {square}"
    )
    return wording.sentence(f"{deed}: it {stops} against {heavy}, and {rank}")


def _in_line(own_moves: Sequence[OwnMove]) -> Iterator[Use]:
    last = own_moves[-1]
    if last.after.is_checkmate() and mates.back_rank(last.after):
        why = f"{wording.named(last.after, last.their_king)} cannot leave its back rank"
        yield from mates.leading_to_mate("back-rank", own_moves, why)


MOTIFS = (
    Motif(
        id="back-rank",
        title="Weak back rank",
        definition=(
            "The enemy king stands on its first rank, and a rook or queen can check there from an entry"
            " square, at once or after a capture that opens its line. The king then has no flight square,"
            " and every guard or interposition still leaves mate or a gain by exchange. Or the one guard of"
            " the entry square is overworked. While the other side is to move, only a threat of mate counts."
        ),
        source="Renaud and Kahn, The Art of the Checkmate; named from memory",
        find=lambda view: view.once(back_rank),
        tell=_tell,
        in_line=_in_line,
    ),
)
