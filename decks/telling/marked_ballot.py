"""What is said of a marked ballot: row by row right or wrong, the key, and what it rests on. Pure."""

from __future__ import annotations

from decks.review.attempt import Attempt
from decks.review.evidence import factor_of, reasons_to_tell
from decks.review.grading import BALLOT_ROWS, AssessMark, RowMark
from decks.telling.shown import cell_words
from patterns.reading.text import counted, safe
from patterns.words.verdicts import FACTORS, row_title
from patterns.words.wording import listed, side_name

NOTHING_TELLS = "Nothing tells the sides apart."


def agreement(mark: RowMark) -> str:
    """How a marked row agrees with its key, as one character: `+` right, `~` near, `-` off."""
    return {"right": "+", "near": "~", "off": "-"}[agreement_word(mark)]


def agreement_word(mark: RowMark) -> str:
    """The same as a word."""
    return "right" if mark.credit == 1 else "near" if mark.credit else "off"


def row_in_words(mark: RowMark) -> str:
    """One row of a marked ballot as a sentence: what was marked, whether it is right, and the keys."""
    own = "blank" if mark.answer is None else cell_words(mark.answer)
    keys = []
    if mark.answer != mark.key:
        keys.append(f"near the border to {cell_words(mark.key)}" if mark.credit == 1 else _key(mark))
    elif mark.key_by == "coach":
        keys.append("by the card's key")
    if mark.key_by == "coach" and mark.computed != mark.key:
        keys.append(f"the program makes it {cell_words(mark.computed)}")
    told = f" ({'; '.join(keys)})" if keys else ""
    return f"{row_title(mark.row)}: {own}, {agreement_word(mark)}{told}"


def _key(mark: RowMark) -> str:
    return f"the {'card' if mark.key_by == 'coach' else 'key'} says {cell_words(mark.key)}"


def row_reasons(attempt: Attempt, row: str) -> list[str]:
    """What the program's view of a row rests on, a sentence each, the weightiest first."""
    if row == "verdict":
        return _what_decides(attempt)
    told = reasons_to_tell(attempt.task, row, attempt.keeps_secret)
    texts = [safe(reason) for reason in told]
    kept_back = len(factor_of(attempt.task, row).stated) - len(told)
    if kept_back:
        texts.append(f"{counted(kept_back, 'reason')} more, kept back until the motif has been asked.")
    return texts or [NOTHING_TELLS]


def _what_decides(attempt: Attempt) -> list[str]:
    """How the factors add up to the program's own verdict."""
    assessment = attempt.task.explanation.assessment
    parts = []
    for side in (True, False):
        names = [
            row_title(factor)
            for factor in assessment.deciding
            if (factor_of(attempt.task, factor).share > 0) == side and factor_of(attempt.task, factor).share
        ]
        if names:
            parts.append(f"For {side_name(side)}, the weightiest first: {listed(names)}.")
    return [*parts, f"Together they give White an expected score of {assessment.expected_score:.2f}."]


def not_asked(attempt: Attempt) -> str:
    """What the program makes of the rows that a short ballot left out; empty if it left out none."""
    asked = {mark.row for mark in attempt.marked_rows}
    if not asked or asked == {*BALLOT_ROWS}:
        return ""
    others = [row for row in FACTORS if row not in asked]
    found = [f"{row_title(row)} {cell_words(factor_of(attempt.task, row).verdict.signed)}" for row in others]
    return f"Not asked: {', '.join(found)}."


def assess_reason(mark: AssessMark) -> str:
    """One sentence that says why a ballot got its grade."""
    right = sum(row.credit == 1 for row in mark.rows)
    near = sum(0 < row.credit < 1 for row in mark.rows)
    verdict = mark.rows[-1]
    said = "blank" if verdict.answer is None else cell_words(verdict.answer)
    told = (
        f"your verdict, {said}, is right"
        if verdict.credit == 1
        else f"your verdict was {said}, the key says {cell_words(verdict.key)}"
    )
    return f"{right} of {len(mark.rows)} rows right, {near} next to it; {told}."
