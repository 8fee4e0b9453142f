"""What is said after a card has been answered, and at the end of a session. Pure."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date

from decks.asks.catalogue import ASKS
from decks.memory.answers import RIGHT_GRADES
from decks.memory.askable import tier_of
from decks.memory.strands import Learnt, StrandState
from decks.review.attempt import Attempt, Given
from decks.review.session import State
from decks.tasks.card import GRADES
from decks.tasks.evidence import motif_title
from decks.tasks.layout import Paragraph
from decks.telling.about_card import (
    GRADE_WORDS,
    LOOKED_AT,
    WAITS,
    comments,
    evidence_in_words,
    grade_line,
)
from decks.telling.card_page import show_command
from decks.telling.shown import rounded_minutes, when
from patterns.reading.text import counted, safe
from patterns.words.wording import listed, sentence


def result(state: State) -> list[Paragraph]:
    """Everything about the card just answered: grades with reasons, evidence, the coach, when it returns."""
    attempt = state.attempt
    assert attempt is not None
    paragraphs = _worked(attempt) if attempt.task.worked else []
    for given in attempt.given:
        paragraphs += graded(attempt, given)
    paragraphs += map(Paragraph, evidence_in_words(attempt.task, attempt.secrets))
    paragraphs += map(Paragraph, comments(attempt.task, attempt.secrets, attempt.answered))
    paragraphs.append(Paragraph(returns(attempt, state.used_up), "faint"))
    return paragraphs


def _worked(attempt: Attempt) -> list[Paragraph]:
    """The head of a worked position, of the form that a graded answer has."""
    task, texts = attempt.task, ["Nothing is asked here. Look how it is done, then go on."]
    titles = [ASKS[ask].title for ask in task.asks if not ASKS[ask].by_motif]
    if titles:
        texts = [f"Nothing is asked here. The question would be: {attempt.answer.question}"]
    else:
        titles = [motif_title(tag.motif) for tag in task.card.motifs[:1]]
    texts += [mark.reason(task) for mark in attempt.marks]
    return [Paragraph(": ".join(["A worked position", *titles]), "grade"), Paragraph(" ".join(texts))]


def graded(attempt: Attempt, given: Given) -> list[Paragraph]:
    """One answer: its grade, and why; also what came of a second look, if an engine had one."""
    waits = LOOKED_AT if given.ask in attempt.looking else WAITS if given.ask in attempt.contested else ""
    headline = Paragraph(grade_line(given.ask, given.grade, waits), "grade")
    reason, look = given.mark.reason(attempt.task), given.second_look
    if look is None:
        return [headline, Paragraph(reason)]
    became = "the grade is mended" if look.mended else "the grade stays, unless your coach changes it"
    by = f"Looked at again by {look.engine}, {counted(look.depth, 'ply', 'plies')} deep: {became}."
    return [headline, Paragraph(f"{reason} {by}")]


def returns(attempt: Attempt, used_up: Mapping[str, date | None]) -> str:
    """When each ask of the card comes back. `used_up`: as in a session's state."""
    parts = []
    for given in attempt.given:
        if given.memory is not None:
            how = _how_it_returns(given.memory, attempt.task.items.get(given.ask, ""), used_up)
            parts.append(f"{ASKS[given.ask].title} {how}")
    return sentence(f"returns: {', '.join(parts)}") if parts else ""


def _how_it_returns(learnt: Learnt, item: str, used_up: Mapping[str, date | None]) -> str:
    day, last = _return_of(learnt)
    if not isinstance(learnt, StrandState):
        return when(day, last)
    if item not in used_up:
        return f"in another position, {when(day, last)}"
    again = used_up[item]
    return (
        f"{when(again, last)}, in a position that you have seen" if again else "once there are new positions"
    )


def _return_of(learnt: Learnt) -> tuple[date, date]:
    """The day on which it returns, and that of its last answer."""
    assert learnt.returns is not None and learnt.last is not None
    return learnt.returns, learnt.last


def closing(state: State) -> list[Paragraph]:
    """The end of a session: what was asked, how it went by motif, what to look at, what returns when.

    An ask that doesn't depend on the motif stands under its own title.
    """
    answers = [(attempt, given) for attempt in state.done for given in attempt.given]
    if not answers:
        return [Paragraph("Nothing was answered.", "title")]
    cards = len(state.done)
    lead = f"{counted(cards, 'card')} in {rounded_minutes(state.now - state.started)}."
    paragraphs = [Paragraph(lead, "title")]
    counts = {grade: sum(given.grade == grade for _, given in answers) for grade in GRADES}
    tally = ", ".join(f"{count} {GRADE_WORDS[grade]}" for grade, count in reversed(counts.items()) if count)
    paragraphs.append(Paragraph(f"{counted(len(answers), 'answer')}: {tally}."))
    paragraphs.append(Paragraph("By motif", "title"))
    by_title: dict[str, list[tuple[Attempt, Given]]] = {}
    for attempt, given in answers:
        of = "lookalike" if attempt.task.lookalike else f"tier {tier_of(attempt.task.card)}"
        for title in _about(attempt, given):
            by_title.setdefault(f"{title}, {of}", []).append((attempt, given))
    for title, those in sorted(by_title.items()):
        paragraphs.append(Paragraph(f"{title}: {_how_it_went(those)}"))
    look_at = _to_look_at(state)
    if look_at:
        paragraphs.append(Paragraph("To look at again (type the command)", "title"))
        paragraphs += [Paragraph(text) for text in look_at]
    return [*paragraphs, *_returning(state)]


def _returning(state: State) -> list[Paragraph]:
    """How much of what was asked returns on which day: motifs in other positions, and cards.

    A card counts for the first of its days. Motifs without an unseen position are named.
    """
    days: dict[tuple[date, date], Counter[str]] = {}
    used_up: dict[str, dict[str, None]] = {}
    for attempt in state.done:
        coming: list[Learnt] = []
        for given in attempt.given:
            item = attempt.task.items.get(given.ask, "")
            if given.memory is not None and item in state.used_up:
                how = _how_it_returns(given.memory, item, state.used_up)
                used_up.setdefault(how, {})[_about(attempt, given)[0]] = None
            elif given.memory is not None:
                coming.append(given.memory)
        if coming:
            first = min(coming, key=_return_of)
            what = "motif" if isinstance(first, StrandState) else "card"
            days.setdefault(_return_of(first), Counter())[what] += 1
    lines = [
        f"{listed([counted(number, what) for what, number in sorted(days[pair].items())])} {when(*pair)}"
        for pair in sorted(days)
    ]
    lines += [f"{listed([*names])} {how}" for how, names in used_up.items()]
    return [Paragraph("What returns", "title"), *map(Paragraph, lines)] if lines else []


def _about(attempt: Attempt, given: Given) -> list[str]:
    """What an answer is told under: the motifs of the card, or the ask if it doesn't depend on them."""
    return _titles(attempt) if ASKS[given.ask].by_motif else [ASKS[given.ask].title]


def _titles(attempt: Attempt) -> list[str]:
    """The titles of the card's motifs, or why there is none to show."""
    if attempt.keeps_secret:
        return ["motif not asked yet"]
    card = attempt.task.card
    motifs = dict.fromkeys(tag.motif for tag in ([card.lookalike] if card.lookalike else card.motifs))
    return [motif_title(motif) for motif in motifs] or ["no motif named"]


def _how_it_went(answers: Sequence[tuple[Attempt, Given]]) -> str:
    """How many answers at first sight were right. The others say nothing of a skill and are only counted."""
    fresh = [given.grade in RIGHT_GRADES for attempt, given in answers if attempt.task.first_sight]
    seen = len(answers) - len(fresh)
    told = [f"{sum(fresh)} of {len(fresh)} right"] if fresh else []
    return "; ".join([*told, *([f"{seen} seen before"] if seen else [])])


def _to_look_at(state: State) -> list[str]:
    """The cards that went worst, the worst first: what to type to see each again, and what it is about."""
    worst = [
        (min(given.score for given in attempt.given), attempt)
        for attempt in state.done
        if any(given.grade in ("missed", "helped") for given in attempt.given)
    ]
    texts = []
    for _, attempt in sorted(worst, key=lambda pair: pair[0]):
        card = attempt.task.card
        origin = f" ({card.origin})" if card.origin else ""
        command = show_command(card, state.student, state.scorebook)
        texts.append(f"{command}: {safe(f'{listed(_titles(attempt))}{origin}')}")
    return texts
