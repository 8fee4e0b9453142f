"""Pins that a line exploits: the pinned man cannot take, guard, block or run.

Absolute pins, and relative ones where the man behind is worth more and falls when the line opens.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import chess

from patterns import wording
from patterns.combinations import trade
from patterns.combinations.line import Step, Use, gain_of


@dataclass(frozen=True)
class Pin:
    """A man of theirs on a line between our slider and a man that must not be uncovered."""

    pinner: chess.Square
    pinned: chess.Square
    behind: chess.Square
    absolute: bool

    @property
    def motif(self) -> str:
        if chess.square_file(self.pinner) == chess.square_file(self.behind):
            return "pin-on-file"
        return (
            "pin-on-rank"
            if chess.square_rank(self.pinner) == chess.square_rank(self.behind)
            else "pin-on-diagonal"
        )

    @property
    def line(self) -> chess.Bitboard:
        """Every square between slider and rear man, and the slider's own."""
        return chess.between(self.pinner, self.behind) | chess.BB_SQUARES[self.pinner]

    @property
    def hold(self) -> tuple[chess.Square, chess.Square]:
        return self.pinned, self.pinner


def pins_in(board: chess.Board, us: chess.Color) -> list[Pin]:
    """All pins of their men by our sliders."""
    found = []
    sliders = (board.bishops | board.rooks | board.queens) & board.occupied_co[us]
    theirs = board.occupied_co[not us]
    for pinner in chess.scan_forward(sliders):
        seen = trade.reach(board, pinner, board.occupied)
        fronts = seen & theirs & ~board.kings
        if not fronts:
            continue
        for front in chess.scan_forward(fronts):
            through = trade.reach(board, pinner, board.occupied & ~chess.BB_SQUARES[front])
            behind = through & ~seen & theirs & chess.ray(pinner, front)
            if not behind:
                continue
            rear = behind.bit_length() - 1
            absolute = board.piece_type_at(rear) == chess.KING
            if absolute or _holds_relatively(board, pinner, front, rear):
                found.append(Pin(pinner, front, rear, absolute))
    return found


def _holds_relatively(
    board: chess.Board, pinner: chess.Square, front: chess.Square, rear: chess.Square
) -> bool:
    """Whether the rear man is worth more, falls if the line opens, and they cannot simply take the slider."""
    worth = trade.worth_at(board, front)
    if trade.worth_at(board, rear) <= worth or trade.falls(board, pinner) or trade.falls(board, rear):
        return False
    return trade.taking(trade.without(board, front), pinner, rear) >= worth


def pins_exploited(steps: Sequence[Step]) -> Iterator[Use]:
    """Pins that matter to a move of the line, one use a pinned man, at the first move that profits."""
    told: set[tuple[chess.Square, chess.Square]] = set()
    for index, step in enumerate(steps):
        before = {(pin.pinner, pin.pinned) for pin in pins_in(step.before, step.us)}
        for pin in pins_in(step.after, step.us):
            if (pin.pinned, pin.behind) in told:
                continue
            new = (pin.pinner, pin.pinned) not in before
            reason = (
                _left_the_line(steps, index, pin)
                or _cannot_take(step, pin, new)
                or _cannot_block(steps, index, pin)
                or _cannot_run(steps, index, pin)
            )
            if reason:
                told.add((pin.pinned, pin.behind))
                board = step.after
                note = (
                    f"{wording.named(board, pin.pinned)}, pinned to {wording.named(board, pin.behind)}"
                    f" by {wording.named(board, pin.pinner)}, {reason}"
                )
                between = chess.SquareSet(
                    chess.between(pin.pinner, pin.behind) & ~chess.BB_SQUARES[pin.pinned]
                )
                yield step.use(pin.motif, note, [pin.pinner], [pin.pinned, pin.behind], between)


def _left_the_line(steps: Sequence[Step], index: int, pin: Pin) -> str:
    """The pinned man leaves all the same, and the slider takes what was behind it."""
    step, following = steps[index], steps[index + 1] if index + 1 < len(steps) else None
    if pin.absolute or following is None or step.reply is None or step.reply.from_square != pin.pinned:
        return ""
    takes = (following.move.from_square, following.move.to_square) == (pin.pinner, pin.behind)
    pays = takes and trade.exchange(following.before, following.move) > 0
    return f"leaves the line, and {wording.named(step.after, pin.behind)} falls" if pays else ""


def _cannot_take(step: Step, pin: Pin, new: bool) -> str:
    """The pinned man would take with profit, were it free: the man that just moved, or a piece the pin saves.

    In check a relative pin binds nobody, since the check must be answered anyhow.
    """
    board, arrived = step.after, step.move.to_square
    if not pin.absolute and (board.is_check() or (step.reply and step.reply.from_square == pin.pinned)):
        return ""
    attacked = board.attacks_mask(pin.pinned) & board.occupied_co[step.us] & ~pin.line & ~board.kings
    if attacked & chess.BB_SQUARES[arrived] and trade.taking(board, pin.pinned, arrived) > 0:
        return f"cannot take on {chess.SQUARE_NAMES[arrived]}"
    for square in chess.scan_forward(attacked & ~board.pawns if new else 0):
        bound = trade.falls(board, square, bound=None if pin.absolute else pin.hold)
        if trade.falls(board, square, freed=chess.BB_SQUARES[pin.pinned]) > bound:
            return f"cannot take on {chess.SQUARE_NAMES[square]}"
    return ""


def _cannot_block(steps: Sequence[Step], index: int, pin: Pin) -> str:
    """A check that mates, or costs the pinned piece, because it cannot step between."""
    step, checkers = steps[index], steps[index].after.checkers()
    if not pin.absolute or len(checkers) != 1 or step.after.piece_type_at(pin.pinned) == chess.PAWN:
        return ""
    costs = index + 1 < len(steps) and steps[index + 1].move.to_square == pin.pinned
    gap = chess.between(checkers.pop(), step.their_king) & step.after.attacks_mask(pin.pinned) & ~pin.line
    return "cannot step between" if gap and (costs or step.after.is_checkmate()) else ""


def _cannot_run(steps: Sequence[Step], index: int, pin: Pin) -> str:
    """The pinned piece is attacked and cannot leave the line: it is taken on our next move, or worse.

    It may also take the slider, if that does not make up for it, or another man may step between, which then
    falls; and the line may end with the pin.
    """
    step, bound = steps[index], None if pin.absolute else pin.hold
    if step.after.is_check() or step.after.piece_type_at(pin.pinned) == chess.PAWN:
        return ""
    threatened = trade.falls(step.after, pin.pinned, bound=bound)
    hits_slider = step.after.attacks_mask(pin.pinned) & chess.BB_SQUARES[pin.pinner]
    if threatened == 0 or (hits_slider and trade.taking(step.after, pin.pinned, pin.pinner) >= threatened):
        return ""
    if index + 1 == len(steps) or step.reply is None:
        costs = pin.absolute and step.move.to_square == pin.pinner
    else:
        following, reply = steps[index + 1], step.reply
        left = reply.from_square == pin.pinned
        gap = chess.between(pin.pinner, pin.pinned) & chess.BB_SQUARES[reply.to_square]
        at = reply.to_square if left or gap else pin.pinned
        on_line = bool(chess.BB_SQUARES[at] & pin.line)
        less = trade.worth_at(step.after, pin.pinner) < trade.worth_at(step.after, pin.pinned)
        costs = on_line and following.captures and following.move.to_square == at
        costs |= left and at == pin.pinner and less and gain_of(steps[index:]) > 0
    return "cannot leave the line and falls" if costs else ""
