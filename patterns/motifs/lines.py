"""Two men on one line: the skewer and the discovered attack.

The rules. Skewer: a safe slider of ours attacks their king, or a piece that is unguarded or worth more than
the slider (and does not take it in an even trade), and behind it on the line stands a piece worth no more,
which falls by exchange once the front man has left, and not before; and whatever they reply in one move, we
still win the exchange at least (`patterns.replies`). It counts as it stands, or, when it is our move and we
are not in check, after one safe move of the slider.
Discovered attack: our slider looks at their king, or at a piece that would fall (and neither it nor, if it
is the king, anyone else would take the slider first), but for one man of ours in between (no king, not
pinned), and that man can leave the line with a threat of its own: a check, a capture that wins, or an attack
on another man that is worth more than itself or unguarded. Whatever they reply in one move, we must come out
ahead: by what the man takes, or else by the exchange at least (`patterns.replies`).

A hit of each: the rook skewers king and rook from a1; the knight leaves the bishop's line with check.

>>> from patterns.detect import find_in
>>> ending = "8/r7/8/8/k7/8/5K2/7R w - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(ending)], MOTIFS)[0]]
[('skewer', ('h1',), ('a4', 'a7'), ('a1',))]
>>> opened = "3k4/6r1/8/8/3N4/8/1B6/5K2 w - - 0 1"
>>> [(f.motif, f.actors, f.targets, f.squares) for f in find_in([chess.Board(opened)], MOTIFS)[0]]
[('discovered-attack', ('b2', 'd4'), ('g7',), ('c3', 'e5', 'f6'))]

A near miss of each: the king can step to b5 and guard a rook on a6; with a bishop on g7, the line is theirs.

>>> find_in([chess.Board(ending.replace("8/r7/8", "8/8/r7"))], MOTIFS)[0]
[]
>>> find_in([chess.Board(opened.replace("6r1", "6b1"))], MOTIFS)[0]
[]

Roles. Skewer: actors the slider; targets the front man and the one behind; squares where the slider goes, if
it has to. Discovered attack: actors the slider and the man before it; target the man on the line; squares the
empty ones between them.
"""

from __future__ import annotations

import chess
import numpy as np

from patterns import wording
from patterns.attacks import Men, SightLines, attackers, between, reach
from patterns.bitboards import (
    BIT,
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
from patterns.exchange import VALUES, Values, can_win, is_safe
from patterns.findings import Findings, Instance, Motif, findings
from patterns.grouped import one_a_deed
from patterns.moves import free_pieces, pawn_steps, stands_firm
from patterns.positions import Boards
from patterns.replies import EXCHANGE, gone, outlasts
from patterns.view import View

_Lines = tuple[Rows, Squares, Squares, Bitboards, Bitboards]
"""Sliders that look at two men: row, from where, to where (the same if they do already), front, rear."""


def _their_pieces(boards: Boards) -> Bitboards:
    """Their men that are neither pawn nor king."""
    return boards.them & ~boards.pawns & ~boards.kings


def _skewers(
    before: Boards, boards: Boards, slider: Squares, front: Bitboards, rear: Bitboards, won: Values
) -> Flags:
    """Whether the slider is safe and must be answered, and takes the rear when the front man goes.

    `before`: the boards before it went there. `won`: what it has taken on its way.
    """
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
    opened = boards.take(some).without(front[some])
    holds[some] = can_win(opened, rear_square[some], "us")
    some = np.flatnonzero(holds)
    holds[some] = ~can_win(boards.take(some), rear_square[some], "us")
    holds[some] &= stands_firm(boards.take(some), slider[some])
    some = np.flatnonzero(holds)
    holds[some] = outlasts(
        before.take(some), boards.take(some), BIT[slider[some]], (front | rear)[some], won[some]
    )
    return holds


def _lines_that_stand(view: View) -> _Lines:
    lines = view.our_lines
    pieces = _their_pieces(view.boards)
    fronts, twice = pieces | view.their(chess.KING), view.their_double_attacks
    two = ((lines.front & fronts[lines.row]) != EMPTY) & ((lines.rear & pieces[lines.row]) != EMPTY)
    lines = lines.only(np.flatnonzero(two))
    boards = view.boards.take(lines.row)
    well_guarded = (lines.rear & twice[lines.row]) != EMPTY
    cheap = VALUES[boards.kind_at(square_of(lines.rear))] <= VALUES[boards.kind_at(lines.square)]
    lines = lines.only(~(well_guarded & cheap))
    return lines.row, lines.square, lines.square, lines.front, lines.rear


def _skewering_squares(view: View, rows: Rows) -> tuple[Bitboards, Bitboards]:
    """For each of the rows, where a slider would look through a king, queen or rook at a piece behind it.

    First for those that move straight, then for those that move diagonally.
    """
    boards = view.boards.take(rows)
    pieces, king = _their_pieces(boards), boards.kings & boards.them
    # A minor piece behind that is guarded does not fall.
    prey = pieces & (boards.rooks | boards.queens | ~view.their_attacks[rows])
    entry, front = exploded(king | pieces & (boards.queens | boards.rooks))
    occupied = boards.occupied[entry]
    is_rook = (BIT[front] & boards.rooks[entry]) != EMPTY
    is_king = (BIT[front] & king[entry]) != EMPTY
    behind = prey[entry] & np.where(is_rook, ~boards.queens[entry], ~EMPTY)
    straight, diagonal = np.zeros(len(rows), dtype=np.uint64), np.zeros(len(rows), dtype=np.uint64)
    for direction in range(8):
        rear = first_on_ray(RAYS[direction][front] & occupied, direction) & behind
        some = np.flatnonzero(rear != EMPTY)
        # A rook gains nothing through a rook, nor a bishop's line through a guarded minor piece.
        if direction in STRAIGHT:
            some = some[is_king[some] | ~is_rook[some]]
        back = (direction + 4) % 8
        ray = RAYS[back][front[some]]
        first = first_on_ray(ray & occupied[some], back)
        stretch = ray & ~np.where(first != EMPTY, RAYS[back][square_of(first) & 63], EMPTY)
        stretch &= ~boards.us[entry[some]] & ~king[entry[some]]
        np.bitwise_or.at(straight if direction in STRAIGHT else diagonal, entry[some], stretch)
    return straight, diagonal


def _lines_after_a_move(view: View) -> _Lines:
    rows = np.flatnonzero(view.boards.our_move & ~view.in_check)
    straight, diagonal = np.zeros(len(view), dtype=np.uint64), np.zeros(len(view), dtype=np.uint64)
    straight[rows], diagonal[rows] = _skewering_squares(view, rows)
    men = view.once(free_pieces)
    sliders = men.only(men.kind >= chess.BISHOP)
    wanted = np.where(sliders.kind != chess.BISHOP, straight[sliders.row], EMPTY)
    wanted |= np.where(sliders.kind != chess.ROOK, diagonal[sliders.row], EMPTY)
    sliders = _with_moves(sliders, wanted & ~view.their_pawn_attacks[sliders.row])
    man, square = exploded(sliders.attacks)
    row, origin = sliders.row[man], sliders.square[man]
    after = view.boards.take(row).moved(origin, square)
    move, front, rear = _new_lines(after, origin, square)
    return row[move], origin[move], square[move], front, rear


def _with_moves(men: Men, wanted: Bitboards) -> Men:
    """The men that can go to a wanted square, their attacks cut down to these."""
    goes = men.attacks & wanted
    some = np.flatnonzero(goes != EMPTY)
    return Men(men.row[some], men.square[some], men.kind[some], goes[some])


def _new_lines(after: Boards, origin: Squares, square: Squares) -> tuple[Rows, Bitboards, Bitboards]:
    """Where the slider that has moved looks through king or piece at a piece it did not line up with before.

    Which move it is, and front and rear as bitboards.
    """
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
        parts.append((some, front[some], rear[some]))
    move, front, rear = (np.concatenate(column) for column in zip(*parts, strict=True))
    return move, front, rear


def skewer(view: View) -> Findings:
    """Skewers that stand or can be made by one safe move."""
    stand, come = _lines_that_stand(view), _lines_after_a_move(view)
    row, origin, square = (np.concatenate(pair) for pair in zip(stand[:3], come[:3], strict=True))
    front, rear = (np.concatenate(pair) for pair in zip(stand[3:], come[3:], strict=True))
    before = view.boards.take(row)
    won = np.where(origin == square, 0, VALUES[before.kind_at(square)])
    holds = _skewers(before, gone(before, origin, square), square, front, rear, won)
    squares = np.where(origin == square, EMPTY, BIT[square])
    return one_a_deed(row[holds], origin[holds], (front | rear)[holds], squares[holds])


def _loaded(view: View) -> SightLines:
    """Lines of ours with one man of ours before their king, or before a piece that would fall."""
    lines = view.our_lines
    boards = view.boards
    fronts = view.us & ~boards.kings & ~view.our_pinned
    loose = ~view.their_attacks
    lines = lines.only(
        np.flatnonzero(
            ((lines.front & fronts[lines.row]) != EMPTY)
            & ((lines.rear & (view.them & ~boards.pawns)[lines.row]) != EMPTY)
        )
    )
    here = boards.take(lines.row)
    rear = square_of(lines.rear)
    king = (lines.rear & here.kings) != EMPTY
    bigger = VALUES[here.kind_at(rear)] > VALUES[here.kind_at(lines.square)]
    lines = lines.only(np.flatnonzero(king | bigger | ((lines.rear & loose[lines.row]) != EMPTY)))
    here, rear = boards.take(lines.row), square_of(lines.rear)
    falls = (lines.rear & here.kings) != EMPTY
    some = np.flatnonzero(falls)
    opened = here.take(some).without(lines.front[some])
    falls[some] = ~can_win(opened, lines.square[some], "them")
    some = np.flatnonzero(((lines.rear & here.kings) == EMPTY) & ~_takes_the_slider(here, lines))
    falls[some] = can_win(here.take(some).without(lines.front[some]), rear[some], "us")
    some = some[falls[some]]
    falls[some] = ~can_win(here.take(some), rear[some], "us")
    return lines.only(np.flatnonzero(falls))


def _takes_the_slider(boards: Boards, lines: SightLines) -> Flags:
    """Whether the man at the end of the line could use it itself: take the slider, evenly or better."""
    opened = boards.without(lines.front)
    rear = square_of(lines.rear)
    back = (reach(boards.kind_at(rear), rear, opened.occupied, "them") & BIT[lines.square]) != EMPTY
    even = VALUES[boards.kind_at(rear)] <= VALUES[boards.kind_at(lines.square)]
    return back & (even | can_win(opened, lines.square, "them"))


def _leaves_with_a_threat(view: View, lines: SightLines) -> Flags:
    """Whether the front man can leave the line with a threat of its own."""
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
    prey = seen & _worth_attacking(view, lines.row[entry], kind) & ~lines.rear[entry] & ~BIT[square]
    threat = takes | check | (prey != EMPTY)
    quiet = np.flatnonzero(threat & ~takes & ~to_king[entry])
    threat[quiet] = is_safe(here.take(quiet), origin[quiet], square[quiet])
    some = np.flatnonzero(threat)
    here, square, origin, entry = here.take(some), square[some], origin[some], entry[some]
    actors = BIT[square] | BIT[lines.square[entry]]
    targets = prey[some] | lines.rear[entry]
    won = VALUES[here.kind_at(square)]
    # Who takes nothing on the way must win the exchange at least.
    least = np.where(won > 0, 1, EXCHANGE)
    after = here.moved(origin, square)
    result = np.zeros(len(lines.row), dtype=np.bool_)
    result[entry[outlasts(here, after, actors, targets, won, least)]] = True
    return result


def _king_takes(boards: Boards, origin: Squares, square: Squares) -> Flags:
    """Whether their king can answer the check by taking our man that has come to the square."""
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
    lines = _loaded(view)
    lines = lines.only(_leaves_with_a_threat(view, lines))
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
            "A bishop, rook or queen attacks the king or a piece that must move, and takes what stands behind"
            " it on the line, worth no more than the man in front. It stands already, or one safe move makes"
            " it."
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
