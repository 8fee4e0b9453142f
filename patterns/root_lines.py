"""The lines about a root: the best one, the answer to it, the punishment, and how the game went on."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import chess

from patterns.boards.worth import WORTH
from patterns.engines.episodes import ScoredMove
from patterns.engines.quiet_lines import quiet_line
from patterns.engines.rule_ends import after
from patterns.lines import Line
from patterns.lines.plain_reasons import Taken, plain_reasons
from patterns.lines.recaptures import without_recaptures
from patterns.proof.captures import captured_worth
from patterns.proof.played_line import Use, own_moves_of
from patterns.words.outcome import outcome

LINE_PLIES = 8
"""Plies of a line before it ends as soon as it is quiet: what comes later is the engine's guess."""


@dataclass(frozen=True)
class RootLines:
    """Four lines about a root: the best one, the answer to it, the answer to the move played, and the game.

    `taken`: what the move before each of them took.
    """

    root: ScoredMove
    best: Line
    answer: Line
    punishing: Line
    played_on: Line
    taken: tuple[Taken | None, ...]

    @property
    def every(self) -> tuple[Line, ...]:
        """The four lines."""
        return self.best, self.answer, self.punishing, self.played_on

    def explained(self, uses: Sequence[Sequence[Use]]) -> list[list[Use]]:
        """The uses of the four lines without those of moves that only take back."""
        return [
            without_recaptures(found, *line, None if taken is None else taken.square)
            for found, line, taken in zip(uses, self.every, self.taken, strict=True)
        ]

    def plain(self) -> list[list[Use]]:
        """What the moves of the four lines plainly do."""
        return [
            plain_reasons(own_moves_of(*line), taken)
            for line, taken in zip(self.every, self.taken, strict=True)
        ]

    def missed_and_lost(self) -> tuple[float, float]:
        """Pawns that the best line wins for the player, and that the line played loses; infinite for a mate.

        A man of the player that has just been taken, and that the best move takes back, is neither.
        """
        board, best = self.best
        to_take_back = 0
        if self.taken[0] is not None and best[0].to_square == self.taken[0].square:
            to_take_back = WORTH[board.piece_type_at(best[0].to_square) or chess.PAWN]
        missed = _won(board, best, board.turn) - to_take_back
        return missed, self._lost_by(self.punishing) + to_take_back

    def lost_in_the_game(self) -> float:
        """Pawns that the moves of the game lose for the player, the root with them."""
        return self._lost_by(self.played_on)

    def _lost_by(self, line: Line) -> float:
        board = self.root.board
        return _won(board, (self.root.move, *line[1]), not board.turn)


def lines_of(root: ScoredMove, played_on: Sequence[chess.Move] = ()) -> RootLines:
    """The lines about a root, each up to where it ends quietly.

    `played_on`: the moves of the game after it.
    """
    best, *after_best = (chess.Move.from_uci(uci) for uci in root.compared.best.line)
    punishing = [chess.Move.from_uci(uci) for uci in root.compared.played.line[1:]]
    holds, falls = after(root.board, best), after(root.board, root.move)
    played = _taken(root.board, root.move)
    return RootLines(
        root,
        (root.board, quiet_line(root.board, [best, *after_best], LINE_PLIES)),
        (holds, quiet_line(holds, after_best, LINE_PLIES)),
        (falls, quiet_line(falls, punishing, LINE_PLIES)),
        (falls, quiet_line(falls, played_on, LINE_PLIES)),
        # What the opponent has taken before the root is not known, and counts against whatever takes it back.
        (
            None if root.taken is None else Taken(root.taken, math.inf),
            _taken(root.board, best),
            played,
            played,
        ),
    )


def _taken(board: chess.Board, move: chess.Move) -> Taken | None:
    return Taken(move.to_square, captured_worth(board, move)) if board.is_capture(move) else None


def _won(board: chess.Board, line: Sequence[chess.Move], side: chess.Color) -> float:
    """Pawns that a side has more after the line than before it; infinite if it mates."""
    found = outcome(board, [move.uci() for move in line], side)
    return math.inf if found.mates else found.pawns
