"""Two men on one line: the skewer and the discovered attack.

The rules. Skewer: a safe slider of ours attacks their king, or a piece that is unguarded or worth more than
the slider (and cannot take it in an even trade). Behind it on the line stands a piece worth no more, which
falls by exchange after the front man has left, and not before. Whatever they reply in one move, we still win
at least the exchange (`patterns.proof.threats`). A king in front must have a square to go to. It counts as it
stands or, if it is our move and we are not in check, after one safe move of the slider. Discovered attack:
between our slider and their king, or a piece that would fall, stands one man of ours (not a king, not
pinned). That man can leave the line with a threat of its own: a check, a capture that wins, or an attack on
another man that is worth more than itself or unguarded. If the piece would take the slider first, the threat
must be a check. If a man of theirs could take a slider that looks at the king, no threat is enough. Whatever
they reply in one move, we must come out ahead: by what the man takes, or otherwise by at least the exchange
(`patterns.proof.threats`).

A hit of each: the rook skewers king and rook from a1; the knight leaves the bishop's line with check.

>>> from patterns.detect import find_in
>>> ending = "8/r7/8/8/k7/8/5K2/7R w - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(ending)], MOTIFS)[0]]
[('skewer', ('h1',), ('a4', 'a7'), ('a1',))]
>>> opened = "3k4/6r1/8/8/3N4/8/1B6/5K2 w - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(opened)], MOTIFS)[0]]
[('discovered-attack', ('b2', 'd4'), ('g7',), ('c3', 'e5', 'f6'))]

A near miss of each: the king can step to b5 and guard a rook on a6; with a bishop on g7 the line is theirs,
unless the knight leaves it with check.

>>> find_in([chess.Board(ending.replace("8/r7/8", "8/8/r7"))], MOTIFS)[0]
[]
>>> find_in([chess.Board(opened.replace("3k4/6r1", "k7/6b1"))], MOTIFS)[0]
[]

Roles. Skewer: actors, the slider; targets, the front man and the man behind it; squares, where the slider
must go, if it does not attack yet. Discovered attack: actors, the slider and the man in front of it; target,
the man on the line; squares, the empty squares between them.
"""

from __future__ import annotations

from dataclasses import dataclass

import chess
import numpy as np

from patterns.boards.attacks import Men, SightLines, attackers, between, reach
from patterns.boards.bitboards import (
    BIT,
    DIAGONAL,
    EMPTY,
    KING_STEPS,
    LINE,
    RAYS,
    STRAIGHT,
    Bitboards,
    Flags,
    Rows,
    Squares,
    exploded,
    first_on_ray,
    square_of,
)
from patterns.boards.exchange import VALUES, can_win, is_safe
from patterns.boards.grouping import any_of, united
from patterns.boards.moves import Moves, pawn_steps, stands_firm
from patterns.boards.positions import Boards
from patterns.boards.tables import Table
from patterns.boards.view import View
from patterns.motifs.findings import Findings, Instance, Motif, findings
from patterns.proof.threats import EXCHANGE, Threats, gone, outlasts
from patterns.words import wording


@dataclass(frozen=True)
class _Looks(Table):
    """Sliders that look at two men on a line: from where, to where (the same if they look already)."""

    row: Rows
    origin: Squares
    square: Squares
    front: Bitboards
    rear: Bitboards


@dataclass(frozen=True)
class _Discoveries:
    """Sight lines that the front man could leave with a threat of its own, and its moves.

    `line`: the index of the line that each move opens. `threats`: what each move threatens.
    """

    lines: SightLines
    line: Rows
    threats: Threats


def _their_pieces(boards: Boards) -> Bitboards:
    """Their men that are neither pawn nor king."""
    return boards.them & ~boards.pawns & ~boards.kings


def _holds(boards: Boards, slider: Squares, front: Bitboards, rear: Bitboards) -> Rows:
    """Where the slider is safe and must be answered, and takes the rear man when the front man leaves."""
    front_square, rear_square = square_of(front), square_of(rear)
    front_kind = boards.kind_at(front_square)
    front_worth, rear_worth, worth = (
        VALUES[kind] for kind in (front_kind, boards.kind_at(rear_square), boards.kind_at(slider))
    )
    holds = front_worth >= rear_worth
    attackers_of_slider = reach(front_kind, front_square, boards.occupied, "them") & BIT[slider]
    holds &= (front_worth > worth) | (attackers_of_slider == EMPTY)
    some = np.flatnonzero(holds & (front_worth <= worth))
    seen = attackers(boards.take(some), front_square[some])
    holds[some] = (seen & boards.them[some]) == EMPTY
    some = np.flatnonzero(holds)
    some = some[_falls_when_opened(boards.take(some), front[some], rear_square[some])]
    return some[stands_firm(boards.take(some), slider[some])]


def _leaves(boards: Boards, front: Bitboards) -> Flags:
    """Whether the front man can leave. A king that cannot move stays in front of the man behind it."""
    no_king = (front & boards.kings) == EMPTY
    kings = np.flatnonzero(~no_king)
    here, king = boards.take(kings), square_of(front[kings])
    entry, step = exploded(KING_STEPS[king] & ~here.them)
    seen = attackers(here.take(entry), step, (here.occupied & ~front[kings])[entry]) & here.us[entry]
    return no_king | any_of(kings[entry], seen == EMPTY, len(front))


def _falls_when_opened(boards: Boards, front: Bitboards, rear: Squares) -> Flags:
    """Whether we win the rear man by exchange only after the front man has left."""
    falls = can_win(Boards.joined(boards.without(front), boards), np.tile(rear, 2), "us")
    return falls[: len(rear)] & ~falls[len(rear) :]


def _looks_that_stand(view: View) -> _Looks:
    """Sliders that look at two men as they stand."""
    lines, twice = view.our_sight_lines_on_two, view.their_double_attacks
    pawns = view.boards.pawns[lines.row]
    two = ((lines.front & pawns) == EMPTY) & ((lines.rear & (pawns | view.boards.kings[lines.row])) == EMPTY)
    lines = lines.only(two)
    boards = view.boards.take(lines.row)
    well_guarded = (lines.rear & twice[lines.row]) != EMPTY
    cheap = VALUES[boards.kind_at(square_of(lines.rear))] <= VALUES[boards.kind_at(lines.square)]
    lines = lines.only(~(well_guarded & cheap))
    return _Looks(lines.row, lines.square, lines.square, lines.front, lines.rear)


def _skewering_squares(view: View, rows: Rows) -> tuple[Bitboards, Bitboards]:
    """For each of the rows, where a slider would look through a king, queen or rook at a piece behind it.

    The first result is for sliders that move straight, the second for those that move diagonally.
    """
    boards = view.boards.take(rows)
    pieces, king = _their_pieces(boards), boards.kings & boards.them
    # A guarded minor piece behind does not fall.
    rear_pieces = pieces & (boards.rooks | boards.queens | ~view.their_attacks[rows])
    entry, front = exploded(king | pieces & (boards.queens | boards.rooks))
    is_rook = (BIT[front] & boards.rooks[entry]) != EMPTY
    is_king = (BIT[front] & king[entry]) != EMPTY
    behind = rear_pieces[entry] & np.where(is_rook, ~boards.queens[entry], ~EMPTY)
    found = np.zeros((8, len(rows)), dtype=np.uint64)
    for direction in range(8):
        # A rook gains nothing by looking through a rook.
        some = np.flatnonzero(is_king | ~is_rook) if direction in STRAIGHT else np.arange(len(entry))
        some = some[(RAYS[direction][front[some]] & behind[some]) != EMPTY]
        here, square = entry[some], front[some]
        first = first_on_ray(RAYS[direction][square] & boards.occupied[here], direction)
        in_line = (first & behind[some]) != EMPTY
        here, square = here[in_line], square[in_line]
        stretch = _up_to_the_first(square, (direction + 4) % 8, boards.occupied[here])
        found[direction] = united(here, stretch & ~boards.us[here] & ~king[here], len(rows))
    straight, diagonal = (np.bitwise_or.reduce(found[list(lines)]) for lines in (STRAIGHT, DIAGONAL))
    return straight, diagonal


def _up_to_the_first(squares: Squares, direction: int, occupied: Bitboards) -> Bitboards:
    """The squares of a ray from each square up to and including the first man on it."""
    ray = RAYS[direction][squares]
    first = first_on_ray(ray & occupied, direction)
    return ray & ~np.where(first != EMPTY, RAYS[direction][square_of(first) & 63], EMPTY)


def _looks_after_a_move(view: View) -> _Looks:
    """Sliders that look at two men after a move to a square that no pawn attacks."""
    rows = np.flatnonzero(view.boards.our_move & ~view.in_check)
    straight, diagonal = np.zeros(len(view), dtype=np.uint64), np.zeros(len(view), dtype=np.uint64)
    straight[rows], diagonal[rows] = _skewering_squares(view, rows)
    wanted = {chess.BISHOP: diagonal, chess.ROOK: straight, chess.QUEEN: straight | diagonal}
    safe = ~view.their_pawn_attacks
    moves = Moves.joined(*(_moves(view.our_men_of[kind], goals & safe) for kind, goals in wanted.items()))
    moves = moves.only((view.our_pinned[moves.row] & BIT[moves.origin]) == EMPTY)
    return _new_looks(moves, view.boards.take(moves.row).moved(moves.origin, moves.square))


def _moves(men: Men, wanted: Bitboards) -> Moves:
    """Moves of the men to the wanted squares. `wanted`: one board per row of the view."""
    man, square = exploded(men.attacks & wanted[men.row])
    return Moves(men.row[man], men.square[man], square)


def _new_looks(moves: Moves, after: Boards) -> _Looks:
    """Where the moved slider looks through a king or piece at a piece, on a line that is new to it."""
    origin, square = moves.origin, moves.square
    kind, occupied, pieces = after.kind_at(square), after.occupied, _their_pieces(after)
    fronts = pieces | after.kings & after.them
    parts = []
    for direction in range(8):
        ray = RAYS[direction][square] & occupied
        front = first_on_ray(ray, direction)
        rear = first_on_ray(ray & ~front, direction)
        fits = kind != (chess.BISHOP if direction in STRAIGHT else chess.ROOK)
        fits &= (LINE[origin, square] & front) == EMPTY
        some = np.flatnonzero(fits & ((front & fronts) != EMPTY) & ((rear & pieces) != EMPTY))
        parts.append(_Looks(moves.row[some], origin[some], square[some], front[some], rear[some]))
    return _Looks.joined(*parts)


def _skewers(view: View) -> tuple[Findings, Threats]:
    """Skewers that stand or can be made by one safe move, and the threat to test for each."""
    looks = _Looks.joined(_looks_that_stand(view), _looks_after_a_move(view))
    before = view.boards.take(looks.row)
    after = gone(before, looks.origin, looks.square)
    holds = _holds(after, looks.square, looks.front, looks.rear)
    holds = holds[_leaves(after.take(holds), looks.front[holds])]
    looks, before, after = looks.take(holds), before.take(holds), after.take(holds)
    square, stays, targets = BIT[looks.square], looks.origin == looks.square, looks.front | looks.rear
    won = np.where(stays, 0, VALUES[before.kind_at(looks.square)])
    found = findings(looks.row, BIT[looks.origin], targets, np.where(stays, EMPTY, square))
    return found, Threats(before, after, square, targets, won, np.full(len(looks), EXCHANGE))


def skewer(view: View) -> Findings:
    """Skewers that stand or can be made by one safe move."""
    found = view.once(_skewers)[0].only(view.once(_outlasting)[0])
    return found.merged(found.actors, found.targets)


def _loaded(view: View) -> tuple[SightLines, Flags]:
    """Sight lines with one man of ours in front of their king, or of a piece that would fall.

    Also whether that piece (for a king: any man) could take the slider first.
    """
    lines = view.our_sight_lines
    boards = view.boards
    fronts = view.us & ~boards.kings & ~view.our_pinned
    loose = ~view.their_attacks
    lines = lines.only(
        ((lines.front & fronts[lines.row]) != EMPTY)
        & ((lines.rear & (view.them & ~boards.pawns)[lines.row]) != EMPTY)
    )
    here = boards.take(lines.row)
    rear = square_of(lines.rear)
    king = (lines.rear & here.kings) != EMPTY
    bigger = VALUES[here.kind_at(rear)] > VALUES[here.kind_at(lines.square)]
    lines = lines.only(king | bigger | ((lines.rear & loose[lines.row]) != EMPTY))
    here, rear = boards.take(lines.row), square_of(lines.rear)
    hits_back, king = _takes_the_slider(here, lines), (lines.rear & here.kings) != EMPTY
    holds = ~(king & hits_back)
    some = np.flatnonzero(~king)
    holds[some] = _falls_when_opened(here.take(some), lines.front[some], rear[some])
    return lines.only(holds), hits_back[holds]


def _takes_the_slider(boards: Boards, lines: SightLines) -> Flags:
    """Whether the rear man, after the line is open, can take the slider without loss.

    If the rear man is a king: whether any man of theirs can.
    """
    opened = boards.without(lines.front)
    rear = square_of(lines.rear)
    kind = boards.kind_at(rear)
    takes = (reach(kind, rear, opened.occupied, "them") & BIT[lines.square]) != EMPTY
    uneven = takes & (VALUES[kind] > VALUES[boards.kind_at(lines.square)])
    some = np.flatnonzero(uneven | (kind == chess.KING))
    takes[some] = can_win(opened.take(some), lines.square[some], "them")
    return takes


def _discoveries(view: View) -> _Discoveries:
    """Sight lines that the front man could leave with a threat of its own."""
    lines, hits_back = _loaded(view)
    boards = view.boards.take(lines.row)
    front = square_of(lines.front)
    kind = boards.kind_at(front)
    to_king = (lines.rear & boards.kings) != EMPTY
    goes = reach(kind, front, boards.occupied, "us") & ~boards.us & ~boards.kings
    pawn = kind == chess.PAWN
    step = pawn_steps(lines.front, boards, "us")
    goes = np.where(pawn, goes & boards.them | step, goes) & ~LINE[lines.square, front]
    entry, square = exploded(goes)
    stays = ~(to_king[entry] & _king_takes(boards.take(entry), front[entry], square))
    entry, square = entry[stays], square[stays]
    here, origin, kind = boards.take(entry), front[entry], kind[entry]
    occupied = here.occupied & ~BIT[origin] | BIT[square]
    seen = reach(kind, square, occupied, "us")
    check = (seen & here.kings & here.them) != EMPTY
    takes = (BIT[square] & here.them) != EMPTY
    threatened = seen & _worth_attacking(view, lines.row[entry], kind) & ~lines.rear[entry] & ~BIT[square]
    threat = check | ~hits_back[entry] & (takes | (threatened != EMPTY))
    quiet = np.flatnonzero(threat & ~takes & ~to_king[entry])
    threat[quiet] = is_safe(here.take(quiet), origin[quiet], square[quiet])
    some = np.flatnonzero(threat)
    here, square, origin, entry = here.take(some), square[some], origin[some], entry[some]
    actors = BIT[square] | BIT[lines.square[entry]]
    targets = threatened[some] | lines.rear[entry]
    won = VALUES[here.kind_at(square)]
    # A move that takes nothing must win at least the exchange.
    least = np.where(won > 0, 1, EXCHANGE)
    return _Discoveries(lines, entry, Threats(here, here.moved(origin, square), actors, targets, won, least))


def _outlasting(view: View) -> tuple[Flags, Flags]:
    """Which skewers and which discoveries outlast a reply. Testing them together takes half the time."""
    skewers, discoveries = view.once(_skewers)[1], view.once(_discoveries).threats
    outlasting = outlasts(Threats.joined(skewers, discoveries))
    return outlasting[: len(skewers)], outlasting[len(skewers) :]


def _king_takes(boards: Boards, origin: Squares, square: Squares) -> Flags:
    """Whether their king can answer the check by taking our man on its new square."""
    guards = attackers(boards.without(BIT[origin]), square, boards.occupied & ~BIT[origin]) & boards.us
    return ((KING_STEPS[square] & boards.kings & boards.them) != EMPTY) & (guards == EMPTY)


def _worth_attacking(view: View, rows: Rows, kinds: Squares) -> Bitboards:
    """Their men that a man of ours of each kind threatens by attacking: worth more, or unguarded pieces."""
    boards = view.boards
    bigger = np.zeros((7, len(view)), dtype=np.uint64)
    bigger[chess.ROOK] = boards.queens
    bigger[chess.BISHOP] = bigger[chess.KNIGHT] = boards.queens | boards.rooks
    bigger[chess.PAWN] = bigger[chess.KNIGHT] | boards.bishops | boards.knights
    loose = ~view.their_attacks & ~boards.pawns & ~boards.kings
    return (bigger[kinds, rows] | loose[rows]) & view.them[rows]


def discovered_attack(view: View) -> Findings:
    """Lines of ours that a man of ours can open with a threat of its own."""
    found = view.once(_discoveries)
    lines = found.lines.only(any_of(found.line, view.once(_outlasting)[1], len(found.lines)))
    line = between(lines.square, square_of(lines.rear)) & ~lines.front
    return findings(lines.row, BIT[lines.square] | lines.front, lines.rear, line)


def _tell_skewer(instance: Instance) -> str:
    board, slider = instance.board, instance.actors.pop()
    at = slider if not instance.squares else min(instance.squares)
    front, rear = sorted(instance.targets, key=lambda square: chess.square_distance(square, at))
    text = (
        f"{wording.named(board, slider)} skewers {wording.named(board, front)}"
        f" and {wording.named(board, rear)} behind it"
    )
    if instance.squares:
        text += " from " + " or ".join(chess.SQUARE_NAMES[square] for square in instance.squares)
    return wording.sentence(text)


def _tell_discovered(instance: Instance) -> str:
    board, target = instance.board, instance.targets.pop()
    slider, front = sorted(instance.actors, key=lambda square: -chess.square_distance(square, target))
    return wording.sentence(
        f"{wording.named(board, front)} can leave the line of {wording.named(board, slider)}"
        f" to {wording.named(board, target)} with a threat of its own"
    )


MOTIFS = (
    Motif(
        id="skewer",
        title="Skewer",
        definition=(
            "A bishop, rook or queen attacks the king or a piece that must move, and takes the man behind"
            " it on the line, which is worth no more than the man in front. The skewer stands already, or"
            " one safe move makes it."
        ),
        source="Hooper and Whyld, The Oxford Companion to Chess (skewer); named from memory",
        find=skewer,
        tell=_tell_skewer,
    ),
    Motif(
        id="discovered-attack",
        title="Discovered attack",
        definition=(
            "A bishop, rook or queen looks at the enemy king, or at a piece that would fall, through one man"
            " of its own side, and that man can leave the line with a threat of its own: check, a winning"
            " capture, or an attack on another man."
        ),
        source="Nimzowitsch, My System (the discovered check); named from memory",
        find=discovered_attack,
        tell=_tell_discovered,
    ),
)
