"""Explaining positions: their motifs, the stock-taking and the verdict, in words or as plain data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import chess

from patterns.arguments import board_of
from patterns.boards.positions import Positions
from patterns.boards.view import View
from patterns.detect import batches, detect, findings_in_words
from patterns.engines.rule_ends import after
from patterns.engines.scores import shown_score, verdict_from_expected
from patterns.factors.assessment import Assessment, Assessments, assess, assess_boards, assessments_in_words
from patterns.factors.pending import played_out, squares_won
from patterns.motifs.findings import Finding


@dataclass(frozen=True)
class Pending:
    """An exchange that the side to move can win: its moves (UCI), and the stock-taking after it."""

    line: tuple[str, ...]
    after: Assessment


@dataclass(frozen=True)
class Explanation:
    """What can be said about one position. `findings`: motif by motif, in the order of their ids.

    `pending`: where the side to move can win something at once; the assessment is the one before it.
    """

    board: chess.Board
    findings: tuple[Finding, ...]
    assessment: Assessment
    pending: Pending | None = None

    def as_dict(self) -> dict[str, Any]:
        """Plain data for JSON.

        `fen`; `turn`; `motifs`: motif, side, actors, targets, squares, note; `factors`: factor, balance (in
        pawns, positive for White), side, strength, reasons; `verdict`: side, strength, expected_score (0 to
        1, White's); `pending`: null, or the moves of an exchange that the side to move can win (`line`, UCI)
        and the verdict after it (`verdict`). Squares are named. Sides are white or black; a factor or
        verdict may also be level. Strength is 0 (level) to 3 (decisive).
        """
        assessment, pending = self.assessment, self.pending
        return {
            "fen": self.board.fen(),
            "turn": chess.COLOR_NAMES[self.board.turn],
            "motifs": [
                {
                    "motif": finding.motif,
                    "side": finding.side,
                    "actors": list(finding.actors),
                    "targets": list(finding.targets),
                    "squares": list(finding.squares),
                    "note": finding.note,
                }
                for finding in self.findings
            ],
            "factors": [
                {
                    "factor": factor.factor,
                    "balance": factor.balance,
                    "side": factor.verdict.side,
                    "strength": factor.verdict.strength,
                    "reasons": list(factor.reasons),
                }
                for factor in assessment.factors
            ],
            "verdict": _verdict(assessment),
            "pending": pending and {"line": list(pending.line), "verdict": _verdict(pending.after)},
        }


def _verdict(assessment: Assessment) -> dict[str, Any]:
    return {
        "side": assessment.verdict.side,
        "strength": assessment.verdict.strength,
        "expected_score": shown_score(assessment.expected_score),
    }


def explain(position: chess.Board | str) -> Explanation:
    """Explain one position, a board or a FEN: its motifs, the stock-taking and the verdict.

    A board needs one king per side, and a FEN must be a position that can arise (ValueError says what is
    wrong). TypeError for anything else.

    >>> explain("6k1/5ppp/8/8/8/8/5PPP/4R1K1 w - - 0 1").findings[0].motif
    'back-rank'
    """
    return explain_many([board_of(position)])[0]


def explain_many(boards: Sequence[chess.Board]) -> list[Explanation]:
    """Explain each of many positions, in order. Each needs one king per side (ValueError)."""
    result: list[Explanation] = []
    for batch in batches(boards):
        view = View(Positions.from_boards(batch))
        findings = findings_in_words(detect(view), batch)
        counted = assess(view)
        assessments = assessments_in_words(counted, batch)
        pending = _pending(batch, counted)
        result += [
            Explanation(board, tuple(found), _settled(board, assessment), pending.get(index))
            for index, (board, found, assessment) in enumerate(zip(batch, findings, assessments, strict=True))
        ]
    return result


def _pending(boards: Sequence[chess.Board], counted: Assessments) -> dict[int, Pending]:
    """What is pending, by the index of the board."""
    lines = {
        index: line
        for index, board in enumerate(boards)
        if (line := played_out(board, squares_won(counted, index, board.turn)))
    }
    ends = [after(boards[index], *line) for index, line in lines.items()]
    found = zip(lines.items(), ends, assess_boards(ends), strict=True)
    return {
        index: Pending(tuple(move.uci() for move in line), _settled(end, assessment))
        for (index, line), end, assessment in found
    }


def ending(board: chess.Board) -> str:
    """The result by the rules if the game is over: "checkmate", "stalemate" or
    "nothing left to mate with"; otherwise empty.

    FIDE Laws of Chess, articles 5.1.1, 5.2.1 and 5.2.2.
    """
    if board.is_insufficient_material():
        return "nothing left to mate with"
    if any(board.legal_moves):
        return ""
    return "checkmate" if board.is_check() else "stalemate"


def _settled(board: chess.Board, assessment: Assessment) -> Assessment:
    """The assessment. If the game is over, the verdict is that of the rules."""
    end = ending(board)
    if not end:
        return assessment
    white = 0.5 if end != "checkmate" else 0.0 if board.turn == chess.WHITE else 1.0
    return replace(assessment, verdict=verdict_from_expected(white), expected_score=white)
