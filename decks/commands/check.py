"""`rondeau check`: reports what is wrong or doubtful in a deck, and gets missing verdicts from an engine."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click

from decks.commands import SUMMARIES, options
from decks.commands.terminal import MESSAGE_LIMIT, print_json, warn
from decks.commands.work_bar import work_bar
from patterns.reading.text import counted, safe

if TYPE_CHECKING:
    import chess

    from decks.cards.deck_check import CheckResult, Ruled
    from decks.cards.faults import Fault
    from patterns.words.verdicts import Verdict


@click.command("check", help=SUMMARIES["check"])
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@options.engine
@options.depth
@options.workers
@click.option("--again", is_flag=True, help="Judge every position anew, and tell what that changes.")
@click.option("--trim", is_flag=True, help="Ask only for moves that have to be found; the rest is shown.")
@click.option("--goals", is_flag=True, help="Cards without a goal get one, told with the question.")
@click.option(
    "--new-identity", is_flag=True, help="The folder is a copy: make it a deck of its own, with a new uuid."
)
@options.scorebook
@options.as_json
def command(
    folder: Path,
    engine: str | None,
    depth: int | None,
    workers: int | None,
    again: bool,
    trim: bool,
    goals: bool,
    new_identity: bool,
    scorebook: Path,
    as_json: bool,
) -> None:
    from contextlib import nullcontext
    from datetime import date

    from decks.build.ballot_key import keys_anew
    from decks.cards.deck import give_new_identity
    from decks.cards.deck_check import check_deck
    from decks.cards.folder import reserved
    from decks.commands.engines import CommandEngines
    from patterns.catalogue import MOTIFS

    with (
        reserved(folder) if folder.is_dir() else nullcontext(),
        CommandEngines(engine, depth, workers, scorebook) as engines,
        work_bar("Judging positions") as report,
    ):
        identity = give_new_identity(folder) if new_identity else None
        result = check_deck(
            folder,
            set(MOTIFS),
            engines.answers,
            date.today(),
            effort=engines.effort,
            again=again,
            trim=trim,
            goal=goals,
            key_search=lambda boards: keys_anew(boards, engines),
            assess=assessed,
            ruled=ruled_in(scorebook),
            progress=lambda done, total: report(done, total, searched=engines.searched, left=total - done),
        )
    if as_json:
        print_json(as_object(result, engines.name) | ({"new_identity": identity} if identity else {}))
    else:
        if identity:
            click.echo(f"{safe(folder)}: is a deck of its own now ({identity})")
        click.echo("\n".join(as_text(result, engines.name)))
    if result.faults or result.refuted:
        raise click.exceptions.Exit(1)


def ruled_in(scorebook: Path) -> Ruled | None:
    """What was decided on contested moves by this scorebook; None without one."""
    from decks.review.rulings import SettledMoves
    from decks.scorebook.book import Scorebook, ScorebookError

    if not scorebook.exists():
        return None
    try:
        with Scorebook.open_to_read(scorebook) as book:
            return SettledMoves(book.settled()).on
    except ScorebookError as error:
        warn(f"contested moves are not looked at: {safe(error, MESSAGE_LIMIT)}")
        return None


def assessed(board: chess.Board) -> Mapping[str, Verdict]:
    """The stock-taking of a position: a verdict for each factor, and `verdict` for the whole position."""
    from patterns.explanation import explain

    assessment = explain(board).assessment
    return {each.factor: each.verdict for each in assessment.factors} | {"verdict": assessment.verdict}


def as_text(result: CheckResult, engine: str) -> list[str]:
    """The result as lines of text."""
    from patterns.engines.strength import UNVERIFIED_BELOW

    lines = [safe(fault, MESSAGE_LIMIT) for fault in result.faults]
    lines += [f"note: {safe(note, MESSAGE_LIMIT)}" for note in result.notes]
    lines += [f"removed: {safe(mark, MESSAGE_LIMIT)}" for mark in result.removed]
    lines += [f"changed: {safe(change, MESSAGE_LIMIT)}" for change in result.changed]
    lines += [f"added: {safe(tag, MESSAGE_LIMIT)}" for tag in result.added]
    if result.judged:
        lines.append(f"{counted(len(result.judged), 'position')} judged by {engine}")
    if result.written:
        lines.append(f"written: {', '.join(result.written)}")
    if result.unverified:
        cards = counted(len(result.unverified), "card")
        lines.append(
            f"{cards} unverified: run `rondeau check --again` with a strong engine, to depth"
            f" {UNVERIFIED_BELOW} or more"
        )
    ends = [counted(len(result.faults), "fault"), counted(len(result.notes), "note")]
    if result.refuted:
        ends.append(f"{counted(len(result.refuted), 'card')} whose key fails")
    return [*lines, ", ".join(ends)]


def as_object(result: CheckResult, engine: str) -> dict[str, object]:
    """The result as a JSON object."""
    return {
        "faults": listed(result.faults),
        "notes": listed(result.notes),
        "changed": listed(result.changed),
        "added": listed(result.added),
        "removed": listed(result.removed),
        "refuted": result.refuted,
        "unverified": result.unverified,
        "judged": len(result.judged),
        "engine": engine or None,
        "written": result.written,
    }


def listed(faults: Iterable[Fault]) -> list[dict[str, object]]:
    return [
        {"file": fault.path, "line": fault.line, "card": fault.card, "message": fault.message}
        for fault in faults
    ]
