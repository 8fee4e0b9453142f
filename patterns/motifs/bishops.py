"""Bishops: the pair, the fianchetto and the bad bishop.

The rules. *Bishop pair*: we have bishops of both colours, they have one bishop or none. The position is open
or half-open: on the files c to f at most one pair of pawns is rammed, and the pawns on the d- and e-file and
the rammed pairs together are at most three. They have two minor pieces or more, and not fewer than we have,
unless they have two pawns more for each: a pair that is just an extra piece does not count. Nor does one of
which a minor piece of theirs attacks a bishop, or they, to move, can take one with profit. The position is
settled (`patterns.proof.quiet`).

*Fianchetto*: our bishop stands on b2 or g2 with a pawn of ours ahead of it on its file. At least the next
three squares of the long diagonal have no pawn. The bishop hits a centre square or a man of theirs there.
Or it is our move, our knight stands next to it on the diagonal, no pawn on the next four squares, and the
bishop hits a knight or rook once the knight has left.

*Bad bishop* (it is theirs, we profit): three or more of their pawns are fixed on its colour. Fixed means: the
square ahead holds a pawn of ours (it is rammed), or the pawn has moved, a pawn of ours guards that square and
no pawn of theirs does; and the pawn attacks no piece of ours and no pawn on the files c to f: by taking it,
it would open the position for the bishop. Two of the fixed pawns are ahead of the bishop,
one of them rammed on the files c to f. On its first square the bishop has no move: else it is only
undeveloped. Unless two such rammed pawns can take no pawn either, and its king can castle no more. The bishop
has at most four moves to squares that no pawn of ours guards, and none of them is to a centre square or a
capture. It would not reach a centre square either if the pieces of its own side in front of it moved away:
pawns shut it in. Or the bishop, off its first two ranks, is walled in: however often it moves, it comes to
three squares at most besides its own that no pawn of ours guards. The pawns that stop it are pawns of its
side that cannot advance, and pawns of ours that a pawn of its side holds up and none attacks; that pawn can
take nothing either.

A hit of each, the bad bishop being the one on d7:

>>> from patterns.detect import find_in
>>> pair = "4r1k1/pp3ppp/2b2b2/8/8/2N2N2/PP3PPP/4R1K1 w - - 0 1"
>>> long_diagonal = "r1bq1rk1/pp3ppp/2n1pn2/3p4/8/1P2PN2/PBQP1PPP/RN2KB1R w KQ - 0 1"
>>> bad = "6k1/3b1ppp/4p3/1p1pP3/p2P4/P3N3/1P3PPP/6K1 w - - 0 1"
>>> for fen in (pair, long_diagonal, bad):
...     print([(f.motif, f.side, f.actors, f.targets) for f in find_in([chess.Board(fen)], MOTIFS)[0]])
[('bishop-pair', 'black', ('c6', 'f6'), ())]
[('fianchetto', 'white', ('b2',), ('f6',))]
[('bad-bishop', 'white', (), ('a4', 'b5', 'd5', 'e6', 'd7'))]

Near misses: White has a pair too; a knight on c3 stands in front of the bishop, and it is not White's move;
two pawns fewer are fixed and the bishop has b5.

>>> near = [
...     pair.replace("2N2N2", "2B2B2"),
...     long_diagonal.replace("1P2PN2", "1PN1PN2").replace(" w ", " b "),
...     bad.replace("1p1pP3/p2P4", "p2pP3/1p1P4"),
... ]
>>> [find_in([chess.Board(fen)], MOTIFS)[0] for fen in near]
[[], [], []]

Roles. Bishop pair: actors, the bishops. Fianchetto: actors, the bishop and the knight that leaves; target,
the man it hits on the diagonal; squares, the empty centre squares it hits. Bad bishop: actors, our pawns that
wall it in; targets, the bishop and its pawns that are fixed on its colour or wall it in.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.attacks import Men
from patterns.boards.bitboards import (
    BIT,
    CENTRE,
    CENTRE_SQUARES,
    DARK,
    EMPTY,
    FILES,
    KING_STEPS,
    LIGHT,
    MIDDLE_FILES,
    NORTH,
    NORTH_EAST,
    NORTH_WEST,
    OUR_HOME,
    RANKS,
    RAYS,
    SOUTH,
    Bitboards,
    bishop_reach,
    count,
    exploded,
    filled_down,
    first_on_ray,
    mirror,
    pawn_attacks_down,
    shifted,
)
from patterns.boards.exchange import can_win
from patterns.boards.grouping import marked, united
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, findings, where
from patterns.proof.quiet import SETTLED, is_settled
from patterns.words import wording

_HOMES = ((chess.B2, NORTH_EAST), (chess.G2, NORTH_WEST))
"""Where a bishop is fianchettoed, and the direction of its long diagonal."""
_CENTRE_PAWNS = 3
"""The bishop pair: the most pawns on the d- and e-file; a rammed pair makes it one less."""
_MINORS, _PAWNS_FOR_A_PIECE = 2, 2
_FREE_SQUARES = 3
_BISHOPS_BEGIN = BIT[chess.C1] | BIT[chess.F1]
_FEW_MOVES = 4
_FIXED_PAWNS = 3
_FIXED_AHEAD = 2
_LOCKED_CENTRE = 2
_WALLED_IN = 3
FIXED_PAWNS, WALLED_IN = range(2)
"""`detail` of a bad bishop: what makes it bad."""


def bishop_pair(view: View) -> Findings:
    """Bishop pairs in open positions."""
    ours, pawns = view.our(chess.BISHOP), view.boards.pawns
    rammed = view.our_pawns & view.their_pawns >> np.uint64(8) & MIDDLE_FILES
    flags = ((ours & LIGHT) != EMPTY) & ((ours & DARK) != EMPTY) & (count(view.their(chess.BISHOP)) <= 1)
    flags &= (count(pawns & CENTRE) + count(rammed) <= _CENTRE_PAWNS) & (count(rammed) <= 1)
    minors = view.boards.knights | view.boards.bishops
    theirs, more = count(minors & view.them), count(minors & view.us) - count(minors & view.them)
    paid = count(view.their_pawns) - count(view.our_pawns) >= _PAWNS_FOR_A_PIECE * more
    flags &= (theirs >= _MINORS) & ((more <= 0) | paid)
    minor_attacks = view.their_attacks_of[chess.KNIGHT] | view.their_attacks_of[chess.BISHOP]
    flags &= (minor_attacks & ours) == EMPTY
    bishops = view.our_men_of[chess.BISHOP]
    asked = bishops.only((flags & ~view.boards.our_move)[bishops.row])
    flags[asked.row[can_win(view.boards.take(asked.row), asked.square, "them")]] = False
    found = where(flags, ours)
    return found.only(is_settled(view, found.row))


def fianchetto(view: View) -> Findings:
    """Bishops that bear on the long diagonal from behind their knight's pawn, or can once a knight leaves."""
    ours = view.our_men_of[chess.BISHOP]
    chosen = np.zeros(len(ours), dtype=np.bool_)
    prey = view.them & (view.boards.knights | view.boards.rooks)
    targets, squares, opener = (np.zeros_like(ours.attacks) for _ in range(3))
    for home, direction in _HOMES:
        entry = np.flatnonzero(ours.square == home)
        row, ray = ours.row[entry], RAYS[direction][home]
        ahead = view.our_pawns[row] & FILES[home & 7]
        near = first_on_ray(view.boards.pawns[row] & ray, direction)
        # The squares of an upward ray ascend, so those below the first pawn are free. Without a pawn all are.
        free = count(ray & (near - np.uint64(1)))
        seen = ours.attacks[entry] & ray
        knight = seen & view.our(chess.KNIGHT)[row] & KING_STEPS[home]
        opener[entry] = np.where(view.boards.our_move[row], knight, EMPTY)
        opened = bishop_reach(np.full(len(row), home), view.occupied[row] & ~opener[entry]) & ray
        worth = (opened & prey[row]) != EMPTY
        opener[entry] = np.where((free > _FREE_SQUARES) & worth, opener[entry], EMPTY)
        seen = np.where(opener[entry] != EMPTY, opened, seen)
        targets[entry], squares[entry] = seen & view.them[row], seen & CENTRE_SQUARES & ~view.occupied[row]
        hits = (seen & (CENTRE_SQUARES & ~view.us[row] | view.them[row])) != EMPTY
        chosen[entry] = (ahead != EMPTY) & (free >= _FREE_SQUARES) & hits
    home_king = (KING_STEPS[ours.square] & view.our(chess.KING)[ours.row]) != EMPTY
    return findings(ours.row, BIT[ours.square] | opener, targets, squares, home_king).only(chosen)


def rammed_pawns(view: View) -> Bitboards:
    """Our pawns with a pawn of theirs in front of them."""
    return view.our_pawns & shifted(view.their_pawns, SOUTH)


def fixed_pawns(view: View) -> Bitboards:
    """Our fixed pawns, as the rule says."""
    waiting = shifted(view.their_pawn_attacks & ~view.our_pawn_attacks, SOUTH) & ~RANKS[1]
    prey = view.them & ~view.boards.kings & (~view.their_pawns | MIDDLE_FILES)
    takes = pawn_attacks_down(prey)
    return (view.once(rammed_pawns) | view.our_pawns & waiting) & ~takes


def bad_bishop(view: View) -> Findings:
    """Bishops shut in by their own fixed pawns: found as ours, reported for the other side."""
    ours = view.our_men_of[chess.BISHOP]
    row = ours.row
    shade: Bitboards = np.where((BIT[ours.square] & LIGHT) != EMPTY, LIGHT, DARK)
    fixed: Bitboards = view.once(fixed_pawns)[row] & shade
    moves = ours.attacks & ~view.us[row] & ~view.their_pawn_attacks[row]
    ahead = fixed & ~filled_down(RANKS[ours.square >> 3])
    at_home = (BIT[ours.square] & _BISHOPS_BEGIN) != EMPTY
    rammed = ahead & view.once(rammed_pawns)[row] & MIDDLE_FILES
    locked = rammed & ~pawn_attacks_down(view.their_pawns)[row]
    at_work = ((view.boards.castling & view.us)[row] == EMPTY) & (count(locked) >= _LOCKED_CENTRE)
    behind = (count(ahead) >= _FIXED_AHEAD) & (rammed != EMPTY)
    behind &= ~at_home | (moves == EMPTY) | at_work
    bad = (count(fixed) >= _FIXED_PAWNS) & behind & (count(moves) <= _FEW_MOVES)
    bad &= (moves & view.them[row]) == EMPTY
    row, square, fixed = row[bad], ours.square[bad], fixed[bad]
    opened = bishop_reach(square, (view.our_pawns | view.them)[row])
    hemmed = (opened & CENTRE_SQUARES & ~view.our_pawns[row] & ~view.their_pawn_attacks[row]) == EMPTY
    row, square, fixed = row[hemmed], square[hemmed], fixed[hemmed]
    bad = marked(row * 64 + square, 64 * len(view))[ours.row * 64 + ours.square]
    found = findings(view.other(row), targets=mirror(BIT[square] | fixed))
    return Findings.joined(found, _walled_in(view, ours.only(~bad)))


def _walled_in(view: View, ours: Men) -> Findings:
    """Our bishops that come to few squares however often they move: theirs to profit.

    The wall is made of our pawns that cannot advance and of theirs that ours hold up and do not attack.
    """
    free = ~view.their_pawn_attacks
    away = (BIT[ours.square] & ~OUR_HOME) != EMPTY
    ours = ours.only(away & (count(ours.attacks & (free & ~view.boards.pawns)[ours.row]) <= _WALLED_IN))
    row, pawns = ours.row, view.boards.pawns[ours.row]
    comes, wall = BIT[ours.square], np.zeros(len(ours), dtype=np.uint64)
    for _ in range(_WALLED_IN + 1):
        entry, square = exploded(comes)
        seen = united(entry, bishop_reach(square, pawns[entry]), len(ours))
        comes, wall = comes | seen & free[row] & ~pawns, wall | seen & pawns
    fixed = view.our_pawns & shifted(view.occupied | view.their_pawn_attacks, SOUTH)
    fixed |= (
        view.their_pawns & shifted(view.our_pawns & ~view.their_pawn_attacks, NORTH) & ~view.our_pawn_attacks
    )
    walled = (count(comes) <= _WALLED_IN + 1) & ((wall & ~fixed[row]) == EMPTY)
    row, square, wall = row[walled], ours.square[walled], wall[walled]
    actors, targets = wall & view.their_pawns[row], BIT[square] | wall & view.our_pawns[row]
    return findings(view.other(row), mirror(actors), mirror(targets), detail=np.full(len(row), WALLED_IN))


def _tell_pair(instance: Instance) -> str:
    side = wording.side_name(instance.side)
    return (
        f"{side} has the bishop pair on {wording.squares(instance.actors)}, and no locked centre shuts it in."
    )


def _tell_fianchetto(instance: Instance) -> str:
    board = instance.board
    hit = wording.listed([*(wording.named(board, square) for square in sorted(instance.targets))])
    seen = [part for part in (wording.squares(instance.squares), hit) if part]
    bishops = instance.actors & board.bishops
    text = f"{wording.men(board, bishops)} bears along the long diagonal on {' and '.join(seen)}"
    if instance.actors - bishops:
        text += f" as soon as {wording.men(board, instance.actors - bishops)} moves away"
    return wording.sentence(text + (", and guards its king" if instance.detail else ""))


def _tell_bad(instance: Instance) -> str:
    board = instance.board
    bishop = next(square for square in instance.targets if board.piece_type_at(square) == chess.BISHOP)
    if instance.detail == WALLED_IN:
        walls = (instance.actors | instance.targets) - chess.SquareSet([bishop])
        text = f"{wording.named(board, bishop)} is bad: {wording.men(board, walls)}"
        return wording.sentence(f"{text} {'shut' if len(walls) > 1 else 'shuts'} it in for good")
    pawns = wording.squares(square for square in instance.targets if square != bishop)
    shade = wording.shade(bishop)
    return wording.sentence(
        f"{wording.named(board, bishop)} is bad: its own pawns on {pawns} are fixed on the {shade} squares"
    )


MOTIFS = (
    Motif(
        id="bishop-pair",
        title="Bishop pair",
        definition=(
            "Bishops of both colours against one bishop or none, in an open or half-open position: at most"
            " three pawns in total on the d- and e-file, or two with one rammed pair on the files c to f. The"
            " other side has two minor pieces or more and is not simply a piece down. It does not count while"
            " a minor piece attacks one of the two bishops, or one can be taken at once with profit."
            + SETTLED
        ),
        source="Nimzowitsch, My System (the two bishops); Kaufman 1999 for its value; named from memory",
        find=bishop_pair,
        tell=_tell_pair,
    ),
    Motif(
        id="fianchetto",
        title="Fianchetto",
        definition=(
            "A bishop on b2 or g2 (b7 or g7) stands behind its knight's pawn and hits a centre square or an"
            " enemy man on the long diagonal. At least the next three squares of the diagonal have no pawn."
            " Or its own knight can leave the diagonal, and the bishop then hits a knight or rook."
        ),
        source="Pachman, Modern Chess Strategy (the fianchetto); named from memory",
        find=fianchetto,
        tell=_tell_fianchetto,
    ),
    Motif(
        id="bad-bishop",
        title="Bad bishop",
        definition=(
            "Three or more pawns are fixed on the colour of their own bishop and cannot open the position by"
            " a capture, at least two of them are ahead of it, and one of these two rammed on the files c to"
            " f. The bishop is not merely undeveloped, has at most four moves to squares that no pawn guards,"
            " no capture, and no way to the centre even if its own pieces move aside. Or a wall of its own"
            " pawns and of enemy pawns that these hold up leaves it few squares. The other side profits."
        ),
        source="Pachman, Modern Chess Strategy; Capablanca (pawns on the bishop's colour); named from memory",
        find=bad_bishop,
        tell=_tell_bad,
    ),
)
