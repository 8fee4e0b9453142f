"""Knights: the outpost, and the knight out of play.

The rules. An *outpost* is a square on ranks 4 to 6 and files b to g that a pawn of ours guards. No pawn of
theirs attacks it or can do so after advancing; a pawn of theirs cannot advance past a pawn of ours on its
file. Our knight stands there, and they win nothing by taking it. On the sixth rank a minor piece may guard it
instead of a pawn, if no minor piece of theirs attacks the square and each side has five pieces or more. Or it
is our move and the knight can go there (to the sixth rank from the fifth too, where a bishop guards it), or
to a square from where it can go there next, and loses nothing by it (the look ahead tests this). Then the
outpost is beyond the middle, and the knight is neither there nor on an outpost already; the way in two moves
counts only without one in a single move. The position is quiet (`patterns.proof.quiet`). They cannot exchange
the knight off: if all minor pieces that attack the square take there in turn, one of ours is left on it.

*Sidelined knight* (it is theirs, we profit): it stands on the a- or h-file, or on b2, g2 or ranks 7 and 8 (as
its owner sees the board), and at least four king steps from both kings. It is not pinned. It attacks no man
of ours and guards no man of its own side that we attack and that no pawn guards. It has at most two safe
moves. Its own pieces do not stand on as many squares of its way into play as are free. On its first rank it
must have none, our pawns take two squares or more from it, and no man of its own stands in its way: it was
driven back, or cannot come out. No safe move goes into play (files b to g, its own ranks 3 to 6), or hits a
king, queen or rook, nor does one from its third rank to its first or to c2 or f2, from where it goes into
play without being attacked there. A pawn of its own that can step aside, with nobody attacking its old square
or its new one, does not keep it from a square in play. The position is calm (`patterns.proof.quiet`). It
cannot simply be taken.

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

Roles. Outpost: actors, the knight and, if it stands there, the pawns (or else the pieces) that guard it;
squares, the outposts that it can reach, and the squares on its way. Sidelined knight: target, the knight;
squares, the empty squares in play that it cannot safely go to.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.attacks import attackers
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
    SOUTH,
    THEIR_HALF,
    THEIR_HOME,
    Bitboards,
    count,
    exploded,
    filled_files,
    mirror,
    neighbour_files,
    shifted,
)
from patterns.boards.exchange import can_win, is_safe
from patterns.boards.grouping import any_of
from patterns.boards.moves import Moves
from patterns.boards.pressure import outlasts_trades
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, TakenUp, findings
from patterns.proof.claims import Claims, claims
from patterns.proof.quiet import CALM, is_calm, is_quiet
from patterns.proof.strokes import Strokes, strokes, worth_claiming
from patterns.words import wording

_OUTPOSTS = (RANKS[3] | RANKS[4] | RANKS[5]) & ~RIM_FILES
STANDS, IN_ONE_MOVE, IN_TWO_MOVES = range(3)
"""`detail` of an outpost: where its knight is."""
_IN_PLAY = (RANKS[2] | RANKS[3] | RANKS[4] | RANKS[5]) & ~RIM_FILES
_ASTRAY = BIT[chess.B2] | BIT[chess.G2] | THEIR_HOME
_PIECES = 3
"""With fewer pieces on either side, the way to an outpost is not worth mentioning."""
_CROWD = 5
"""The fewest pieces of either side for an outpost that no pawn guards."""
_FAR = 4
_FEW_MOVES = 2


def outposts(view: View) -> Bitboards:
    """The squares of our outposts, whatever stands on them."""
    return view.our_pawn_attacks & ~view.their_free_pawn_span & _OUTPOSTS


def outpost(view: View) -> Claims:
    """Knights on outposts or, where it is our move, on the way to one, one instance each."""
    posts = view.once(outposts)
    deep = _deep(view)
    row, square = exploded(view.our(chess.KNIGHT) & (posts | deep))
    lasts = outlasts_trades(view, row, square) & ~can_win(view.boards.take(row), square, "them")
    row, square = row[lasts], square[lasts]
    quiet = is_quiet(view, row)
    row, square = row[quiet], square[quiet]
    pawns = PAWN_DOWN[square] & view.our_pawns[row]
    pieces = attackers(view.boards.take(row), square) & view.us[row]
    actors = BIT[square] | np.where(pawns != EMPTY, pawns, pieces)
    standing = claims(Moves(row, square, square), actors, np.zeros_like(actors), least=0, detail=STANDS)
    return Claims.joined(standing, *_on_the_way(view, posts, deep))


def _deep(view: View) -> Bitboards:
    """Squares on our sixth rank that our minor pieces guard, and where no pawn or minor piece can hit us."""
    minors = (view.our_attacks_of[kind] for kind in (chess.KNIGHT, chess.BISHOP))
    deep = RANKS[5] & ~RIM_FILES & ~view.their_free_pawn_span & np.bitwise_or(*minors)
    deep &= ~(view.their_attacks_of[chess.KNIGHT] | view.their_attacks_of[chess.BISHOP])
    crowd = np.minimum(view.our_piece_count, view.their_piece_count) >= _CROWD
    return np.where(crowd, deep, EMPTY)


def _on_the_way(view: View, posts: Bitboards, deep: Bitboards) -> tuple[Claims, Claims]:
    """Moves of knights to an outpost beyond the middle, and those to a square from where they reach one."""
    files = filled_files(view.their_pawns)
    goals = posts & ~view.occupied & THEIR_HALF & (files | neighbour_files(view.their_pawns))
    pieces_left = np.minimum(view.our_piece_count, view.their_piece_count) >= _PIECES
    goals = np.where(pieces_left, goals, EMPTY)
    every = view.once(strokes)
    every = every.only((every.kind == chess.KNIGHT) & (every.gain == 0))
    # On the sixth rank a bishop may be the guard, and a knight comes there from the fifth too.
    bishops = deep & view.our_attacks_of[chess.BISHOP] & ~view.occupied
    enters = (BIT[every.square] & bishops[every.row]) != EMPTY
    settled = (posts[every.row] | np.where(enters, RANKS[5], THEIR_HALF)) & BIT[every.origin]
    every = every.only((settled == EMPTY) & (enters | (goals[every.row] != EMPTY)))
    quiet = is_quiet(view, every.row)
    every = every.only(quiet)

    arrives = (BIT[every.square] & (goals | bishops)[every.row]) != EMPTY
    arrives[arrives] = outlasts_trades(view, every.row[arrives], every.square[arrives])
    near = any_of(every.row * 64 + every.origin, arrives, 64 * len(view))
    one = every.only(arrives)
    far = ~near[every.row * 64 + every.origin] & ((BIT[every.origin] & CENTRE_SQUARES) == EMPTY)
    minors = view.their_attacks_of[chess.KNIGHT] | view.their_attacks_of[chess.BISHOP]
    far &= (BIT[every.square] & (minors | view.their_pawn_attacks)[every.row]) == EMPTY
    two = every.only(far)
    entry, square = exploded(two.seen & (goals & MIDDLE_FILES)[two.row])
    good = outlasts_trades(view, two.row[entry], square, coming=1)
    two, square = two.take(entry[good]), square[good]
    return _ways(view, one, BIT[one.square], IN_ONE_MOVE), _ways(
        view, two, BIT[two.square] | BIT[square], IN_TWO_MOVES
    )


def _ways(view: View, every: Strokes, squares: Bitboards, moves: int) -> Claims:
    """What these moves claim: that they lose nothing. All ways of one knight are one instance."""
    safe = worth_claiming(view, every)
    every, squares = every.only(safe), squares[safe]
    actors, about = BIT[every.origin], every.origin
    return claims(every.moves, actors, np.zeros_like(actors), squares, least=0, detail=moves, about=about)


def sidelined_knight(view: View) -> Findings:
    """Knights out of play: found as ours, reported for the other side."""
    row, square = exploded(view.our(chess.KNIGHT) & ~view.our_pinned)
    steps = KNIGHT_STEPS[square]
    far = (DISTANCE[square, view.our_king[row]] >= _FAR) & (DISTANCE[square, view.their_king[row]] >= _FAR)
    rim = (BIT[square] & RIM_FILES) != EMPTY
    home = ~rim & far & ((BIT[square] & RANKS[0]) != EMPTY)
    aside = rim | home | far & ((BIT[square] & _ASTRAY) != EMPTY)
    # What a pawn guards does not need the knight.
    needed = view.us & view.their_attacks & ~view.our_pawn_attacks
    aside &= (steps & (view.them | needed)[row]) == EMPTY
    free = steps & ~view.occupied[row]
    aside &= (free & _IN_PLAY & ~view.their_attacks[row]) == EMPTY
    # A knight with its own pieces in the way comes into play as soon as they move.
    blocked = steps & _IN_PLAY & (view.us & ~view.our_pawns & ~view.boards.kings)[row]
    aside &= (blocked == EMPTY) | (count(blocked) < count(free & _IN_PLAY))
    aside &= ~home | (count(free & view.their_pawn_attacks[row]) >= 2) & ((steps & view.us[row]) == EMPTY)
    row, square, free, home = row[aside], square[aside], free[aside], home[aside]
    entry, destination = exploded(free)
    safe = is_safe(view.boards.take(row[entry]), square[entry], destination)
    entry, destination = entry[safe], destination[safe]
    few = np.bincount(entry, minlength=len(row)) <= np.where(home, 0, _FEW_MOVES)
    big = (view.boards.straight_sliders | view.boards.kings) & view.them
    useful = (BIT[destination] & _IN_PLAY) | (KNIGHT_STEPS[destination] & big[row[entry]])
    # From a3 over b1 or c2 it comes into play with its next move.
    onward = KNIGHT_STEPS[destination] & _IN_PLAY & ~(view.us | view.their_attacks)[row[entry]]
    over = ((BIT[square[entry]] & RANKS[2]) != EMPTY) & (onward != EMPTY)
    useful |= np.where(over, BIT[destination] & (RANKS[0] | RANKS[1] & MIDDLE_FILES), EMPTY)
    freed = KNIGHT_STEPS[square] & _IN_PLAY & _stepping_aside(view)[row]
    stuck = few & ~any_of(entry, useful != EMPTY, len(row)) & (freed == EMPTY)
    row, square, free = row[stuck], square[stuck], free[stuck]
    stays = is_calm(view, view.other(row)) & ~can_win(view.boards.take(row), square, "them")
    row, square, free = row[stays], square[stays], free[stays]
    return findings(view.other(row), targets=mirror(BIT[square]), squares=mirror(free & _IN_PLAY))


def _stepping_aside(view: View) -> Bitboards:
    """Our pawns that can make a step, where they do not attack its square or the one that it leaves."""
    free = ~(view.occupied | view.their_attacks)
    return view.our_pawns & shifted(free, SOUTH) & ~view.their_attacks


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
    goes = f"{instance.does('get')} over {wording.either(over)}" if over else instance.does("go")
    return wording.sentence(
        f"{wording.named(instance.board, knight)} {goes} to an outpost on {wording.either(posts)},"
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
            " attacks or could attack after advancing. A knight stands there, or it can get without loss to"
            " such a square beyond the middle in one or two moves. Trades of minor pieces on the square leave"
            " one of ours there. Of a knight that stands on the sixth rank a minor piece may be the guard."
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
            " nothing, guards nothing that is attacked and has no pawn behind it, and has at most two safe"
            " moves, none of them useful. It is not just its own men that stand in its way, and it has no way"
            " from its third rank over the first or over c2 or f2 (c7 or f7) into play. On its first rank"
            " pawns leave it no move at all. The other side profits." + CALM
        ),
        source="Tarrasch (the knight on the rim); named from memory",
        find=sidelined_knight,
        tell=_tell_sidelined,
    ),
)
