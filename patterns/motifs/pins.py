"""Pins on a file, a rank or a diagonal that have a consequence.

The rule. A slider of ours looks through one enemy man at their king (absolute pin), or at a man worth more
that would fall by exchange if the line opened (relative pin). A relative pin does not count if the front man
can leave with check or by taking as much as the rear man would cost, or if the rear man falls anyway.
(Leaving with a threat of mate is not examined.) No pin counts if the pinner itself falls by exchange, or if
the pinned man can take it and lose nothing. The pin counts if it has one of these consequences:

- the pinned man itself can be won by exchange, now or after one safe move of ours that attacks it. The move
  is that of an unpinned pawn, not to a square between pinner and pinned man. If the pinned man is a piece, it
  may also be a move of a piece, which must be safe even from the pinned man. (A pawn pinned on its own file
  can only be held there, so its fall proves nothing); or
- a capture on a square that the pinned man guards, or one of its own captures, has a better result for us
  than if the man were free.

This must still be so after any reply of theirs (`patterns.proof.threats`). If a pawn attacks the pinned man,
only captures and checks count as replies.

A hit: the rook pins the knight, and the pawn's advance will attack it.

>>> from patterns.detect import find_in
>>> board = chess.Board("4k3/8/8/4n3/8/3P4/5P2/4R1K1 w - - 0 1")
>>> [(f.motif, f.actors, f.targets) for f in find_in([board], MOTIFS)[0]]
[('pin-on-file', ('e1',), ('e5', 'e8'))]

A near miss: a pawn guards the same knight, and no second attacker can come. The pin changes nothing.

>>> find_in([chess.Board("4k3/8/5p2/4n3/8/8/8/4R1K1 w - - 0 1")], MOTIFS)[0]
[]

Roles. Actors: the pinning slider. Targets: the pinned man and the man behind it. Squares: all between them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import chess
import numpy as np

from patterns.boards.attacks import Owner, SightLines, attack_from, attackers, between, reach
from patterns.boards.bitboards import (
    BIT,
    EMPTY,
    LINE,
    PAWN_DOWN,
    PAWN_UP,
    SOUTH,
    Bitboards,
    Flags,
    Rows,
    Squares,
    exploded,
    pawn_attacks_down,
    pawn_attacks_up,
    pawn_steps_up,
    shifted,
    square_of,
)
from patterns.boards.exchange import (
    VALUES,
    Binding,
    Values,
    can_win,
    capture_gain,
    settle,
)
from patterns.boards.grouping import any_of
from patterns.boards.moves import Moves, cheapest
from patterns.boards.positions import PIECES, Boards
from patterns.boards.pressure import men_of_rows
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, findings
from patterns.proof.threats import EXCHANGE, Threats, outlasts
from patterns.words import wording

QUEEN = int(VALUES[chess.QUEEN])
FILE, RANK, DIAGONAL = range(3)
ABSOLUTE, RELATIVE = range(2)
_SHAPES = ("file", "rank", "diagonal")


def _shape(direction: Squares) -> Squares:
    """0, 1 or 2 for file, rank or diagonal, by direction."""
    return np.array([RANK, FILE, DIAGONAL, DIAGONAL] * 2)[direction]


def _candidates(view: View) -> tuple[SightLines, Flags]:
    """Lines through one enemy man to their king or to a man that would fall, and which pins are absolute."""
    lines = view.our_sight_lines_on_two
    boards = view.boards.take(lines.row)
    front, rear = square_of(lines.front), square_of(lines.rear)
    front_worth, rear_worth = VALUES[boards.kind_at(front)], VALUES[boards.kind_at(rear)]
    absolute = (lines.rear & boards.kings) != EMPTY
    keep = absolute.copy()
    relative = np.flatnonzero(~absolute & (rear_worth > front_worth))
    if len(relative):
        keep[relative] = _holds_relatively(view, lines.take(relative), rear_worth[relative])
    return lines.only(keep), absolute[keep]


def _holds_relatively(view: View, lines: SightLines, rear_worth: Values) -> Flags:
    """Whether the rear man falls only because the front man leaves, and that has no good way to leave."""
    boards = view.boards.take(lines.row)
    front, rear = square_of(lines.front), square_of(lines.rear)
    cost = capture_gain(boards.without(lines.front), rear, "us")
    some = np.flatnonzero(cost > 0)
    holds = np.zeros(len(cost), dtype=np.bool_)
    holds[some] = ~can_win(boards.take(some), rear[some], "us")
    some = np.flatnonzero(holds)
    boards, front, cost = boards.take(some), front[some], cost[some]
    kind, occupied, us = boards.kind_at(front), boards.occupied, boards.us
    off_line = ~LINE[lines.square[some], front]
    goes = reach(kind, front, occupied, "them") & off_line & ~boards.them
    pawn = kind == chess.PAWN
    goes = np.where(pawn, goes & us, goes)
    king = square_of(boards.kings & us)
    checks = attack_from(kind, king, occupied & ~lines.front[some], "them")
    takes = np.zeros(len(some), dtype=np.int64)
    for number in (chess.QUEEN, chess.ROOK, chess.BISHOP, chess.KNIGHT, chess.PAWN):
        men = goes & us & getattr(boards, PIECES[number - 1])
        takes = np.maximum(takes, np.where(men != EMPTY, VALUES[number], 0))
    holds[some] = ((goes & checks) == EMPTY) & (takes < cost)
    return holds


def _binding(lines: SightLines, pinned: bool) -> Binding:
    """The front man pinned to the line, or free of it."""
    if pinned:
        return Binding.of(len(lines), pinned=lines.front, pinner=BIT[lines.square])
    return Binding.of(len(lines), freed=lines.front)


def _own_file_pawn(view: View, lines: SightLines) -> Flags:
    """Whether the pinned man is a pawn on its own file. Then the pin prevents only its captures."""
    on_file = _shape(lines.direction) == FILE
    return on_file & ((lines.front & view.their_pawns[lines.row]) != EMPTY)


@dataclass(frozen=True)
class _FrontFalls:
    """Moves of ours that make the pinned man fall, by how they do it. Their `row` is the index of the line.

    `captures`: of the man itself. `pawn_attacks`, `piece_attacks`: safe moves after which it falls.
    """

    captures: Moves
    pawn_attacks: Moves
    piece_attacks: Moves


def _captures(boards: Boards, line: Rows, squares: Squares) -> Moves:
    """Our cheapest capture on each square, on the board of this line."""
    by = attackers(boards.take(line), squares) & boards.us[line]
    return Moves(line, square_of(cheapest(boards.take(line), by)), squares)


def _front_falls(view: View, lines: SightLines) -> _FrontFalls:
    """Captures of the pinned man that win it by exchange, and safe moves after which it falls by exchange."""
    boards, front = view.boards.take(lines.row), square_of(lines.front)
    at_once = np.flatnonzero(~_own_file_pawn(view, lines))
    by_pawn, by_piece = _pawn_attacks(view, lines), _piece_attacks(view, lines)
    moves = Moves.joined(by_pawn, by_piece)
    line = np.append(at_once, moves.row)
    binding = _binding(lines.take(line), True)
    after = boards.take(moves.row).moved(moves.origin, moves.square)
    falls = can_win(Boards.joined(boards.take(at_once), after), front[line], "us", binding)
    now, then = falls[: len(at_once)], np.flatnonzero(falls[len(at_once) :])
    moves, after = moves.take(then), after.take(then)
    pawns = then < len(by_pawn)
    # The pinned man may not take an attacking pawn. A piece must be safe even if the man could take it.
    binding = Binding.of(
        len(then),
        pinned=np.where(pawns, lines.front[moves.row], EMPTY),
        pinner=np.where(pawns, BIT[lines.square[moves.row]], EMPTY),
    )
    safe = ~can_win(after, moves.square, "them", binding)
    at_once = at_once[now]
    captures = _captures(boards, at_once, front[at_once])
    return _FrontFalls(captures, moves.only(safe & pawns), moves.only(safe & ~pawns))


def _pawn_attacks(view: View, lines: SightLines) -> Moves:
    """Pawn advances that attack the pinned man, to squares where no other pawn could take.

    A pinned pawn is attacked from a square where it could take the other pawn if it were not pinned.
    """
    boards = view.boards.take(lines.row)
    front = square_of(lines.front)
    free = ~boards.occupied
    stops = PAWN_DOWN[front] & free & ~between(lines.square, front)
    pawns = boards.pawns & boards.us & ~view.our_pinned[lines.row]
    one, two = pawn_steps_up(pawns, free)
    once, once_to = exploded(one & stops)
    twice, twice_to = exploded(two & stops)
    entry, square = np.concatenate([once, twice]), np.concatenate([once_to, twice_to])
    origin = square - np.repeat([8, 16], [len(once), len(twice)])
    hit_by = PAWN_UP[square] & (boards.pawns & boards.them & ~lines.front)[entry]
    moves = Moves(entry, origin, square).only(hit_by == EMPTY)
    return moves.only(~_passes_by(view, lines, moves))


def _passes_by(view: View, lines: SightLines, moves: Moves) -> Flags:
    """Whether a pawn pinned on its own file can step past its attacker, safe from pawns, and hit a piece."""
    boards, front = view.boards.take(lines.row[moves.row]), lines.front[moves.row]
    others = boards.pawns & boards.us & ~BIT[moves.origin]
    step = shifted(front & boards.pawns, SOUTH) & ~boards.occupied & ~pawn_attacks_up(others)
    hit = pawn_attacks_down(step) & boards.us & ~boards.pawns
    return (hit != EMPTY) & _own_file_pawn(view, lines)[moves.row]


def _piece_attacks(view: View, lines: SightLines) -> Moves:
    """Quiet moves of another piece that attack the pinned piece, safe from pawns."""
    boards = view.boards.take(lines.row)
    front = square_of(lines.front)
    pieces = np.flatnonzero((lines.front & boards.pawns) == EMPTY)
    entry, men = men_of_rows(view.our_pieces, lines.row[pieces])
    entry = pieces[entry]
    mobile = men.square != lines.square[entry]
    mobile &= (men.attacks & lines.front[entry]) == EMPTY
    entry, men = entry[mobile], men.only(mobile)
    from_there = attack_from(men.kind, front[entry], boards.occupied[entry] & ~BIT[men.square], "us")
    stops = from_there & men.attacks & ~boards.occupied[entry]
    stops &= ~view.their_pawn_attacks[men.row] & ~between(lines.square[entry], front[entry])
    man, square = exploded(stops)
    return Moves(entry[man], men.square[man], square)


def _guards_too_little(view: View, lines: SightLines) -> Moves:
    """Captures of men that it guards, with a better result for us than if it were free."""
    boards = view.boards.take(lines.row)
    guarded = _looks_at(boards, lines) & boards.them & ~boards.kings & view.our_attacks[lines.row]
    entry, square = exploded(guarded)
    better = np.flatnonzero(_differs(boards.take(entry), square, "us", lines.take(entry)) > 0)
    return _captures(boards, entry[better], square[better])


def _takes_too_little(view: View, lines: SightLines) -> Flags:
    """Whether one of its own captures has a worse result for them than if it were free."""
    boards = view.boards.take(lines.row)
    entry, square = exploded(_looks_at(boards, lines) & boards.us)
    worse = _differs(boards.take(entry), square, "them", lines.take(entry)) < 0
    return any_of(entry, worse, len(lines))


def _looks_at(boards: Boards, lines: SightLines) -> Bitboards:
    """What the pinned man attacks off the line."""
    front = square_of(lines.front)
    seen = reach(boards.kind_at(front), front, boards.occupied, "them")
    return seen & ~LINE[lines.square, front]


def _outlasts(boards: Boards, lines: SightLines, moves: Moves, forcing: Flags) -> Flags:
    """Whether, after the move, we come out ahead by what it takes, the pinned man or the man behind it.

    `forcing`: where only captures and checks count as replies.

    A piece pinned to the king and attacked again counts even if the king may step off the line or another man
    may come to guard it: the pin has achieved this. A pawn that only the man behind it guards falls easily,
    so this must win at least the exchange.
    """
    lines, before = lines.take(moves.row), boards.take(moves.row)
    after = before.moved(moves.origin, moves.square)
    pinner = np.where(moves.origin == lines.square, moves.square, lines.square)
    targets = (lines.front | lines.rear) & after.them
    won = VALUES[before.kind_at(moves.square)]
    absolute = (lines.rear & before.kings) != EMPTY
    a_pawn = (lines.front & before.pawns & BIT[moves.square]) != EMPTY
    guards = attackers(before, moves.square) & before.them & ~lines.rear
    least = np.where(a_pawn & ~absolute & (guards == EMPTY), EXCHANGE, 1)
    alone = (won == 0) & absolute
    actors = BIT[pinner] | BIT[moves.square]
    # Our move is only assumed, whichever side is to move. What else hangs does not matter here.
    before = replace(before, our_move=np.zeros(len(won), dtype=np.bool_))
    return outlasts(Threats(before, after, actors, targets, won, least), alone, QUEEN, forcing)


def _has_a_consequence(view: View, lines: SightLines) -> Flags:
    """Whether the pin counts, as the module explains.

    If a pawn attacks the pinned man, only captures and checks are considered as replies.
    """
    counts = _takes_too_little(view, lines)
    falls = _front_falls(view, lines)
    moves = Moves.joined(
        falls.pawn_attacks, falls.captures, _guards_too_little(view, lines), falls.piece_attacks
    )
    forcing = np.arange(len(moves)) < len(falls.pawn_attacks)
    some = np.flatnonzero(~counts[moves.row])
    moves, forcing = moves.take(some), forcing[some]
    outlasting = _outlasts(view.boards.take(lines.row), lines, moves, forcing)
    return counts | any_of(moves.row, outlasting, len(lines))


def _differs(boards: Boards, squares: Squares, side: Owner, lines: SightLines) -> Values:
    """How much more the side wins by capturing on the square if the front man is pinned, not free."""
    size, no_men = len(squares), np.zeros(len(squares), dtype=np.uint64)
    binding = Binding.of(
        2 * size,
        pinned=np.append(lines.front, no_men),
        pinner=np.append(BIT[lines.square], no_men),
        freed=np.append(no_men, lines.front),
    )
    twice = np.tile(np.arange(size), 2)
    gain = capture_gain(boards.take(twice), squares[twice], side, binding)
    return gain[:size] - gain[size:]


def _pinner_falls(view: View, lines: SightLines) -> Flags:
    """Whether they win the pinner by exchange, or the pinned man can take it along the line without loss."""
    boards, pinner = view.boards.take(lines.row), lines.square
    falls = can_win(boards, pinner, "them", _binding(lines, True))
    front = square_of(lines.front)
    kind = boards.kind_at(front)
    takes = np.flatnonzero(~falls & ((reach(kind, front, boards.occupied, "them") & BIT[pinner]) != EMPTY))
    boards, pinner, front, kind = boards.take(takes), pinner[takes], front[takes], kind[takes]
    taken = VALUES[boards.kind_at(pinner)]
    falls[takes] = taken >= settle(boards.moved(front, pinner), pinner, VALUES[kind], "us")
    return falls


def _all_pins(view: View) -> tuple[Findings, Squares]:
    """Every pin that counts, and its shape."""
    lines, absolute = _candidates(view)
    counts = _has_a_consequence(view, lines)
    counts[counts] = ~_pinner_falls(view, lines.only(counts))
    lines, absolute = lines.only(counts), absolute[counts]
    rear = square_of(lines.rear)
    found = findings(
        lines.row,
        BIT[lines.square],
        lines.front | lines.rear,
        between(lines.square, rear) & ~lines.front,
        np.where(absolute, ABSOLUTE, RELATIVE),
    )
    return found, _shape(lines.direction)


def _pins(view: View, shape: int) -> Findings:
    found, shapes = view.once(_all_pins)
    return found.only(shapes == shape)


def pin_on_file(view: View) -> Findings:
    """Pins along a file."""
    return _pins(view, FILE)


def pin_on_rank(view: View) -> Findings:
    """Pins along a rank."""
    return _pins(view, RANK)


def pin_on_diagonal(view: View) -> Findings:
    """Pins along a diagonal."""
    return _pins(view, DIAGONAL)


def _tell(line: str, instance: Instance) -> str:
    slider = instance.actors.pop()
    front, rear = sorted(instance.targets, key=lambda square: chess.square_distance(square, slider))
    board = instance.board
    return wording.sentence(
        f"{wording.named(board, front)} is pinned on the {line} to {wording.named(board, rear)}"
        f" by {wording.named(board, slider)}"
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
