"""Options that several commands have in common."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

as_json = click.option("--json", "as_json", is_flag=True, help="Print one JSON object and nothing else.")


def _scorebook(ctx: click.Context, parameter: click.Parameter, value: Path | None) -> Any:
    from decks.scorebook.file import default_path

    return value or default_path()


scorebook = click.option(
    "--scorebook",
    metavar="FILE",
    type=click.Path(path_type=Path),
    callback=_scorebook,
    help="Scorebook to use. Default: RONDEAU_SCOREBOOK, or the one in your data folder.",
)


def names_scorebook() -> bool:
    """Whether the command line that runs now says which scorebook to use."""
    source = click.get_current_context().get_parameter_source("scorebook")
    return source is click.core.ParameterSource.COMMANDLINE


engine = click.option(
    "--engine",
    metavar="PROGRAM",
    help="UCI engine to use. Default: RONDEAU_ENGINE, or one found on this system.",
)

depth = click.option(
    "--depth",
    metavar="PLIES",
    type=click.IntRange(1, 99),
    help="Search depth for the moves near the best.",
)

workers = click.option(
    "--workers",
    metavar="N",
    type=click.IntRange(1, 256),
    help="Number of engines that work at the same time. Default: one for each core.",
)

deck = click.option(
    "--deck",
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="Look only in this deck. Default: every deck used before.",
)

student = click.option(
    "--student",
    metavar="NAME",
    help="Name, beginning of the name, or number of a student. Default: yourself.",
)


def practising(text: str | None, scorebook: Path) -> str:
    """The student who is asked: as `named_or_yourself`. A usage error for one who has retired."""
    from decks.scorebook.book import Scorebook
    from patterns.reading.text import safe

    name = named_or_yourself(text, scorebook)
    if text is None:
        return name
    with Scorebook.open(scorebook) as book:
        if any(each.name == name and each.retired for each in book.roster()):
            raise click.BadParameter(
                f"{safe(name)} has retired: `rondeau students --back NAME`", param_hint="'--student'"
            )
    return name


def named_or_yourself(text: str | None, scorebook: Path) -> str:
    """As `student_named`; None: yourself.

    A usage error if others practise with this scorebook and you never did: somebody forgot to say the name.
    """
    from decks.scorebook.book import DEFAULT_STUDENT, Scorebook
    from patterns.reading.text import safe
    from patterns.words.wording import listed

    if text is not None:
        return student_named(text, scorebook)
    if not scorebook.exists():
        return DEFAULT_STUDENT
    with Scorebook.open(scorebook) as book:
        others = [each for each in book.roster() if not each.retired and each.name != DEFAULT_STUDENT]
        own = book.student_called(DEFAULT_STUDENT) if others else None
        if others and (own is None or book.last_answer(own) is None):
            names = safe(listed([each.name for each in others]))
            raise click.UsageError(
                f"--student NAME must say who you are, because this scorebook is of {names}; "
                f"`rondeau students --add NAME` adds somebody else"
            )
    return DEFAULT_STUDENT


def student_named(text: str, scorebook: Path) -> str:
    """The name of the student with this name, beginning or number. A usage error if there is none."""
    from decks.scorebook.book import Scorebook
    from patterns.reading.text import safe
    from patterns.words.wording import listed

    with Scorebook.open(scorebook) as book:
        name, names = book.known_student(text), list(book.students().values())
    if name is None:
        here = f"there are {safe(listed(names))}" if names else "`rondeau students --add NAME` adds one"
        raise click.BadParameter(
            f"{safe(scorebook)} has no student {safe(text)!r}, or more than one: {here}",
            param_hint="'--student'",
        )
    return name
