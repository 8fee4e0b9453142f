"""Lines of theirs that a man of ours closes, and lines or squares that a man of ours clears for another.

The rules. Closing: a slider of theirs guards a piece that we attack, or a square beside their king that we
attack. A man of ours steps onto the line between, without attacking that piece itself. Then the piece falls,
or we mate. Clearing: a man of ours leaves a square with check, with a capture or as a sacrifice, and another
man of ours then moves to that square or over it. On the board this is told if we mate so. In a line it is
told if the line wins, and if the line that is opened did not strike at once (that is a discovered attack).
The look ahead (`patterns.proof.lookahead`) decides what is won: the exchange at least.

A hit: the knight steps between the rook and the bishop that it guards.

>>> from patterns.detect import find_in
>>> board = chess.Board("r2b2k1/5ppp/8/8/8/N7/8/3R2K1 w - - 0 1")
>>> find_in([board], MOTIFS)[0]
[]

A near miss: nothing attacks the bishop.

>>> find_in([chess.Board("r2b2k1/5ppp/8/8/8/N7/8/6K1 w - - 0 1")], MOTIFS)[0]
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

from patterns.boards.attacks import between, reach
from patterns.boards.bitboards import (
    BIT,
    EMPTY,
    KING_STEPS,
    Bitboards,
    Rows,
    Squares,
    exploded,
    square_of,
)
from patterns.boards.exchange import Binding, can_win
from patterns.boards.grouping import pairs_of_equal
from patterns.boards.moves import is_slider
from patterns.boards.view import View
from patterns.motifs.findings import Instance, Motif
from patterns.proof.claims import EXCHANGE, Claims, claims
from patterns.proof.lookahead import MATE
from patterns.proof.played_line import OwnMove, Use, gain_of
from patterns.proof.strokes import strokes
from patterns.words import wording


def _closable(view: View) -> tuple[Rows, Squares, Bitboards]:
    """Their sliders, and what each guards that we attack: row, slider, and what it guards."""
    men = view.their_men
    men = men.only(is_slider(men.kind) & view.boards.our_move[men.row])
    pieces = view.them & ~view.boards.pawns & ~view.boards.kings
    beside = KING_STEPS[view.their_king] & ~view.them
    guarded = men.attacks & view.our_attacks[men.row] & (pieces | beside)[men.row]
    entry, square = exploded(guarded)
    row, slider = men.row[entry], men.square[entry]
    # Without the slider we must win what it guards; an empty square may only be guarded by their king then.
    idle = Binding.of(len(row), idle=BIT[slider])
    falls = can_win(view.boards.take(row), square, "us", idle)
    once = (view.their_double_attacks[row] & BIT[square]) == EMPTY
    some = np.flatnonzero(falls | once & ((view.them[row] & BIT[square]) == EMPTY))
    return row[some], slider[some], BIT[square[some]]


def line_closing(view: View) -> Claims:
    """Moves of ours onto a line of theirs, after which what the line guarded falls."""
    row, slider, guarded = _closable(view)
    entry, stop = exploded(between(slider, square_of(guarded)) & ~view.occupied[row])
    row, slider, guarded = row[entry], slider[entry], guarded[entry]
    every = view.once(strokes)
    every = every.take(np.lexsort((every.square, every.row)))
    line, stroke = pairs_of_equal(row * 64 + stop, every.row * 64 + every.square)
    every, slider, guarded = every.take(stroke), slider[line], guarded[line]
    by_itself = (every.seen & guarded) != EMPTY
    some = np.flatnonzero(~by_itself & (every.kind != chess.KING))
    every, slider, guarded = every.take(some), slider[some], guarded[some]
    empty = (guarded & view.them[every.row]) == EMPTY
    king = BIT[view.their_king[every.row]]
    return claims(
        every.moves,
        BIT[every.origin],
        BIT[slider] | np.where(empty, king, guarded),
        BIT[every.square],
        wanted=guarded,
        least=np.where(empty, MATE, EXCHANGE),
        checks=empty,
    )


def line_clearing(view: View) -> Claims:
    """Moves with check or capture off a square from where another man of ours would then mate."""
    every = view.once(strokes)
    king = BIT[view.their_king[every.row]]
    every = every.only(((every.seen & king) != EMPTY) | (every.gain > 0))
    men = view.our_pieces
    entry, vacated = exploded(men.attacks & view.us[men.row])
    row, kind = men.row[entry], men.kind[entry]
    seen = reach(kind, vacated, view.occupied[row] & ~BIT[men.square[entry]], "us")
    checks = np.flatnonzero(seen & BIT[view.their_king[row]])
    entry, vacated, row = entry[checks], vacated[checks], row[checks]
    way, stroke = pairs_of_equal(row * 64 + vacated, every.row * 64 + every.origin)
    every = every.take(stroke)
    follower = BIT[men.square[entry[way]]]
    king = BIT[view.their_king[every.row]]
    return claims(every.moves, BIT[every.origin] | follower, king, BIT[every.origin], least=MATE, checks=2)


def clearings(own_moves: Sequence[OwnMove]) -> Iterator[Use]:
    """Moves of a line that clear a square or a line, which the next move then uses."""
    for index, (first, second) in enumerate(pairwise(own_moves)):
        cleared, follower, goal = first.move.from_square, second.move.from_square, second.move.to_square
        way = chess.SquareSet(chess.between(follower, goal) | chess.BB_SQUARES[goal])
        if cleared not in way or follower == first.move.to_square or first.before.is_castling(first.move):
            continue
        given = first.reply is not None and first.reply.to_square == first.move.to_square
        strikes_at_once = goal != cleared and first.after.color_at(goal) == (not first.us)
        if strikes_at_once or not (first.after.is_check() or first.captures or given):
            continue
        if gain_of(own_moves[index:]) < 1 and not own_moves[-1].after.is_checkmate():
            continue
        leaver, next_man = (wording.named(first.before, square) for square in (cleared, follower))
        how = "with check" if first.after.is_check() else "as a sacrifice" if given else "by a capture"
        what = "this square" if goal == cleared else f"the way to {chess.SQUARE_NAMES[goal]}"
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


def _tell_clearing(instance: Instance) -> str:
    board = instance.board
    assert instance.move is not None
    cleared = instance.move.from_square
    follower = wording.men(board, (square for square in instance.actors if square != cleared))
    leaver = wording.named(board, cleared)
    return wording.sentence(
        f"{leaver} {instance.does('clear')} its square for {follower}{wording.so_wins(instance.wins)}"
    )


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
            "A man leaves a square with check, with a capture or as a sacrifice, and another man of ours"
            " moves to this square or over it, with profit. If a line piece behind strikes at once, it is a"
            " discovered attack."
        ),
        source="Hooper and Whyld, The Oxford Companion to Chess (line-clearance); named from memory",
        find=line_clearing,
        tell=_tell_clearing,
        in_line=clearings,
    ),
)
