"""What a move prepares: it makes possible what the next move of the line does.

The next move uses a motif. The move before it explains that use if it drives or draws the man that answers
onto a square where it suffers, or off what it guarded; if it takes a man that guarded; or if it guards the
square that is needed. Common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

import chess

from patterns.proof.played_line import OwnMove, Use
from patterns.words.wording import named


def prepares(first: OwnMove, second: OwnMove, then: Use) -> Use | None:
    """The use `then` of the second move, told of the first; None if the first does nothing for it."""
    assert first.reply is not None
    reply, goal = first.reply, second.move.to_square
    hit = [chess.parse_square(target) for target in then.targets]
    for how, target in (
        (_moved(first, second, hit), reply.from_square),
        (_guard_moved(first, second, [goal, *hit]), reply.from_square),
        (_guard_taken(first, [goal, *hit]), first.move.to_square),
        (_supported(first, second, goal), goal),
    ):
        if how:
            deed, _, _ = then.note.partition(". ")
            join = "; then" if ":" in deed else ":"
            note = f"{first.deed} and {how}{join} {deed[0].lower()}{deed[1:]}"
            use = first.use(then.motif, note, [first.move.from_square], [target], [goal])
            return replace(use, wins=then.wins, shown=then.shown, prepares=True)
    return None


def _forces(first: OwnMove) -> bool:
    """Whether the move forces the man that answered: it checks, is taken by it, or newly attacks it."""
    assert first.reply is not None
    man, square = first.reply.from_square, first.move.to_square
    return (
        first.after.is_check()
        or first.reply.to_square == square
        or bool(first.after.attacks(square) & chess.SquareSet.from_square(man))
    )


def _moved(first: OwnMove, second: OwnMove, hit: list[chess.Square]) -> str:
    """Where the man that answered has been brought, if it suffers there."""
    assert first.reply is not None
    old, new = first.reply.from_square, first.reply.to_square
    checked = new == second.their_king and second.after.is_check()
    if not _forces(first) or not (new in hit or checked):
        return ""
    if first.after.is_check() and old != first.their_king and new != first.move.to_square:
        return f"makes {named(first.after, old)} step in on {chess.SQUARE_NAMES[new]}"
    return f"{_verb(first)} to {chess.SQUARE_NAMES[new]}"


def _guard_moved(first: OwnMove, second: OwnMove, needed: list[chess.Square]) -> str:
    """What the man that answered guards no more."""
    assert first.reply is not None
    old, new = first.reply.from_square, first.reply.to_square
    left = first.before.attacks(old) - second.before.attacks(new)
    for square in needed:
        if square in left and square != new and _forces(first):
            return f"{_verb(first)} off the guard of {named(second.before, square)}"
    return ""


def _verb(first: OwnMove) -> str:
    """What the move does with the man that answered."""
    assert first.reply is not None
    man = named(first.after, first.reply.from_square)
    return f"{'draws' if first.reply.to_square == first.move.to_square else 'drives'} {man}"


def _guard_taken(first: OwnMove, needed: list[chess.Square]) -> str:
    """What a man that the move took had guarded."""
    taken = first.move.to_square
    if first.captures:
        for square in needed:
            if square in first.before.attacks(taken):
                return f"removes a guard of {named(first.after, square)}"
    return ""


def _supported(first: OwnMove, second: OwnMove, goal: chess.Square) -> str:
    """Whether the man that moved guards the square where the next one goes, or helps to attack it."""
    origin, new = first.move.from_square, first.move.to_square
    if second.move.from_square == new or goal in first.before.attacks(origin):
        return ""
    if goal not in second.before.attacks(new):
        return ""
    return f"{'attacks' if second.captures else 'guards'} {named(second.before, goal)}"
