"""What the moves of a line take up: the same motifs as on the board, asked about the moves played.

A claim (`patterns.proof.claims`) is told if it holds whatever they answer, or if the rest of the line cashes
it in. A standing feature is told if the move takes it up as its motif declares: a weak pawn is taken, an open
file is entered, a passed pawn runs.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import chess
import numpy as np

from patterns.boards.bitboards import ALL, EMPTY, Bitboards, Flags
from patterns.boards.exchange import Values
from patterns.boards.grouping import any_of, grouped
from patterns.boards.moves import Moves
from patterns.boards.positions import Positions
from patterns.boards.view import View
from patterns.boards.worth import ahead
from patterns.catalogue import MOTIFS
from patterns.detect import instances_of
from patterns.lines.prepared import prepares
from patterns.motifs.findings import Findings, Instance, Motif, TakenUp
from patterns.proof.captures import worth_at
from patterns.proof.claims import Claims, depends, hold, worth
from patterns.proof.lookahead import MATE, Aims, holds
from patterns.proof.played_line import OwnMove, Use, gain_of
from patterns.words.wording import sentence

CHECKS = 2
"""How many checks may be tried for a claim in a line: more than in a scan, since the boards are few."""


@dataclass(frozen=True)
class _Told:
    """A use, and how well it explains its move: the smaller `rank`, the better."""

    rank: tuple[int, int, int, str]
    use: Use


PLAYED, CASHED_IN, PREPARES, HOLDS, IN_LINE, STANDING = range(6)
"""What explains a move better comes first: a claim that holds and that the line plays out, one that at least the
line cashes in, what the next move does thanks to this one, a claim that holds though the line goes another
way, and so on. Where a claim is played out or cashed in, those that are not are left out, and so are standing
features."""


def taken_up(lines: Sequence[Sequence[OwnMove]]) -> list[list[Use]]:
    """For each line what its moves take up, move by move. What explains a move best comes first."""
    moves = [own_move for line in lines for own_move in line]
    told: list[list[_Told]] = [[] for _ in moves]
    if moves:
        view = View(Positions.from_boards([own_move.before for own_move in moves]), thorough=True)
        found = [(motif, motif.find(view)) for motif in MOTIFS.values()]
        rests = [line[index:] for line in lines for index in range(len(line))]
        claimed = [(motif, claims) for motif, claims in found if isinstance(claims, Claims)]
        for place, one in (*_claimed(view, claimed, rests), *_standing(found, rests)):
            told[place].append(one)
    place = 0
    for line in lines:
        for motif in MOTIFS.values():
            for use in motif.in_line(line) if motif.in_line is not None else ():
                known = told[place + use.ply - 1]
                if not any(one.use.motif == use.motif for one in known):
                    known.append(_told(IN_LINE, use, line[use.ply - 1]))
        _prepare(line, told[place : place + len(line)])
        place += len(line)
    in_order = map(_to_the_point, told)
    return [
        [one.use for _ in line for one in sorted(next(in_order), key=lambda one: one.rank)] for line in lines
    ]


def _to_the_point(told: list[_Told]) -> list[_Told]:
    """Without what the line leaves alone, where it plays out something."""
    if any(one.rank[0] <= CASHED_IN for one in told):
        return [one for one in told if one.rank[0] not in (HOLDS, STANDING)]
    return told


def _prepare(line: Sequence[OwnMove], told: Sequence[list[_Told]]) -> None:
    """Add to moves that no claim explains what they prepare, from the end on. A mate needs no such reason."""
    if line[-1].after.is_checkmate():
        return
    for index in reversed(range(len(line) - 1)):
        if any(one.rank[0] <= CASHED_IN for one in told[index]):
            continue
        for later in sorted(told[index + 1], key=lambda one: one.rank):
            runs = TakenUp.ADVANCE in MOTIFS[later.use.motif].taken_up
            use = prepares(line[index], line[index + 1], later.use) if later.rank[0] < STANDING or runs else None
            if use is not None:
                told[index].append(_told(PREPARES, use, line[index]))
                break


def _told(how: int, use: Use, own_move: OwnMove) -> _Told:
    """The use with its rank: after how it is known, the greatest and the most men that it is about."""
    worths = [worth_at(own_move.before, chess.parse_square(target)) for target in use.targets]
    return _Told((how, -max(worths, default=0), -len(worths), use.motif), use)


def _claimed(
    view: View, claimed: Sequence[tuple[Motif, Claims]], rests: Sequence[Sequence[OwnMove]]
) -> Iterator[tuple[int, _Told]]:
    """Claims about the moves played that hold or are cashed in. `rests`: the line from each move on."""
    moves = [rest[0] for rest in rests]
    boards = [own_move.before for own_move in moves]
    as_played = _as_played(moves)
    wins = worth(view, as_played)
    played = [(motif, claims.only(_are_played(claims, as_played))) for motif, claims in claimed]
    played = [(motif, claims.only(~_beside(claims, rests))) for motif, claims in played]
    sizes = [len(claims) for _, claims in played]
    every = hold(view, Claims.joined(*(claims for _, claims in played)), CHECKS)
    for (motif, claims), holds in zip(played, np.split(every, np.cumsum(sizes)), strict=False):
        same = grouped(claims.row, claims.about, claims.actors, claims.targets)
        known = any_of(same.group, holds, len(same))[same.group]
        left = _left(claims, rests)
        shown = (left == ALL) | np.array([len(rests[row % len(rests)]) == 1 for row in claims.row], dtype=np.bool_)
        cashed = ~known & depends(view, claims)
        cashed[cashed] = _cashed_in(claims.only(cashed), rests, left[cashed])
        for how, told in ((PLAYED, holds & shown), (CASHED_IN, cashed), (HOLDS, holds & ~shown)):
            found = Findings.of_claims(claims.only(told))
            for place, instance in instances_of(found, boards, wins[found.row % len(moves)]):
                yield place, _told(how, _use(motif, instance, moves[place]), moves[place])


def _beside(claims: Claims, rests: Sequence[Sequence[OwnMove]]) -> Flags:
    """Which claims are beside the point on the way to mate: what they attack is left alone.

    So is a claim about one man other than the king, and any claim about one man of ours if the move mates.
    """
    result = np.zeros(len(claims), dtype=np.bool_)
    for entry in np.flatnonzero(claims.least < MATE):
        rest = rests[claims.row[entry] % len(rests)]
        if rest[-1].after.is_checkmate():
            king, targets = rest[0].their_king, set(_squares(rest[0], int(claims.targets[entry])))
            touched = {own_move.move.to_square for own_move in rest} | {king}
            touched |= {own_move.reply.from_square for own_move in rest if own_move.reply is not None}
            if claims.bound[entry] != EMPTY:
                result[entry] = king not in targets
            else:
                alone = len(rest) == 1 and int(claims.actors[entry]).bit_count() == 1
                result[entry] = alone or not targets <= touched or len(targets - {king}) == len(targets) == 1
    return result


def _squares(own_move: OwnMove, squares: int) -> Iterator[chess.Square]:
    """The squares of a row that sees the board as we do, on the real board."""
    flip = 0 if own_move.us == chess.WHITE else 56
    return (square ^ flip for square in chess.scan_forward(squares))


def _as_played(moves: Sequence[OwnMove]) -> Moves:
    """The moves played, each in the row of the side that played it."""
    size = len(moves)
    white = np.array([own_move.us == chess.WHITE for own_move in moves])
    flip = np.where(white, 0, 56)
    ends = np.array([(own_move.move.from_square, own_move.move.to_square) for own_move in moves], np.int64)
    rows = np.where(white, np.arange(size), np.arange(size) + size)
    return Moves(rows, ends[:, 0] ^ flip, ends[:, 1] ^ flip)


def _are_played(proposed: Claims, played: Moves) -> Flags:
    """Which claims are about the move that was played."""
    place = proposed.row % len(played)
    ours: Flags = proposed.row == played.row[place]
    return ours & (proposed.origin == played.origin[place]) & (proposed.square == played.square[place])


def _left(claims: Claims, rests: Sequence[Sequence[OwnMove]]) -> Bitboards:
    """Where the targets of each claim are when the line ends. All squares, if it has taken one or mated it.

    The squares are as the row sees them.
    """
    result = claims.targets | claims.wanted
    for entry, row in enumerate(claims.row):
        rest = rests[row % len(rests)]
        left = set(_squares(rest[0], int(result[entry])))
        mates = rest[-1].after.is_checkmate()
        taken = mates and (claims.least[entry] >= MATE or rest[0].their_king in left)
        for own_move in rest:
            taken |= own_move.captures and own_move.move.to_square in left
            if own_move.reply is not None and own_move.reply.from_square in left:
                left = left - {own_move.reply.from_square} | {own_move.reply.to_square}
        seen = chess.SquareSet(left) if rest[0].us == chess.WHITE else chess.SquareSet(left).mirror()
        result[entry] = ALL if taken else seen.mask
    return result


def _cashed_in(claims: Claims, rests: Sequence[Sequence[OwnMove]], left: Bitboards) -> Flags:
    """Which claims the rest of the line cashes in, or would if it went on. `left`: as `_left` says."""
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
    """Whether a man that a claim names besides the one that moves plays a part in the line, if it names any."""
    others = set(_squares(rest[0], int(claim.actors[0]))) - {rest[0].move.from_square}
    moves = {each.move.from_square for each in rest[1:]}
    taken = {each.reply.to_square for each in rest if each.reply is not None}
    return not others or claim.bound[0] != EMPTY or bool(others & (moves | taken))


def _goes_on(rests: Sequence[Sequence[OwnMove]], least: Values, left: Bitboards) -> Flags:
    """Whether, after the end of each line, we still win on the squares left what it did not win so far."""
    ends = Positions.from_boards([rest[-1].after for rest in rests]).both_views()
    white = np.array([rest[0].us == chess.WHITE for rest in rests])
    won = np.array([ahead(rest[-1].after, rest[0].us) - ahead(rest[0].before, rest[0].us) for rest in rests])
    aims = Aims.of(np.maximum(least, 1) - won, left, np.full(len(won), CHECKS))
    return holds(ends.take(np.arange(len(won)) + len(won) * white), aims) & (aims.needed > 0)


def _standing(
    found: Sequence[tuple[Motif, Findings | Claims]], rests: Sequence[Sequence[OwnMove]]
) -> Iterator[tuple[int, _Told]]:
    """Features that our moves take up; on the way to mate only those that are about the king."""
    boards = [rest[0].before for rest in rests]
    for motif, features in found:
        if isinstance(features, Claims) or not motif.taken_up:
            continue
        for place, instance in instances_of(features, boards):
            own_move, mates = rests[place][0], rests[place][-1].after.is_checkmate()
            beside = mates and own_move.their_king not in instance.targets
            ours = instance.side == own_move.us and not beside
            if ours and _takes_up(own_move, motif.taken_up, instance):
                yield place, _told(STANDING, _use(motif, instance, own_move), own_move)


def _takes_up(own_move: OwnMove, ways: TakenUp, instance: Instance) -> bool:
    origin, square = own_move.move.from_square, own_move.move.to_square
    takes = own_move.captures and square in instance.targets
    enters, acts = square in instance.squares, origin in instance.actors
    return (
        (TakenUp.CAPTURE in ways and takes)
        or (TakenUp.ENTRY in ways and enters and own_move.mover not in (chess.PAWN, chess.KING))
        or (TakenUp.ACTION in ways and acts and (enters or square in instance.targets))
        or (TakenUp.ADVANCE in ways and acts)
        or (TakenUp.AIM in ways and _aims(own_move, instance))
    )


def _aims(own_move: OwnMove, instance: Instance) -> bool:
    """Whether an actor hits, after the move, a target or a square that it did not hit before."""
    move, wanted = own_move.move, int(instance.targets | instance.squares)
    for actor in instance.actors:
        now = move.to_square if actor == move.from_square else actor
        if own_move.after.attacks_mask(now) & ~own_move.before.attacks_mask(actor) & wanted:
            return True
    return False


def _use(motif: Motif, instance: Instance, own_move: OwnMove) -> Use:
    note = motif.tell(replace(instance, played=True))
    if instance.move is None:
        note = f"{sentence(own_move.deed)} {note}"
    return own_move.use(motif.id, note, instance.actors, instance.targets, instance.squares)
