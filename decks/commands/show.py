"""`rondeau show`: shows a card again, with the student's last answers."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING
from uuid import uuid4

import click

from decks.commands import SUMMARIES, options
from patterns.reading.text import safe

if TYPE_CHECKING:
    from decks.scorebook.book import Scorebook
    from decks.tasks.card import Card


@click.command("show", help=SUMMARIES["show"])
@click.argument("card_id", metavar="CARD")
@options.deck
@click.option("--all", "in_full", is_flag=True, help="Also show what the card has yet to ask.")
@options.student
@options.scorebook
def command(card_id: str, deck: Path | None, in_full: bool, student: str | None, scorebook: Path) -> None:
    from decks.review.rulings import SettledMoves
    from decks.scorebook.book import DEFAULT_STUDENT
    from decks.tasks.task import Task
    from decks.telling.card_page import card_page
    from decks.today import named_scorebook, open_decks

    name = options.student_named(student, scorebook) if student else DEFAULT_STUDENT
    with open_decks(deck, scorebook, name) as (book, decks):
        found = [(each, judged) for each in decks if (judged := each.card(card_id))]
        if len(found) != 1:
            places = sorted(safe(each.folder) for each in ([each for each, _ in found] or decks))
            raise click.ClickException(_not_one(card_id, bool(found), places))
        ((home, judged),) = found
        card = judged.card
        number, uuid = book.student(name), home.settings.deck
        _note_display(book, number, uuid, card)
        answers = [answer for answer in book.answers(number, deck=uuid) if answer.card_id == card_id]
        contested = {contest.answer_id for contest in book.open_contests(number)}
        settled = SettledMoves(book.settled())
    task = Task(uuid, card, card.asks, judged.verdicts, rulings=settled.on(uuid, card, judged.verdicts))
    whose, book_named = name if student else "", named_scorebook(scorebook)
    page = card_page(task, home.settings.title, answers, contested, in_full, whose, book_named)
    click.echo("\n".join(page))


def _note_display(book: Scorebook, student: int, deck: str, card: Card) -> None:
    """From now on the student has seen this position, so that it is no new one any more."""
    from decks.memory.answers import Display
    from decks.today import study_day_now

    now = datetime.now().astimezone()
    day = study_day_now(book, student, now)
    known = deck if any(each == deck for each, _, _ in book.decks()) else None
    book.save_display(Display(str(uuid4()), student, known, card.card_id, card.fen, "looked up", day, now))


def _not_one(card_id: str, is_found: bool, places: list[str]) -> str:
    if is_found:
        return f"several decks have a card {safe(card_id)}: {', '.join(places)}. Choose one with --deck DIR"
    return f"there is no card {safe(card_id)} in {', '.join(places)}"
