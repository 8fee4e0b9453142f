"""What is said once a card is answered, and when the session closes. Pure."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from datetime import date
from types import MappingProxyType
from typing import TYPE_CHECKING

from decks.asks.catalogue import ASKS
from decks.memory.answers import RIGHT_GRADES
from decks.review.attempt import Attempt, Given
from decks.review.playback import lines_to_show
from decks.review.session import State
from decks.tasks.card import GRADES, Grade, MotifTag
from decks.tasks.evidence import key_findings, motif_title
from decks.tasks.layout import Paragraph
from decks.tasks.lines import numbered
from decks.telling.shown import rounded_minutes, when
from patterns.reading.text import counted, safe
from patterns.words.wording import listed, sentence

if TYPE_CHECKING:
    from patterns.motifs.findings import Finding

COMMENT_LIMIT = 2000
"""Characters of a coach's comment that are shown."""

GRADE_WORDS: Mapping[Grade, str] = MappingProxyType(
    {
        "missed": "missed",
        "helped": "with help",
        "partly": "partly right",
        "found": "found",
        "fluent": "found, and inside your usual time",
    }
)


def result(state: State) -> list[Paragraph]:
    """Everything about the card just answered: grades with reasons, evidence, the coach, when it returns."""
    attempt = state.attempt
    assert attempt is not None
    paragraphs = []
    for given in attempt.given:
        reason = Paragraph(given.mark.reason(attempt.task))
        headline = _headline(given, given.ask in attempt.contested)
        paragraphs += [Paragraph(headline, "grade"), reason]
    paragraphs += [Paragraph(text) for text in _evidence(attempt)]
    paragraphs += [Paragraph(text) for text in _comments(attempt)]
    paragraphs.append(Paragraph(returns(attempt), "faint"))
    return paragraphs


def _headline(given: Given, is_contested: bool) -> str:
    contested = " (contested, waits for your coach)" if is_contested else ""
    return f"{ASKS[given.ask].title.capitalize()}: {GRADE_WORDS[given.grade]}{contested}"


def _evidence(attempt: Attempt) -> list[str]:
    """The card's motifs with their evidence in words; a motif nothing was detected for by its name."""
    if attempt.keeps_secret:
        return ["Which motif it is stays open until it has been asked."] if attempt.task.card.motifs else []
    found = key_findings(attempt.task)
    texts = list(dict.fromkeys(f"{_for_side(finding)}: {safe(finding.note)}" for finding in found))
    detected = {finding.motif for finding in found}
    for tag in attempt.task.card.motifs:
        if tag.motif not in detected:
            squares = attempt.task.card.evidence.get(tag.motif, ())
            texts.append(f"{_for_side(tag)}{': ' + listed(squares) if squares else ''}.")
    return texts


def _for_side(shown: Finding | MotifTag) -> str:
    return f"{motif_title(shown.motif).capitalize()}, for {shown.side.capitalize()}"


def _comments(attempt: Attempt) -> list[str]:
    """The coach's words in the order of the moves, without what the evidence says already.

    None while they could give away what is not asked yet: a line, or the motif.
    """
    card = attempt.task.card
    if card.line and not lines_to_show(attempt):
        return []
    if attempt.keeps_secret and not any(ASKS[given.ask].frees_comments for given in attempt.given):
        return []
    notes = {_bare(finding.note) for finding in key_findings(attempt.task)}
    moves = ["", *numbered(card.board, card.line)]
    return [
        safe(
            f"Coach, on {moves[ply]}: {comment}" if 0 < ply < len(moves) else f"Coach: {comment}",
            COMMENT_LIMIT,
        )
        for ply, comment in sorted(card.comments.items())
        if attempt.keeps_secret or _bare(comment) not in notes
    ]


def _bare(text: str) -> str:
    """The text by its letters and digits alone: line breaks and punctuation make no other sentence."""
    return "".join(filter(str.isalnum, text.casefold()))


def returns(attempt: Attempt) -> str:
    """When each ask of the card comes back."""
    parts = []
    for given in attempt.given:
        if given.memory is not None:
            parts.append(f"{ASKS[given.ask].title} {when(given.memory.due, given.memory.last)}")
    return sentence(f"returns: {', '.join(parts)}") if parts else ""


def closing(state: State) -> list[Paragraph]:
    """The end of a session: what was asked, how it went by motif, what to look at, what returns when."""
    answers = [(attempt, given) for attempt in state.done for given in attempt.given]
    if not answers:
        return [Paragraph("Nothing returns today." if not state.tasks else "Nothing was answered.", "title")]
    cards = len(state.done)
    lead = f"{counted(cards, 'card')} in {rounded_minutes(state.now - state.started)}."
    paragraphs = [Paragraph(lead, "title")]
    counts = {grade: sum(given.grade == grade for _, given in answers) for grade in GRADES}
    tally = ", ".join(f"{count} {grade}" for grade, count in reversed(counts.items()) if count)
    paragraphs.append(Paragraph(f"{counted(len(answers), 'answer')}: {tally}."))
    paragraphs.append(Paragraph("By motif", "title"))
    by_title: dict[str, list[Given]] = {}
    for attempt, given in answers:
        for title in _titles(attempt):
            by_title.setdefault(title, []).append(given)
    for title, givens in sorted(by_title.items(), key=lambda pair: (_right(pair[1]) / len(pair[1]), pair[0])):
        paragraphs.append(Paragraph(f"{title}: {_right(givens)} of {len(givens)} right"))
    look_at = _to_look_at(state)
    if look_at:
        paragraphs.append(Paragraph("To look at", "title"))
        paragraphs += [Paragraph(text) for text in look_at]
    return [*paragraphs, *_returning(state)]


def _returning(state: State) -> list[Paragraph]:
    """How many of the cards answered return on which day; a card counts for the first of its days."""
    days: Counter[tuple[date, date]] = Counter()
    for attempt in state.done:
        memories = [given.memory for given in attempt.given if given.memory is not None]
        if memories:
            days[min((memory.due, memory.last) for memory in memories)] += 1
    if not days:
        return []
    lines = [f"{counted(days[pair], 'card')} {when(*pair)}" for pair in sorted(days)]
    return [Paragraph("What returns", "title"), *map(Paragraph, lines)]


def _titles(attempt: Attempt) -> list[str]:
    """The titles of the card's motifs; in their place why there is none to tell."""
    if attempt.keeps_secret:
        return ["motif still to be asked"]
    motifs = dict.fromkeys(tag.motif for tag in attempt.task.card.motifs)
    return [motif_title(motif) for motif in motifs] or ["no motif named"]


def _right(givens: list[Given]) -> int:
    return sum(given.grade in RIGHT_GRADES for given in givens)


def _to_look_at(state: State) -> list[str]:
    """The cards that went worst, with where they come from and what was missed."""
    worst = [
        (min(given.score for given in attempt.given), attempt)
        for attempt in state.done
        if any(given.grade in ("missed", "helped") for given in attempt.given)
    ]
    texts = []
    for _, attempt in sorted(worst, key=lambda pair: pair[0]):
        card = attempt.task.card
        what = listed(_titles(attempt))
        texts.append(safe(f"{card.card_id}: {what}" + (f" ({card.origin})" if card.origin else "")))
    return texts
