"""Lines to play through once a card is answered: the refutation, the line, the student's own."""

from __future__ import annotations

from dataclasses import dataclass

import chess

from decks.cards.verdicts_file import legal_part
from decks.review.attempt import Attempt, board_after
from decks.review.grading import PlayMark
from patterns.words.outcome import outcome


@dataclass(frozen=True)
class ShownLine:
    """Moves (UCI) from the card's position, under a title. `own`: how many of them were on the board."""

    title: str
    moves: tuple[str, ...]
    own: int = 0


def lines_to_show(attempt: Attempt) -> tuple[ShownLine, ...]:
    """What to play through, the most instructive first.

    Nothing while the card's `play` ask was not part of this attempt: it would give the move away.
    """
    card = attempt.task.card
    answers = {given.ask: given for given in attempt.given}
    if "play" in card.asks and "play" not in answers:
        return ()
    lines = []
    if "play" in answers and isinstance(mark := answers["play"].mark, PlayMark) and mark.left_line:
        title = {"holds": "Your move", "slips": "Why it slips", "fails": "Why it fails"}
        last, before = attempt.moves[-1], board_after(card.board, attempt.played[:-1])
        line = legal_part(before, (last.move, *attempt.task.verdicts[before.epd()].moves[last.move].line))
        winner = before.turn if last.quality == "holds" else not before.turn
        shown = line[: max(2, outcome(before, line, winner).plies)]
        lines.append(ShownLine(title[last.quality], (*attempt.played[:-1], *shown), own=len(attempt.played)))
    if card.line:
        lines.append(ShownLine("The line", card.line))
    return tuple(lines)


def numbered(start: chess.Board, moves: tuple[str, ...]) -> list[str]:
    """The moves in SAN, numbered as on a scoresheet: `14. Rd8+`, `Kf7`, or `14... Kf7` to begin with."""
    board, words = start.copy(stack=False), []
    for ply, uci in enumerate(moves):
        move = chess.Move.from_uci(uci)
        number = f"{board.fullmove_number}. " if board.turn else "" if ply else f"{board.fullmove_number}... "
        words.append(number + board.san(move))
        board.push(move)
    return words


def move_at(start: chess.Board, moves: tuple[str, ...], ply: int) -> str:
    """One move of a line, numbered for itself; ply 1 is the first.

    >>> move_at(chess.Board(), ("e2e4", "e7e5"), 2)
    '1... e5'
    """
    before = start.copy(stack=False)
    for uci in moves[: ply - 1]:
        before.push_uci(uci)
    return numbered(before, moves[ply - 1 : ply])[0]
