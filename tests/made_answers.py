"""Answers to save, for tests of what keeps answers. A new process can import this quickly."""

from __future__ import annotations

import json
import os
import sys
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from uuid import UUID, uuid4, uuid5

import chess

from decks.memory.answers import Answer, CardItem
from decks.scorebook.book import Scorebook
from decks.scorebook.file import restore
from decks.tasks.card import Grade

DECK = "5a17aa25-0000-4000-8000-000000000001"
DAY = date(2031, 5, 5)


def an_answer(
    number: int,
    grade: Grade = "found",
    day: int = 0,
    *,
    card: str = "heron-rook",
    ask: str = "play",
    seconds: float = 20.0,
) -> Answer:
    """The answer with this number, `day` days after DAY. A higher number is a later minute."""
    study_day = DAY + timedelta(days=day)
    return Answer(
        answer_id=str(uuid5(UUID(DECK), str(number))),
        student=1,
        deck=DECK,
        item=str(CardItem(DECK, card, ask)),
        card_id=card,
        ask=ask,
        fen=chess.STARTING_FEN,
        key_version="0123456789ab",
        raw=json.dumps({"moves": ["d1d8"], "words": "Türme tauschen"}),
        score=0.875,
        grade=grade,
        seconds=seconds,
        hints=1,
        study_day=study_day,
        time=datetime.combine(study_day, time(18), tzinfo=UTC) + timedelta(minutes=number),
        first_sight=True,
    )


TOUCHES_FILES = ("open", "os.", "shutil.", "sqlite3.")
"""Beginnings of the audit events that Python raises before it does something to a file."""


def restore_until_killed(scorebook: Path, source: Path, killed_at: int) -> None:
    """Restore a copy, and end at once where a file is touched for the `killed_at`th time (from 1)."""
    left = killed_at

    def count_down(event: str, _: object) -> None:
        nonlocal left
        if event.startswith(TOUCHES_FILES):
            left -= 1
            if not left:
                os._exit(9)

    sys.addaudithook(count_down)
    restore(scorebook, source)
    os._exit(0)


def save_answers_until_killed(scorebook: Path, acknowledgements: Path) -> None:
    """Save one answer after another, and write down the id of each once it is saved."""
    with Scorebook.open(scorebook) as book, acknowledgements.open("w") as saved:
        number = 0
        while True:
            number += 1
            answer = replace(an_answer(number, card=str(number)), answer_id=str(uuid4()))
            book.save_answer(answer)
            print(answer.answer_id, file=saved, flush=True)
