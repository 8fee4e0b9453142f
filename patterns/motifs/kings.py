"""Kings without shelter: castled with the cover gone, or caught in the centre.

Open king. Each side has a queen and another piece. Their king stands on a wing (files a-c or f-h, its first
two ranks). On two or more of the wing's three files no pawn of theirs stands on its second or third rank (it
is gone, or too far advanced to cover), and one of the three files has no pawn of theirs at all. At least two
men of ours are at it: pieces that attack bare squares or squares next to the king (some of each), and pawns
that attack a bare square next to it. Bare squares are those of the king's zone (the king's square, its
neighbours and the next three squares towards us) that lie on such files. Their queen does not attack
ours. Men that they can take with profit do not count, and there are more than they have
pieces that attack squares next to our king. If only one of the files is bare, and quite without a pawn of
theirs, more is asked: our queen attacks a square next to the king, no piece of theirs attacks one next to
ours, our men at it (those that attack a pawn of the cover are among them) are more than their pieces that
guard squares next to it, it is not in check and the position is quiet (`patterns.proof.quiet`); men of ours
that can be taken count where it is our move.

King in the centre. Each side has a queen and two more pieces. One of ours is a rook. Their king stands on the
d- or e-file, on its first two ranks, or on the c- or f-file with a rook of theirs between it and the edge (so
it has not castled). On its second rank it has no pawn on the next two squares in front of it: behind one it
could step aside in peace. It will not castle: the right is gone, or castling is legal neither now nor after
one move of theirs, or every way to it loses something by exchange that they would not lose now. The d- or
e-file or the king's own is open to us (no pawn of ours on it), or a pawn of ours can open it by a capture.
And two pieces of ours are at the king: they attack its zone, one of them a square next to it, or a queen or
rook attacks such a square along the open file, with another one behind it. We prevent castling if we attack a
square of the king's way on each wing where the right is still there. The king is not in check, our queen and
theirs do not attack each other, and the position is quiet. Of those that attack only the outer zone, a knight
counts, and a queen or rook that attacks an open file there.

A hit of each: the king on g8 has no f- and g-pawn; the king on e8 may not castle and is on an open file.

>>> from patterns.detect import find_in
>>> bare = "r2q1rk1/ppp4p/2np4/6N1/8/3BP1Q1/PPP2PPP/R4RK1 w - - 0 1"
>>> [(f.motif, f.actors, f.targets) for f in find_in([chess.Board(bare)], MOTIFS)[0]]
[('open-king', ('d3', 'g5'), ('g8',))]
>>> stuck = "r1bqk2r/ppp1bppp/2n2n2/8/8/2N2N2/PPP1QPPP/R1B1R1K1 w - - 0 1"
>>> [(f.motif, f.actors, f.targets) for f in find_in([chess.Board(stuck)], MOTIFS)[0]]
[('king-in-centre', ('e1', 'e2'), ('e8',))]

A near miss of each: the pawns are there; the right to castle is there.

>>> find_in([chess.Board(bare.replace("ppp4p", "ppp2ppp"))], MOTIFS)[0]
[]
>>> find_in([chess.Board(stuck.replace("w -", "b kq"))], MOTIFS)[0]
[]

Roles. Actors: our men that attack these squares, or prevent castling. Target: the king. Squares: for an open
king, the empty bare squares; for a king in the centre, the empty squares of the open files on its side of the
board.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.attacks import attackers, men_of
from patterns.boards.bitboards import (
    BIT,
    CENTRE,
    EMPTY,
    FILES,
    KINGSIDE,
    NORTH,
    QUEENSIDE,
    RANKS,
    SOUTH,
    THEIR_HALF,
    THEIR_HOME,
    Bitboards,
    Flags,
    Rows,
    Squares,
    count,
    exploded,
    filled_files,
    filled_up,
    king_ring,
    pawn_attacks_down,
    rook_reach,
    shifted,
)
from patterns.boards.castling import WINGS, Moved, castlings
from patterns.boards.exchange import can_win, loses_nothing
from patterns.boards.grouping import any_of, marked, united
from patterns.boards.moves import pawn_steps
from patterns.boards.positions import Boards
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, findings
from patterns.proof.attack import at_our_king, queens_meet
from patterns.proof.quiet import is_quiet
from patterns.words import wording

_THEIR_COVER = RANKS[5] | RANKS[6]
_OUTSIDE = ((FILES[2], FILES[0] | FILES[1]), (FILES[5], FILES[6] | FILES[7]))
"""The c- and the f-file, each with the files between it and the edge of the board."""
_ATTACKERS = 2
GONE, STOPPED, COSTLY, SLOW, LEAVES = range(5)
"""Why a king stays in the centre: it has lost the right to castle, or we attack squares on its way, or
castling would lose material, or it needs two more moves. Or it does not stay."""


def _with_queen_and(view: View, others: int) -> Flags:
    """Whether each side has a queen and at least this many other pieces."""
    queens = (view.our(chess.QUEEN) != EMPTY) & (view.their(chess.QUEEN) != EMPTY)
    return queens & (np.minimum(view.our_piece_count, view.their_piece_count) > others)


def _attackers_of(view: View, squares: Bitboards) -> Bitboards:
    """Our men, except the king, that attack one of the squares. `squares`: one board per row of the view."""
    men = view.our_pieces
    hits = np.flatnonzero((men.attacks & squares[men.row]) != EMPTY)
    pieces = united(men.row[hits], BIT[men.square[hits]], len(view))
    return pieces | view.our_pawns & pawn_attacks_down(squares)


def open_king(view: View) -> Findings:
    """Castled kings whose cover is gone, with our men at them."""
    king = view.their(chess.KING)
    files = np.where((king & QUEENSIDE) != EMPTY, QUEENSIDE, KINGSIDE)
    candidate = ((king & THEIR_HOME & ~CENTRE) != EMPTY) & _with_queen_and(view, 1)
    bare = files & ~filled_files(view.their_pawns & _THEIR_COVER)
    candidate &= (files & ~filled_files(view.their_pawns)) != EMPTY
    wide = count(bare & RANKS[0]) >= 2
    ring = np.where(candidate, king_ring(king), EMPTY)
    zone = np.where(candidate, view.their_king_zone & bare, EMPTY)
    cover: Bitboards = np.where(candidate & ~wide, view.their_pawns & files & _THEIR_COVER, EMPTY)
    looking = _attackers_of(view, zone | cover) & ~view.our_pawns
    close = _attackers_of(view, ring) & ~view.our_pawns
    attackers = looking | close | view.our_pawns & pawn_attacks_down(ring & bare | cover)
    at_our = view.once(at_our_king)
    at_home = king_ring(view.our(chess.KING)) & ~view.our(chess.KING)
    guards = count(view.swapped(_attackers_of(view, at_home) & ~view.our_pawns))
    enough = np.maximum(np.where(wide, at_our, guards) + 1, _ATTACKERS)
    led = ((close & view.our(chess.QUEEN)) != EMPTY) & (at_our == 0) & ((king & view.our_attacks) == EMPTY)
    rows = np.flatnonzero((wide | led) & (looking != EMPTY) & (close != EMPTY) & (count(attackers) >= enough))
    rows = rows[~view.once(queens_meet)[rows] & (wide[rows] | is_quiet(view, rows))]
    entry, square = exploded((attackers & ~view.our_pawns)[rows])
    # Where the cover is only thinned, a man that we can still move away is not lost.
    falls = (wide | ~view.boards.our_move)[rows[entry]]
    falls &= can_win(view.boards.take(rows[entry]), square, "them")
    bearing = attackers[rows] & ~united(entry[falls], BIT[square[falls]], len(rows))
    lasting = (count(bearing) >= enough[rows]) & (
        wide[rows] | ((bearing & view.our(chess.QUEEN)[rows]) != EMPTY)
    )
    squares = (zone & ~view.occupied)[rows]
    return findings(rows, bearing, king[rows], squares).only(lasting)


def king_in_centre(view: View) -> Findings:
    """Kings kept in the centre, with its files open or about to open."""
    king = view.their(chess.KING)
    candidate = _uncastled(view) & _with_queen_and(view, 2) & (view.our(chess.ROOK) != EMPTY)
    # Off its first rank a king behind a pawn of its own steps aside when it likes.
    ahead = shifted(king & RANKS[6], SOUTH)
    candidate &= ((ahead | shifted(ahead, SOUTH)) & view.their_pawns) == EMPTY
    files = CENTRE | filled_files(king)
    open_files = files & ~filled_files(view.our_pawns)
    levers = view.our_pawn_attacks & view.their_pawns & files
    candidate &= (open_files | levers) != EMPTY
    ring = np.where(candidate, king_ring(king), EMPTY)
    zone = np.where(candidate, view.their_king_zone, EMPTY)
    pieces = _attackers_of(view, zone) & ~view.our_pawns
    close = _attackers_of(view, ring) & ~view.our_pawns
    # With the right to castle still there, two pieces must be near, and castling prevented or a file open.
    right = (view.boards.castling & view.them) != EMPTY
    on_the_way = _on_the_way(view)
    opened = (levers | open_files & ~filled_files(view.their_pawns)) != EMPTY
    near = (count(pieces) >= 2) & (close != EMPTY)
    near &= ~right | opened | (on_the_way != EMPTY)
    # As long as it has the right to castle, one man on the file is not enough.
    heavy = view.boards.straight_sliders & view.us
    doubled = _on_doubled_files(heavy)
    up_a_file = _hits_up_a_file(view, np.where(right, open_files & doubled, open_files), ring)
    rows = np.flatnonzero(near | up_a_file)
    why = _why_it_stays(view, rows, on_the_way[rows])
    stays = (why == GONE) | (why == STOPPED) | opened[rows] & (why != LEAVES)
    rows, why = rows[stays], why[stays]
    stoppers = np.zeros(len(view), dtype=np.uint64)
    stoppers[rows] = np.where(why == STOPPED, on_the_way[rows], EMPTY)
    # Of the men that attack only the outer zone, a knight bears on the king, and who looks at an open file.
    afar = _attackers_of(view, zone & ~view.us) & view.our(chess.KNIGHT)
    afar |= _attackers_of(view, zone & open_files) & view.boards.straight_sliders
    behind = np.where(up_a_file, heavy & doubled & filled_files(close & heavy), EMPTY)
    bearing = (close | afar | behind | _attackers_of(view, stoppers))[rows]
    squares = (open_files & THEIR_HALF & ~view.occupied)[rows]
    several = (count(bearing) >= _ATTACKERS) & ~view.once(queens_meet)[rows]
    several &= (king & view.our_attacks)[rows] == EMPTY
    several[several] = is_quiet(view, rows[several])
    return findings(rows, bearing, king[rows], squares, why).only(several)


def _on_doubled_files(men: Bitboards) -> Bitboards:
    """The files on which two or more of the men stand."""
    return filled_files(filled_up(shifted(men, NORTH)) & men)


def _uncastled(view: View) -> Flags:
    """Whether their king is at home in the centre and has not castled.

    On the c- or f-file this is known from a rook that the king shuts in.
    """
    king, rooks = view.their(chess.KING) & THEIR_HOME, view.their(chess.ROOK) & THEIR_HOME
    uncastled = (king & CENTRE) != EMPTY
    for file, outside in _OUTSIDE:
        uncastled |= ((king & file) != EMPTY) & ((rooks & outside) != EMPTY)
    return uncastled


def _on_the_way(view: View) -> Bitboards:
    """The squares on their king's ways to castle that we attack; empty where one way is free of them."""
    found, free = np.zeros(len(view), dtype=np.uint64), np.zeros(len(view), dtype=np.bool_)
    for wing in WINGS:
        right = (view.boards.castling & BIT[wing.rook ^ 56]) != EMPTY
        way = view.our_attacks & (BIT[wing.king_to ^ 56] | BIT[wing.rook_to ^ 56])
        free |= right & (way == EMPTY)
        found |= np.where(right, way, EMPTY)
    return np.where(free, EMPTY, found)


def _why_it_stays(view: View, rows: Rows, on_the_way: Bitboards) -> Squares:
    """Why their king in each of these rows stays in the centre, or LEAVES.

    It leaves if castling is legal now, or after one move of theirs, and neither move loses anything.
    """
    theirs = view.boards.take(view.other(rows))
    right = (theirs.castling & theirs.us) != EMPTY
    why = np.where(right, np.where(on_the_way != EMPTY, STOPPED, SLOW), GONE)
    some = np.flatnonzero(right)
    legal, free = _may_castle(theirs.take(some), theirs.take(some))
    open_yet = np.flatnonzero(~free)
    moved = _after_one_move(theirs.take(some[open_yet]))
    then_legal, then_free = _may_castle(moved.after, theirs.take(some[open_yet][moved.row]))
    legal[open_yet] |= any_of(moved.row, then_legal, len(open_yet))
    free[open_yet] = any_of(moved.row, then_free, len(open_yet))
    why[some[legal & (why[some] != STOPPED)]] = COSTLY
    why[some[free]] = LEAVES
    return why


def _may_castle(boards: Boards, before: Boards) -> tuple[Flags, Flags]:
    """Whether castling is legal for "us" on each board, and whether it is and costs no man by exchange.

    What they could take on the boards `before` doesn't count.
    """
    castled = castlings(boards)
    after = castled.after
    entry, square = exploded(after.us & ~after.kings)
    asked = np.flatnonzero(attackers(after.take(entry), square) & after.them[entry])
    entry, square = entry[asked], square[asked]
    falls = can_win(after.take(entry), square, "them")
    entry, square = entry[falls], square[falls]
    fell_before = can_win(before.take(castled.row[entry]), square, "them")
    free = ~any_of(entry, ~fell_before, len(castled))
    return marked(castled.row, len(boards)), any_of(castled.row, free, len(boards))


def _after_one_move(boards: Boards) -> Moved:
    """Every board that one move of ours makes that loses nothing. King moves and promotions are left out."""
    men = men_of(boards, "us")
    men = men.only(men.kind != chess.KING)
    here = boards.take(men.row)
    pawns = men.attacks & here.them | pawn_steps(BIT[men.square], here, "us")
    man, square = exploded(np.where(men.kind == chess.PAWN, pawns & ~RANKS[7], men.attacks & ~here.us))
    row, origin = men.row[man], men.square[man]
    keep = loses_nothing(boards.take(row), origin, square)
    row, origin, square = row[keep], origin[keep], square[keep]
    return Moved(row, boards.take(row).moved(origin, square))


def _hits_up_a_file(view: View, files: Bitboards, ring: Bitboards) -> Flags:
    """Whether a queen or rook of ours on one of the files attacks a square of the ring on the same file."""
    heavy = view.boards.straight_sliders & view.us & files
    row, square = exploded(np.where(ring != EMPTY, heavy, EMPTY))
    hit = rook_reach(square, view.occupied[row]) & ring[row]
    return any_of(row, hit != EMPTY, len(view))


def _tell_open(instance: Instance) -> str:
    board = instance.board
    king = wording.men(board, instance.targets)
    text = f"{king} has lost its cover; {wording.men(board, instance.actors)} bear on it"
    if instance.squares:
        text += f", with {wording.squares(instance.squares)} open"
    return wording.sentence(text)


def _tell_centre(instance: Instance) -> str:
    board, side = instance.board, wording.side_name(instance.side)
    king = wording.men(board, instance.targets)
    bear = "bears" if len(instance.actors) == 1 else "bear"
    return wording.sentence(
        f"{king} is kept in the centre: {_REASONS[instance.detail].format(side)};"
        f" {wording.men(board, instance.actors)} {bear} on it"
    )


_REASONS = {
    GONE: "it can no longer castle",
    STOPPED: "{}'s men prevent castling",
    COSTLY: "it cannot castle without loss",
    SLOW: "it needs two more moves to castle",
}


MOTIFS = (
    Motif(
        id="open-king",
        title="Open king",
        definition=(
            "With queens on, two or more of the three files before a castled king have lost the pawn that"
            " covered it (gone or far advanced), one of them entirely, and at least two enemy men, more than"
            " attack the other king, bear on the bare squares and on those next to the king. Or one file has"
            " no pawn, and a queen and others, more than the pieces that guard the king, bear on it and on"
            " its remaining cover, while the other king is left in peace."
        ),
        source="Vukovic, The Art of Attack in Chess; named from memory",
        find=open_king,
        tell=_tell_open,
    ),
    Motif(
        id="king-in-centre",
        title="King in the centre",
        definition=(
            "With queens on, the king stands on one of the files c to f and will not castle: the right is"
            " gone, or castling is not possible within two moves, or it would lose material. A centre file"
            " is open to the attacker or about to be opened. The attacker has a rook, and two pieces attack"
            " the squares by the king, perhaps one behind the other on the file. The position is quiet, the"
            " king is not in check, and the queens do not attack each other."
        ),
        source="Vukovic, The Art of Attack in Chess; named from memory",
        find=king_in_centre,
        tell=_tell_centre,
    ),
)
