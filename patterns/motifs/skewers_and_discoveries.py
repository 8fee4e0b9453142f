"""Two men on one line: the skewer and the discovered attack.

The rules. Skewer: a slider of ours attacks their king, or a piece that is unguarded or worth more than the
slider. Behind it on the line stands another piece, worth no more than the man in front, and less if that is
worth less than the slider. The slider stands there, while no other man of ours checks, or it comes there by
one move of ours that does not mate. Discovered attack: between our slider and
their king, or a piece of theirs that is unguarded or worth more than the slider, stands one man of ours (not
the king). It leaves the line with a threat of its own: a check, an attack on a man that is worth more than
itself or unguarded, or a capture, if the line opens to the king or to a man worth more than the slider. The
look ahead (`patterns.proof.lookahead`) decides whether this wins: a pawn at least, and the exchange for a
skewer by the queen or a man that leaves without a capture.

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

from collections.abc import Iterator, Sequence
from dataclasses import replace

import chess
import numpy as np

from patterns.boards.attacks import SightLines, between, in_check, reach
from patterns.boards.bitboards import (
    BEYOND,
    BIT,
    EMPTY,
    LINE,
    Bitboards,
    Flags,
    Squares,
    exploded,
    paired,
    square_of,
)
from patterns.boards.exchange import VALUES, can_win, loses_nothing
from patterns.boards.legal import has_move, made
from patterns.boards.moves import Moves, is_slider, pawn_steps
from patterns.boards.view import View
from patterns.motifs.findings import Instance, Motif
from patterns.proof.claims import EXCHANGE, Claims, claims
from patterns.proof.played_line import OwnMove, Use
from patterns.proof.strokes import hitting, profits
from patterns.words import wording


def _skewers(view: View, moves: Moves, kinds: Squares, hit: Bitboards) -> Claims:
    """Claims of sliders that would hit a man with profit, with another piece behind it.

    They must win more than the move itself takes.
    """
    boards, pieces = view.boards, view.them & ~view.boards.pawns
    entry, front = exploded(hit & pieces[moves.row])
    moves, kinds = moves.take(entry), kinds[entry]
    occupied = view.occupied[moves.row] & ~BIT[moves.origin] & ~BIT[front]
    rear = reach(kinds, moves.square, occupied, "us") & paired(BEYOND, moves.square, front)
    rear &= (pieces & ~boards.kings)[moves.row]
    front_worth, rear_worth = (
        VALUES[view.kind_at(moves.row, square)] for square in (front, square_of(rear) & 63)
    )
    bigger = front_worth >= np.minimum(rear_worth + 1, VALUES[kinds])
    some = np.flatnonzero(
        (rear != EMPTY) & (front_worth >= rear_worth) & (bigger | _king(view, moves, front))
    )
    some = some[_is_safe(view, moves.take(some)) & _is_apart(view, moves.take(some), front[some])]
    moves, rear, front = moves.take(some), rear[some], front[some]
    squares = np.where(moves.origin == moves.square, EMPTY, BIT[moves.square])
    least = np.where(kinds[some] == chess.QUEEN, EXCHANGE, 1)
    taken = np.where(squares != EMPTY, VALUES[view.kind_at(moves.row, moves.square)], 0)
    return claims(moves, BIT[moves.origin], BIT[front] | rear, squares, least=least + taken)


def _king(view: View, moves: Moves, front: Squares) -> Flags:
    """Whether the man in front is their king."""
    return front == view.their_king[moves.row]


def _is_apart(view: View, moves: Moves, front: Squares) -> Flags:
    """Whether it is not mate, and they are not in check by another man where the slider stands already."""
    after = made(view.boards.take(moves.row), replace(moves, row=np.arange(len(moves)))).after
    checked = in_check(after, "us")
    mate = np.flatnonzero(checked & (moves.origin != moves.square))
    mate = mate[~has_move(after.take(mate))]
    result: Flags = ~checked | (moves.origin != moves.square) | _king(view, moves, front)
    result[mate] = False
    return result


def _is_safe(view: View, moves: Moves) -> Flags:
    """Whether the man loses nothing by exchange where it stands, or where it goes if we are not thorough."""
    boards = view.boards.take(moves.row)
    goes = loses_nothing(boards, moves.origin, moves.square)
    return np.where(
        moves.origin == moves.square, ~can_win(boards, moves.square, "them"), goes | view.thorough
    )


def skewer(view: View) -> Claims:
    """Skewers that stand or can be made by one move."""
    every, hit = view.once(hitting)
    some = np.flatnonzero(is_slider(every.kind))
    every = every.take(some)
    # A slider that moves along a line sees nothing new on it.
    new = hit[some] & ~paired(LINE, every.origin, every.square)
    men = view.our_pieces
    men = men.only(is_slider(men.kind))
    hit = men.attacks & profits(view, men.kind, men.row)
    return Claims.joined(
        _skewers(view, every.moves, every.kind, new),
        _skewers(view, Moves(men.row, men.square, men.square), men.kind, hit),
    )


def _loaded(view: View) -> SightLines:
    """Sight lines with one man of ours before their king, or before a bigger or an unguarded man.

    Where we are thorough, before any piece that is worth as much as the slider.
    """
    lines, boards = view.our_sight_lines, view.boards
    front = ((lines.front & view.us[lines.row] & ~boards.kings[lines.row]) != EMPTY).nonzero()[0]
    lines = lines.take(front)
    kind = view.kind_at(lines.row, lines.square)
    hit = lines.rear & profits(view, kind, lines.row) & ~boards.pawns[lines.row]
    fits = hit != EMPTY
    if view.thorough:
        worth = VALUES[view.kind_at(lines.row, square_of(lines.rear) & 63)]
        fits |= (lines.rear & view.them[lines.row] != EMPTY) & (worth >= VALUES[kind])
    return lines.only(fits)


def _leaving(view: View, lines: SightLines) -> Moves:
    """Moves of the front men off the line. Their `row` is the index of the line."""
    boards = view.boards.take(lines.row)
    front = square_of(lines.front)
    kind = boards.kind_at(front)
    goes = reach(kind, front, boards.occupied, "us") & ~boards.us & ~boards.kings
    steps = goes & boards.them | pawn_steps(lines.front, boards, "us")
    goes = np.where(kind == chess.PAWN, steps, goes) & ~paired(LINE, lines.square, front)
    entry, square = exploded(goes)
    return Moves(entry, front[entry], square)


def _hit(view: View, lines: SightLines, moves: Moves) -> Bitboards:
    """What each man that leaves attacks with profit then, besides the man on the line."""
    row = lines.row[moves.row]
    kind = view.kind_at(row, moves.origin)
    seen = reach(kind, moves.square, view.occupied[row] & ~BIT[moves.origin] | BIT[moves.square], "us")
    return seen & profits(view, kind, row) & ~lines.rear[moves.row] & ~BIT[moves.square]


def discovered_attack(view: View) -> Claims:
    """Lines of ours that a man of ours can open with a threat of its own.

    Where the line opens to the king, this is a threat in itself. Where it opens to a man worth more than the
    slider, it is enough that the man that leaves takes something.
    """
    lines, boards = view.once(_loaded), view.boards
    moves = _leaving(view, lines)
    hit, lines = _hit(view, lines, moves), lines.take(moves.row)
    row, rear = lines.row, square_of(lines.rear)
    bigger = VALUES[boards.kind_at(rear, row)] > VALUES[boards.kind_at(lines.square, row)]
    takes = (view.them[row] & BIT[moves.square]) != EMPTY
    to_king = (lines.rear & boards.kings[row]) != EMPTY
    some = np.flatnonzero((hit != EMPTY) | to_king | bigger & takes | view.thorough)
    moves, lines, hit = moves.take(some), lines.take(some), hit[some]
    played = Moves(lines.row, moves.origin, moves.square)
    line = between(lines.square, rear[some]) & ~lines.front
    least = np.where(takes[some], 1, EXCHANGE)
    actors = BIT[lines.square] | lines.front
    return claims(played, actors, lines.rear, line, least=least, wanted=lines.rear | hit)


def discovered_checks(own_moves: Sequence[OwnMove]) -> Iterator[Use]:
    """Discovered checks in a line, whatever they win."""
    for own_move in own_moves:
        king, moved, board = own_move.their_king, own_move.move.to_square, own_move.after
        for slider in board.checkers():
            line = chess.SquareSet(chess.between(slider, king))
            if slider == moved or own_move.move.from_square not in line:
                continue
            check = "double check" if moved in board.checkers() else "check"
            leaver, behind = (
                wording.named(own_move.before, square) for square in (own_move.move.from_square, slider)
            )
            note = f"{leaver} leaves the line of {behind}: {check} to {wording.named(board, king)}"
            actors = [slider, own_move.move.from_square]
            yield own_move.use(
                "discovered-attack",
                note,
                actors,
                [king],
                line - chess.SquareSet.from_square(own_move.move.from_square),
            )


def _tell_skewer(instance: Instance) -> str:
    board, slider = instance.board, next(iter(instance.actors))
    at = slider if instance.move is None else instance.move.to_square
    front, rear = sorted(instance.targets, key=lambda square: chess.square_distance(square, at))
    text = (
        f"{wording.named(board, slider)} {instance.does('skewer')} {wording.named(board, front)}"
        f" and {wording.named(board, rear)} behind it"
    )
    if instance.move is not None:
        text += f" from {chess.SQUARE_NAMES[at]}"
    return wording.sentence(text + wording.so_wins(instance.wins))


def _tell_discovered(instance: Instance) -> str:
    board, target = instance.board, next(iter(instance.targets))
    slider, front = sorted(instance.actors, key=lambda square: -chess.square_distance(square, target))
    leaver, behind = wording.named(board, front), wording.named(board, slider)
    hit = wording.named(board, target)
    assert instance.move is not None
    goes = f"{leaver} {instance.does('leave')} the line of {behind} to {hit}"
    after = board.copy(stack=False)
    after.turn = instance.side
    after.push(instance.move)
    if after.checkers() & chess.SquareSet.from_square(instance.move.to_square) and len(after.checkers()) > 1:
        how = "with double check"
    else:
        where = chess.SQUARE_NAMES[instance.move.to_square]
        how = f"by taking on {where}" if board.piece_at(instance.move.to_square) else f"for {where}"
        if instance.played:
            how = how.replace("for", "by going to")
        if after.is_check():
            how += " with check"
        elif not instance.played:
            how += ", with a threat of its own"
    return wording.sentence(f"{goes} {how}{wording.so_wins(instance.wins)}")


MOTIFS = (
    Motif(
        id="skewer",
        title="Skewer",
        definition=(
            "A bishop, rook or queen attacks the king or a piece that must move, and takes the man behind"
            " it on the line, which is worth no more than the man in front. The skewer stands already, or"
            " one move makes it. It wins at least the exchange, whatever they answer."
        ),
        source="Hooper and Whyld, The Oxford Companion to Chess (skewer); named from memory",
        find=skewer,
        tell=_tell_skewer,
    ),
    Motif(
        id="discovered-attack",
        title="Discovered attack",
        definition=(
            "A bishop, rook or queen looks at the enemy king, or at a man that would fall, through one man"
            " of its own side, and that man can leave the line with a threat of its own: check, a capture,"
            " or an attack on another man. This wins material, whatever they answer."
        ),
        source="Nimzowitsch, My System (the discovered check); named from memory",
        find=discovered_attack,
        tell=_tell_discovered,
        in_line=discovered_checks,
    ),
)
