"""Whether a threat outlasts their reply: one move of theirs after ours, for whole batches.

Static exchange asks about one square; a double attack, a pin or a sight line to be opened asks about two or
three at once, and what they can do about it in one move. The replies considered are those that could matter:
captures, moves of the men threatened, moves to where one of these is guarded or the sight line to it is shut.
Each must be legal; a reply that takes something counts what it takes, and one that comes with check and
either takes something or saves a man threatened leaves us only to take back.
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
    """The boards after our men have gone from origin to square, some of which may stay where they are."""
    stays = origins == squares
    return replace(before, men=np.where(stays, before.men, before.moved(origins, squares).men))


@dataclass(frozen=True)
class Threats(Table):
    """Moves of ours that threaten something, or standing threats, one an entry: shapes (M,).

    `before`, `after`: the boards before and after our move, theirs to reply. `actors`: our men that threaten.
    `targets`: their men threatened, the king among them if it may answer by stepping away. `won`: what the
    move itself has taken. `least`: how much we must win in all.
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

    After the reply we take one of the targets, or the man that replied; what they could then take of our
    other pieces, and could not before, is deducted. A pawn of theirs that can queen next is a greater
    threat. `cheap`: a man worth no more that they could take before anyway does not count against us.
    `alone`: where neither their king moves nor anyone comes to a target's help. `forcing`: where only
    captures and checks are tried. Shapes (M,).
    """
    before, after, won = threats.before, threats.after, threats.won
    actors, targets = threats.actors, threats.targets
    king = after.kings & after.them
    checked, exposed = in_check(after, "them"), in_check(after, "us")
    queening = (shifted(after.pawns & after.them & RANKS[1] & ~targets, SOUTH) & ~after.occupied) != EMPTY
    lasts = ~exposed & ~queening
    alone = np.zeros(len(won), dtype=np.bool_) if alone is None else alone
    forcing = np.zeros(len(won), dtype=np.bool_) if forcing is None else forcing
    able = np.where(lasts, after.them & ~np.where(alone, king, EMPTY), EMPTY)
    threatened = np.where(checked, targets | king, targets)
    helped = np.where(alone | forcing, EMPTY, threatened)
    moves = _replies_to_consider(after, _Concerned(actors, threatened, able, helped), forcing)
    replies = _legal_replies(after, moves, threats.least - won, np.flatnonzero(lasts & ~checked))
    entry, needed = replies.entry, replies.needed
    prey = np.where(_checks(replies), EMPTY, targets[entry] & replies.then.them)
    captures = _captures(replies, prey)
    best, back = captures.best, captures.back
    counts = _count(before, actors, replies, back, cheap)
    fails = counts & (best < needed)
    # The slowest questions last: what else is at stake, and what taking the man that replied makes up for.
    some = np.flatnonzero(fails)
    lasts[entry[some[~_may_be_taken(replies, some)]]] = False
    open_yet, by_back = counts & lasts[entry], (back >= needed) & ~replies.none
    on, on_back = np.flatnonzero(open_yet & ~fails & ~by_back), np.flatnonzero(open_yet & by_back)
    some = np.concatenate([on, on_back])
    taken = np.concatenate([captures.prey[on], BIT[replies.square[on_back]]])
    stakes = _at_stake_since(before, replies, taken, actors, some)
    fails[on] = best[on] - stakes[: len(on)] < needed[on]
    back[on_back] -= stakes[len(on) :]
    fails[on_back] = best[on_back] < needed[on_back]
    some = np.flatnonzero(fails & lasts[entry])
    lasts[entry[some[~_made_up(replies, back, some)]]] = False
    return lasts


@dataclass(frozen=True)
class _RepliesToConsider(Table):
    """Replies of theirs, legal or not, one an entry: to which threat, from where, to where.

    `saves`: whether a target moves.
    """

    entry: Rows
    origin: Squares
    square: Squares
    saves: Flags


@dataclass(frozen=True)
class _Replies(Table):
    """Replies of theirs, and the boards after them: which entry, from where, to where.

    To stay where it is stands for no reply. `saves`: whether a target moves. `taken`: what is taken.
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

    Where nothing forces them, also no reply at all.
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
    """What we can take after each reply: the most that we win by one of the prey, and which that is.

    `back`: what we win by taking back the man that took something.
    """

    best: Values
    prey: Bitboards
    back: Values


def _captures(replies: _Replies, prey: Bitboards) -> _Captures:
    """What we win after each reply by taking one of the prey, kings left out, or by taking back."""
    then = replies.then
    entry, square = exploded(prey & ~then.kings)
    taking = np.flatnonzero(replies.taken)
    gain = capture_gain(
        then.take(np.concatenate([entry, taking])), np.concatenate([square, replies.square[taking]]), "us"
    )
    best = greatest(entry, gain[: len(entry)] * 64 + square, len(prey))
    back = np.zeros(len(prey), dtype=np.int64)
    back[taking] = gain[len(entry) :]
    return _Captures(best >> 6, np.where(best >= 64, BIT[best & 63], EMPTY), back)


def _count(before: Boards, actors: Bitboards, replies: _Replies, back: Values, cheap: int) -> Flags:
    """Which replies change something.

    What is cheap and could already be taken by another man, or an even trade that they begin, leaves the
    threat as it was.
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
    """Whether taking the man that has replied makes up for it: `back` where it has taken something."""
    needed, won = replies.needed[some], back[some]
    quiet = np.flatnonzero(replies.taken[some] == 0)
    asked = some[quiet]
    won[quiet] = capture_gain(replies.then.take(asked), replies.square[asked], "us", None, needed[quiet])
    return (won >= needed) & ~replies.none[some]


def _legal(then: Boards) -> Flags:
    """Whether their move that led here was legal: their king not attacked, ours not taken."""
    return ~in_check(then, "them") & ((then.kings & then.us) != EMPTY)


def _checks(replies: _Replies) -> Flags:
    """Whether we are in check and it matters: the check wins something, or our king has nowhere to go."""
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
    """What each move of theirs takes, and for a promotion what it gains."""
    taken = VALUES[boards.kind_at(moves.square, moves.entry)]
    queens = (BIT[moves.origin] & boards.pawns[moves.entry] & RANKS[1]) != EMPTY
    return taken + QUEENING * queens


def _at_stake_since(
    before: Boards, replies: _Replies, targets: Bitboards, actors: Bitboards, some: Rows
) -> Values:
    """What, apart from the actors, is at stake once our cheapest man takes a target after some replies.

    What was at stake before is deducted, unless it is our move, which could have saved it: 0 or more.
    """
    then, target, entry = replies.then.take(some), targets, replies.entry[some]
    takers = attackers(then, square_of(target) & 63) & then.us
    taker = lowest(cheapest(then, np.where(target != EMPTY, takers, EMPTY)))
    asked = np.zeros(len(before), dtype=np.bool_)
    asked[entry] = True
    rows, at = np.flatnonzero(asked), np.cumsum(asked)[entry] - 1
    nobody = np.zeros(len(rows), dtype=np.uint64)
    # The taker stands on the target then, and has opened what was behind it.
    taken = gone(
        then, np.where(taker != EMPTY, square_of(taker), 0), np.where(taker != EMPTY, square_of(target), 0)
    )
    stakes = _at_stake(
        Boards.joined(before.take(rows), taken),
        np.concatenate([nobody, np.where(taker != EMPTY, target, EMPTY)]),
        np.concatenate([nobody, actors[entry]]),
    )
    stood = np.where(before.our_move[entry], 0, stakes[at])
    return np.maximum(stakes[len(rows) :] - stood, 0)


def _at_stake(boards: Boards, taker: Bitboards, actors: Bitboards) -> Values:
    """The most that they win by taking a piece of ours that is neither the taker nor an actor.

    A man that ours attacks back, worth no less than it, only offers a trade. The taker guards no longer.
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
    """All the pieces worth this or more, kings left out."""
    minor = np.where(worth <= VALUES[chess.KNIGHT], boards.knights | boards.bishops, EMPTY)
    return minor | np.where(worth <= VALUES[chess.ROOK], boards.rooks, EMPTY) | boards.queens


@dataclass(frozen=True)
class _Concerned(Table):
    """The men concerned by a threat: who threatens whom, and who may move in reply.

    `helped`: the targets to whose help others may come.
    """

    actors: Bitboards
    targets: Bitboards
    able: Bitboards
    helped: Bitboards


def _replies_to_consider(after: Boards, concerned: _Concerned, forcing: Flags) -> _RepliesToConsider:
    """Moves of the able men that could matter.

    Not all are legal. `forcing`: where the targets too only take something or check.
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
    """By kind of man (7, M): the squares from which one of theirs attacks one of the squares."""
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
    """The squares between any of the actors and any of the targets."""
    entry, target = exploded(targets)
    which, actor = exploded(actors[entry])
    return united(entry[which], between(actor, target[which]), len(targets))
