"""What is said about a card and the answers to it: motifs, line, the coach's comments, grades. Pure."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import TYPE_CHECKING

from decks.asks import play
from decks.asks.ask import Secret
from decks.asks.catalogue import ASKS
from decks.tasks.card import Grade, MotifTag
from decks.tasks.evidence import key_findings, motif_title
from decks.tasks.hints import men_named
from decks.tasks.lines import numbered
from decks.tasks.motif_made import line_wins, motif_made, own_motif, refutation
from decks.tasks.task import Task
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
    """What a card's moves do with its motifs, or else the motifs as the position shows them.

    The position comes first where no move is asked, and alone while the moves are kept back. Of a motif that
    only seems to be there, what refutes it, and what the right move does instead.
    """
    card = task.card
    if "motif" in secrets:
        return [MOTIF_KEPT_BACK] if card.motifs or card.lookalike else []
    keeps_moves, texts = "line" in secrets, list[str]()
    for tag in card.motifs:
        stands, made = _standing(task, tag), "" if keeps_moves else motif_made(task, tag)
        moves = [f"{_for_side(tag)}{safe(made, COMMENT_LIMIT)}"] if made else []
        is_played = play.ASK.id in card.asks
        texts += (moves or stands if is_played else stands or moves) or _by_its_men(task, tag)
    return [*texts, *(_seeming(task, card.lookalike, keeps_moves) if card.lookalike else ())]


def _standing(task: Task, tag: MotifTag) -> list[str]:
    """The motif as the position shows it with the men of the card's evidence, if the card names any."""
    return [
        f"{_for_side(finding)}: {safe(finding.note)}"
        for finding in dict.fromkeys(key_findings(task))
        if (finding.motif, finding.side) == (tag.motif, tag.side)
    ]


def _by_its_men(task: Task, tag: MotifTag) -> list[str]:
    """A motif that neither the position nor a line shows, as with a coach's label.

    Of a mistake that a comment explains there is nothing to add.
    """
    card = task.card
    if card.root in card.comments:
        return []
    men = men_named(card.board, sorted(card.evidence.get(tag.motif, ())))
    return [f"{_for_side(tag)}{f': {men}' if men else ''}."]


def _seeming(task: Task, tag: MotifTag, keeps_moves: bool) -> Iterator[str]:
    """What refutes a motif that only seems to be there, and what the right move does.

    While the moves are kept back, only the men that refute it.
    """
    men = task.card.evidence.get(tag.motif, ())
    by_men = f"{men_named(task.card.board, men)} {'refutes' if len(men) == 1 else 'refute'} it" if men else ""
    told = by_men if keeps_moves else refutation(task) or by_men
    yield f"{_for_side(tag)}, only seems to be there{f': {safe(told)}' if told else ''}."
    if keeps_moves:
        return
    motif, made = own_motif(task)
    if motif:
        yield f"{_for_side(replace(tag, motif=motif))}{safe(made, COMMENT_LIMIT)}"
    elif won := line_wins(task):
        yield won


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
    told = "" if keeps_motif else _bare(" ".join(evidence_in_words(task, ())))
    moves = ["", *numbered(card.board, card.line)]
    return [
        safe(
            f"Coach, on {moves[ply]}: {comment}" if 0 < ply < len(moves) else f"Coach: {comment}",
            COMMENT_LIMIT,
        )
        for ply, comment in sorted(card.comments.items())
        if keeps_motif or _bare(comment) not in told
    ]


def _bare(text: str) -> str:
    """The letters and digits of a text: line breaks and punctuation don't make it another sentence."""
    return "".join(filter(str.isalnum, text.casefold()))
