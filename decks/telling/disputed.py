"""A grade that a student contests, as a coach has to see it to decide. Pure."""

from __future__ import annotations

import json
from collections.abc import Collection
from dataclasses import dataclass

import chess

from decks.asks.catalogue import ASKS
from decks.memory.answers import Answer, Contest
from decks.tasks.card import Grade
from decks.tasks.lines import numbered
from decks.tasks.task import Task
from decks.telling.about_card import GRADE_WORDS
from decks.telling.board_text import ascii_board
from decks.telling.card_page import ANSWER_LIMIT, answer_in_words, show_command
from decks.telling.shown import BoardView
from patterns.engines.scores import PositionVerdicts
from patterns.reading.text import counted, safe

LEAST_LETTERS = 4
"""Letters of an id that are shown at least, so that it stays the same while few others come."""

SENTENCE_LIMIT = 1000
"""Characters of a reason that are shown."""


@dataclass(frozen=True)
class Dispute:
    """A contest, its answer as it counts now, and what is known of the card.

    `name`: the first letters of its id, which no other contest has. `student`: by name. `contested`: the
    grade that the claim is about. `task`: None if the deck or the card is no longer there. `decided`: the
    reason of the answer's last correction, if any. `is_open`: whether the claim waits for a decision.
    """

    name: str
    student: str
    contest: Contest
    answer: Answer
    contested: Grade
    deck_title: str = ""
    task: Task | None = None
    decided: str = ""
    is_open: bool = True


def names(ids: Collection[str]) -> dict[str, str]:
    """By id, its shortest beginning that no other of these ids has.

    >>> names(["7c1e30aa", "7c1e41bb", "90d21f00"])
    {'7c1e30aa': '7c1e3', '7c1e41bb': '7c1e4', '90d21f00': '90d2'}
    """
    return {id_: _beginning(id_, [other for other in ids if other != id_]) for id_ in ids}


def _beginning(id_: str, others: Collection[str]) -> str:
    lengths = range(LEAST_LETTERS, len(id_))
    return next((id_[:n] for n in lengths if not any(other.startswith(id_[:n]) for other in others)), id_)


def dispute_lines(dispute: Dispute, scorebook: str = "") -> list[str]:
    """The dispute as lines of text, with a board. `scorebook`: as in `show_command`."""
    answer, task = dispute.answer, dispute.task
    since = f"{dispute.contest.time.astimezone():%Y-%m-%d %H:%M}"
    claim = f"'{GRADE_WORDS[dispute.contested]}' should be '{GRADE_WORDS[dispute.contest.grade]}'"
    lines = [safe(f"{dispute.name}  {dispute.student}: {claim}, since {since}")]
    home = dispute.deck_title or "a deck that is not known here"
    again = f" ({show_command(task.card, dispute.student, scorebook)} --all)" if task else ""
    lines += [safe(f"Card {answer.card_id}, from {home}{again}"), safe(f"FEN {answer.fen}")]
    if task is not None:
        lines += ["", *ascii_board(BoardView(task.card.board, task.card.board.turn)), ""]
    lines.append(safe(f"{ASKS[answer.ask].title.capitalize()}: {answer_of(dispute)}", ANSWER_LIMIT))
    if said := verdicts_in_words(dispute):
        lines.append(safe(f"The verdicts: {said}", SENTENCE_LIMIT))
    if not dispute.is_open:
        decided = f"Decided: the grade is '{GRADE_WORDS[answer.grade]}' ({dispute.decided})"
        lines.append(safe(decided, SENTENCE_LIMIT))
    elif dispute.decided:
        lines.append(safe(f"Decided before: {dispute.decided}", SENTENCE_LIMIT))
    return lines


def dispute_object(dispute: Dispute) -> dict[str, object]:
    """The dispute for JSON; what is not known is null."""
    contest, answer = dispute.contest, dispute.answer
    return {
        "dispute": dispute.name,
        "contest_id": contest.contest_id,
        "student": dispute.student,
        "deck": answer.deck,
        "card": answer.card_id,
        "ask": answer.ask,
        "fen": answer.fen,
        "answer": answer_of(dispute),
        "grade": answer.grade,
        "claimed": contest.grade,
        "since": contest.time.isoformat(),
        "verdicts": verdicts_in_words(dispute) or None,
        "decided": dispute.decided or None,
        "open": dispute.is_open,
    }


def answer_of(dispute: Dispute) -> str:
    """What was answered: moves in SAN, squares, factors; nearly as it was kept if the card is not there."""
    task, answer = dispute.task, dispute.answer
    return _without_card(answer) if task is None else answer_in_words(task.card, answer)


def _without_card(answer: Answer) -> str:
    """Moves: the first in SAN, and those that followed replies which only the card knows in UCI."""
    raw, board = json.loads(answer.raw), chess.Board(answer.fen)
    legal = {move.uci() for move in board.legal_moves}
    if not isinstance(raw, list) or not raw or raw[0] not in legal:
        return answer.raw
    return ", then ".join([*numbered(board, (raw[0],)), *map(str, raw[1:])])


def verdicts_in_words(dispute: Dispute) -> str:
    """What the deck's verdicts say on the answer, by whom and how deep; empty if they say nothing."""
    task, answer = dispute.task, dispute.answer
    if task is None or answer.key_version != task.card.key_version:
        return ""
    mark = ASKS[answer.ask].mark_of_kept(task, json.loads(answer.raw))
    if mark is None:
        return ""
    refused = mark.refused(task)
    if refused is None:  # the coach's own word, which no engine gave
        return mark.reason(task)
    verdicts = task.verdicts[refused.board.epd()]
    return f"{mark.reason(task)} {by_whom(verdicts, (verdicts.best, refused.move))}"


def by_whom(verdicts: PositionVerdicts, moves: Collection[str]) -> str:
    """Which engine judged these moves (UCI), and how deep: `(Stockfish 15.1, 16 plies)`."""
    depth = min(verdicts.moves[move].depth for move in moves)
    return f"({verdicts.engine}, {counted(depth, 'ply', 'plies')})"
