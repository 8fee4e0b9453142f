"""Guards that have too much to do, and guards that are taken away.

The rule. A man of theirs is bound to a duty (`patterns.proof.duties`): without it another man of theirs
falls, or we promote or mate on a square. One move of ours makes it leave its duty. Overloaded: it alone can
take the man that moves, and if it does, what it guarded falls and pays for that; a pawn that only our queen
or king could take then is not worth it. Removed: we take the guard, and if they take back, a piece that it
guarded falls and pays for that; or we attack it so that it has to leave, pin it, or give a check that it
alone can step in front of. If the move wins by the exchange on its square alone, what falls must bring the
exchange in addition. A capture that wins the exchange by itself counts neither against a guard that prevents
mate nor to drive one off. A move that drives a guard off attacks nothing else: that would be a double attack.
The look ahead (`patterns.proof.lookahead`) decides whether the move wins, whatever they do: more than a plain
capture elsewhere, a pawn at least, the exchange if the guard is driven off, and more than the guard if it
falls by itself. Captures are also looked at if it is their move, as if it were ours, unless a capture wins
them the exchange, or, before a guard is taken, the guard or the guarded man can take another piece of ours
and lose nothing. In a line also: we take a guard, and one of our next two moves takes what it guarded, with a
profit by exchange that was not to be had before.

A hit of each: one pawn guards bishop and knight; the bishop takes the knight that guards the rook.

>>> import chess
>>> from patterns.detect import find_in
>>> busy = "6k1/5ppp/1p6/b1n5/8/8/5PPP/R1R3K1 w - - 0 1"
>>> [(f.motif, f.actors, f.targets) for f in find_in([chess.Board(busy)], MOTIFS)[0]]
[('overloaded-defender', ('a1', 'c1'), ('a5', 'c5', 'b6'))]
>>> held = "6k1/5ppp/1p3n2/6B1/4r3/7P/2Q2PPK/8 w - - 0 1"
>>> [(f.motif, f.actors, f.targets) for f in find_in([chess.Board(held)], MOTIFS)[0]]
[('removed-defender', ('c2', 'g5'), ('e4', 'f6'))]

A near miss of each: a rook helps to guard.

>>> find_in([chess.Board(busy.replace("6k1", "r5k1"))], MOTIFS)[0]
[]
>>> find_in([chess.Board(held.replace("6k1/5ppp", "4r1k1/5ppp"))], MOTIFS)[0]
[]

Roles. Actors: the man that moves, and those that attack what falls later. Targets: the guard and the men it
guards; their king where the duty is to prevent mate. Squares: empty squares among them: where the man that
moves goes, and where we mate.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import chess
import numpy as np

from patterns.boards.attacks import attack_from, attackers, between, in_check, reach
from patterns.boards.bitboards import (
    BEYOND,
    BIT,
    EMPTY,
    Bitboards,
    Flags,
    Squares,
    exploded,
    paired,
    square_of,
)
from patterns.boards.exchange import VALUES, Values, exchange
from patterns.boards.grouping import pairs_of_equal
from patterns.boards.moves import cheapest
from patterns.boards.positions import Boards
from patterns.boards.pressure import bearing
from patterns.boards.tables import Table
from patterns.boards.view import View
from patterns.motifs.findings import Instance, Motif
from patterns.proof import captures
from patterns.proof.claims import EXCHANGE, Claims, claims
from patterns.proof.duties import Duties, busy, duties, falls
from patterns.proof.played_line import OwnMove, Use, gain_of
from patterns.proof.strokes import Strokes, at_hand, forcing, offers, pending, profits, trades_off
from patterns.words import wording

NEXT = 2
"""How many moves after a guard was taken a line may take what it guarded."""


@dataclass(frozen=True)
class _Beaten(Table):
    """Our moves that make a guard leave its duty, one entry each."""

    stroke: Strokes
    duty: Duties

    @property
    def least(self) -> Values:
        """What must fall afterwards at least, to pay for the man that moves."""
        return np.maximum(VALUES[self.stroke.kind] - self.stroke.gain, 0) + 1

    def at_once(self, view: View) -> Values:
        """What the move wins by the exchange on its square alone."""
        boards = view.boards.take(self.stroke.row)
        return np.maximum(exchange(boards, self.stroke.origin, self.stroke.square), 0)


def _on_duty(view: View, strokes: Strokes, guards: Squares) -> _Beaten:
    """These moves with each other square that a man of theirs guards. `guards`: the man's square, by move."""
    every = view.once(duties)
    some = np.flatnonzero(view.once(busy)[strokes.row] & BIT[guards])
    strokes, guards = strokes.take(some), guards[some]
    stroke, entry = pairs_of_equal(strokes.row * 64 + guards, every.guard_of_row)
    apart = strokes.square[stroke] != every.square[entry]
    return _Beaten(strokes.take(stroke[apart]), every.take(entry[apart]))


def _worth_it(view: View, pairs: _Beaten) -> _Beaten:
    """Those where what is guarded may pay for the man that moves: it is worth more, or a pawn promotes."""
    guarded = VALUES[view.kind_at(pairs.duty.row, pairs.duty.square)]
    return pairs.only(pairs.duty.mates | (guarded == 0) | (guarded >= pairs.least))


def _bound(
    view: View, pairs: _Beaten, after: Boards, least: Values, idle: Bitboards | None = None
) -> tuple[_Beaten, Boards]:
    """The moves after which we win so much where the guard was, and could not win anything there before."""
    square, mates = pairs.duty.square, pairs.duty.mates
    later = np.flatnonzero(mates | falls(after, square, idle, least))
    pairs, after = pairs.take(later), after.take(later)
    boards, square = view.boards.take(pairs.stroke.row), pairs.duty.square
    now = falls(boards, square, None, np.ones(len(pairs), dtype=np.int64))
    bound = pairs.duty.mates | ~now
    return pairs.only(bound), after.only(bound)


def _given(view: View, pairs: _Beaten, after: Boards) -> _Beaten:
    """The moves that give up a man, or win something at once, and after which we win enough for that."""
    pairs, after = _bound(view, pairs, after, pairs.least)
    at_once = pairs.at_once(view)
    # What is won by the exchange on the square alone says nothing of the guard.
    enough = pairs.least + np.where(at_once > 0, at_once + EXCHANGE - 1, 0)
    # Where a mate was prevented, the move must not win much by itself.
    falling = falls(after, pairs.duty.square, None, enough)
    return pairs.only(np.where(pairs.duty.mates, at_once < EXCHANGE, falling))


def _drawn_off(view: View) -> _Beaten:
    """Moves to a square where the guard alone can take, so that what it guarded falls."""
    every = view.once(offers)
    pairs = _worth_it(view, _on_duty(view, every.stroke, every.taker))
    boards, stroke = view.boards.take(pairs.stroke.row), pairs.stroke
    after = boards.moved(stroke.origin, stroke.square).moved(pairs.duty.guard, stroke.square)
    # The guard is not drawn off if our move gives a check that it does not stop, or leaves it pinned.
    may = ~in_check(after, "them")
    if not view.thorough:
        may &= ~_stray_pawn(pairs, boards)
    return _given(view, pairs.only(may), after.only(may))


def _stray_pawn(pairs: _Beaten, boards: Boards) -> Flags:
    """Whether what falls is a pawn that only our queen or king could take: the way back costs more time."""
    square = pairs.duty.square
    takers = bearing(boards, square) & boards.us & ~(BIT[pairs.stroke.origin] | boards.queens | boards.kings)
    return ((BIT[square] & boards.pawns) != EMPTY) & (takers == EMPTY)


def _taken(view: View) -> _Beaten:
    """Captures of the guard after which a piece that it guarded falls, also if they take back."""
    every = view.once(forcing)
    pairs = _on_duty(view, every, every.square)
    pawn = (view.boards.pawns[pairs.duty.row] & BIT[pairs.duty.square]) != EMPTY
    pairs = _worth_it(view, pairs.only(~pawn))
    stroke = pairs.stroke
    after = view.boards.take(stroke.row).moved(stroke.origin, stroke.square)
    back = attackers(after, stroke.square) & after.them
    answered = np.flatnonzero(back)
    taker = square_of(cheapest(after, back)[answered])
    after.men[:, answered] = after.take(answered).moved(taker, stroke.square[answered]).men
    keeps = (back & BIT[pairs.duty.square]) == EMPTY
    if not view.thorough:
        keeps &= ~trades_off(view, stroke, BIT[pairs.duty.guard] | BIT[pairs.duty.square])
    return _given(view, pairs.only(keeps), after.only(keeps))


def _driven_off(view: View) -> _Beaten:
    """Moves that hit or pin the guard, or check so that it must step in between, without being taken."""
    every = view.once(forcing)
    row, bit = every.row, BIT[every.square]
    ours = np.where(every.kind == chess.PAWN, view.our_attacks[row], view.our_double_attacks[row])
    every = every.only((~view.their_pawn_attacks[row] & (ours | ~view.their_attacks[row]) & bit) != EMPTY)
    hit, guard = exploded(every.seen & view.once(busy)[every.row])
    hits = _on_duty(view, every.take(hit), guard)
    attacked = hits.stroke.seen & profits(view, hits.stroke.kind, hits.stroke.row)
    fears, others = attacked & BIT[hits.duty.guard], attacked & ~BIT[hits.duty.guard]
    leaves = view.thorough | ~_may_stay(view, hits) & (others == EMPTY)
    hits = hits.only((fears != EMPTY) & leaves | _pins(view, hits))
    pairs = _Beaten.joined(hits, _stepping_in(view, every))
    row, square, guard = pairs.stroke.row, pairs.stroke.square, pairs.duty.guard
    takes = reach(view.kind_at(row, guard), guard, view.occupied[row], "them") & BIT[square]
    pairs = pairs.only(takes == EMPTY)
    if not view.thorough:
        plain = exchange(view.boards.take(pairs.stroke.row), pairs.stroke.origin, pairs.stroke.square)
        pairs = pairs.only(plain < EXCHANGE)
    after = view.boards.take(pairs.stroke.row).moved(pairs.stroke.origin, pairs.stroke.square)
    bound, _ = _bound(view, pairs, after, np.full(len(pairs), EXCHANGE), BIT[pairs.duty.guard])
    return bound


def _may_stay(view: View, pairs: _Beaten) -> Flags:
    """Whether the guard, when hit, can go where we do not attack it and it still guards the square."""
    row, guard, square = pairs.stroke.row, pairs.duty.guard, pairs.duty.square
    kind = view.kind_at(row, guard)
    goes = reach(kind, guard, view.occupied[row], "them") & ~view.them[row]
    guards = attack_from(kind, square, view.occupied[row] & ~BIT[guard], "them")
    hit = view.our_attacks[row] | pairs.stroke.seen
    stays: Flags = (goes & guards & ~hit) != EMPTY
    return stays


def _pins(view: View, pairs: _Beaten) -> Flags:
    """Whether their king stands behind the guard, as the man that moves sees it."""
    row, guard = pairs.stroke.row, pairs.duty.guard
    king = view.their_king[row]
    behind = (paired(BEYOND, pairs.stroke.square, guard) & BIT[king]) != EMPTY
    pins: Flags = behind & ((between(guard, king) & view.occupied[row]) == EMPTY)
    return pins


def _stepping_in(view: View, every: Strokes) -> _Beaten:
    """Checks, and the pieces of theirs that can step in between."""
    king = view.their_king[every.row]
    gap = between(every.square, king)
    far = np.flatnonzero(((every.seen & BIT[king]) != EMPTY) & (gap != EMPTY))
    every, gap = every.take(far), gap[far]
    pieces = view.their_pieces
    check, piece = pairs_of_equal(every.row, pieces.row)
    steps = (pieces.attacks[piece] & gap[check]) != EMPTY
    alone = steps & (np.bincount(check[steps], minlength=len(every))[check] == 1)
    return _on_duty(view, every.take(check[alone]), pieces.square[piece[alone]])


def _claims(view: View, beaten: _Beaten, least: Values) -> Claims:
    """The claims of these moves, one finding a guard. `detail`: the guard's square as the row sees it."""
    if not view.thorough:
        first = ~pending(view, beaten.stroke.row)
        beaten, least = beaten.only(first), least[first]
    stroke, duty = beaten.stroke, beaten.duty
    plain = 0 if view.thorough else at_hand(view, stroke.moves)
    goes, guarded = BIT[stroke.square], BIT[duty.square]
    boards = view.boards.take(stroke.row)
    attacking: Bitboards = bearing(boards, duty.square) & boards.us
    king: Bitboards = np.where(duty.mates, boards.kings & boards.them, EMPTY)
    ends: Bitboards = goes | guarded
    targets = BIT[duty.guard] | ends & boards.them | king
    actors = BIT[stroke.origin] | attacking & ~goes
    empty = ends & ~boards.occupied
    return claims(
        stroke.moves,
        actors,
        targets,
        empty,
        wanted=targets | empty,
        least=np.maximum(least, plain + 1),
        checks=duty.mates,
        detail=duty.guard,
        about=duty.guard,
    )


def overloaded_defender(view: View) -> Claims:
    """Guards that can be drawn off."""
    beaten = _drawn_off(view)
    return _claims(view, beaten, np.ones(len(beaten), dtype=np.int64))


def removed_defender(view: View) -> Claims:
    """Guards that can be taken or driven off."""
    taken, driven = _taken(view), _driven_off(view)
    # A guard that falls by itself is a reason to take it; what it guarded must come on top.
    at_once = taken.at_once(view)
    least = np.where(at_once >= EXCHANGE, at_once + 1, 1)
    least = np.concatenate([least, np.full(len(driven), EXCHANGE)])
    return _claims(view, _Beaten.joined(taken, driven), least)


def _removed_in_line(own_moves: Sequence[OwnMove]) -> Iterator[Use]:
    """Guards taken in a line that then takes what they guarded."""
    for index, first in enumerate(own_moves):
        guard, rest = first.move.to_square, own_moves[index:]
        if not first.captures or captures.exchange(first.before, first.move) >= EXCHANGE:
            continue
        if gain_of(rest) < 1 and not rest[-1].after.is_checkmate():
            continue
        for then in rest[1 : 1 + NEXT]:
            square = then.move.to_square
            if square in first.before.attacks(guard) and _falls_now(first.before, then):
                man, held = wording.named(first.before, guard), wording.named(then.before, square)
                note = f"{first.deed}, and {man} no longer guards {held}: then {then.deed}"
                origins = [first.move.from_square, then.move.from_square]
                yield first.use("removed-defender", note, origins, [guard, square])
                break


def _falls_now(earlier: chess.Board, then: OwnMove) -> bool:
    """Whether the move wins by exchange a man that stood there earlier, and that no capture won then."""
    square = then.move.to_square
    if earlier.piece_at(square) != then.before.piece_at(square) or not then.captures:
        return False
    return captures.exchange(then.before, then.move) > captures.best_on(earlier, square)


def _tell(instance: Instance, then: str) -> str:
    """What the guard has to do, and what our move does about it."""
    board, guard, move = instance.board, instance.detail_square, instance.move
    assert move is not None
    square, kings = move.to_square, chess.SquareSet(board.kings)
    guarded = (instance.targets | instance.squares) - chess.SquareSet([guard, square])
    men, against = guarded - kings, " against mate" if guarded & kings else ""
    takes = square in instance.targets
    what = "it" if square == guard else f"{'on' if takes else 'to'} {chess.SQUARE_NAMES[square]}"
    return wording.sentence(
        f"{wording.named(board, guard)} guards {wording.men(board, men)}{against}:"
        f" {wording.named(board, move.from_square)} {instance.does('take' if takes else 'move')} {what}{then}"
        f"{wording.so_wins(instance.wins)}"
    )


def _tell_overloaded(instance: Instance) -> str:
    return _tell(instance, " and draws it off" if instance.played else " and draw it off")


def _tell_removed(instance: Instance) -> str:
    assert instance.move is not None
    takes_it = instance.move.to_square == instance.detail_square
    return _tell(instance, "" if takes_it else ", and it cannot stay")


MOTIFS = (
    Motif(
        id="overloaded-defender",
        title="Overload or deflection",
        definition=(
            "A guard is bound to a man that would fall without it, or to a square where it prevents mate. We"
            " go to another square where this guard alone can take. If it does, what it guarded falls: more"
            " than a pawn that only queen or king can take. Together that wins, whatever they do instead."
        ),
        source="Euwe and Kramer, The Middle Game (the overburdened piece); named from memory",
        find=overloaded_defender,
        tell=_tell_overloaded,
    ),
    Motif(
        id="removed-defender",
        title="Removed defender",
        definition=(
            "A guard is bound to a man that would fall without it, or to a square where it prevents mate. We"
            " take the guard, attack it so that it has to leave, pin it, or check so that it must step in"
            " between. Then what it guarded falls. Together that wins, whatever they do instead. In a line it"
            " is enough that the guard is taken and one of the next two moves takes what it guarded with"
            " profit."
        ),
        source="Euwe and Kramer, The Middle Game (eliminating the defence); named from memory",
        find=removed_defender,
        tell=_tell_removed,
        in_line=_removed_in_line,
    ),
)
