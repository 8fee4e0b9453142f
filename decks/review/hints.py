"""Hints: what a card is about, told step by step.

A hint never names the move. First which motif, then where, then what the move must achieve.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import chess

from decks.cards.card import Ask
from decks.review.evidence import NO_MARKS, Marks, evidence_marks, factor_of, motif_title
from decks.review.task import Task
from patterns.words.verdicts import row_title
from patterns.words.wording import listed, named, side_name

DECOYS = 3
"""Motifs that are not there, among which the right one is offered as the last hint of a `spot` ask."""


@dataclass(frozen=True)
class Hint:
    """One step of help: a sentence, and what it marks on the board of the card's position."""

    text: str
    marks: Marks = NO_MARKS


def next_hint(
    task: Task, ask: Ask, board: chess.Board, taken: Sequence[Hint], keeping_secret: bool = False
) -> Hint | None:
    """The first hint not taken yet, None when there is nothing more to say.

    `board`: the position in front of the student, which a `play` answer may already have moved on.
    `keeping_secret`: the motif is still to be asked for, so no other ask may tell which it is or where.
    """
    told = {hint.text for hint in taken}
    return next((hint for hint in _hints(task, ask, board, keeping_secret) if hint.text not in told), None)


def _hints(task: Task, ask: Ask, board: chess.Board, keeping_secret: bool) -> list[Hint]:
    if ask == "spot":
        return [_where(task), _whose(task), _one_of(task)]
    about = [] if keeping_secret else [*([_which(task)] if task.card.motifs else []), _where(task)]
    match ask:
        case "assess":
            return [*about, *_weightiest(task)]
        case "play":
            return [*about, _aim(task, board)]
    return about


def _which(task: Task) -> Hint:
    titles = dict.fromkeys(motif_title(tag.motif) for tag in task.card.motifs)
    return Hint(f"It is about this: {listed(titles)}.")


def _whose(task: Task) -> Hint:
    sides = dict.fromkeys(tag.side.capitalize() for tag in task.card.motifs)
    return Hint(f"It profits {listed(sides)}." if sides else "No motif of this card profits either side.")


def _one_of(task: Task) -> Hint:
    """The right names among others that nothing on the board bears out, evenly spread over the catalogue."""
    from patterns.catalogue import MOTIFS

    right = {tag.motif for tag in task.card.motifs}
    wrong = sorted(MOTIFS.keys() - right - {finding.motif for finding in task.explanation.findings})
    decoys = wrong[:: max(1, len(wrong) // DECOYS)][:DECOYS]
    titles = sorted(motif_title(motif) for motif in {*right, *decoys})
    return Hint(f"It is among these: {listed(titles)}.")


def _where(task: Task) -> Hint:
    marks = evidence_marks(task)
    shown = sorted(marks.targets or marks.actors or marks.squares)
    if shown:
        return Hint(f"Look at {_men(task.card.board, shown)}.", marks)
    king = task.card.board.king(not task.card.board.turn)
    square = task.card.line[-1][2:4] if task.card.line else chess.square_name(king or 0)
    return Hint(f"Keep an eye on {square}.", Marks(squares=frozenset({square})))


def _weightiest(task: Task) -> list[Hint]:
    """For a ballot: which of its factors weighs most, then whom that favours."""
    heaviest = next(factor for factor in task.explanation.assessment.deciding if factor in task.rows)
    title, share = row_title(heaviest), factor_of(task, heaviest).share
    return [
        Hint(f"The factor that weighs most is {title}."),
        Hint(
            f"On {title} {side_name(share > 0)} is better off." if share else f"On {title} nobody is better."
        ),
    ]


def _aim(task: Task, board: chess.Board) -> Hint:
    """What the best move achieves, without naming it."""
    verdicts = task.verdicts[board.epd()]
    move = chess.Move.from_uci(verdicts.best)
    after = board.copy(stack=False)
    after.push(move)
    if after.is_checkmate():
        aim = "give mate"
    elif after.is_check():
        aim = "give check, and the reply is forced" if after.legal_moves.count() == 1 else "give check"
    elif board.is_capture(move):
        taken = move.to_square
        aim = "take a pawn" if board.is_en_passant(move) else f"take {named(board, taken)}"
    elif board.is_check():
        aim = "get out of check without losing anything"
    elif attacked := _newly_attacked(board, after, move):
        aim = f"attack {_men(board, attacked)}"
    else:
        aim = "be quiet: no check and no capture"
    return Hint(f"Your move must {aim}.")


def _newly_attacked(before: chess.Board, after: chess.Board, move: chess.Move) -> list[str]:
    enemy = before.occupied_co[not before.turn]
    fresh = after.attacks(move.to_square) - before.attacks(move.from_square)
    return [chess.square_name(square) for square in fresh if enemy & chess.BB_SQUARES[square]]


def _men(board: chess.Board, squares: Sequence[str]) -> str:
    return listed(named(board, chess.parse_square(square)) for square in squares)
