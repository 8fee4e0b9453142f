"""The effective count on a square: the men that bear on it, which of them count, and the exchange there.

A man bears on the square if it attacks it, directly or through men that attack it on the same line (x-rays
and batteries). It does not count if it is pinned to its king and the square is off the pin's line, if it is a
king that would move into an attack, or if it is a defender and another man would fall without it. The
exchange follows from the men that count, by the rules of `patterns.boards.exchange`. Effective attackers and
defenders: Nimzowitsch, My System (overprotection, the pinned defender), named from memory.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import chess
import numpy as np

from patterns.boards.attacks import Owner, absolute_pins, attackers
from patterns.boards.bitboards import BIT, exploded
from patterns.boards.exchange import Binding, can_win, capture_gain, exchange
from patterns.boards.positions import Boards, Positions
from patterns.boards.pressure import bearing
from patterns.words import wording


@dataclass(frozen=True)
class Bearer:
    """A man that bears on the square: where it stands, whether it counts, and why.

    `about`: the other men in the reason: those in front of it, its pinner, or those that it guards alone.
    """

    square: chess.Square
    counts: bool
    reason: str
    about: tuple[chess.Square, ...] = ()


@dataclass(frozen=True)
class SquareCount:
    """The count on one square. `attacker`: the side that would capture there. It is the opponent of the man's
    owner, or the side to move if the square is empty. `exchange`: pawns the side to move wins there (below 0:
    loses). `first_capture`: pawns the attacker wins (below 0: loses) if its best capturer takes first; None
    if the square is empty, or no man that counts can capture there at once."""

    square: chess.Square
    attacker: chess.Color
    attackers: tuple[Bearer, ...]
    defenders: tuple[Bearer, ...]
    exchange: float
    first_capture: float | None = None

    @property
    def counted(self) -> tuple[int, int]:
        """How many attackers and how many defenders count."""
        return sum(one.counts for one in self.attackers), sum(one.counts for one in self.defenders)

    @property
    def wins(self) -> chess.Color | None:
        """The side that comes out ahead if the attacker captures first; None if neither does."""
        if self.exchange:
            return self.attacker
        return not self.attacker if self.first_capture is not None and self.first_capture < 0 else None

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON."""

        def listed(bearers: tuple[Bearer, ...]) -> list[dict[str, Any]]:
            return [
                {"from": chess.SQUARE_NAMES[one.square], "counts": one.counts, "reason": one.reason}
                for one in bearers
            ]

        return {
            "square": chess.SQUARE_NAMES[self.square],
            "attackers": listed(self.attackers),
            "defenders": listed(self.defenders),
            "exchange": self.exchange,
        }


def count_square(board: chess.Board, square: chess.Square) -> SquareCount:
    """Count who attacks and who defends a square. The board needs one king per side (ValueError).

    >>> board = chess.Board("4r3/3k4/2nb2n1/1B2p3/8/3N1N2/1B6/4R1K1 w - - 0 1")
    >>> count = count_square(board, chess.E5)
    >>> [chess.SQUARE_NAMES[one.square] for one in count.defenders if not one.counts], count.exchange
    (['c6'], 1.0)
    """
    owner = board.color_at(square)
    attacker = board.turn if owner is None else not owner
    boards = Positions.from_boards([board]).side_view(attacker)
    turned = 0 if attacker == chess.WHITE else 56
    seen = square ^ turned
    attacking = dict(_bearers(board, boards, seen, "us", turned))
    defending = dict(_bearers(board, boards, seen, "them", turned))
    defending |= _needed_elsewhere(board, boards, seen, turned, defending)
    _judge_kings(board, attacking, defending)
    idle = sum(1 << (at ^ turned) for at, why in (attacking | defending).items() if not why[0])
    binding = Binding.of(1, idle=np.array([idle], dtype=np.uint64))
    gain = float(capture_gain(boards, np.array([seen]), "us", binding)[0])
    return SquareCount(
        square,
        attacker,
        tuple(Bearer(at, *attacking[at]) for at in sorted(attacking)),
        tuple(Bearer(at, *defending[at]) for at in sorted(defending)),
        gain if attacker == board.turn else 0.0 - gain,
        None if owner is None else _first_capture(boards, seen, idle, binding),
    )


def _first_capture(boards: Boards, seen: int, idle: int, binding: Binding) -> float | None:
    """What the best first capture by one of us that counts wins; None if there is no such capture."""
    attacking = attackers(boards, np.array([seen])) & boards.us & ~np.uint64(idle)
    origins = exploded(attacking)[1]
    if not len(origins):
        return None
    rows = np.zeros(len(origins), dtype=np.int64)
    gains = exchange(boards.take(rows), origins, np.full(len(origins), seen), binding.take(rows))
    return float(gains.max())


_Judged = tuple[bool, str, tuple[chess.Square, ...]]
"""Whether a man counts, why, and the other men in the reason."""


def _bearers(
    board: chess.Board, boards: Boards, seen: int, owner: Owner, turned: int
) -> Iterator[tuple[chess.Square, _Judged]]:
    """Each man of one side that bears on the square (real squares), whether its pins let it count, why."""
    own = boards.us if owner == "us" else boards.them
    all_men = bearing(boards, np.array([seen]))
    held = _held(boards, seen, owner)
    for at in exploded(all_men & own)[1].tolist():
        square = at ^ turned
        fronts = chess.SquareSet(chess.between(square, seen ^ turned) & board.occupied)
        if at in held:
            pinner = held[at] ^ turned
            yield square, (False, f"pinned to its king by {wording.named(board, pinner)}", (pinner,))
        elif fronts:
            yield square, (True, f"through {wording.men(board, fronts)}", tuple(fronts))
        else:
            yield square, (True, "directly", ())


def _held(boards: Boards, seen: int, owner: Owner) -> dict[int, int]:
    """Men of one side that a pin to their king keeps from capturing on the square, and their pinners."""
    pins = absolute_pins(boards, owner)
    pairs = zip(pins.pinned[:, 0].tolist(), pins.pinner[:, 0].tolist(), strict=True)
    squares = [(pinned.bit_length() - 1, pinner.bit_length() - 1) for pinned, pinner in pairs if pinned]
    return {
        pinned: pinner
        for pinned, pinner in squares
        if pinner != seen and not chess.ray(pinner, seen) >> pinned & 1
    }


def _needed_elsewhere(
    board: chess.Board,
    boards: Boards,
    seen: int,
    turned: int,
    defending: dict[chess.Square, _Judged],
) -> dict[chess.Square, _Judged]:
    """Defenders without which another attacked man would fall."""
    guarded = exploded(boards.them & ~boards.kings & ~BIT[[seen]])[1]
    rows = np.zeros(len(guarded), dtype=np.int64)
    safe_now = guarded[~can_win(boards.take(rows), guarded, "us")]
    needed = {}
    for square, (counts, *_) in defending.items():
        others = safe_now[safe_now != square ^ turned]
        if not counts or board.piece_type_at(square) == chess.KING or not len(others):
            continue
        rows = np.zeros(len(others), dtype=np.int64)
        idle = np.full(len(others), BIT[square ^ turned])
        falls = can_win(boards.take(rows), others, "us", Binding.of(len(others), idle=idle))
        duties = [int(at) ^ turned for at in others[falls]]
        if duties:
            needed[square] = (False, f"alone guards {wording.men(board, duties)}", tuple(duties))
    return needed


def _judge_kings(
    board: chess.Board,
    attacking: dict[chess.Square, _Judged],
    defending: dict[chess.Square, _Judged],
) -> None:
    """A king takes part only last, when no man of the other side is left that could take it."""
    sides = ((attacking, defending, 0), (defending, attacking, 1))
    for own, other, last_word in sides:
        king = next((at for at in own if board.piece_type_at(at) == chess.KING), None)
        if king is None:
            continue
        helpers = sum(counts for at, (counts, *_) in own.items() if at != king)
        # The defender recaptures after each capture, so it has one more turn for the same number of men.
        if sum(counts for counts, *_ in other.values()) > helpers + last_word:
            own[king] = (False, "a king may not take what is still guarded", ())
