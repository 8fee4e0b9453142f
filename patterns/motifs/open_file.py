"""The open file and the seventh rank: rooks that can enter, and rooks that have entered.

Open file. A rook of ours stands on a file without pawns, and no rook or queen of theirs stands on it. Our
foremost rook or queen there has not entered yet and can go in one move to an entry square: a square of the
file on our sixth rank or beyond that no enemy pawn attacks and where the exchange loses nothing. If more than
three files are open, every rook has one, and the file is not worth mentioning.

Seventh rank. A rook of ours stands on our seventh rank and cannot be taken with profit. It has something to
do: it takes squares from their king on the eighth rank (a square next to it on the seventh), or it attacks a
pawn on the seventh.

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

Roles. Open file: actors, the heavy pieces on it; squares, the entry squares. Seventh rank: actors, the rooks
on it; targets, the king if they shut it in, and the pawns that they attack along the rank.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns.boards.bitboards import (
    BIT,
    EMPTY,
    ENTRY_RANKS,
    FILES,
    NORTH,
    RANKS,
    RAYS,
    SOUTH,
    count,
    exploded,
    filled_files,
    first_on_ray,
    king_ring,
    rook_reach,
    shifted,
    square_of,
)
from patterns.boards.exchange import can_win, is_safe
from patterns.boards.grouping import united
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, TakenUp, findings
from patterns.words import wording

SCARCE = 3
"""If more files than this are open, no open file is worth mentioning."""


def open_file(view: View) -> Findings:
    """Files that we hold with a rook that can enter, one instance per file."""
    heavy = view.boards.straight_sliders
    open_files = ~filled_files(view.boards.pawns)
    held = open_files & filled_files(view.our(chess.ROOK)) & ~filled_files(heavy & view.them)
    held &= ~filled_files(heavy & ENTRY_RANKS)
    held[count(open_files & RANKS[0]) > SCARCE] = EMPTY
    rows = np.flatnonzero(held)
    held, free, them = held[rows], ~view.occupied[rows], view.them[rows]
    front = heavy[rows] & held
    ahead, steps = np.zeros_like(front), front
    for _ in range(7):
        steps = shifted(steps, NORTH) & (free | them)
        ahead |= steps
        steps = steps & free
    entry, square = exploded(ahead & ENTRY_RANKS)
    below = RAYS[SOUTH][square] & front[entry]
    origin = square_of(first_on_ray(below, SOUTH))
    safe = is_safe(view.boards.take(rows[entry]), origin, square)
    entry, square = entry[safe], square[safe]
    actors = front[entry] & FILES[square & 7]
    ways_in = findings(rows[entry], actors, None, BIT[square], count(actors))
    return ways_in.merged(square & 7)


def seventh_rank(view: View) -> Findings:
    """Rooks with something to do on the seventh rank, one instance per row."""
    row, square = exploded(view.our(chess.ROOK) & RANKS[6])
    safe = ~can_win(view.boards.take(row), square, "them")
    row, square = row[safe], square[safe]
    attacks = rook_reach(square, view.occupied[row])
    rooks, hit = united(row, BIT[square], len(view)), united(row, attacks & RANKS[6], len(view))
    king = view.their(chess.KING)
    shut_in = (king_ring(king) & hit) != EMPTY
    targets = hit & view.their_pawns | np.where(shut_in, king & RANKS[7], EMPTY)
    rows = np.flatnonzero(targets)
    return findings(rows, rooks[rows], targets[rows], None, count(rooks[rows]))


def _tell_file(instance: Instance) -> str:
    name = chess.FILE_NAMES[chess.square_file(next(iter(instance.actors)))]
    verb = "hold" if len(instance.actors) > 1 else "holds"
    who = wording.men(instance.board, instance.actors)
    return wording.sentence(
        f"{who} {verb} the open {name}-file without opposition and can enter on"
        f" {wording.squares(instance.squares)}"
    )


def _tell_rank(instance: Instance) -> str:
    board = instance.board
    who = wording.men(board, instance.actors)
    pawns = [square for square in instance.targets if board.piece_type_at(square) == chess.PAWN]
    kings = [square for square in instance.targets if square not in pawns]
    several = len(instance.actors) > 1
    does = []
    if kings:
        does.append(f"{'take' if several else 'takes'} squares from {wording.men(board, kings)}")
    if pawns:
        does.append(f"{'attack' if several else 'attacks'} {wording.men(board, pawns)}")
    return wording.sentence(f"{who} on the seventh rank {wording.listed(does)}")


MOTIFS = (
    Motif(
        id="open-file",
        title="Open file",
        definition=(
            "A rook stands on one of the few files without pawns, no enemy rook or queen opposes it there,"
            " and the foremost heavy piece on the file can safely enter on the sixth rank or beyond."
        ),
        source="Nimzowitsch, My System (the open file); named from memory",
        find=open_file,
        tell=_tell_file,
        taken_up=TakenUp.ACTION,
    ),
    Motif(
        id="seventh-rank",
        title="Rook on the seventh rank",
        definition=(
            "A rook stands safely on its seventh rank, where it shuts the enemy king in on the eighth or"
            " attacks pawns along the rank."
        ),
        source="Nimzowitsch, My System (the seventh rank); named from memory",
        find=seventh_rank,
        tell=_tell_rank,
    ),
)
