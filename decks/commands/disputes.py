"""`rondeau disputes`: lists the grades that students contest, and decides them, also anew."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from decks.commands import SUMMARIES, options
from decks.commands.terminal import print_json, warn
from patterns.reading.text import counted, safe

if TYPE_CHECKING:
    from decks.cards.deck import Deck
    from decks.review.rulings import SettledMoves
    from decks.scorebook.book import Scorebook
    from decks.tasks.task import Task
    from decks.telling.disputed import Dispute

ACCEPTED = "accepted by the coach"
REFUSED = "refused by the coach"


@click.command("disputes", help=SUMMARIES["disputes"])
@click.option("--student", metavar="NAME", help="Only those of this student (name or number). Default: all.")
@click.option(
    "--deck", metavar="DIR", type=click.Path(path_type=Path), help="Only those about cards of this deck."
)
@click.option(
    "--accept",
    "accepted",
    metavar="ID",
    multiple=True,
    help="Give the answer the grade that is claimed (may be repeated).",
)
@click.option(
    "--refuse", "refused", metavar="ID", multiple=True, help="Leave the grade as it is (may be repeated)."
)
@click.option("--reason", metavar="TEXT", help="Why; it is kept in the log.")
@click.option(
    "--all", "with_decided", is_flag=True, help="Also list those decided before, which can be decided anew."
)
@options.scorebook
@options.as_json
def command(
    student: str | None,
    deck: Path | None,
    accepted: Sequence[str],
    refused: Sequence[str],
    reason: str | None,
    with_decided: bool,
    scorebook: Path,
    as_json: bool,
) -> None:
    from decks.cards.deck import Deck

    if reason is not None and not (accepted or refused):
        raise click.UsageError("--reason goes with --accept or --refuse")
    name = options.student_named(student, scorebook) if student else None
    only = Deck.open(deck) if deck else None
    with opened(scorebook, options.names_scorebook()) as book:
        disputes = all_disputes(book, only)
        decisions = {
            **{each.contest.answer_id: (each, True) for each in chosen(disputes, accepted, "--accept")},
            **{each.contest.answer_id: (each, False) for each in chosen(disputes, refused, "--refuse")},
        }
        if len(decisions) < len(accepted) + len(refused):
            raise click.UsageError("one answer has one decision: accept it or refuse it, once")
        for dispute, accept in decisions.values():
            decide(book, dispute, accept, reason)
    listed = [
        each
        for each in disputes
        if each.contest.answer_id not in decisions
        and (each.is_open or with_decided)
        and name in (None, each.student)
        and (only is None or each.answer.deck == only.settings.deck)
    ]
    if as_json:
        print_json(as_object(listed, list(decisions.values())))
    else:
        click.echo("\n".join(as_text(listed, list(decisions.values()), scorebook)))


@contextmanager
def opened(path: Path, named: bool) -> Iterator[Scorebook]:
    """The scorebook. If nobody `named` it and no deck has been used in it, the demo deck's instead."""
    from decks.scorebook.book import Scorebook
    from decks.today import DEMO_SCOREBOOK

    with Scorebook.open(path) as book:
        own = path.with_name(DEMO_SCOREBOOK)
        if named or book.decks() or not own.exists():
            yield book
            return
    warn(f"No deck yet: these are answers to the demo deck, kept in {safe(own)}.")
    with Scorebook.open(own) as book:
        yield book


def all_disputes(book: Scorebook, known: Deck | None) -> list[Dispute]:
    """Every dispute, the open ones first, oldest first. `known`: a deck that is open already."""
    from decks.review.rulings import SettledMoves
    from decks.telling.disputed import Dispute, names

    waiting = [(contest, answer, answer.grade, True) for contest, answer in book.disputes()]
    found = [*waiting, *((*decided, False) for decided in book.decided_disputes())]
    students = book.students()
    settled = SettledMoves(book.settled())
    short = names([contest.contest_id for contest, *_ in found])
    decks = {uuid: (title, deck_in(Path(folder))) for uuid, title, folder in book.decks()} if found else {}
    if known is not None:
        decks[known.settings.deck] = known.settings.title, known
    reasons = {
        correction.answer_id: correction.reason
        for number in dict.fromkeys(answer.student for _, answer, *_ in found)
        for correction in book.corrections(number)
        if correction.grade is not None and not correction.unvoids
    }
    disputes = []
    for contest, answer, contested, is_open in found:
        title, deck = decks.get(answer.deck or "", ("", None))
        disputes.append(
            Dispute(
                name=short[contest.contest_id],
                student=students[answer.student],
                contest=contest,
                answer=answer,
                contested=contested,
                deck_title=title,
                task=task_of(deck, answer.card_id, settled) if deck else None,
                decided=reasons.get(answer.answer_id, ""),
                is_open=is_open,
            )
        )
    return disputes


def deck_in(folder: Path) -> Deck | None:
    """The deck in this folder; None if it is not there or has faults, which `rondeau check` names."""
    from decks.cards.deck import Deck
    from decks.cards.faults import DeckError

    try:
        return Deck.open(folder)
    except DeckError:
        return None


def task_of(deck: Deck, card_id: str, settled: SettledMoves) -> Task | None:
    """The card as a task, to tell about answers to it; None if the deck no longer has it."""
    from decks.tasks.task import Task

    card = next((card for card in deck.cards if card.card_id == card_id), None)
    if card is None:
        return None
    uuid = deck.settings.deck
    rulings = settled.on(uuid, card, deck.verdicts)
    return Task(uuid, card, card.asks, deck.verdicts, rulings=rulings)


def chosen(disputes: Sequence[Dispute], named: Sequence[str], option: str) -> list[Dispute]:
    """The disputes whose ids begin so. A usage error for an id that no dispute has, or several have."""
    found = []
    for name in named:
        fitting = [each for each in disputes if name and each.contest.contest_id.startswith(name.lower())]
        if len(fitting) != 1:
            several = ", ".join(each.name for each in fitting)
            wrong = f"several begin so: {several}" if fitting else "no dispute has this id"
            raise click.BadParameter(f"{safe(name)}: {wrong}", param_hint=f"'{option}'")
        found += fitting
    return found


def decide(book: Scorebook, dispute: Dispute, accept: bool, reason: str | None) -> None:
    """Give the answer the claimed grade, or the one that was contested; either way it is decided.

    A decision made before is replaced.
    """
    grade = dispute.contest.grade if accept else dispute.contested
    why = reason or (ACCEPTED if accept else REFUSED)
    now = datetime.now().astimezone()
    book.decide(dispute.contest.contest_id, grade, why, now, again=not dispute.is_open)


def as_text(
    listed: Sequence[Dispute], decisions: Sequence[tuple[Dispute, bool]], scorebook: Path
) -> list[str]:
    """What was decided now; without that, every dispute listed."""
    from decks.telling.disputed import dispute_lines
    from decks.today import named_scorebook

    if decisions:
        waiting = sum(each.is_open for each in listed)
        open_still = f"{counted(waiting, 'dispute')} still open" if waiting else "no dispute is open now"
        return [*(decision_line(*each) for each in decisions), open_still]
    if not listed:
        return ["no disputes"]
    lines = [line for each in listed for line in [*dispute_lines(each, named_scorebook(scorebook)), ""]]
    return [*lines, "To decide: rondeau disputes --accept ID, or --refuse ID, with --reason TEXT"]


def decision_line(dispute: Dispute, accept: bool) -> str:
    from decks.telling.about_card import GRADE_WORDS

    grade = dispute.contest.grade if accept else dispute.contested
    changes = grade != dispute.answer.grade
    done = f"{'accepted' if accept else 'refused'}: the grade {'is now' if changes else 'stays'}"
    whose = f"{dispute.student}, card {dispute.answer.card_id}"
    return safe(f"{dispute.name}  {whose}, {done} '{GRADE_WORDS[grade]}'")


def as_object(listed: Sequence[Dispute], decisions: Sequence[tuple[Dispute, bool]]) -> dict[str, object]:
    """The disputes listed, and what was decided now, as a JSON object."""
    from decks.telling.disputed import dispute_object

    decided = [{"dispute": each.name, "accepted": accept} for each, accept in decisions]
    return {"disputes": [dispute_object(each) for each in listed], "decided": decided}
