"""Whether a threat outlasts their reply: one move of theirs after ours, in whole batches.

Static exchange asks about one square. A double attack, a pin or a sight line to be opened concerns two or
three squares at once, and what they can do about it in one move. The replies considered are those that could
matter: captures, moves of the threatened men, and moves that guard one of these or block the sight line to
it. Each reply must be legal. A reply that takes something counts what it takes. If a reply gives check and
also takes something or saves a threatened man, we can only recapture.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import chess
import numpy as np

from patterns.boards.attacks import attackers, between, in_check, men_of, reach
from patterns.boards.bitboards import (
    ALL,
    BIT,
    EMPTY,
    KING_STEPS,
    KNIGHT_STEPS,
    PAWN_UP,
    RANKS,
    SOUTH,
    Bitboards,
    Flags,
    Rows,
    Squares,
    bishop_reach,
    exploded,
    lowest,
    rook_reach,
    shifted,
    square_of,
)
from patterns.boards.exchange import QUEENING, VALUES, Binding, Values, can_win, capture_gain
from patterns.boards.grouping import greatest, united
from patterns.boards.moves import cheapest, pawn_steps
from patterns.boards.positions import Boards
from patterns.boards.tables import Table

EXCHANGE = int(VALUES[chess.ROOK] - VALUES[chess.BISHOP])


def gone(before: Boards, origins: Squares, squares: Squares) -> Boards:
    """The boards after our men have moved from origin to square. Origin and square may be the same."""
    stays = origins == squares
    return replace(before, men=np.where(stays, before.men, before.moved(origins, squares).men))


@dataclass(frozen=True)
class Threats(Table):
    """Moves of ours that threaten something, or standing threats, one entry each: shapes (M,).

    `before`, `after`: the boards before and after our move. It is then their move. `actors`: our men that
    threaten. `targets`: their threatened men, including the king if it may answer by stepping away. `won`:
    what the move itself has taken. `least`: how much we must win in all.
    """

    before: Boards
    after: Boards
    actors: Bitboards
    targets: Bitboards
    won: Values
    least: Values


def outlasts(
    threats: Threats,
    alone: Flags | None = None,
    cheap: int = int(VALUES[chess.PAWN]),
    forcing: Flags | None = None,
) -> Flags:
    """Whether we come out ahead, by exchange, whatever they reply.

    After the reply we take one of the targets, or the man that replied. Then what they could take of our
    other pieces, and could not take before, is deducted. A pawn of theirs that can queen next is a greater
    threat. `cheap`: a man worth no more than this, which they could take before anyway, does not count
    against us. `alone`: where their king does not move and no man comes to help a target. `forcing`: where
    only captures and checks are tried. Shapes (M,).
    """
    before, after, won = threats.before, threats.after, threats.won
    actors, targets = threats.actors, threats.targets
    king = after.kings & after.them
    checked, exposed = in_check(after, "them"), in_check(after, "us")
    queening = (shifted(after.pawns & after.them & RANKS[1] & ~targets, SOUTH) & ~after.occupied) != EMPTY
    holds = ~exposed & ~queening
    alone = np.zeros(len(won), dtype=np.bool_) if alone is None else alone
    forcing = np.zeros(len(won), dtype=np.bool_) if forcing is None else forcing
    able = np.where(holds, after.them & ~np.where(alone, king, EMPTY), EMPTY)
    threatened = np.where(checked, targets | king, targets)
    helped = np.where(alone | forcing, EMPTY, threatened)
    moves = _replies_to_consider(after, _Concerned(actors, threatened, able, helped), forcing)
    replies = _legal_replies(after, moves, threats.least - won, np.flatnonzero(holds & ~checked))
    entry, needed = replies.entry, replies.needed
    wanted = np.where(_checks(replies), EMPTY, targets[entry] & replies.then.them)
    captures = _captures(replies, wanted)
    best, back = captures.best, captures.back
    counts = _count(before, actors, replies, back, cheap)
    fails = counts & (best < needed)
    # The slowest questions come last: what else they can take, and what recapturing makes up for.
    some = np.flatnonzero(fails)
    holds[entry[some[~_may_be_taken(replies, some)]]] = False
    open_yet, by_back = counts & holds[entry], (back >= needed) & ~replies.none
    on, on_back = np.flatnonzero(open_yet & ~fails & ~by_back), np.flatnonzero(open_yet & by_back)
    some = np.concatenate([on, on_back])
    taken = np.concatenate([captures.target[on], BIT[replies.square[on_back]]])
    stakes = _at_stake_since(before, replies, taken, actors, some)
    fails[on] = best[on] - stakes[: len(on)] < needed[on]
    back[on_back] -= stakes[len(on) :]
    fails[on_back] = best[on_back] < needed[on_back]
    some = np.flatnonzero(fails & holds[entry])
    holds[entry[some[~_made_up(replies, back, some)]]] = False
    return holds


@dataclass(frozen=True)
class _RepliesToConsider(Table):
    """Replies of theirs, legal or not, one entry each: the threat, the origin, the destination.

    `saves`: whether a target moves.
    """

    entry: Rows
    origin: Squares
    square: Squares
    saves: Flags


@dataclass(frozen=True)
class _Replies(Table):
    """Replies of theirs, and the boards after them: the entry, the origin, the destination.

    Equal origin and destination mean no reply. `saves`: whether a target moves. `taken`: what is taken.
    `needed`: how much we must win then.
    """

    entry: Rows
    origin: Squares
    square: Squares
    saves: Flags
    taken: Values
    needed: Values
    then: Boards

    @property
    def none(self) -> Flags:
        return self.origin == self.square


def _legal_replies(after: Boards, moves: _RepliesToConsider, needed: Values, unforced: Rows) -> _Replies:
    """The legal ones of these replies that still leave us something to win.

    If nothing forces them to reply, "no reply" is added.
    """
    taken = _taken(after, moves)
    some = np.flatnonzero(needed[moves.entry] + taken > 0)
    king = square_of((after.kings & after.them)[unforced])
    nothing = np.zeros(len(king), dtype=np.int64)
    none = _RepliesToConsider(unforced, king, king, nothing.astype(np.bool_))
    moves, taken = _RepliesToConsider.joined(moves.take(some), none), np.append(taken[some], nothing)
    then = gone(after.take(moves.entry), moves.origin, moves.square)
    needed = needed[moves.entry] + taken
    replies = _Replies(moves.entry, moves.origin, moves.square, moves.saves, taken, needed, then)
    return replies.only(_legal(then))


@dataclass(frozen=True)
class _Captures(Table):
    """What we can take after each reply: the most that we win by taking a target, and which target that is.

    `back`: what we win by recapturing a man that took something.
    """

    best: Values
    target: Bitboards
    back: Values


def _captures(replies: _Replies, targets: Bitboards) -> _Captures:
    """What we win after each reply by taking one of the targets (not a king), or by recapturing."""
    then = replies.then
    entry, square = exploded(targets & ~then.kings)
    taking = np.flatnonzero(replies.taken)
    gain = capture_gain(
        then.take(np.concatenate([entry, taking])), np.concatenate([square, replies.square[taking]]), "us"
    )
    best = greatest(entry, gain[: len(entry)] * 64 + square, len(targets))
    back = np.zeros(len(targets), dtype=np.int64)
    back[taking] = gain[len(entry) :]
    return _Captures(best >> 6, np.where(best >= 64, BIT[best & 63], EMPTY), back)


def _count(before: Boards, actors: Bitboards, replies: _Replies, back: Values, cheap: int) -> Flags:
    """Which replies change something.

    The threat is unchanged if the reply takes a cheap man that another man could already take, or begins an
    even trade.
    """
    entry, square, taken = replies.entry, replies.square, replies.taken
    counted = np.ones(len(entry), dtype=np.bool_)
    some = np.flatnonzero((taken > 0) & ~replies.saves & ((BIT[square] & actors[entry]) == EMPTY))
    counted[some] = back[some] < taken[some]
    some = some[counted[some] & (taken[some] <= cheap)]
    counted[some] = ~can_win(before.take(entry[some]), square[some], "them")
    return counted


def _may_be_taken(replies: _Replies, some: Rows) -> Flags:
    """Whether a man of ours attacks the man that has replied."""
    then = replies.then.take(some)
    return (attackers(then, replies.square[some]) & then.us) != EMPTY


def _made_up(replies: _Replies, back: Values, some: Rows) -> Flags:
    """Whether capturing the man that replied makes up for the reply: `back` if the reply took something."""
    needed, won = replies.needed[some], back[some]
    quiet = np.flatnonzero(replies.taken[some] == 0)
    asked = some[quiet]
    won[quiet] = capture_gain(replies.then.take(asked), replies.square[asked], "us", None, needed[quiet])
    return (won >= needed) & ~replies.none[some]


def _legal(then: Boards) -> Flags:
    """Whether their move that led here was legal: their king is not attacked, and ours was not taken."""
    return ~in_check(then, "them") & ((then.kings & then.us) != EMPTY)


def _checks(replies: _Replies) -> Flags:
    """Whether we are in check and this matters: the check wins something, or our king cannot move."""
    then = replies.then
    king = square_of(then.kings & then.us)
    matters = (attackers(then, king) & then.them) != EMPTY
    some = np.flatnonzero(matters & ~replies.saves & (replies.taken == 0))
    here, king = then.take(some), king[some]
    entry, step = exploded(KING_STEPS[king] & ~here.us)
    seen = attackers(here.take(entry), step, here.occupied[entry] & ~BIT[king[entry]]) & here.them[entry]
    matters[some[entry[(seen & ~BIT[step]) == EMPTY]]] = False
    return matters


def _taken(boards: Boards, moves: _RepliesToConsider) -> Values:
    """What each move of theirs takes, and what a promotion gains."""
    taken = VALUES[boards.kind_at(moves.square, moves.entry)]
    queens = (BIT[moves.origin] & boards.pawns[moves.entry] & RANKS[1]) != EMPTY
    return taken + QUEENING * queens


def _at_stake_since(
    before: Boards, replies: _Replies, targets: Bitboards, actors: Bitboards, some: Rows
) -> Values:
    """What they can take, apart from the actors, once our cheapest man has taken a target after the reply.

    What they could take before is deducted, unless it is our move and could have saved it. 0 or more.
    """
    then, target, entry = replies.then.take(some), targets, replies.entry[some]
    takers = attackers(then, square_of(target) & 63) & then.us
    taker = lowest(cheapest(then, np.where(target != EMPTY, takers, EMPTY)))
    asked = np.zeros(len(before), dtype=np.bool_)
    asked[entry] = True
    rows, at = np.flatnonzero(asked), np.cumsum(asked)[entry] - 1
    no_men = np.zeros(len(rows), dtype=np.uint64)
    # The taker now stands on the target's square, and lines through its old square are open.
    taken = gone(
        then, np.where(taker != EMPTY, square_of(taker), 0), np.where(taker != EMPTY, square_of(target), 0)
    )
    stakes = _at_stake(
        Boards.joined(before.take(rows), taken),
        np.concatenate([no_men, np.where(taker != EMPTY, target, EMPTY)]),
        np.concatenate([no_men, actors[entry]]),
    )
    stood = np.where(before.our_move[entry], 0, stakes[at])
    return np.maximum(stakes[len(rows) :] - stood, 0)


def _at_stake(boards: Boards, taker: Bitboards, actors: Bitboards) -> Values:
    """The most that they win by taking a piece of ours that is neither the taker nor an actor.

    An attacker that our piece attacks too, and that is worth no less, only offers a trade. The taker does not
    guard any more.
    """
    entry, square = exploded(boards.us & ~boards.pawns & ~boards.kings & ~taker & ~actors)
    here = boards.take(entry)
    by = attackers(here, square) & here.them
    hit = np.flatnonzero(by)
    entry, square, here, by = entry[hit], square[hit], here.take(hit), by[hit]
    kind = here.kind_at(square)
    offered = by & reach(kind, square, here.occupied, "us") & _worth_at_least(here, VALUES[kind])
    away = Binding.of(len(entry), idle=taker[entry] | offered)
    return greatest(entry, capture_gain(here, square, "them", away), len(boards))


def _worth_at_least(boards: Boards, worth: Values) -> Bitboards:
    """All pieces worth this or more, without kings."""
    minor = np.where(worth <= VALUES[chess.KNIGHT], boards.knights | boards.bishops, EMPTY)
    return minor | np.where(worth <= VALUES[chess.ROOK], boards.rooks, EMPTY) | boards.queens


@dataclass(frozen=True)
class _Concerned(Table):
    """The men concerned by a threat: which threaten, which are threatened, and which may move in reply.

    `helped`: the targets that other men may come to help.
    """

    actors: Bitboards
    targets: Bitboards
    able: Bitboards
    helped: Bitboards


def _replies_to_consider(after: Boards, concerned: _Concerned, forcing: Flags) -> _RepliesToConsider:
    """Moves of the able men that could matter.

    Not all of them are legal. `forcing`: where the targets, too, may only take something or check.
    """
    targets, helped = concerned.targets, concerned.helped
    men = men_of(after, "them")
    men = men.only((concerned.able[men.row] & BIT[men.square]) != EMPTY)
    here = after.take(men.row)
    pawns: Bitboards = men.attacks & here.us | pawn_steps(BIT[men.square], here, "them")
    goes: Bitboards = np.where(men.kind == chess.PAWN, pawns, men.attacks & ~here.them)
    threatened: Flags = (BIT[men.square] & targets[men.row]) != EMPTY
    helpful = _seeing(after, helped | after.kings & after.us) | _between(concerned.actors, helped)
    free: Flags = threatened & ~forcing[men.row]
    wanted: Bitboards = np.where(free, ALL, here.us | helpful[men.kind, men.row])
    man, square = exploded(goes & wanted)
    return _RepliesToConsider(men.row[man], men.square[man], square, threatened[man])


def _seeing(boards: Boards, squares: Bitboards) -> Bitboards:
    """For each kind of man (7, M): the squares from which a man of theirs attacks one of the squares."""
    entry, square = exploded(squares)
    straight, diagonal = (see(square, boards.occupied[entry]) for see in (rook_reach, bishop_reach))
    by_kind = {
        chess.PAWN: PAWN_UP[square],
        chess.KNIGHT: KNIGHT_STEPS[square],
        chess.BISHOP: diagonal,
        chess.ROOK: straight,
        chess.QUEEN: diagonal | straight,
        chess.KING: KING_STEPS[square],
    }
    result = np.zeros((7, len(boards)), dtype=np.uint64)
    for kind, seen in by_kind.items():
        result[kind] = united(entry, seen, len(boards))
    return result


def _between(actors: Bitboards, targets: Bitboards) -> Bitboards:
    """The squares between any actor and any target."""
    entry, target = exploded(targets)
    which, actor = exploded(actors[entry])
    return united(entry[which], between(actor, target[which]), len(targets))
