"""The open file and the seventh rank: heavy pieces that can enter, and those that have entered.

Open file. A rook of ours stands on a file without pawns, and no rook or queen of theirs stands on it, or
fewer of theirs than of ours. Our foremost rook or queen there has not entered yet and can go in one move to
an entry square: an empty square of the file on our sixth rank or beyond, best on the seventh, that only their
king and queen attack (or a rook or queen that ours outnumber). The exchange loses nothing there, and neither
does the move, as the look ahead says (`patterns.proof.lookahead`); nothing of ours hangs meanwhile. Or we
hold the only open file where we have at least two heavy pieces more than they, even without a way in yet: no
man of ours stands in front of them. There are three pieces or more on the board, and the position is settled
(`patterns.proof.quiet`). If more than three files are open, every rook has one, and the file is not worth
mentioning.

Seventh rank. A rook or queen of ours stands on our seventh rank and cannot be taken with profit or traded. Or
it can go there and lose nothing by it (the look ahead tests this). The position is quiet
(`patterns.proof.quiet`). It has something to do there. A rook attacks a pawn on the seventh that no pawn
guards, or a square of the seventh next to their king on the eighth. From a queen this must be more serious:
another man of ours attacks the square next to the king too. With the king on the eighth, both may also attack
a pawn, knight or bishop on the seventh that nothing guards. Rooks and queens of ours on the rank do not get
in each other's way. If one is there already, no other one is mentioned that can go there. Men that a man
attacks already are no reason for it to go, and neither is a lone guarded pawn; a rook does not go where a
rook of theirs can take it. A queen goes there only against a knight or bishop.

A hit: the d-file is the only open one and d6 is free; on the seventh rank the rook attacks f7.

>>> from patterns.detect import find_in
>>> way_in = "5rk1/pp3pp1/4pn1p/8/8/1N2P3/PP3PPP/3R2K1 w - - 0 1"
>>> [(f.motif, f.actors, f.squares) for f in find_in([chess.Board(way_in)], MOTIFS)[0]]
[('open-file', ('d1',), ('d6',))]
>>> inside = "6k1/1R3p2/8/8/8/6p1/8/6K1 w - - 0 1"
>>> [(f.motif, f.actors, f.targets) for f in find_in([chess.Board(inside)], MOTIFS)[0]]
[('seventh-rank', ('b7',), ('f7', 'g8'))]

Near misses: a black rook on d8 opposes ours on the file; with the king on g6 and the pawns advanced the
seventh rank is empty.

>>> find_in([chess.Board(way_in.replace("5rk1", "3r2k1"))], MOTIFS)[0]
[]
>>> find_in([chess.Board(inside.replace("6k1/1R3p2/8", "8/1R6/5pk1"))], MOTIFS)[0]
[]

On the way: from b1 the rook enters on b7; from f1, behind no open way to the seventh, it can't at once.

>>> outside = inside.replace("1R3p2", "5p2").replace("6K1", "1R4K1")
>>> [(f.actors, f.targets, f.squares) for f in find_in([chess.Board(outside)], [MOTIFS[1]])[0]]
[(('b1',), ('f7', 'g8'), ('b7',))]
>>> find_in([chess.Board(outside.replace("1R4K1", "5RK1"))], [MOTIFS[1]])[0]
[]

Roles. Open file: actors, the heavy pieces on it; squares, the entry square if there is one. Seventh rank:
actors, the heavy pieces on it, or one that can go there; targets, the king if they shut it in, and the men
that they attack along the rank; squares, where that one can go.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.bitboards import (
    ALL,
    BIT,
    EMPTY,
    ENTRY_RANKS,
    FILES,
    NORTH,
    RANKS,
    RAYS,
    SOUTH,
    Bitboards,
    Flags,
    Rows,
    Squares,
    count,
    exploded,
    filled_files,
    first_on_ray,
    king_ring,
    lowest,
    rook_reach,
    shifted,
    square_of,
)
from patterns.boards.exchange import is_safe
from patterns.boards.grouping import grouped, marked
from patterns.boards.moves import Moves, stands_firm
from patterns.boards.view import View
from patterns.motifs.findings import Instance, Motif, TakenUp, findings
from patterns.proof.claims import Claims, claims
from patterns.proof.quiet import SETTLED, is_quiet, is_settled
from patterns.proof.strokes import strokes_to, worth_claiming
from patterns.words import wording

SCARCE = 3
"""If more files than this are open, no open file is worth mentioning."""
_PIECES = 3
_LEAD = 2
"""How many more heavy pieces of ours on the only open file are worth mentioning without a way in."""
_DISLIKED = np.array([3, 3, 3, 3, 3, 1, 0, 2])
"""By rank, where a rook enters: best on the seventh, then on the sixth."""


def open_file(view: View) -> Claims:
    """Files that we hold with a rook that can enter, one claim per file."""
    heavy = view.boards.straight_sliders & view.us
    open_files = ~filled_files(view.boards.pawns)
    held = open_files & filled_files(view.our(chess.ROOK)) & ~_opposed(view, open_files)
    held &= ~filled_files(heavy & ENTRY_RANKS)
    held[count(open_files & RANKS[0]) > SCARCE] = EMPTY
    held[view.our_piece_count + view.their_piece_count < _PIECES] = EMPTY
    hanging = view.us & view.their_attacks & (~view.our_attacks | view.their_pawn_attacks & ~view.our_pawns)
    rows = np.flatnonzero((held != EMPTY) & (hanging == EMPTY))
    rows = rows[is_settled(view, rows)]
    front = steps = (heavy & held)[rows]
    ahead = np.zeros_like(front)
    for _ in range(7):
        steps = shifted(steps, NORTH) & ~view.occupied[rows]
        ahead |= steps
    guards = [view.their_attacks_of[kind] for kind in chess.PIECE_TYPES if kind < chess.QUEEN]
    opposed = filled_files(view.boards.straight_sliders & view.them)
    ahead &= ~np.bitwise_or.reduce(guards)[rows] | opposed[rows]
    entry, square = exploded(ahead & ENTRY_RANKS)
    origin = square_of(first_on_ray(RAYS[SOUTH][square] & front[entry], SOUTH))
    safe = is_safe(view.boards.take(rows[entry]), origin, square)
    entry, origin, square = entry[safe], origin[safe], square[safe]
    best_first = np.argsort(_DISLIKED[square >> 3], kind="stable")
    best = best_first[grouped(entry[best_first], square[best_first] & 7).first]
    entry, origin, square = entry[best], origin[best], square[best]
    actors, nothing = front[entry] & FILES[square & 7], np.zeros(len(entry), dtype=np.uint64)
    enters = claims(Moves(rows[entry], origin, square), actors, nothing, BIT[square], least=0, about=square)
    held[rows[entry]] = EMPTY
    return Claims.joined(enters, _pressing(view, held, open_files))


def _pressing(view: View, held: Bitboards, open_files: Bitboards) -> Claims:
    """Files that we hold without an entry yet: the only open ones, with two heavy pieces more than theirs."""
    heavy = view.boards.straight_sliders & np.where(count(open_files & RANKS[0]) == 1, held, EMPTY)
    lead = count(heavy & view.us) - count(heavy & view.them)
    rows = np.flatnonzero(lead >= _LEAD)
    actors = heavy[rows] & view.us[rows]
    front = square_of(first_on_ray(actors, SOUTH))
    free = (first_on_ray(RAYS[NORTH][front] & view.occupied[rows], NORTH) & view.us[rows]) == EMPTY
    rows, actors, front = rows[free], actors[free], front[free]
    return claims(Moves(rows, front, front), actors, np.zeros_like(actors), least=0)


def _opposed(view: View, files: Bitboards) -> Bitboards:
    """Those of the files on which they have a rook or queen, and at least as many of them as we have."""
    heavy = view.boards.straight_sliders
    opposed = files & filled_files(heavy & view.them)
    for file in FILES:
        fewer = count(heavy & view.them & file) < count(heavy & view.us & file)
        opposed = opposed & ~np.where(fewer, file, EMPTY)
    return opposed


def seventh_rank(view: View) -> Claims:
    """Heavy pieces with work on the seventh rank: those there as one instance, each that can go there."""
    row, square = exploded(view.boards.straight_sliders & view.us & RANKS[6])
    targets = _work(view, row, square, square, rook_reach(square, view.occupied[row]))
    some = np.flatnonzero(targets)
    row, square, targets = row[some], square[some], targets[some]
    safe = stands_firm(view.boards.take(row), square)
    there = findings(row, BIT[square], targets).only(safe).merged()
    there = there.only(is_quiet(view, there.row))
    stands = square_of(lowest(there.actors))
    standing = claims(Moves(there.row, stands, stands), there.actors, there.targets, least=0)

    # Only where it is our move: what could be done later may no longer be there then.
    free = np.where(marked(row[safe], len(view)), EMPTY, RANKS[6] & ~view.occupied)
    every = strokes_to(view, free)
    enters = ((every.kind == chess.ROOK) | (every.kind == chess.QUEEN)) & (every.origin >> 3 != 6)
    every = every.only(enters)
    attacks = rook_reach(every.origin, view.occupied[every.row])
    targets = _work(view, every.row, every.origin, every.square, attacks) & ~attacks
    pieces = view.them & ~view.their_pawns & ~view.boards.kings
    # Where a rook of theirs stands ready to trade it off, a rook goes for nothing.
    traded = (every.kind == chess.ROOK) & (
        view.their_attacks_of[chess.ROOK][every.row] & BIT[every.square] != EMPTY
    )
    # A lone pawn that is guarded does not call for the journey either.
    reasons = view.boards.kings | ~view.their_attacks
    lone = (targets & reasons[every.row] == EMPTY) & (count(targets) < 2)
    targets[traded | lone] = EMPTY
    # A queen has better things to do there than to look at pawns.
    prey = np.where(every.kind == chess.QUEEN, pieces[every.row], ALL)
    some = np.flatnonzero(targets & prey)
    every, targets = every.take(some), targets[some]
    settled = is_quiet(view, every.row) & worth_claiming(view, every)
    every, targets = every.only(settled), targets[settled]
    goes = claims(every.moves, BIT[every.origin], targets, BIT[every.square], least=0, about=every.origin)
    return Claims.joined(standing, goes)


def _work(view: View, rows: Rows, origins: Squares, squares: Squares, attacks: Bitboards) -> Bitboards:
    """The king and the men on which our man from each origin works on its square of the seventh rank.

    `attacks`: what it attacks now. Shapes (M,).
    """
    ours = view.boards.straight_sliders & view.us & RANKS[6]
    hit = rook_reach(squares, view.occupied[rows] & ~(BIT[origins] | ours[rows])) & RANKS[6] & ~BIT[squares]
    queen = (view.boards.queens[rows] & BIT[origins]) != EMPTY
    pawns, minors = view.their_pawns, (view.boards.knights | view.boards.bishops) & view.them
    king = view.their(chess.KING)[rows] & RANKS[7]
    others = view.our_attacks[rows] & (view.our_double_attacks[rows] | ~attacks)
    loose: Bitboards = np.where(
        king != EMPTY, hit & (pawns | minors)[rows] & ~view.their_attacks[rows], EMPTY
    )
    shut_in: Flags = (king_ring(king) & hit & np.where(queen, others, ALL)) != EMPTY
    taken: Bitboards = np.where(queen, loose, loose | hit & pawns[rows] & ~view.their_pawn_attacks[rows])
    return taken | np.where(shut_in, king, EMPTY)


def _tell_file(instance: Instance) -> str:
    name = chess.FILE_NAMES[chess.square_file(next(iter(instance.actors)))]
    verb = "hold" if len(instance.actors) > 1 else "holds"
    board = instance.board
    who = wording.men(board, instance.actors)
    file = chess.SquareSet(chess.BB_FILES[chess.FILE_NAMES.index(name)])
    heavy = (board.rooks | board.queens) & board.occupied_co[not instance.side]
    against = f"against {wording.men(board, opposed)}" if (opposed := file & heavy) else "without opposition"
    if not instance.squares:
        return wording.sentence(f"{who} hold the open {name}-file, the only one, {against} and press on it")
    enters = f"{instance.does('enter')} on {wording.squares(instance.squares)}"
    if len(instance.actors) > 1 and instance.played:
        enters = f"one {enters}"
    return wording.sentence(f"{who} {verb} the open {name}-file {against} and {enters}")


def _tell_rank(instance: Instance) -> str:
    board = instance.board
    who = wording.men(board, instance.actors)
    kings = [square for square in instance.targets if board.piece_type_at(square) == chess.KING]
    others = instance.targets - chess.SquareSet(kings)
    plain = len(instance.actors) > 1 or instance.squares
    beside = chess.SquareSet()
    for king in kings:
        for square in instance.squares or instance.actors:
            row = chess.BB_RANK_ATTACKS[square][chess.BB_RANK_MASKS[square] & board.occupied]
            beside |= row & chess.BB_KING_ATTACKS[king]
    free = beside - chess.SquareSet(board.occupied)
    others |= chess.SquareSet() if free or others else beside
    does = []
    if free:
        does.append(f"{'take' if plain else 'takes'} squares from {wording.men(board, kings)}")
    if others:
        by = f" by {wording.men(board, kings)}" if kings and not free else ""
        does.append(f"{'attack' if plain else 'attacks'} {wording.men(board, others)}{by}")
    if instance.squares:
        ways_in = wording.either(instance.squares)
        return wording.sentence(
            f"{who} {instance.does('enter')} the seventh rank on {ways_in}, to {wording.listed(does)}"
        )
    return wording.sentence(f"{who} on the seventh rank {wording.listed(does)}")


MOTIFS = (
    Motif(
        id="open-file",
        title="Open file",
        definition=(
            "A rook stands on one of the few files without pawns, fewer enemy rooks and queens oppose it"
            " there than support it, or none, and the foremost heavy piece on the file can enter on the sixth"
            " rank or beyond, where only king and queen may attack it, without losing anything. On the only"
            " open file two heavy pieces more than theirs are enough." + SETTLED
        ),
        source="Nimzowitsch, My System (the open file); named from memory",
        find=open_file,
        tell=_tell_file,
    ),
    Motif(
        id="seventh-rank",
        title="Seventh rank",
        definition=(
            "A rook stands safely on its seventh rank or can go there without loss, and there it attacks"
            " pawns along the rank that no pawn guards, or shuts the enemy king in on the eighth. A queen"
            " counts if another man attacks the square next to the king too. With the king on the eighth,"
            " pawns and minor pieces on the rank that nothing guards are targets of both."
        ),
        source="Nimzowitsch, My System (the seventh rank); named from memory",
        find=seventh_rank,
        tell=_tell_rank,
        taken_up=TakenUp.ACTION,
    ),
)
