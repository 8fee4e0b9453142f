"""`rondeau students`: adds students to a scorebook, lists them, and notes what is said of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from decks.commands import SUMMARIES, options
from decks.commands.terminal import MESSAGE_LIMIT, print_json, table, warn
from decks.tasks.card import RECALL_STEPS, RecallStep
from patterns.reading.text import safe

if TYPE_CHECKING:
    from decks.memory.progress import Rate
    from decks.memory.results import Results
    from decks.scorebook.book import Scorebook
    from decks.scorebook.students import Student


def _of_a_student(option: str, name: str, metavar: str, text: str) -> Callable[..., Callable[..., object]]:
    return click.option(option, name, metavar=metavar, multiple=True, help=f"{text} (may be repeated).")


@click.command("students", help=SUMMARIES["students"])
@_of_a_student("--add", "names", "NAME", "Add a student first")
@_of_a_student("--alias", "aliases", "NAME=PGN-NAME", "Note by which name PGN files call a student")
@_of_a_student("--no-alias", "dropped", "NAME=PGN-NAME", "PGN files don't call a student so")
@_of_a_student("--rename", "renamed", "NAME=NEW", "Give a student another name; everything else stays")
@_of_a_student("--retire", "retired", "NAME", "A student is here no longer; the log stays")
@_of_a_student("--back", "back", "NAME", "A retired student is here again")
@_of_a_student("--deck", "given", "NAME=DIR", "A deck is a student's own: no one else is asked from it")
@_of_a_student("--no-deck", "taken", "NAME=DIR", "A deck is a student's own no longer")
@_of_a_student(
    "--recall",
    "steps",
    "NAME=STEP",
    f"How firmly a student remembers cards whose decks don't say it: {', '.join(RECALL_STEPS)}",
)
@click.option("--results", is_flag=True, help="Tell what each student has done in the last four weeks.")
@options.scorebook
@options.as_json
def command(
    names: Sequence[str],
    aliases: Sequence[str],
    dropped: Sequence[str],
    renamed: Sequence[str],
    retired: Sequence[str],
    back: Sequence[str],
    given: Sequence[str],
    taken: Sequence[str],
    steps: Sequence[str],
    results: bool,
    scorebook: Path,
    as_json: bool,
) -> None:
    from decks.scorebook.book import Scorebook

    changes = [names, aliases, dropped, renamed, retired, back, given, taken, steps]
    with Scorebook.open(scorebook) if any(changes) else Scorebook.open_to_read(scorebook) as book:
        if any(changes):
            with book.all_or_nothing():
                for name in names:
                    book.student(name)
                for text in renamed:
                    book.rename(*split(text, book, "--rename", "another name"))
                for text in aliases:
                    student, alias = split(text, book, "--alias", "a name in PGN files")
                    if other := book.add_alias(student, alias):
                        warn(f"{safe(alias)} is an alias of {safe(other)} no longer")
                for text in dropped:
                    student, alias = split(text, book, "--no-alias", "a name in PGN files")
                    if not book.remove_alias(student, alias):
                        raise click.BadParameter(
                            f"{safe(alias)!r} is no alias of this student", param_hint="'--no-alias'"
                        )
                for text in given:
                    student, folder = split(text, book, "--deck", "a deck folder")
                    book.give_deck(student, registered(book, Path(folder)))
                for text in taken:
                    student, folder = split(text, book, "--no-deck", "a deck folder")
                    book.take_deck(student, registered(book, Path(folder)))
                for text in steps:
                    student, step = split(text, book, "--recall", "a step")
                    book.set_recall(student, named_step(step))
                for name, is_retired in [
                    *((name, True) for name in retired),
                    *((name, False) for name in back),
                ]:
                    book.retire(numbered(name, book, "--retire" if is_retired else "--back"), is_retired)
        roster = book.roster()
        decks = {deck: title for deck, title, _ in book.decks()}
        found = {each.number: results_in(book, each.number) for each in roster} if results else {}
    if as_json:
        print_json({"students": [as_object(each, decks, found.get(each.number)) for each in roster]})
    elif results:
        click.echo("\n".join(as_table([each for each in roster if not each.retired], found)))
    else:
        click.echo("\n".join(as_line(each, decks) for each in roster) or "no students yet")


def numbered(name: str, book: Scorebook, option: str) -> int:
    """The number of the student with this name or number. A usage error if there is none."""
    known = book.known_student(name)
    if known is None:
        raise click.BadParameter(f"there is no student {safe(name)!r}", param_hint=f"'{option}'")
    return book.student(known)


def split(text: str, book: Scorebook, option: str, what: str) -> tuple[int, str]:
    """The student (a number) and the rest of `NAME=REST`. A usage error if it is none, or names nobody."""
    name, _, rest = text.partition("=")
    if book.known_student(name) is None or not rest.strip():
        wrong = f"{safe(text)!r} is not the name of a student, =, and {what}"
        raise click.BadParameter(wrong, param_hint=f"'{option}'")
    return numbered(name, book, option), rest.strip()


def named_step(text: str) -> RecallStep:
    """The step of this name. A usage error if there is none."""
    for step in RECALL_STEPS:
        if step == text:
            return step
    raise click.BadParameter(f"a step is one of {', '.join(RECALL_STEPS)}", param_hint="'--recall'")


def registered(book: Scorebook, folder: Path) -> str:
    """The uuid of the deck in a folder, which the scorebook knows from now on."""
    from decks.cards.deck import Deck

    deck = Deck.open(folder)
    book.register_deck(deck.settings.deck, deck.settings.title, str(folder.resolve()))
    return deck.settings.deck


def results_in(book: Scorebook, student: int) -> Results:
    """What a student has done in the last weeks, by the scorebook."""
    from decks.memory.results import PERIOD, results_of
    from decks.today import study_day_now

    today = study_day_now(book, student, datetime.now())
    days = book.study_days(student, today - PERIOD)
    states, memories = book.strand_states(student), book.memory_of(student)
    return results_of(days, book.strand_logs(student), states, memories, today)


def as_line(student: Student, decks: Mapping[str, str]) -> str:
    """A student in a line: the number, the name, and what is noted. `decks`: titles by uuid."""
    noted = [
        *(["retired"] if student.retired else []),
        *([f"in PGN files {'; '.join(student.aliases)}"] if student.aliases else []),
        *(
            [f"own decks {'; '.join(decks.get(deck, deck) for deck in student.decks)}"]
            if student.decks
            else []
        ),
        *([f"recall {student.recall}"] if student.recall != "usual" else []),
    ]
    more = f" ({', '.join(noted)})" if noted else ""
    return safe(f"{student.number:>4}  {student.name}{more}", MESSAGE_LIMIT)


def as_table(students: Sequence[Student], found: Mapping[int, Results]) -> list[str]:
    """The results of the last weeks, a line for each student."""
    from decks.memory.results import PERIOD
    from decks.memory.strands import TIERS
    from decks.telling.progress_told import item_title

    heads = ["student", "days", "minutes a day", *(f"tier {tier}" for tier in TIERS), "stuck on"]
    rows = [
        [
            safe(each.name),
            str(results.days),
            f"{results.minutes:.0f}" if results.days else "-",
            *(in_few_words(results.at_first_sight[tier]) for tier in TIERS),
            safe(", ".join(map(item_title, results.stuck)) or "-", MESSAGE_LIMIT),
        ]
        for each in students
        for results in [found[each.number]]
    ]
    if not rows:
        return ["no students yet"]
    told = f"The last {PERIOD.days} days. Under a tier: how many new positions of this tier were right."
    return [*table(heads, rows), "", told]


def in_few_words(rate: Rate) -> str:
    """How many were right, once there are enough for a rate; before that how many were asked."""
    if rate.interval is None:
        return f"{rate.asked} asked" if rate.asked else "-"
    return f"{rate.right} of {rate.asked}"


def as_object(student: Student, decks: Mapping[str, str], results: Results | None) -> dict[str, object]:
    """A student for JSON."""
    found: dict[str, object] = {
        "student": student.number,
        "name": student.name,
        "retired": student.retired,
        "recall": student.recall,
        "aliases": list(student.aliases),
        "decks": [{"deck": deck, "title": decks.get(deck, "")} for deck in student.decks],
    }
    if results is not None:
        found["results"] = {
            "days": results.days,
            "minutes_a_day": round(results.minutes, 2),
            "first_sight": {
                str(tier): {"right": rate.right, "asked": rate.asked, "interval": rate.interval}
                for tier, rate in results.at_first_sight.items()
            },
            "stuck": [str(item) for item in results.stuck],
        }
    return found
