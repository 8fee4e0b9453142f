"""Lines of theirs that a man of ours closes, and lines or squares that a man of ours clears for another.

The rules. Closing: a slider of theirs guards a piece, or a square beside their king, and nothing else but
the king does. A man of ours steps onto the line between, and another man of ours attacks that piece or
square. The man that closes the line is guarded, or the attack is double: else the slider takes it and
guards again. Then the piece falls, or we mate: the look ahead (`patterns.proof.lookahead`) decides.
Clearing: a man of ours leaves a square with check or as a sacrifice, and our next move brings another man
to that square or over it, or checks through it. This lives in lines. It is told if the line wins, or costs
no more than a pawn that is given to clear the way for a piece, and if the line that is opened did not
strike at once (that is a discovered attack).

A hit: the pawn steps between the bishop and the knight, which is pinned and has no other guard.

>>> from patterns.detect import find_in
>>> pinned = "4k3/1b4pp/8/8/2PPn3/8/6PP/4R1K1 w - - 0 1"
>>> [(f.actors, f.targets, f.squares) for f in find_in([chess.Board(pinned)], ["line-closing"])[0]]
[(('d4',), ('e4', 'b7'), ('d5',))]

A near miss: without the pawn on c4 the bishop takes on d5, and guards the knight again.

>>> find_in([chess.Board(pinned.replace("2PPn3", "3Pn3"))], ["line-closing"])[0]
[]

Clearing: the knight leaves the fifth rank with check, and the rook passes over f5. A knight that goes without
check clears nothing with profit.

>>> from patterns.lines import parse_line, uses
>>> board = chess.Board("5rk1/5pp1/8/1R3N2/8/8/6PP/6K1 w - - 0 1")
>>> [use.note for use in uses(board, parse_line(board, "Ne7+ Kh7 Rh5#")) if use.motif == "line-clearing"]
['The knight on f5 leaves with check and clears the way to h5 for the rook on b5.']
>>> [use.note for use in uses(board, parse_line(board, "Nd6 g6 Rh5")) if use.motif == "line-clearing"]
[]

Roles. Actors: the man that moves, and for clearing the man that it clears the way for. Targets: the piece
that falls and the slider whose line is closed, or their king. Squares: where the line is closed, or the
square that is cleared.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import chess
import numpy as np

from patterns.boards.attacks import attack_map, attackers, between
from patterns.boards.bitboards import (
    BIT,
    EMPTY,
    KING_STEPS,
    Flags,
    Rows,
    Squares,
    exploded,
)
from patterns.boards.grouping import pairs_of_equal, united
from patterns.boards.moves import is_slider
from patterns.boards.view import View
from patterns.motifs.findings import Instance, Motif
from patterns.proof.aims import MATE
from patterns.proof.captures import exchange
from patterns.proof.claims import EXCHANGE, Claims, claims
from patterns.proof.played_line import OwnMove, Use, gain_of
from patterns.proof.strokes import Strokes, strokes_to
from patterns.words import wording

CHECKS = 2
"""How many checks may be tried."""


def _lone_guards(view: View) -> tuple[Rows, Squares, Squares]:
    """Where it is our move: their sliders, and each square that such a slider alone guards with the king.

    It holds a piece, or is beside their king and holds none. Row, slider, square.
    """
    men = view.their_men
    men = men.only(is_slider(men.kind) & view.boards.our_move[men.row])
    pieces = view.them & ~view.boards.pawns & ~view.boards.kings & ~view.their_double_attacks
    beside = KING_STEPS[view.their_king] & (~view.them | view.boards.pawns)
    # Only what another man of ours may attack, at most through our own men.
    hit = (pieces | beside) & attack_map(view.boards, "us", view.them)
    entry, square = exploded(men.attacks & hit[men.row])
    return men.row[entry], men.square[entry], square


def line_closing(view: View) -> Claims:
    """Moves of ours onto a line of theirs, after which what the line guarded falls."""
    row, slider, guarded = _lone_guards(view)
    entry, stop = exploded(between(slider, guarded) & ~view.occupied[row])
    row, slider, guarded = row[entry], slider[entry], guarded[entry]
    every = strokes_to(view, united(row, BIT[stop], len(view)))
    every = every.take((every.row * 64 + every.square).argsort(kind="stable"))
    line, stroke = pairs_of_equal(row * 64 + stop, every.row * 64 + every.square)
    every, slider, guarded = every.take(stroke), slider[line], guarded[line]
    some = np.flatnonzero(_falls_once_closed(view, every, guarded))
    every, slider, target = every.take(some), slider[some], BIT[guarded[some]]
    beside = (target & view.them[every.row] & ~view.boards.pawns[every.row]) == EMPTY
    king = BIT[view.their_king[every.row]]
    return claims(
        every.moves,
        BIT[every.origin],
        BIT[slider] | np.where(beside, king, target),
        BIT[every.square],
        wanted=target,
        least=np.where(beside, MATE, EXCHANGE),
        checks=CHECKS,
    )


def _falls_once_closed(view: View, every: Strokes, guarded: Squares) -> Flags:
    """Whether after the stroke another man of ours attacks the square, which at most their king guards then.

    The man that closes the line must be guarded itself, or the square attacked twice.
    """
    boards, stop = view.boards.take(every.row), every.square
    occupied = boards.occupied & ~BIT[every.origin] | BIT[stop]
    by = attackers(boards, guarded, occupied)
    hits, guards = by & boards.us, by & boards.them & ~boards.kings
    backed = (attackers(boards, stop, occupied) & boards.us & ~BIT[stop]) != EMPTY
    twice = hits | attackers(boards, guarded, occupied & ~hits) & boards.us
    lasts = backed | ((twice & (twice - np.uint64(1))) != EMPTY)
    by_itself = (every.seen & BIT[guarded]) != EMPTY
    return (hits != EMPTY) & (guards == EMPTY) & lasts & ~by_itself & (every.kind != chess.KING)


def clearings(own_moves: Sequence[OwnMove]) -> Iterator[Use]:
    """Moves of a line that clear a square or a line, which the next move then uses."""
    for index, (first, second) in enumerate(pairwise(own_moves)):
        cleared, follower, goal = first.move.from_square, second.move.from_square, second.move.to_square
        way = chess.SquareSet(chess.between(follower, goal) | chess.BB_SQUARES[goal])
        if goal in second.after.checkers() and first.their_king == second.their_king:
            way |= chess.SquareSet(chess.between(goal, second.their_king))
        # A man that is taken on that way and taken back has cleared nothing.
        if cleared not in way or first.move.to_square in {*way, follower}:
            continue
        if first.before.is_castling(first.move):
            continue
        taken = first.reply is not None and first.reply.to_square == first.move.to_square
        given = taken or exchange(first.before, first.move) < 0
        for_a_pawn = taken and first.mover == chess.PAWN and second.mover != chess.PAWN
        strikes_at_once = goal != cleared and first.after.color_at(goal) == (not first.us)
        if strikes_at_once or not (first.after.is_check() or given):
            continue
        least = -1 if for_a_pawn and not first.captures else 1
        if gain_of(own_moves[index:]) < least and not own_moves[-1].after.is_checkmate():
            continue
        leaver, next_man = (wording.named(first.before, square) for square in (cleared, follower))
        how = "with check" if first.after.is_check() else "as a sacrifice"
        what = "its square" if goal == cleared else f"the way to {chess.SQUARE_NAMES[goal]}"
        note = f"{leaver} leaves {how} and clears {what} for {next_man}"
        yield first.use("line-clearing", note, [cleared, follower], [first.their_king], [cleared])


def _tell_closing(instance: Instance) -> str:
    board = instance.board
    assert instance.move is not None
    goal = instance.move.to_square
    closer, where = wording.named(board, instance.move.from_square), chess.SQUARE_NAMES[goal]
    slider = next(
        square
        for square in instance.targets
        if board.piece_type_at(square) != chess.KING and goal in board.attacks(square)
    )
    rest = [square for square in instance.targets if square != slider]
    text = f"{closer} {instance.does('close')} the line of {wording.named(board, slider)} on {where}"
    if board.piece_type_at(rest[0]) == chess.KING:
        return wording.sentence(f"{text}{wording.so_wins(instance.wins)}")
    return wording.sentence(f"{text}, and {wording.men(board, rest)} falls")


MOTIFS = (
    Motif(
        id="line-closing",
        title="Line closing",
        definition=(
            "A man steps onto a line of the enemy, between a bishop, rook or queen and what it guards. What"
            " was guarded then falls: a piece, or a square where we mate."
        ),
        source="Hooper and Whyld, The Oxford Companion to Chess (interference); named from memory",
        find=line_closing,
        tell=_tell_closing,
    ),
    Motif(
        id="line-clearing",
        title="Line clearing",
        definition=(
            "A man leaves a square with check or as a sacrifice, and another man of ours moves to this"
            " square or over it, with profit. A pawn that is given need not win anything: it is enough that a"
            " piece takes its place or checks along the line. If a line piece behind strikes at once, it is a"
            " discovered attack."
        ),
        source="Hooper and Whyld, The Oxford Companion to Chess (line-clearance); named from memory",
        in_line=clearings,
    ),
)
