"""Looking ahead in whole batches: what a move of ours wins for good, whatever they answer.

This is the one place where a gain is tested. A gain holds if, after every legal answer of theirs, we can
still collect what is needed. We collect by captures and promotions. Where checks are asked for, we may also
check, and mate; checks that leave hardly a choice are followed to their end. What they can take afterwards by
exchange is deducted, and the capture that collects must stand up to their captures, promotions and checks. If
what is needed has been won already, a quiet move of ours is enough. It parries one threat: the greatest one,
or a check. If they give a check that changes nothing, we move out of it, and then the gain must still hold.

Not seen are quiet moves of ours that prepare a gain, and sacrifices that need more than the checks asked for.
Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np

from patterns.boards.attacks import attackers, in_check, men_of
from patterns.boards.bitboards import (
    BIT,
    EMPTY,
    Bitboards,
    Flags,
    Rows,
    Squares,
    count,
    exploded,
    square_of,
)
from patterns.boards.exchange import EVERYTHING, exchange
from patterns.boards.grouping import all_of, any_of, best_of_row, marked
from patterns.boards.legal import Made, checks, gainful, king_steps, legal_moves, made
from patterns.boards.moves import Moves, cheapest
from patterns.boards.positions import Boards
from patterns.boards.view import reversed_sides
from patterns.proof.aims import MATE, Aims
from patterns.proof.attack import in_the_open, threatens_mate
from patterns.proof.gains import can_take, threatened, wins

LOOKS = 2
"""How many of their answers in a row are looked at."""
IN_TURN = 300
"""From so many boards or moves on, the likely ones are tried first. Of fewer, all are tried at once: their
calls cost more than the boards."""
FEW = 2
"""Checks that leave no more answers than this are followed beyond the last look."""


def holds(boards: Boards, aims: Aims, looks: int = LOOKS) -> Flags:
    """Whether we reach the aims, whatever they answer. They are to move, and the boards are as they see them.

    `looks`: how many of their answers in a row are looked at. To the last of several, if we have what is
    needed, only captures, promotions and checks are answers. Shapes (M,).
    """
    forced = in_check(boards, "us")
    result = threatens(boards, aims, forced)
    every = (aims.needed > 0) | (looks == LOOKS)
    answered = np.zeros(len(boards), dtype=np.bool_)
    many, pending = len(boards) >= IN_TURN, []
    answering = _in_turn if many else _all_at_once
    for answers in answering(boards, result, forced, every, looks):
        answered[answers.row] = True
        answers = answers.only(~_parried(answers.after, aims.after(answers)))
        then = aims.after(answers)
        # One check that must mate has been seen by then.
        deeper = (looks > 1) & ((then.needed < MATE) | (then.checks > 1))
        seen = np.flatnonzero(~deeper | many)
        first, met = _at_first_sight(then, answers, forced, deeper), deeper.copy()
        met[seen] = collects(answers.after.take(seen), first.take(seen), 0)
        result[answers.row[~met & ~deeper]] = False
        if looks > 1:
            # One answer a board is looked at closely now. The others wait until cheaper ones have failed.
            tried = _likeliest(answers, ~met & deeper & result[answers.row])
            _look_closer(answers.take(tried), aims, forced, result)
            pending.append(answers.only(deeper & ~marked(tried, len(answers))))
    if pending:
        answers = Made.joined(*pending)
        _look_closer(answers.only(result[answers.row]), aims, forced, result)
    stalemate = every & ~forced & ~answered
    return result & ~stalemate


def _all_at_once(boards: Boards, result: Flags, forced: Flags, every: Flags, looks: int) -> Iterator[Made]:
    """Our answers on the boards whose result is still true. The parameters are those of `_in_turn`."""
    some = np.flatnonzero(result)
    answers = _escapes(boards.take(some))
    answers = replace(answers, row=some[answers.row])
    quiet = (answers.gain == 0) & ~in_check(answers.after, "us")
    yield answers.only(~quiet | (forced | every)[answers.row])


def _in_turn(boards: Boards, result: Flags, forced: Flags, every: Flags, looks: int) -> Iterator[Made]:
    """Our answers, the likely refutations first. Each time only boards are asked whose result is still true.

    `every`: where quiet moves are answers too.
    """

    def found(stage: Callable[[Boards], Made], asked: Flags) -> Made:
        some = np.flatnonzero(result & asked)
        answers = stage(boards.take(some))
        return replace(answers, row=some[answers.row])

    dearest, escapes = found(_dearest, ~forced), found(_escapes, forced)
    first = marked(_likeliest(escapes, np.ones(len(escapes), dtype=np.bool_)), len(escapes))
    yield Made.joined(dearest, escapes.only(first))
    others = Made.joined(escapes.only(~first & result[escapes.row]), found(_forcing, ~forced))
    if looks > 1:
        yield others
        others = found(_quiet, every & ~forced)
    else:
        others = Made.joined(others, found(_quiet, every & ~forced))
    yield others


def _likeliest(answers: Made, among: Flags) -> Rows:
    """The answer that takes most on each board: one answer refutes most claims."""
    some = np.flatnonzero(among)
    return some[best_of_row(answers.row[some], answers.gain[some])]


def _look_closer(answers: Made, aims: Aims, forced: Flags, result: Flags) -> None:
    """Take out the boards where we do not reach the aims after one of these answers, looking further."""
    met = collects(answers.after, aims.after(answers), LOOKS - 1, forced[answers.row])
    result[answers.row[~met]] = False


def _at_first_sight(aims: Aims, answers: Made, forced: Flags, deeper: Flags) -> Aims:
    """The aims for a short look: checks are followed where they took something or had to answer a check.

    Where we look deeper anyway, only captures are looked at.
    """
    followed = (answers.gain > 0) | forced[answers.row]
    checks = np.where(followed, aims.checks, np.minimum(aims.checks, 1))
    return replace(
        aims, checks=np.where(deeper, 0, checks), attack=np.where(followed & ~deeper, aims.attack, 0)
    )


def threatens(boards: Boards, aims: Aims, forced: Flags) -> Flags:
    """Whether we reach the aims if they, to move, do nothing. This refutes most claims.

    `forced`: where they are in check and must answer; there it is true. Of our checks, only one that mates is
    looked for.
    """
    result = (aims.needed <= 0) | forced
    rest = np.flatnonzero(~result)
    if not len(rest):
        return result
    passed = reversed_sides(boards.take(rest))
    nothing = np.zeros(len(rest), dtype=np.uint64)
    left = aims.take(rest)
    left = replace(left, checks=np.minimum(left.checks, 1))
    result[rest] = collects(replace(passed, en_passant=nothing), left, 0)
    return result


def _dearest(boards: Boards) -> Made:
    """Our capture that wins most by exchange, one a board: the answer that refutes most often."""
    row, square, won = wins(boards, np.zeros(len(boards), dtype=np.int64), np.full(len(boards), EVERYTHING))
    best = best_of_row(row, won)
    row, square = row[best], square[best]
    here = boards.take(row)
    taker = cheapest(here, _takers(boards, row, square))
    answers = made(boards, Moves(row, square_of(taker), square))
    return answers.only(~in_check(answers.after, "them"))


def _escapes(boards: Boards) -> Made:
    """Every legal move of ours: what we can answer to a check. Taking a king is no answer."""
    moves = legal_moves(boards)
    return made(boards, moves.only((BIT[moves.square] & boards.kings[moves.row]) == EMPTY))


def _forcing(boards: Boards) -> Made:
    """Our captures, promotions and checks."""
    men, goals = men_of(boards, "us"), gainful(boards)
    takes, given = legal_moves(boards, goals, men), checks(boards, men)
    quiet = (BIT[given.square] & goals[given.row]) == EMPTY
    answers = made(boards, Moves.joined(takes, given.only(quiet)))
    return answers.only((answers.gain > 0) | in_check(answers.after, "us"))


def _quiet(boards: Boards) -> Made:
    """Our other legal moves."""
    answers = _escapes(boards)
    answers = answers.only(answers.gain == 0)
    return answers.only(~in_check(answers.after, "us"))


def reaches(boards: Boards, aims: Aims) -> Flags:
    """Whether we, to move, have what is needed and keep it, or collect it at once."""
    result = _parried(boards, aims)
    rest = np.flatnonzero(~result)
    result[rest] = collects(boards.take(rest), aims.take(rest), 0)
    return result


def collects(boards: Boards, aims: Aims, looks: int = LOOKS - 1, driven: Flags | None = None) -> Flags:
    """Whether we, to move, reach the aims by a move that takes something or checks.

    `looks`: how many of their answers are looked at then. `driven`: where they have just answered a check.
    There we may also take what costs us more by exchange, if more checks may follow.
    """
    if not len(boards):
        return np.zeros(0, dtype=np.bool_)
    captures, promising = _gains(boards, aims)
    attacked = _attack_goes_on(boards, aims)
    if not looks:
        result = marked(captures.row, len(boards)) | attacked
        rest = np.flatnonzero(~result & (aims.checks > 0))
        result[rest] = _forced_through(boards.take(rest), aims.take(rest))
        return result
    waits = promising | (aims.checks > 0) | (aims.needed <= 0)
    trading = np.flatnonzero(waits & (aims.needed < MATE))
    bold = (aims.checks > 0) & (False if driven is None else driven)
    moves = Made.joined(
        captures,
        _trades(boards, trading, bold),
        _steps_out(boards, aims, np.flatnonzero(waits)),
        _given_checks(boards, aims),
    )
    result = attacked
    first = np.ones(len(moves), dtype=np.bool_)
    if len(moves) >= IN_TURN:
        # One move is enough, and most often it is the one that takes most.
        first = marked(_likeliest(moves, first), len(moves))
    for tried in (first, ~first):
        some = moves.only(tried & ~result[moves.row])
        result[some.row[_reached(some, aims, looks)]] = True
    return result


def _reached(moves: Made, aims: Aims, looks: int) -> Flags:
    """Whether we reach the aims after each of these moves, which are counted in. `looks`: as for `holds`."""
    if not len(moves):
        return np.zeros(0, dtype=np.bool_)
    left = aims.take(moves.row)
    checking = in_check(moves.after, "us")
    left = replace(left, needed=left.needed - moves.gain, checks=left.checks - checking)
    return holds(moves.after, left, looks)


def _attack_goes_on(boards: Boards, aims: Aims) -> Flags:
    """Where an attack counts: whether we threaten mate, or their king in the open is worth enough."""
    result = np.zeros(len(boards), dtype=np.bool_)
    some = np.flatnonzero((aims.attack > 0) & (aims.needed < MATE))
    if len(some):
        here, worth_it = boards.take(some), aims.needed[some] <= aims.attack[some]
        result[some] = threatens_mate(here) | (worth_it & in_the_open(here))
    return result


def _trades(boards: Boards, rows: Rows, bold: Flags) -> Made:
    """Our captures that are even by exchange, in some rows: what is needed may be taken after a trade.

    Where we are bold, every capture.
    """
    here = boards.take(rows)
    moves = legal_moves(here, here.them & ~here.kings)
    even = exchange(here.take(moves.row), moves.origin, moves.square, floor=-1) == 0
    moves = moves.only(even | bold[rows[moves.row]])
    return made(boards, replace(moves, row=rows[moves.row]))


def _steps_out(boards: Boards, aims: Aims, rows: Rows) -> Made:
    """Our moves out of check that take nothing, in some rows: what is needed may be taken next.

    Where we need mate, also those that take something.
    """
    rows = rows[in_check(boards.take(rows), "us")]
    moves = legal_moves(boards.take(rows))
    steps = made(boards, replace(moves, row=rows[moves.row]))
    return steps.only((steps.gain == 0) | (aims.needed[steps.row] >= MATE))


def forces_mate(boards: Boards, checks: int) -> Flags:
    """Whether we, to move, can mate by so many checks; each that does not mate must leave few answers."""
    size = len(boards)
    return _forced_through(boards, Aims.of(np.full(size, MATE), None, np.full(size, checks)))


def _given_checks(boards: Boards, aims: Aims) -> Made:
    """Our checks, where some may be tried."""
    rows = np.flatnonzero(aims.checks > 0)
    moves = checks(boards.take(rows))
    given = made(boards, replace(moves, row=rows[moves.row]))
    return given.only(in_check(given.after, "us"))


def _forced_through(boards: Boards, aims: Aims) -> Flags:
    """Whether one of our checks mates, or leaves few answers and we then reach the aims in the same way."""
    if not len(boards):
        return np.zeros(0, dtype=np.bool_)
    given = _given_checks(boards, aims)
    left = aims.take(given.row)
    left = replace(left, needed=left.needed - given.gain, checks=left.checks - 1)
    steps = count(king_steps(given.after))
    hardly = np.flatnonzero(steps <= np.where(left.checks > 0, FEW, 0))
    given, left = given.take(hardly), left.take(hardly)
    answers = legal_moves(given.after)
    number = np.bincount(answers.row, minlength=len(given))
    works = number == 0
    on = (left.checks > 0) & ~works & (number <= FEW)
    if on.any():
        answered = made(given.after, answers.only(on[answers.row]))
        met = collects(answered.after, left.after(answered), 0)
        works |= on & all_of(answered.row, met, len(given))
    return any_of(given.row, works, len(boards))


def _gains(boards: Boards, aims: Aims) -> tuple[Made, Flags]:
    """Our captures and promotions that win what is needed, their best capture deducted.

    Also where an exchange alone says that one wins it.
    """
    beyond = np.maximum(aims.needed, 1) - 1
    row, square, _ = wins(boards, beyond, beyond + 1, aims.binding("us"), aims.wanted)
    entry, origin = exploded(_takers(boards, row, square))
    moves = made(boards, Moves(row[entry], origin, square[entry]))
    spare = moves.gain - aims.needed[moves.row]
    hopeful = np.flatnonzero((spare >= 0) & ~in_check(moves.after, "them"))
    moves = moves.take(hopeful)
    taken = can_take(moves.after, spare[hopeful], aims.take(moves.row).binding("them"))
    return moves.only(~taken), marked(row, len(boards))


def _takers(boards: Boards, rows: Rows, squares: Squares) -> Bitboards:
    """Our men that can take on each square, or the pawn that can promote there."""
    here = boards.take(rows)
    pushed = (here.them & BIT[squares]) == EMPTY
    return np.where(pushed, BIT[squares - 8 & 63], attackers(here, squares) & here.us)


def _parried(boards: Boards, aims: Aims) -> Flags:
    """Whether we, to move, have won what is needed and keep it by a quiet move, which parries one threat."""
    result = aims.needed <= 0
    some = np.flatnonzero(result)
    if not len(some):
        return result
    boards, aims = boards.take(some), aims.take(some)
    checked = in_check(boards, "us")
    theirs = threatened(reversed_sides(boards), -aims.needed, aims.binding("them"))
    result[some] = theirs <= np.where(checked, 0, 1)
    doubtful = np.flatnonzero(checked & result[some])
    result[some[doubtful]] = _keeps_out_of_check(boards.take(doubtful), aims.take(doubtful))
    return result


def _keeps_out_of_check(boards: Boards, aims: Aims) -> Flags:
    """Whether a move of ours out of check leaves them nothing that takes back too much."""
    steps = made(boards, legal_moves(boards))
    spare = steps.gain - aims.needed[steps.row]
    taken = can_take(steps.after, spare, aims.take(steps.row).binding("them"))
    return any_of(steps.row, ~taken, len(boards))
