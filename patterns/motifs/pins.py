"""Pins on a file, a rank or a diagonal that have a consequence.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import chess
import numpy as np

from patterns.boards.attacks import SightLines, attack_from, attackers, between, reach
from patterns.boards.bitboards import (
    ALL,
    BETWEEN,
    BIT,
    EMPTY,
    LINE,
    PAWN_UP,
    RAYS,
    Bitboards,
    Flags,
    Rows,
    Squares,
    exploded,
    first_on_ray,
    pawn_attacks_down,
    pawn_steps_up,
    square_of,
)
from patterns.boards.exchange import VALUES, Binding, Values, can_win, capture_gain, exchange
from patterns.boards.grouping import united
from patterns.boards.moves import Moves
from patterns.boards.pressure import men_of_rows
from patterns.boards.tables import Table
from patterns.boards.view import View
from patterns.motifs.findings import Instance, Motif
from patterns.proof.claims import Claims, claims
from patterns.words import wording

FILE, RANK, DIAGONAL = range(3)
_SHAPES = ("file", "rank", "diagonal")
HELD, LEAVE, TAKE, GUARD, BLOCK = range(5)
"""What the pinned man cannot do: take a man that stands there already, leave, take the man that comes, guard, step between."""


@dataclass(frozen=True)
class _Lines(Table):
    """Lines of ours through a man of theirs, `front`, at one worth more, `rear`; one entry each.

    `blocker`: the man of ours that stands before them on the line, or empty: it is a pin once it has left.
    """

    row: Rows
    square: Squares
    direction: Squares
    front: Bitboards
    rear: Bitboards
    blocker: Bitboards

    @property
    def shape(self) -> Squares:
        """0, 1 or 2 for file, rank or diagonal."""
        return np.array([RANK, FILE, DIAGONAL, DIAGONAL] * 2)[self.direction]


def _lines(view: View) -> _Lines:
    seen = view.our_sight_lines
    shut = (seen.front & view.us[seen.row]) != EMPTY
    nothing = np.zeros(len(seen), dtype=np.uint64)
    blocker = np.where(shut, seen.front, EMPTY)
    front = np.where(shut, seen.rear, seen.front)
    lines = _Lines(seen.row, seen.square, seen.direction, front, seen.rear, blocker)
    lines = lines.only((front & view.them[seen.row]) != EMPTY)
    behind = lines.blocker != EMPTY
    for direction in range(8):
        some = np.flatnonzero(behind & (lines.direction == direction))
        on_ray = RAYS[direction][square_of(lines.front[some])] & view.occupied[lines.row[some]]
        lines.rear[some] = first_on_ray(on_ray, direction)
    lines = lines.only((lines.rear & view.them[lines.row]) != EMPTY)
    boards = view.boards.take(lines.row)
    front, rear = (VALUES[boards.kind_at(square_of(men))] for men in (lines.front, lines.rear))
    more = np.flatnonzero(rear > front)
    lines, boards = lines.take(more), boards.take(more)
    # The man behind must be worth the line: unguarded, worth more than the slider, or attacked twice.
    rear = square_of(lines.rear)
    by = attackers(boards.without(lines.front | lines.blocker), rear)
    ours = by & boards.us
    cheaper = VALUES[boards.kind_at(lines.square)] <= VALUES[boards.kind_at(rear)]
    return lines.only(cheaper | ((by & boards.them) == EMPTY) | ((ours & (ours - np.uint64(1))) != EMPTY))


@dataclass(frozen=True)
class _Moves(Table):
    """Moves of ours that may use a line, one entry each: index of the line, and what they keep the man from."""

    line: Rows
    origin: Squares
    square: Squares
    keeps: Squares


def _moves(view: View, lines: _Lines) -> _Moves:
    """Our moves that may use each line, by geometry."""
    entry, men = men_of_rows(view.our_men, lines.row)
    blocker = lines.blocker[entry]
    fits = (men.kind != chess.KING) & ((blocker == EMPTY) | (blocker == BIT[men.square]))
    entry, men = entry[fits], men.only(fits)
    of, free, blocker = lines.take(entry), ~view.occupied[men.row], blocker[fits]
    front, here = square_of(of.front), BIT[men.square]
    boards = view.boards.take(lines.row)
    square = square_of(lines.front)
    seen = reach(boards.kind_at(square), square, boards.occupied, "them") & ~LINE[lines.square, square]
    seen = seen[entry]
    them, pawns = view.them[men.row], view.their_pawns[men.row]
    pawn = men.kind == chess.PAWN
    one, two = pawn_steps_up(np.where(pawn, here, EMPTY), free)
    goes = np.where(pawn, men.attacks & them | one | two, men.attacks & ~view.us[men.row])
    goes &= ~np.where(blocker == EMPTY, EMPTY, LINE[of.square, front])
    pinner = men.square == of.square
    guarded = goes & seen & them & ~of.rear
    unsafe = pawn_attacks_down(pawns & ~of.front)
    quiet = goes & free & ~unsafe & ~between(of.square, front)
    onto = attack_from(men.kind, front, view.occupied[men.row] & ~here, "us")
    again = np.where((men.attacks & of.front) == EMPTY, onto & (quiet | goes & them), EMPTY)
    king = view.their_king[men.row]
    checking = attack_from(men.kind, king, view.occupied[men.row] & ~here, "us")
    keeps = []
    for number, goals in (
        (LEAVE, goes & of.front),
        (GUARD, np.where(pinner, EMPTY, guarded)),
        (TAKE, np.where(pinner, EMPTY, quiet & seen)),
        (LEAVE, np.where(pinner, EMPTY, again & ~of.front)),
        (BLOCK, np.where(pinner, EMPTY, quiet & checking)),
    ):
        man, to = exploded(goals)
        if number == BLOCK:
            blocks = (BETWEEN[to, king[man]] & seen[man]) != EMPTY
            man, to = man[blocks], to[blocks]
        keeps.append(_Moves(entry[man], men.square[man], to, np.full(len(man), number)))
    return _Moves.joined(*keeps)


def _hopeful(view: View, lines: _Lines, moves: _Moves) -> tuple[_Moves, Values]:
    """The moves that an exchange says to work with the pins; for each, what it wins were the man free."""
    of = lines.take(moves.line)
    boards = view.boards.take(of.row)
    held = united(lines.row, np.where(lines.blocker == EMPTY, lines.front, EMPTY), len(view))[of.row]
    binding = Binding.of(len(of), pinned=of.front, pinner=BIT[of.square], idle=held & ~of.front)
    gain = exchange(boards, moves.origin, moves.square, binding)
    takes = (BIT[moves.square] & of.front) != EMPTY
    fits = gain >= np.where((BIT[moves.square] & boards.them) != EMPTY, 1, 0)
    some = np.flatnonzero(fits)
    freed = Binding.of(len(of), freed=of.front)
    loose = gain.copy()
    loose[some] = exchange(boards.take(some), moves.origin[some], moves.square[some], freed.take(some))
    lever = boards.kind_at(moves.origin) == chess.PAWN
    hits = (PAWN_UP[moves.square] & boards.them) != EMPTY
    fits &= (moves.keeps != TAKE) | np.where(lever, hits, loose < gain)
    some = np.flatnonzero(fits & (moves.keeps == LEAVE) & ~takes)
    after = boards.take(some).moved(moves.origin[some], moves.square[some])
    fits[some] = can_win(after, square_of(of.front[some]), "us", binding.take(some))
    return moves.only(fits), loose[fits]


def _bound(lines: _Lines) -> Binding:
    return Binding.of(len(lines), pinned=lines.front, pinner=BIT[lines.square])


def _held(view: View, lines: _Lines) -> _Moves:
    """Men of ours that only the pin keeps the front man from taking."""
    boards = view.boards.take(lines.row)
    front = square_of(lines.front)
    seen = reach(boards.kind_at(front), front, boards.occupied, "them") & ~LINE[lines.square, front]
    line, square = exploded(np.where(lines.blocker == EMPTY, seen & boards.us & ~boards.kings, EMPTY))
    of, here = lines.take(line), boards.take(line)
    free = capture_gain(here, square, "them", Binding.of(len(of), freed=of.front))
    some = np.flatnonzero(free > 0)
    held = capture_gain(here.take(some), square[some], "them", _bound(of.take(some))) < free[some]
    line = np.unique(line[some[held]])
    return _Moves(line, front[line], front[line], np.full(len(line), HELD))


def _all_pins(view: View) -> tuple[Claims, Squares]:
    lines = view.once(_lines)
    hopeful, loose = _hopeful(view, lines, _moves(view, lines))
    held = _held(view, lines)
    moves = _Moves.joined(hopeful, held)
    bold = np.append((loose < 0) & np.isin(hopeful.keeps, (TAKE, GUARD)), np.ones(len(held), dtype=np.bool_))
    pawn = view.boards.kind_at(moves.origin, lines.row[moves.line]) == chess.PAWN
    bold &= pawn | (moves.keeps != TAKE)
    of = lines.take(moves.line)
    rear = square_of(of.rear)
    asked = claims(
        Moves(of.row, moves.origin, moves.square),
        BIT[of.square],
        of.front | of.rear,
        between(of.square, rear) & ~of.front,
        least=np.where(bold, 0, 1),
        detail=moves.keeps,
        threat=True,
        wanted=np.where(np.isin(moves.keeps, (TAKE, GUARD, BLOCK)), ALL, of.front | of.rear),
        bound=of.front,
    )
    return asked, of.shape


def _pins(view: View, shape: int) -> Claims:
    found, shapes = view.once(_all_pins)
    return found.only(shapes == shape)


def pin_on_file(view: View) -> Claims:
    """Pins along a file."""
    return _pins(view, FILE)


def pin_on_rank(view: View) -> Claims:
    """Pins along a rank."""
    return _pins(view, RANK)


def pin_on_diagonal(view: View) -> Claims:
    """Pins along a diagonal."""
    return _pins(view, DIAGONAL)


def _tell(line: str, instance: Instance) -> str:
    (slider,) = instance.actors
    front, rear = sorted(instance.targets, key=lambda square: chess.square_distance(square, slider))
    board = instance.board
    return wording.sentence(
        f"{wording.named(board, front)} is pinned on the {line} to {wording.named(board, rear)}"
        f" by {wording.named(board, slider)} {instance.move} {instance.detail} {instance.wins}"
    )


def _declare(shape: int) -> Motif:
    line = _SHAPES[shape]
    return Motif(
        id=f"pin-on-{line}",
        title=f"Pin on the {line}",
        definition=(
            f"A rook, bishop or queen looks along the {line} through one enemy man at the king (absolute"
            " pin), or at a man worth more that would fall if the line opened (relative pin). It counts when"
            " it has a consequence: the pinned man can be won, now or after one quiet move that attacks it,"
            " or it fails to guard or take what it seems to."
        ),
        source="Nimzowitsch, My System (the pin); named from memory",
        find=(pin_on_file, pin_on_rank, pin_on_diagonal)[shape],
        tell=lambda instance: _tell(line, instance),
    )


MOTIFS = tuple(_declare(shape) for shape in (FILE, RANK, DIAGONAL))
