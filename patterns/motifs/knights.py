"""Knights: the outpost, and the knight out of play.

The rules. An *outpost* is a square on ranks 4 to 6 and files b to g that a pawn of ours guards. No pawn of
theirs attacks it or can do so after advancing; a pawn of theirs cannot advance past a pawn of ours on its
file. Our knight stands there. Or it can go there safely in one move, or in two over a safe square, but then
only if the outpost is beyond the middle, and if the knight is neither pinned nor on an outpost already; the
way in two moves counts only without one in a single move. They cannot exchange it off: if all minor pieces
that attack the square take there in turn, a minor piece of ours is left on it.

*Sidelined knight* (it is theirs, we profit): it stands on the a- or h-file, or on b2, g2 or ranks 7 and 8 (as
its owner sees the board), and at least four king steps from both kings. It attacks no man of ours and guards
no man of its own side that we attack. It has at most two safe moves. None of them goes into play (files b to
g, its own ranks 3 to 6) or hits a king, queen or rook. It cannot simply be taken.

A hit of each:

>>> from patterns.detect import find_in
>>> outpost_on_d5 = "2rq1rk1/1p2bppp/p2p4/3Np3/4P3/1P6/P1P2PPP/R2Q1RK1 w - - 0 1"
>>> aside = "6k1/1p3ppp/4p3/n2P4/8/3P1N2/PPP2PPP/6K1 b - - 0 1"
>>> for fen in (outpost_on_d5, aside):
...     found = find_in([chess.Board(fen)], MOTIFS)[0]
...     print([(f.motif, f.side, f.actors, f.targets, f.squares) for f in found])
[('outpost', 'white', ('e4', 'd5'), (), ())]
[('sidelined-knight', 'white', (), ('a5',), ('b3', 'c4', 'c6'))]

Near misses: a pawn on c6 drives the knight away; with the pawn on c4 the other knight attacks something.

>>> near = [outpost_on_d5.replace("p2p4", "p1pp4"), aside.replace("n2P4/8", "n2P4/2P5")]
>>> [find_in([chess.Board(fen)], MOTIFS)[0] for fen in near]
[[], []]

On its way: from b1 the knight needs two moves to the outpost. If Black has a knight on f6 instead of the
bishop, that knight would take it there.

>>> way = "1r1q1rk1/1p2bppp/p2p4/4p3/4P3/1P6/P1P2PPP/RN1Q1RK1 w - - 0 1"
>>> print(find_in([chess.Board(way)], MOTIFS)[0][0].note)
The knight on b1 can get over c3 to an outpost on d5, where no pawn can drive it off.
>>> find_in([chess.Board(way.replace("1p2bppp/p2p4", "1p3ppp/p2p1n2"))], MOTIFS)[0]
[]

Roles. Outpost: actors, the knight and, if it stands there, the pawns that guard it; squares, the outposts
that it can reach, and the squares on its way. Sidelined knight: target, the knight; squares, the empty
squares in play that it cannot safely go to.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.bitboards import (
    BIT,
    CENTRE_SQUARES,
    DISTANCE,
    EMPTY,
    KNIGHT_STEPS,
    MIDDLE_FILES,
    PAWN_DOWN,
    RANKS,
    RIM_FILES,
    THEIR_HALF,
    THEIR_HOME,
    Bitboards,
    Flags,
    Rows,
    Squares,
    exploded,
    filled_files,
    mirror,
    neighbour_files,
)
from patterns.boards.exchange import can_win, is_safe
from patterns.boards.grouping import any_of, marked
from patterns.boards.pressure import outlasts_trades
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, TakenUp, findings
from patterns.words import wording

_OUTPOSTS = (RANKS[3] | RANKS[4] | RANKS[5]) & ~RIM_FILES
STANDS, IN_ONE_MOVE, IN_TWO_MOVES = range(3)
"""`detail` of an outpost: where its knight is."""
_IN_PLAY = (RANKS[2] | RANKS[3] | RANKS[4] | RANKS[5]) & ~RIM_FILES
_ASTRAY = BIT[chess.B2] | BIT[chess.G2] | THEIR_HOME
_PIECES = 3
"""With fewer pieces on either side, the way to an outpost is not worth mentioning."""
_FAR = 4
_FEW_MOVES = 2


def outposts(view: View) -> Bitboards:
    """The squares of our outposts, whatever stands on them."""
    return view.our_pawn_attacks & ~view.their_free_pawn_span & _OUTPOSTS


def outpost(view: View) -> Findings:
    """Knights on outposts or on the way to one, one instance each."""
    posts = view.once(outposts)
    row, square = exploded(view.our(chess.KNIGHT) & posts)
    standing = findings(row, BIT[square] | PAWN_DOWN[square] & view.our_pawns[row])
    standing = standing.only(outlasts_trades(view, row, square))
    return Findings.joined(standing, *_on_the_way(view, posts))


def _on_the_way(view: View, posts: Bitboards) -> tuple[Findings, Findings]:
    """Knights that can reach an outpost beyond the middle in one move, and those that need two."""
    files = filled_files(view.their_pawns)
    goals = posts & ~view.occupied & THEIR_HALF & (files | neighbour_files(view.their_pawns))
    pieces_left = np.minimum(view.our_piece_count, view.their_piece_count) >= _PIECES
    knights = view.our(chess.KNIGHT) & ~posts & ~view.our_pinned & ~THEIR_HALF
    row, origin = exploded(np.where(pieces_left & (goals != EMPTY), knights, EMPTY))
    entry, square = exploded(KNIGHT_STEPS[origin] & goals[row])
    good = _can_settle(view, row[entry], origin[entry], square)
    entry, square = entry[good], square[good]
    in_one = _ways(row[entry], origin[entry], BIT[square], IN_ONE_MOVE)

    far = ~marked(entry, len(row)) & ((BIT[origin] & CENTRE_SQUARES) == EMPTY)
    row, origin = row[far], origin[far]
    minors = view.their_attacks_of[chess.KNIGHT] | view.their_attacks_of[chess.BISHOP]
    free = ~(view.occupied | view.their_pawn_attacks | minors)
    entry, stop = exploded(KNIGHT_STEPS[origin] & free[row])
    which, square = exploded(KNIGHT_STEPS[stop] & goals[row[entry]] & MIDDLE_FILES)
    entry, stop = entry[which], stop[which]
    good = is_safe(view.boards.take(row[entry]), origin[entry], stop)
    entry, stop, square = entry[good], stop[good], square[good]
    good = _can_settle(view, row[entry], origin[entry], square, coming=1)
    entry, stop, square = entry[good], stop[good], square[good]
    return in_one, _ways(row[entry], origin[entry], BIT[stop] | BIT[square], IN_TWO_MOVES)


def _can_settle(view: View, rows: Rows, origins: Squares, squares: Squares, coming: int = 0) -> Flags:
    """Whether each knight loses nothing on its square and cannot be exchanged off there.

    `coming`: 1 if the knight does not attack the square yet.
    """
    lasting = outlasts_trades(view, rows, squares, coming)
    some = np.flatnonzero(lasting)
    lasting[some] = is_safe(view.boards.take(rows[some]), origins[some], squares[some])
    return lasting


def _ways(rows: Rows, origins: Squares, squares: Bitboards, moves: int) -> Findings:
    """One finding for each knight, with all its squares."""
    return findings(rows, BIT[origins], squares=squares, detail=np.full(len(rows), moves)).merged(origins)


def sidelined_knight(view: View) -> Findings:
    """Knights out of play: found as ours, reported for the other side."""
    row, square = exploded(view.our(chess.KNIGHT))
    steps = KNIGHT_STEPS[square]
    far = (DISTANCE[square, view.our_king[row]] >= _FAR) & (DISTANCE[square, view.their_king[row]] >= _FAR)
    aside = ((BIT[square] & RIM_FILES) != EMPTY) | far & ((BIT[square] & _ASTRAY) != EMPTY)
    aside &= (steps & (view.them | view.us & view.their_attacks)[row]) == EMPTY
    free = steps & ~view.occupied[row]
    aside &= (free & _IN_PLAY & ~view.their_attacks[row]) == EMPTY
    row, square, free = row[aside], square[aside], free[aside]
    entry, destination = exploded(free)
    safe = is_safe(view.boards.take(row[entry]), square[entry], destination)
    entry, destination = entry[safe], destination[safe]
    few = np.bincount(entry, minlength=len(row)) <= _FEW_MOVES
    big = (view.boards.straight_sliders | view.boards.kings) & view.them
    useful = (BIT[destination] & _IN_PLAY) | (KNIGHT_STEPS[destination] & big[row[entry]])
    stuck = few & ~any_of(entry, useful != EMPTY, len(row))
    row, square, free = row[stuck], square[stuck], free[stuck]
    stays = ~can_win(view.boards.take(row), square, "them")
    row, square, free = row[stays], square[stays], free[stays]
    return findings(view.other(row), targets=mirror(BIT[square]), squares=mirror(free & _IN_PLAY))


def _tell_outpost(instance: Instance) -> str:
    board = instance.board
    if instance.detail != STANDS:
        return _tell_way(instance)
    knight = next(square for square in instance.actors if board.piece_type_at(square) == chess.KNIGHT)
    pawns = wording.men(board, (square for square in instance.actors if square != knight))
    return wording.sentence(
        f"{wording.named(board, knight)} has an outpost: {pawns} "
        f"{'holds' if len(instance.actors) == 2 else 'hold'} it and no pawn can drive it off"
    )


def _tell_way(instance: Instance) -> str:
    (knight,) = instance.actors
    posts, over = instance.squares, chess.SquareSet()
    if instance.detail == IN_TWO_MOVES:
        # After two moves a knight is on a square of the same colour again.
        same = (
            chess.BB_LIGHT_SQUARES
            if chess.BB_SQUARES[knight] & chess.BB_LIGHT_SQUARES
            else chess.BB_DARK_SQUARES
        )
        posts, over = posts & same, posts - same
    verb = f"get over {wording.either(over)} to" if over else "go to"
    return wording.sentence(
        f"{wording.named(instance.board, knight)} can {verb} an outpost on {wording.either(posts)},"
        " where no pawn can drive it off"
    )


def _tell_sidelined(instance: Instance) -> str:
    text = f"{wording.men(instance.board, instance.targets)} stands aside"
    if instance.squares:
        verb = "is" if len(instance.squares) == 1 else "are"
        return wording.sentence(f"{text}: {wording.squares(instance.squares)} {verb} taken from it")
    return wording.sentence(f"{text}, without a way back into play")


MOTIFS = (
    Motif(
        id="outpost",
        title="Outpost",
        definition=(
            "A square on ranks 4 to 6 and the files b to g that a pawn guards and that no enemy pawn"
            " attacks or could attack after advancing. A knight stands there, or it can safely get to such a"
            " square beyond the middle in one or two moves. Trades of minor pieces on the square leave one"
            " of ours there."
        ),
        source="Nimzowitsch, My System (the outpost); named from memory",
        find=outpost,
        tell=_tell_outpost,
        taken_up=TakenUp.ACTION,
    ),
    Motif(
        id="sidelined-knight",
        title="Sidelined knight",
        definition=(
            "A knight on the a- or h-file, or on another remote square, is far from both kings. It attacks"
            " nothing, guards nothing that is attacked, and has at most two safe moves, none of them useful."
            " The other side profits."
        ),
        source="Tarrasch (the knight on the rim); named from memory",
        find=sidelined_knight,
        tell=_tell_sidelined,
    ),
)
