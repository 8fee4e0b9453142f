"""The sacrifice for the king's cover: a piece given for a pawn in front of the king, for an attack that pays.

The rule. It is our move and we are not in check. Our queen is on the board. Their king stands on a wing
(files a-c or f-h) on its first two ranks. An unpinned knight, bishop or rook of ours can take a pawn of its
cover (on the king's file or a neighbouring one, beside the king or up to two ranks in front of it), and loses
by exchange when it does so. The sacrifice counts if they can neither ignore it nor take it without cost:

- whichever man recaptures, two other pieces of ours, one of them the queen, are after the king (they bear on
  a square next to it, or can check it);
- if the capture is not a check, they have no safe check in reply, and no capture elsewhere that wins more
  than a pawn;
- whichever man recaptures, we then threaten mate, or have at most two checks that mate, threaten mate, drive
  the king into the open or win more than a plain capture would have won (`patterns.proof.king_hunt` says
  how);
- or three pieces are after the king, more than guard it, and our queen safely takes a second pawn of the
  cover. In this case we must have given a minor piece.

This looks a few moves ahead and proves nothing. A played line shows it if it mates, ends with a threat of
mate or comes out ahead.

A hit: the bishop takes on h7. Then the knight checks on g5, the queen on d3, with the other bishop behind.

>>> from patterns.detect import find_in
>>> gift = "rnbq1rk1/pppn1ppp/4p3/3pP3/1b1P3P/2NB1N2/PPP2PP1/R1BQK2R w KQ - 0 8"
>>> [(f.motif, f.actors, f.targets) for f in find_in([chess.Board(gift)], MOTIFS)[0]]
[('cover-sacrifice', ('c1', 'd1', 'd3', 'f3'), ('h7', 'g8'))]

A near miss: a knight on f6 recaptures on h7, and the king stays at home.

>>> guarded = "rnbq1rk1/ppp2ppp/4pn2/3p4/1b1P3P/2NB1N2/PPP2PP1/R1BQK2R w KQ - 0 8"
>>> find_in([chess.Board(guarded)], MOTIFS)[0]
[]

Roles. Actors: the piece that is given, and the pieces that continue the attack. Targets: the pawn and the
king. Squares: none.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import chess
import numpy as np

from patterns.boards.attacks import in_check
from patterns.boards.bitboards import (
    BIT,
    CENTRE,
    EMPTY,
    THEIR_HOME,
    Bitboards,
    Flags,
    Rows,
    Squares,
    bishop_reach,
    count,
    exploded,
    king_ring,
    rook_reach,
    square_of,
)
from patterns.boards.exchange import VALUES, is_safe, loses_nothing
from patterns.boards.grouping import all_of, any_of, marked
from patterns.boards.moves import free_pieces
from patterns.boards.positions import Boards
from patterns.boards.tables import Table
from patterns.boards.view import View, reversed_sides
from patterns.motifs.findings import Findings, Instance, Motif, findings
from patterns.proof import captures
from patterns.proof.king_hunt import (
    best_capture,
    hunters,
    outnumbered,
    recaptures,
    replies,
    safe_checks,
    threatens_mate,
    wins,
    won_by_checks,
)
from patterns.proof.played_line import OwnMove, Use, gain_of
from patterns.words import wording

HUNTERS, STRIPPERS = 2, 3
"""How many other pieces must be after the king: to hunt it by checks, and to take its cover apart in time."""
CHECKS = 2
"""How many checks in a row are examined."""
SPARED = 1
"""What they may win elsewhere, in pawns, instead of taking the piece: no more than the piece has just won."""


@dataclass(frozen=True)
class _Sacrifices(Table):
    """Sacrifices, one entry each: row of the view, origin, destination, whether it checks, board after it."""

    row: Rows
    origin: Squares
    square: Squares
    check: Flags
    after: Boards


def _cover(view: View) -> Bitboards:
    """The pawns of the king's cover. Empty where a sacrifice is not possible."""
    king = view.their(chess.KING)
    ring = king_ring(king)
    near = (king | ring) & ~(king << np.uint64(8)) | ring >> np.uint64(8)
    ready = view.boards.our_move & ~view.in_check & (view.our(chess.QUEEN) != EMPTY)
    ready &= (king & ~CENTRE & THEIR_HOME) != EMPTY
    return np.where(ready, view.their_pawns & near & ~CENTRE, EMPTY)


def _offers(view: View) -> _Sacrifices:
    """Captures of cover pawns by pieces that lose by exchange when they do so."""
    cover = view.once(_cover)
    men = view.once(free_pieces)
    takes = men.attacks & cover[men.row] & view.their_attacks[men.row]
    some = np.flatnonzero((takes != EMPTY) & (men.kind != chess.QUEEN))
    men, takes = men.take(some), takes[some]
    man, square = exploded(takes)
    row, origin = men.row[man], men.square[man]
    lost = ~loses_nothing(view.boards.take(row), origin, square)
    row, origin, square = row[lost], origin[lost], square[lost]
    after = view.boards.take(row).moved(origin, square)
    return _Sacrifices(row, origin, square, in_check(after, "them"), after)


def _after_the_king(offers: _Sacrifices) -> Bitboards:
    """Our pieces that continue the attack whichever man takes the sacrifice. Empty if no man can take it."""
    taken = recaptures(offers.after, offers.square)
    pieces = hunters(taken.after) & ~taken.after.pawns
    result = np.zeros(len(offers), dtype=np.uint64)
    result[taken.board] = ~EMPTY
    np.bitwise_and.at(result, taken.board, pieces)
    return result


def _leaves_no_check(offers: _Sacrifices) -> Flags:
    """Whether the sacrifice gives check, or they have no safe check in reply."""
    quiet = np.flatnonzero(~offers.check)
    checks = safe_checks(reversed_sides(offers.after.take(quiet)))
    return ~marked(quiet[checks.board], len(offers))


def _leaves_no_capture(offers: _Sacrifices) -> Flags:
    """Whether the sacrifice gives check, or no capture of theirs elsewhere wins more than a pawn."""
    capturable = np.where(offers.check, EMPTY, offers.after.us & ~BIT[offers.square])
    captures = replies(offers.after, capturable, capturable)
    lost = captures.taken - SPARED
    return all_of(captures.board, (lost <= 0) | wins(captures.after, lost), len(offers))


def _pays(view: View, offers: _Sacrifices) -> Flags:
    """Whether, whichever man takes the sacrifice, a hunt wins more than a plain capture would."""
    before = view.boards.take(offers.row)
    wanted = best_capture(before, "us") + 1 - VALUES[chess.PAWN]
    taken = recaptures(offers.after, offers.square)
    missing = wanted[taken.board] + taken.taken
    works = threatens_mate(taken.after)
    left = np.flatnonzero(~works)
    works[left] = won_by_checks(taken.after.take(left), missing[left], CHECKS)
    return all_of(taken.board, works, len(offers))


def _strips(view: View, offers: _Sacrifices) -> Flags:
    """Whether, whichever man takes a minor piece, we outnumber them and our queen safely takes a pawn."""
    taken = recaptures(offers.after, offers.square)
    boards = taken.after
    cover = view.once(_cover)[offers.row[taken.board]] & boards.pawns & boards.them
    queen = square_of(boards.queens & boards.us)
    reach = bishop_reach(queen, boards.occupied) | rook_reach(queen, boards.occupied)
    way, square = exploded(reach & cover)
    safe = is_safe(boards.take(way), queen[way], square)
    works = any_of(way, safe, len(boards)) & outnumbered(boards) & (taken.taken <= VALUES[chess.BISHOP])
    return all_of(taken.board, works, len(offers))


def cover_sacrifice(view: View) -> Findings:
    """Pieces that can be given for a pawn of the king's cover with an attack that pays."""
    offers = _offers(view)
    pieces = _after_the_king(offers)
    enough = count(pieces) >= HUNTERS
    some = np.flatnonzero(enough & ((pieces & view.boards.queens[offers.row]) != EMPTY))
    some = some[_leaves_no_check(offers.take(some))]
    offers, pieces = offers.take(some), pieces[some]
    works = _pays(view, offers)
    left = np.flatnonzero(~works & (count(pieces) >= STRIPPERS))
    works[left] = _strips(view, offers.take(left))
    some = np.flatnonzero(works)
    some = some[_leaves_no_capture(offers.take(some))]
    offers, pieces = offers.take(some), pieces[some]
    targets = BIT[offers.square] | view.their(chess.KING)[offers.row]
    return findings(offers.row, BIT[offers.origin] | pieces, targets, detail=offers.origin)


COVER = 2
"""How many ranks in front of the king a pawn belongs to its cover, and how near the attack goes on."""


def cover_sacrifices(own_moves: Sequence[OwnMove]) -> Iterator[Use]:
    """A piece is given for a pawn of the king's cover, the attack goes on at once, and the line wins.

    The attack goes on if our next move checks, or arrives within two king steps of the king. The line wins if
    it mates, ends with mate threatened, or comes out ahead.
    """
    for index, (own_move, following) in enumerate(pairwise(own_moves)):
        square, king = own_move.move.to_square, own_move.before.king(not own_move.us)
        if (
            king is None
            or own_move.mover in (chess.PAWN, chess.KING)
            or not _is_cover(own_move.before, square, king)
        ):
            continue
        goes_on = following.after.is_check() or (
            chess.square_distance(following.move.to_square, following.their_king) <= COVER
        )
        if own_move.reply is None or own_move.reply.to_square != square or not goes_on:
            continue
        last = own_moves[-1].after
        if last.is_checkmate() or gain_of(own_moves[index:]) > 0 or _threatens_mate(last):
            man, pawn, owner = (
                wording.named(own_move.before, at) for at in (own_move.move.from_square, square, king)
            )
            note = f"{man} is given for {pawn}, cover of {owner}"
            yield own_move.use("cover-sacrifice", note, [own_move.move.from_square], [square, king])


def _threatens_mate(board: chess.Board) -> bool:
    """Whether the side that has just moved could mate at once if the other side passed."""
    if board.is_check():
        return False
    passed = board.copy(stack=False)
    passed.turn = not board.turn
    return any(captures.after_move(passed, move).is_checkmate() for move in passed.generate_legal_moves())


def _is_cover(board: chess.Board, square: chess.Square, king: chess.Square) -> bool:
    """Whether a pawn of the king's side stands there, in front of or beside a king at home on a wing."""
    colour = board.color_at(king) == chess.WHITE
    if not board.pawns & board.occupied_co[colour] & chess.BB_SQUARES[square]:
        return False
    forward = 1 if colour == chess.WHITE else -1
    home = chess.square_rank(king) in ((0, 1) if colour == chess.WHITE else (7, 6))
    on_wing = not chess.BB_SQUARES[king] & (chess.BB_FILE_D | chess.BB_FILE_E)
    ahead = (chess.square_rank(square) - chess.square_rank(king)) * forward
    aside = abs(chess.square_file(square) - chess.square_file(king))
    return home and on_wing and 0 <= ahead <= COVER and aside <= 1


def _tell(instance: Instance) -> str:
    board = instance.board
    king = next(square for square in instance.targets if board.piece_type_at(square) == chess.KING)
    pawn = next(square for square in instance.targets if square != king)
    giver = instance.detail_square
    helpers = wording.men(board, (square for square in instance.actors if square != giver))
    return wording.sentence(
        f"{wording.named(board, giver)} can be given for {wording.named(board, pawn)}, cover of"
        f" {wording.named(board, king)}: {helpers} would go on with the attack"
    )


MOTIFS = (
    Motif(
        id="cover-sacrifice",
        title="Sacrifice for the cover",
        definition=(
            "A knight, bishop or rook can be given for a pawn of the king's cover with an attack that pays:"
            " other pieces, the queen among them, are after the king. Whichever man takes the piece, one or"
            " two checks or a mating threat mate, win more back or drive the king into the open, or the"
            " queen takes a second pawn of the cover. The program looks only a few moves ahead; the rest has"
            " to be worked out."
        ),
        source="Vukovic, The Art of Attack in Chess (sacrifices on the castled king); named from memory",
        find=cover_sacrifice,
        tell=_tell,
        in_line=cover_sacrifices,
    ),
)
