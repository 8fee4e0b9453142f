"""One card again: board, questions, motifs, line, comments, verdicts, what the student answered. Pure."""

from __future__ import annotations

import json
from collections.abc import Collection, Sequence
from shlex import quote

from decks.asks.catalogue import ASKS, secrets_of
from decks.memory.answers import Answer
from decks.tasks.card import Card
from decks.tasks.lines import numbered
from decks.tasks.task import Task
from decks.telling.about_card import LINE_KEPT_BACK, WAITS, comments, evidence_in_words, grade_line
from decks.telling.board_text import ascii_board
from decks.telling.shown import BoardView
from decks.telling.verdicts_told import ruling_lines, verdict_lines
from patterns.reading.text import safe

ANSWER_LIMIT = 400
"""Characters of an answer that are shown."""


COMMAND_LIMIT = 1000
"""Characters of a command that are shown."""


def show_command(card: Card, student: str = "", scorebook: str = "") -> str:
    """What to type to see the card again.

    `student`, `scorebook`: the name and the file, empty where they need not be given.
    """
    given = (("--student", student), ("--scorebook", scorebook))
    options = (f" {option} {quote(value)}" for option, value in given if value)
    return safe(f"rondeau show {card.card_id}{''.join(options)}", COMMAND_LIMIT)


def card_page(
    task: Task,
    deck_title: str,
    answers: Sequence[Answer],
    contested: Collection[str],
    in_full: bool = False,
    student: str = "",
    scorebook: str = "",
) -> list[str]:
    """The page of a card, as lines of text.

    `answers`: the student's answers to it, oldest first; the last answer to each ask is shown. `contested`:
    ids of answers whose grade is contested. `in_full`: also what is not asked yet. `student`, `scorebook`: as
    in `show_command`.
    """
    card = task.card
    answered = {answer.ask for answer in answers}
    secrets = frozenset() if in_full else secrets_of(card, answered)
    lines = [safe(f"{card.card_id}, from {deck_title}"), *([safe(card.origin)] if card.origin else [])]
    lines += ["", *ascii_board(BoardView(card.board, card.board.turn)), ""]
    lines += [f"{_title(ask)}: {ASKS[ask].begin(task, '', True).question}" for ask in card.asks]
    lines += ["", *evidence_in_words(task, secrets)]
    if card.line:
        line = f"The line: {' '.join(numbered(card.board, card.line))}"
        lines.append(LINE_KEPT_BACK if "line" in secrets else line)
    lines += comments(task, secrets, card.asks if in_full else answered)
    if "line" not in secrets and (told := verdict_lines(task, _moves_played(answers))):
        lines += ["", *told, f"Checked: {safe(card.checked) or 'not yet'}", *ruling_lines(task)]
    if secrets:
        lines.append(f"To see everything: {show_command(card, student, scorebook)} --all")
    return [*lines, "", *_last_answers(card, answers, contested)]


def _moves_played(answers: Sequence[Answer]) -> list[str]:
    """The moves (UCI) of all answers that are moves."""
    kept = [json.loads(answer.raw) for answer in answers]
    return [move for raw in kept if isinstance(raw, list) for move in raw if isinstance(move, str)]


def _title(ask: str) -> str:
    return ASKS[ask].title.capitalize()


def _last_answers(card: Card, answers: Sequence[Answer], contested: Collection[str]) -> list[str]:
    last = {answer.ask: answer for answer in answers}
    if not last:
        return ["Your last answers: none yet."]
    lines = ["Your last answers"]
    for ask in sorted(last, key=lambda ask: ASKS[ask].place):
        answer = last[ask]
        graded = grade_line(ask, answer.grade, WAITS if answer.answer_id in contested else "")
        lines.append(safe(f"{answer.study_day}  {graded}: {answer_in_words(card, answer)}", ANSWER_LIMIT))
    return lines


def answer_in_words(card: Card, answer: Answer) -> str:
    """An answer from the log, if the card has not changed since then."""
    if answer.key_version != card.key_version:
        return "the card has changed since then"
    return ASKS[answer.ask].in_words(card, json.loads(answer.raw))
