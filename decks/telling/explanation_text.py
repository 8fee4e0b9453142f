"""An explanation as lines of text: one page that fits a screen, or everything. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import wrap
from typing import TYPE_CHECKING

import chess

from decks.tasks.ballot import CELLS, cell_words, cells_of, fold
from decks.tasks.evidence import motif_title
from decks.telling.board_text import ascii_board
from decks.telling.shown import BoardView
from patterns.engines.scores import shown_score
from patterns.explanation import Explanation, ending
from patterns.reading.text import counted
from patterns.words.verdicts import STRENGTHS, row_title
from patterns.words.wording import sentence, side_name

if TYPE_CHECKING:
    from patterns.factors.assessment import Assessment
    from patterns.motifs.findings import Finding

COLUMNS = 80
LINES = 22
"""The most lines of the page: with the two lines below it, it fits a terminal of 24 rows."""

REASON_LINES = 6
"""Lines for reasons, and what the motifs leave; reasons that do not fit are added up."""

LABEL = 16
INDENT = "    "


def coach_page(explanation: Explanation, lines: int = LINES) -> list[str]:
    """The stock-taking on one page: board and ballot, the weightiest reasons, motifs, verdict.

    At most `lines` lines of at most COLUMNS columns. What there is no room for is only added up or counted.
    """
    assessment = explanation.assessment
    board = ["", *ascii_board(BoardView(explanation.board, white_below=True))]
    ballot = [f"{side_name(explanation.board.turn)} to move", *_ballot(assessment)]
    height = max(len(board), len(ballot))
    board, ballot = ([*part, *[""] * (height - len(part))] for part in (board, ballot))
    head = [f"{left:<23}{right}".rstrip() for left, right in zip(board, ballot, strict=True)]
    last = last_lines(explanation)
    room = lines - len(head) - 1 - len(last)
    left = room - len(_motifs(explanation.findings, room))
    reasons = _reasons(assessment, max(REASON_LINES, left))
    motifs = _motifs(explanation.findings, room - len(reasons))
    return [*head, "", *reasons, *motifs, *last]


def everything(explanation: Explanation, between: Sequence[str] = ()) -> list[str]:
    """Board, every motif with its evidence, `between`, every reason of every factor, the verdict."""
    lines = [f"{side_name(explanation.board.turn)} to move", ""]
    lines += [f"  {row}" for row in ascii_board(BoardView(explanation.board, white_below=True))]
    lines += ["", *_every_motif(explanation.findings), *between, ""]
    lines.append("Stock-taking (pawns, + for White)")
    for factor in explanation.assessment.factors:
        lines.append(f"  {factor.factor:<15}{factor.balance:+6.2f}  {cell_words(factor.verdict.signed)}")
        lines += [f"{INDENT}{reason}" for reason in factor.reasons]
    return [*lines, "", *last_lines(explanation)]


def last_lines(explanation: Explanation) -> list[str]:
    """The verdict, and where an exchange is pending, the verdict after it."""
    pending = explanation.pending
    if pending is None:
        return [verdict_line(explanation)]
    moves = explanation.board.variation_san(map(chess.Move.from_uci, pending.line))
    then = f"{_verdict(pending.after)} ({shown_score(pending.after.expected_score):.2f})"
    return [verdict_line(explanation), *wrap(f"{moves} is pending; counted after it: {then}", COLUMNS)]


def verdict_line(explanation: Explanation) -> str:
    """`Verdict: clear for White (White's expected score 0.71)`, and how it was found."""
    assessment = explanation.assessment
    end = ending(explanation.board)
    basis = f"over: {end}" if end else "counted, not searched"
    score = f"White's expected score {shown_score(assessment.expected_score):.2f}"
    return f"Verdict: {_verdict(assessment)} ({score}; {basis})"


def _verdict(assessment: Assessment) -> str:
    verdict = assessment.verdict
    return STRENGTHS[verdict.strength] + ("" if verdict.side == "level" else f" for {verdict.side.title()}")


def evidence(actors: Sequence[str], targets: Sequence[str], squares: Sequence[str]) -> str:
    """The squares with their marks: [actors], ‹targets›, (squares)."""
    roles = (("[{}]", actors), ("‹{}›", targets), ("({})", squares))
    return " ".join(mark.format(" ".join(names)) for mark, names in roles if names)


def _ballot(assessment: Assessment) -> list[str]:
    """One row per factor, with its cell and its balance; the verdict's row is wider on both sides."""
    wide = len(f" {CELLS[3]} ")
    rows = [
        f"{row_title(factor.factor):<{LABEL}}{_cells(factor.factor, factor.verdict.signed)}"
        f"{' ' * wide}{factor.balance:+6.2f}"
        for factor in assessment.factors
    ]
    return [*rows, f"{'verdict':<{LABEL - wide}}{_cells('verdict', assessment.verdict.signed)}"]


def _cells(row: str, signed: int) -> str:
    marked = fold(row, signed)
    return "".join(f"[{CELLS[cell]}]" if cell == marked else f" {CELLS[cell]} " for cell in cells_of(row))


def _reasons(assessment: Assessment, room: int) -> list[str]:
    """The reasons of all factors, the weightiest first, and the sum of those for which there is no room."""
    every = [
        (reason.worth, f"{reason.worth:+.2f} {row_title(factor.factor)}: {reason.text}")
        for factor in assessment.factors
        for reason in factor.stated
    ]
    every.sort(key=lambda told: -abs(told[0]))
    lines: list[str] = []
    for place, (_, text) in enumerate(every):
        wrapped = wrap(text, COLUMNS, subsequent_indent=INDENT)
        if len(lines) + len(wrapped) > room - (place + 1 < len(every)):
            others = every[place:]
            together = f"{sum(worth for worth, _ in others):+.2f} {counted(len(others), 'other reason')}"
            return [*lines, f"{together} (--all tells them)"]
        lines += wrapped
    return lines or ["Nothing tells the sides apart."]


def _motifs(findings: Sequence[Finding], room: int) -> list[str]:
    """Motifs with their notes, as many as there is room for."""
    if not findings:
        return ["Motifs: none of the catalogue's"]
    lines: list[str] = []
    for place, finding in enumerate(findings):
        title = sentence(motif_title(finding.motif)).rstrip(".")
        text = f"{title}, for {side_name(finding.side == 'white')}: {finding.note}"
        wrapped = wrap(text, COLUMNS, subsequent_indent=INDENT)
        last = place + 1 == len(findings)
        if len(lines) + len(wrapped) > room - (0 if last else 1):
            left = len(findings) - place
            return [*lines, f"and {counted(left, 'motif')} more (--all tells them)"]
        lines += wrapped
    return lines


def _every_motif(findings: Sequence[Finding]) -> list[str]:
    """Every finding: title, side, note and evidence."""
    lines = ["Motifs" if findings else "Motifs: none of the catalogue's"]
    for finding in findings:
        title = sentence(motif_title(finding.motif)).rstrip(".")
        lines.append(f"  {title} ({finding.motif}), for {side_name(finding.side == 'white')}")
        lines.append(f"{INDENT}{finding.note}")
        lines.append(f"{INDENT}{evidence(finding.actors, finding.targets, finding.squares)}")
    return lines
