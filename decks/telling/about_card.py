"""What is said about a card and the answers to it: motifs, line, the coach's comments, grades. Pure."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING

from decks.asks.ask import Secret
from decks.asks.catalogue import ASKS
from decks.tasks.card import Grade, MotifTag
from decks.tasks.evidence import key_findings, motif_title
from decks.tasks.hints import men_named
from decks.tasks.lines import numbered
from decks.tasks.task import Task
from decks.telling.motif_made import motif_made
from patterns.reading.text import safe

if TYPE_CHECKING:
    from patterns.motifs.findings import Finding

COMMENT_LIMIT = 2000
"""Characters of a coach's comment that are shown."""

MOTIF_KEPT_BACK = "The motif is not shown before you have been asked for it."
LINE_KEPT_BACK = "The line is not shown before you have been asked for it."

WAITS = "contested, waits for your coach"
LOOKED_AT = "contested; an engine looks again, go on meanwhile"

GRADE_WORDS: Mapping[Grade, str] = MappingProxyType(
    {
        "missed": "missed",
        "helped": "with help",
        "partly": "partly right",
        "found": "found",
        "fluent": "found quickly",
    }
)


def grade_line(ask: str, grade: Grade, remark: str = "") -> str:
    """The grade of an answer, and a remark on it: `Move: missed (contested, waits for your coach)`."""
    return f"{ASKS[ask].title.capitalize()}: {GRADE_WORDS[grade]}{f' ({remark})' if remark else ''}"


def evidence_in_words(task: Task, secrets: Collection[Secret]) -> list[str]:
    """The card's motifs as the position shows them, or else what the move does that makes them.

    Of a motif that only seems to be there, the men that refute it.
    """
    if "motif" in secrets:
        return [MOTIF_KEPT_BACK] if task.card.motifs or task.card.lookalike else []
    found = key_findings(task)
    texts = list(dict.fromkeys(f"{_for_side(finding)}: {safe(finding.note)}" for finding in found))
    for tag in task.card.motifs:
        evidence = {*task.card.evidence.get(tag.motif, ())}
        if not any(finding.motif == tag.motif and _is_about(finding, evidence) for finding in found):
            texts.append(f"{_for_side(tag)}{safe(motif_made(task, tag), COMMENT_LIMIT)}")
    if task.card.lookalike is not None:
        men = task.card.evidence.get(task.card.lookalike.motif, ())
        refuted = f": {men_named(task.card.board, men)} {'refutes' if len(men) == 1 else 'refute'} it"
        texts.append(f"{_for_side(task.card.lookalike)}, only seems to be there{refuted if men else ''}.")
    return texts


def _is_about(finding: Finding, evidence: Collection[str]) -> bool:
    """Whether a finding has one of the squares that show the card's motif, if the card names any."""
    squares = {*finding.actors, *finding.targets, *finding.squares}
    return not evidence or not squares.isdisjoint(evidence)


def _for_side(shown: Finding | MotifTag) -> str:
    return f"{motif_title(shown.motif).capitalize()}, for {shown.side.capitalize()}"


def comments(task: Task, secrets: Collection[Secret], answered: Collection[str]) -> list[str]:
    """The coach's comments in the order of the moves, without what the evidence says already.

    None while they could give away something that must stay hidden. `answered`: ids of the card's answered
    asks.
    """
    card, keeps_motif = task.card, "motif" in secrets
    if card.line and "line" in secrets:
        return []
    if keeps_motif and not any(ASKS[ask].frees_comments for ask in answered):
        return []
    notes = {_bare(finding.note) for finding in key_findings(task)}
    moves = ["", *numbered(card.board, card.line)]
    return [
        safe(
            f"Coach, on {moves[ply]}: {comment}" if 0 < ply < len(moves) else f"Coach: {comment}",
            COMMENT_LIMIT,
        )
        for ply, comment in sorted(card.comments.items())
        if keeps_motif or _bare(comment) not in notes
    ]


def _bare(text: str) -> str:
    """The letters and digits of a text: line breaks and punctuation don't make it another sentence."""
    return "".join(filter(str.isalnum, text.casefold()))
