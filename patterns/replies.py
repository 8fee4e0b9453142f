"""Whether a threat outlasts their reply: one move of theirs after ours, for whole batches.

Static exchange asks about one square; a double attack, a pin or a line to be opened asks about two or three
at once, and what they can do about it in one move. The replies tried are those that could matter: captures,
moves of the men threatened, moves to where one of these is guarded or the line to it is shut. Each must be
legal; a reply that takes something counts what it takes, and one that comes with check and either takes
something or saves a man threatened leaves us only to take back.
"""

from __future__ import annotations

from dataclasses import replace

import chess
import numpy as np

from patterns.attacks import attackers, between, men_of, reach
from patterns.bitboards import (
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
from patterns.exchange import QUEENING, VALUES, Binding, Values, can_win, capture_gain
from patterns.moves import cheapest, pawn_steps
from patterns.positions import Boards

EXCHANGE = int(VALUES[chess.ROOK] - VALUES[chess.BISHOP])


def gone(before: Boards, origins: Squares, squares: Squares) -> Boards:
    """The boards after our men have gone from origin to square, some of which may stay where they are."""
    stays = origins == squares
    return replace(before, men=np.where(stays, before.men, before.moved(origins, squares).men))


def outlasts(
    before: Boards,
    after: Boards,
    actors: Bitboards,
    targets: Bitboards,
    won: Values,
    least: Values | int = EXCHANGE,
    alone: Flags | None = None,
    cheap: int = int(VALUES[chess.PAWN]),
) -> Flags:
    """Whether we come out ahead, by exchange, whatever they reply.

    `before`, `after`: the boards before and after our move, theirs to reply. `actors`: our men that threaten.
    `targets`: their men threatened, the king among them if it may answer by stepping away. `won`: what the
    move itself has taken. After the reply we take one of the targets, or the man that replied; what they
    could then take of our other pieces, and could not before, is counted off. A pawn of theirs that can
    queen next is a greater threat. `least`: how much it must come to.
    `cheap`: a man worth no more that they could take before anyway does not count against us.
    `alone`: where neither their king moves nor anyone comes to a target's help. Shapes (M,).
    """
    king = after.kings & after.them
    checked = (attackers(after, square_of(king)) & after.us) != EMPTY
    exposed = (attackers(after, square_of(after.kings & after.us)) & after.them) != EMPTY
    queening = (shifted(after.pawns & after.them & RANKS[1] & ~targets, SOUTH) & ~after.occupied) != EMPTY
    least = np.broadcast_to(least, len(won))
    best, which = _best_capture(after, targets)
    lasts = ~exposed & ~queening & (checked | (won + best >= least))
    alone = np.zeros(len(won), dtype=np.bool_) if alone is None else alone
    able = np.where(lasts, after.them & ~np.where(alone, king, EMPTY), EMPTY)
    threatened = np.where(checked, targets | king, targets)
    replies = _replies(after, actors, threatened, able, np.where(alone, EMPTY, threatened))
    (entry, saves, taken, back), then = _that_count(before, after, actors, replies, cheap)
    prey = np.where(_checks(then, saves | (taken > 0)), EMPTY, targets[entry] & then.them)
    next_best, next_which = _best_capture(then, prey)
    so_far = won[entry] - taken
    lasts[entry[so_far + np.maximum(back, next_best) < least[entry]]] = False
    # What is at stake besides is the dearest question: asked where all else has been answered.
    stood = np.zeros(len(won), dtype=np.int64)
    some = np.flatnonzero(lasts)
    nobody = np.zeros(len(some), dtype=np.uint64)
    stood[some] = _at_stake(before.take(some), nobody, nobody)
    open_yet = np.flatnonzero(lasts[entry] & (so_far + back < least[entry]))
    at = entry[open_yet]
    new = _left_behind(then.take(open_yet), next_which[open_yet], actors[at]) - stood[at]
    lasts[at[so_far[open_yet] + next_best[open_yet] - np.maximum(new, 0) < least[at]]] = False
    some = np.flatnonzero(lasts & ~checked)
    new = _left_behind(after.take(some), which[some], actors[some]) - stood[some]
    lasts[some[won[some] + best[some] - np.maximum(new, 0) < least[some]]] = False
    return lasts


def _that_count(
    before: Boards,
    after: Boards,
    actors: Bitboards,
    replies: tuple[Rows, Squares, Squares, Flags],
    cheap: int,
) -> tuple[tuple[Rows, Flags, Values, Values], Boards]:
    """The legal replies that change something, and the boards after them.

    Entry, whether a target has moved, what was taken, what we win by taking back. What is cheap and
    could be taken before by someone else, or a trade that he begins, leaves the threat as it was.
    """
    entry, origin, square, saves = replies
    then = after.take(entry).moved(origin, square)
    counts = np.flatnonzero(_legal(then))
    entry, origin, square, saves = entry[counts], origin[counts], square[counts], saves[counts]
    then = then.take(counts)
    taken, back = _taken(after, entry, origin, square), capture_gain(then, square, "us")
    counted = np.ones(len(entry), dtype=np.bool_)
    some = np.flatnonzero((taken > 0) & ~saves & ((BIT[square] & actors[entry]) == EMPTY))
    counted[some] = back[some] < taken[some]
    some = some[counted[some]]
    some = some[taken[some] <= cheap]
    counted[some] = ~can_win(before.take(entry[some]), square[some], "them")
    kept = entry[counted], saves[counted], taken[counted], back[counted]
    return kept, then.take(np.flatnonzero(counted))


def _legal(then: Boards) -> Flags:
    """Whether their move that led here was legal: their king not attacked, ours not taken."""
    attacked = (attackers(then, square_of(then.kings & then.them)) & then.us) != EMPTY
    return ~attacked & ((then.kings & then.us) != EMPTY)


def _checks(then: Boards, with_gain: Flags) -> Flags:
    """Whether we are in check and it matters: it comes with a gain, or our king cannot step out of it."""
    king = square_of(then.kings & then.us)
    matters = (attackers(then, king) & then.them) != EMPTY
    some = np.flatnonzero(matters & ~with_gain)
    here, king = then.take(some), king[some]
    entry, step = exploded(KING_STEPS[king] & ~here.us)
    seen = attackers(here.take(entry), step, here.occupied[entry] & ~BIT[king[entry]]) & here.them[entry]
    matters[some[entry[(seen & ~BIT[step]) == EMPTY]]] = False
    return matters


def _taken(boards: Boards, entry: Rows, origin: Squares, square: Squares) -> Values:
    """What their move takes, a promotion as what it gains."""
    taken = VALUES[boards.kind_at(square, entry)]
    queens = (BIT[origin] & boards.pawns[entry] & RANKS[1]) != EMPTY
    return taken + QUEENING * queens


def _best_capture(boards: Boards, targets: Bitboards) -> tuple[Values, Bitboards]:
    """The most that we win by taking one of the targets, kings aside, and which one that is."""
    entry, square = exploded(targets & ~boards.kings)
    gain = capture_gain(boards.take(entry), square, "us")
    best = np.zeros(len(targets), dtype=np.int64)
    np.maximum.at(best, entry, gain * 64 + square)
    return best >> 6, np.where(best >= 64, BIT[best & 63], EMPTY)


def _left_behind(boards: Boards, target: Bitboards, actors: Bitboards) -> Values:
    """What else than the actors is at stake when our cheapest man goes to take the target."""
    takers = attackers(boards, square_of(target) & 63) & boards.us
    taker = lowest(cheapest(boards, np.where(target != EMPTY, takers, EMPTY)))
    return _at_stake(boards.without(target), taker, actors)


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
    result = np.zeros(len(boards), dtype=np.int64)
    np.maximum.at(result, entry, capture_gain(here, square, "them", away))
    return result


def _worth_at_least(boards: Boards, worth: Values) -> Bitboards:
    """All the pieces worth this or more, kings aside."""
    minor = np.where(worth <= VALUES[chess.KNIGHT], boards.knights | boards.bishops, EMPTY)
    return minor | np.where(worth <= VALUES[chess.ROOK], boards.rooks, EMPTY) | boards.queens


def _replies(
    after: Boards, actors: Bitboards, targets: Bitboards, able: Bitboards, helped: Bitboards
) -> tuple[Rows, Squares, Squares, Flags]:
    """Moves of the able men that could matter: entry, origin, square, and whether a target moves.

    Not all are legal. `helped`: the targets to whose help others may come.
    """
    men = men_of(after, "them")
    men = men.only((able[men.row] & BIT[men.square]) != EMPTY)
    here = after.take(men.row)
    pawns: Bitboards = men.attacks & here.us | pawn_steps(BIT[men.square], here, "them")
    goes: Bitboards = np.where(men.kind == chess.PAWN, pawns, men.attacks & ~here.them)
    threatened: Flags = (BIT[men.square] & targets[men.row]) != EMPTY
    helpful = _seeing(after, helped | after.kings & after.us) | _between(actors, helped)
    wanted: Bitboards = np.where(threatened, ALL, here.us | helpful[men.kind, men.row])
    man, square = exploded(goes & wanted)
    return men.row[man], men.square[man], square, threatened[man]


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
        np.bitwise_or.at(result[kind], entry, seen)
    return result


def _between(actors: Bitboards, targets: Bitboards) -> Bitboards:
    """The squares between any of the actors and any of the targets."""
    entry, target = exploded(targets)
    which, actor = exploded(actors[entry])
    result = np.zeros(len(targets), dtype=np.uint64)
    np.bitwise_or.at(result, entry[which], between(actor, target[which]))
    return result
