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

from patterns.boards.bitboards import ALL, BIT, EMPTY, Flags
from patterns.boards.grouping import any_of, grouped
from patterns.boards.moves import Moves
from patterns.boards.positions import Positions
from patterns.boards.view import View
from patterns.catalogue import MOTIFS
from patterns.detect import instances_of
from patterns.lines.played_out import CHECKS, is_beside, is_cashed_in, left_alone, takes_back
from patterns.lines.prepared import prepares
from patterns.motifs.findings import Findings, Instance, Motif, TakenUp
from patterns.proof.captures import exchange, worth_at
from patterns.proof.claims import EXCHANGE, Claims, depends, hold, worth
from patterns.proof.played_line import OwnMove, Use
from patterns.words.wording import sentence


@dataclass(frozen=True)
class _Told:
    """A use, and how well it explains its move: the smaller `rank`, the better."""

    rank: tuple[int, int, int, str]
    use: Use


PLAYED, CASHED_IN, PREPARES, HOLDS, IN_LINE, STANDING = range(6)
"""What explains a move better comes first: a claim that holds and that the line plays out, one that at least
the line cashes in, what the next move does thanks to this one, a claim that holds though the line goes
another way, and so on. Where the line plays out or cashes in a claim, those that it does not are left out,
and so are standing features."""


def taken_up(lines: Sequence[Sequence[OwnMove]]) -> list[list[Use]]:
    """For each line what its moves take up, move by move. What explains a move best comes first."""
    moves = [own_move for line in lines for own_move in line]
    told: list[list[_Told]] = [[] for _ in moves]
    if moves:
        view = View(Positions.from_boards([own_move.before for own_move in moves]), thorough=True)
        found = [(motif, motif.find(view)) for motif in MOTIFS.values()]
        rests = [line[index:] for line in lines for index in range(len(line))]
        claimed = [(motif, claims) for motif, claims in found if isinstance(claims, Claims)]
        back = np.array([takes_back(line, index) for line in lines for index in range(len(line))])
        for place, one in (*_claimed(view, claimed, rests, back), *_standing(found, rests)):
            told[place].append(one)
    place = 0
    for line in filter(None, lines):
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
    best = min((one.rank[0] for one in told), default=STANDING)
    beside = {HOLDS, STANDING} if best <= CASHED_IN else {STANDING} if best == PREPARES else set()
    return [one for one in told if one.rank[0] not in beside]


def _prepare(line: Sequence[OwnMove], told: Sequence[list[_Told]]) -> None:
    """Add to moves that no claim explains what they prepare, from the end on. A mate needs no such reason."""
    if line[-1].after.is_checkmate():
        return
    for index in reversed(range(len(line) - 1)):
        if any(one.rank[0] <= CASHED_IN for one in told[index]):
            continue
        for later in sorted(told[index + 1], key=lambda one: one.rank):
            runs = TakenUp.ADVANCE in MOTIFS[later.use.motif].taken_up
            use = prepares(line[index], line[index + 1], later.use)
            if use is not None and (runs or later.rank[0] < STANDING):
                told[index].append(_told(PREPARES, use, line[index]))
                break


def _told(how: int, use: Use, own_move: OwnMove) -> _Told:
    """The use with its rank: after how it is known, the greatest and the most men that it is about."""
    worths = [worth_at(own_move.before, chess.parse_square(target)) for target in use.targets]
    return _Told((how, -max(worths, default=0), -len(worths), use.motif), use)


def _claimed(
    view: View, claimed: Sequence[tuple[Motif, Claims]], rests: Sequence[Sequence[OwnMove]], back: Flags
) -> Iterator[tuple[int, _Told]]:
    """Claims about the moves played that hold or are cashed in. `rests`: the line from each move on.

    `back`: which moves take back. Such a move is not explained by what it takes alone.
    """
    moves = [rest[0] for rest in rests]
    boards = [own_move.before for own_move in moves]
    as_played = _as_played(moves)
    wins = worth(view, as_played)
    # The claims of all motifs together: for a few boards the calls cost more than the claims.
    claims = Claims.joined(*(claims for _, claims in claimed))
    motif = np.repeat(np.arange(len(claimed)), [len(claims) for _, claims in claimed])
    kept = np.flatnonzero(_are_played(claims, as_played))
    claims, motif = claims.take(kept), motif[kept]
    alone = back[claims.row % len(moves)] & (claims.targets == BIT[claims.square])
    kept = np.flatnonzero(~alone & ~is_beside(claims, rests))
    claims, motif = claims.take(kept), motif[kept]
    true = hold(view, claims, CHECKS)
    same = grouped(motif, claims.row, claims.about, claims.actors, claims.targets)
    known = any_of(same.group, true, len(same))[same.group]
    left = left_alone(claims, rests)
    ends = np.array([len(rests[row % len(rests)]) == 1 for row in claims.row], dtype=np.bool_)
    shown = (left == ALL) | (claims.bound != EMPTY) | ends
    cashed = ~known & depends(view, claims)
    cashed[cashed] = is_cashed_in(claims.only(cashed), rests, left[cashed])
    gains = claims.least > 0
    for how, told in (
        (PLAYED, true & gains & shown),
        (CASHED_IN, cashed),
        (HOLDS, true & gains & ~shown),
        (STANDING, true & ~gains),
    ):
        for number in np.unique(motif[told]):
            found = Findings.of_claims(claims.only(told & (motif == number)))
            for place, instance in instances_of(found, boards, wins[found.row % len(moves)]):
                use = _use(claimed[number][0], instance, moves[place])
                gains_by_it = 0 if how == STANDING else instance.wins
                # A check is always answered, so that a claim about the king alone is never left alone.
                is_check = instance.targets == chess.SquareSet([moves[place].their_king])
                use = replace(use, wins=gains_by_it, shown=how != HOLDS or is_check)
                yield place, _told(how, use, moves[place])


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


def _standing(
    found: Sequence[tuple[Motif, Findings | Claims]], rests: Sequence[Sequence[OwnMove]]
) -> Iterator[tuple[int, _Told]]:
    """Features that our moves take up; on the way to mate only those that are about the king.

    A move that simply wins material by exchange takes up nothing else.
    """
    boards = [rest[0].before for rest in rests]
    wins = [rest[0].captures and exchange(rest[0].before, rest[0].move) >= EXCHANGE for rest in rests]
    for motif, features in found:
        if not motif.taken_up:
            continue
        if isinstance(features, Claims):
            features = Findings.of_claims(features.only(features.stands))
        for place, instance in instances_of(features, boards):
            own_move, mates = rests[place][0], rests[place][-1].after.is_checkmate()
            beside = mates and own_move.their_king not in instance.targets
            beside |= wins[place] and TakenUp.CAPTURE not in motif.taken_up and not own_move.move.promotion
            ours = instance.side == own_move.us and not beside
            if ours and _takes_up(own_move, motif.taken_up, instance):
                use, queens = _use(motif, instance, own_move), _queens(rests[place])
                if TakenUp.ADVANCE in motif.taken_up and queens:
                    way = (
                        "and becomes a queen"
                        if own_move.move.promotion
                        else f"on its way to queen on {queens}"
                    )
                    note = sentence(f"{own_move.deed} {way}")
                    yield place, _told(PLAYED, replace(use, note=note), own_move)
                else:
                    yield place, _told(STANDING, use, own_move)


def _queens(rest: Sequence[OwnMove]) -> str:
    """Where the man that moves becomes a queen in the line; empty if it does not."""
    square = rest[0].move.from_square
    for own_move in rest:
        if own_move.move.from_square == square:
            square = own_move.move.to_square
            if own_move.move.promotion:
                return chess.SQUARE_NAMES[square]
    return ""


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
    note = motif.tell(replace(instance, played=True, wins=0))  # what the line wins, it shows
    if instance.move is None:
        note = f"{sentence(own_move.deed)} {note}"
    return own_move.use(motif.id, note, instance.actors, instance.targets, instance.squares)
