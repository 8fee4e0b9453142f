"""What a line shows of a claim: whether it plays the claim out, cashes it in, or makes it beside the point.

In every function `rests` holds the line from each move on. Row n of the claims is about `rests[n]`, and in
the second half of the rows, where Black sees the same boards, about `rests[n - len(rests)]`.
"""

from __future__ import annotations

from collections.abc import Sequence

import chess
import numpy as np

from patterns.boards.bitboards import ALL, EMPTY, Bitboards, Flags
from patterns.boards.exchange import Values
from patterns.boards.positions import Positions
from patterns.boards.worth import ahead
from patterns.proof.aims import MATE, Aims
from patterns.proof.claims import Claims
from patterns.proof.lookahead import holds
from patterns.proof.played_line import OwnMove, gain_of

CHECKS = 2
"""How many checks may be tried for a claim in a line: more than in a scan, since the boards are few."""

Rests = Sequence[Sequence[OwnMove]]


def is_beside(claims: Claims, rests: Rests) -> Flags:
    """Which claims are beside the point on the way to mate: what they attack is left alone.

    So is a claim about one man other than the king, any claim about one man of ours if the move mates, and a
    claim of mate by another man than in the line. A check is explained only by a claim about the king that
    names more than the checking man.
    """
    result = np.zeros(len(claims), dtype=np.bool_)
    for entry, row in enumerate(claims.row):
        rest = rests[row % len(rests)]
        if not rest[-1].after.is_checkmate():
            continue
        if claims.least[entry] >= MATE:
            result[entry] = len(rest) > 1 and not _all_act(rest, claims.take(np.array([entry])))
            continue
        king, targets = rest[0].their_king, _squares(rest[0], claims.targets[entry])
        if claims.bound[entry] != EMPTY:
            result[entry] = king not in targets
            continue
        touched = {king} | {each.move.to_square for each in rest}
        touched |= {
            each.reply.from_square for each in rest if each.reply and each.after.is_capture(each.reply)
        }
        one = int(claims.actors[entry]).bit_count() == 1
        alone = (one and len(rest) == 1) or (rest[0].after.is_check() and (one or king not in targets))
        result[entry] = alone or not targets <= touched or (len(targets) == 1 and king not in targets)
    return result


def takes_back(line: Sequence[OwnMove], index: int) -> bool:
    """Whether a move of a line takes the man that has just taken."""
    last, move = line[index - 1], line[index].move
    if not index or last.reply is None or last.reply.to_square != move.to_square:
        return False
    return last.after.is_capture(last.reply)


def left_alone(claims: Claims, rests: Rests) -> Bitboards:
    """Where the targets of each claim are when the line ends, as the row sees them.

    All squares, if it has taken one of them or mated it, or if a capture anywhere counts.
    """
    result = claims.targets.copy()
    for entry, row in enumerate(claims.row):
        rest = rests[row % len(rests)]
        left = _squares(rest[0], result[entry])
        taken = rest[-1].after.is_checkmate() and (claims.least[entry] >= MATE or rest[0].their_king in left)
        for own_move in rest:
            taken |= own_move.captures and own_move.move.to_square in left
            if own_move.reply is not None and own_move.reply.from_square in left:
                left = left - {own_move.reply.from_square} | {own_move.reply.to_square}
        seen = chess.SquareSet(left) if rest[0].us == chess.WHITE else chess.SquareSet(left).mirror()
        result[entry] = ALL if taken else seen.mask
    return np.where(claims.wanted == ALL, ALL, result)


def is_cashed_in(claims: Claims, rests: Rests, left: Bitboards) -> Flags:
    """Which claims the rest of the line cashes in, or would if it went on. `left`: what it leaves alone."""
    result, on = np.zeros(len(claims), dtype=np.bool_), []
    for entry, row in enumerate(claims.row):
        rest, least = rests[row % len(rests)], claims.least[entry]
        if not _all_act(rest, claims.take(np.array([entry]))):
            continue
        if rest[-1].after.is_checkmate() or (least < MATE and gain_of(rest) >= max(least, 1)):
            result[entry] = left[entry] == ALL
        elif least < MATE and len(rest) > 1 and rest[-1].reply is None:
            on.append(entry)
    if on:
        ends = [rests[row % len(rests)] for row in claims.row[on]]
        result[on] = _goes_on(ends, claims.least[on], left[on])
    return result


def _all_act(rest: Sequence[OwnMove], claim: Claims) -> bool:
    """Whether a man of ours that the claim names besides the one that moves plays a part, if it names any."""
    others = _squares(rest[0], claim.actors[0]) - {rest[0].move.from_square}
    moved = {each.move.from_square for each in rest[1:]}
    taken = {each.reply.to_square for each in rest if each.reply is not None}
    return not others or claim.bound[0] != EMPTY or bool(others & (moved | taken))


def _goes_on(rests: Rests, least: Values, left: Bitboards) -> Flags:
    """Whether, after the end of each line, we still win on the squares left what it did not win so far."""
    ends = Positions.from_boards([rest[-1].after for rest in rests]).both_views()
    white = np.array([rest[0].us == chess.WHITE for rest in rests])
    won = np.array([ahead(rest[-1].after, rest[0].us) - ahead(rest[0].before, rest[0].us) for rest in rests])
    aims = Aims.of(np.maximum(least, 1) - won, left, np.full(len(won), CHECKS))
    return holds(ends.take(np.arange(len(won)) + len(won) * white), aims) & (aims.needed > 0)


def _squares(own_move: OwnMove, seen: np.uint64) -> set[chess.Square]:
    """On the real board, the squares of a row that sees the board as we do."""
    flip = 0 if own_move.us == chess.WHITE else 56
    return {square ^ flip for square in chess.scan_forward(int(seen))}
