"""A student's first week and a tournament's last fortnight, as the README tells them.

The program itself runs, in plain mode with the demo deck. Only the clock is made, and the student, who sees
what is shown and types the answers: right ones, but for every fourth position.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path
from tempfile import TemporaryDirectory
from types import SimpleNamespace
from unittest import mock

from click.testing import CliRunner

from decks.asks.assess_mark import AssessMark
from decks.asks.catalogue import ASKS
from decks.asks.count_mark import SIDES, CountMark
from decks.asks.root import RootMark
from decks.cards.deck import Deck
from decks.cli import cli
from decks.scorebook.file import PATH_VARIABLE
from decks.tasks.ballot import CELLS
from decks.tasks.card import Card
from decks.tasks.lines import board_after, move_at
from decks.tasks.task import Task
from decks.today import run_today
from patterns.words.verdicts import row_title

ROOT = Path(__file__).resolve().parent.parent
DECK = Path("demo_deck")
"""From the top of the project, as it is told."""

MONDAY = datetime(2031, 5, 5, 19, tzinfo=UTC)
SECONDS = {"Enter": 20, "Your move": 45, "Count": 60}
"""What an entry takes, by the first words of the prompt; others, such as a row of a ballot, take fifteen."""

WRONG_EVERY = 4


class Clock:
    """The time, for all that asks for it."""

    def __init__(self) -> None:
        self.now = MONDAY

    def seconds(self) -> float:
        return (self.now - MONDAY).total_seconds()

    @contextlib.contextmanager
    def holds(self) -> Iterator[None]:
        """Let this be the time for the commands too."""
        clock = self

        class Now(datetime):
            @classmethod
            def now(cls, tz: tzinfo | None = None) -> Now:
                return cls.fromtimestamp(clock.now.timestamp(), tz or UTC)

            def astimezone(self, tz: tzinfo | None = None) -> Now:
                return self  # wherever this runs

        with contextlib.ExitStack() as held:
            held.enter_context(mock.patch("decks.today.time", SimpleNamespace(monotonic=self.seconds)))
            for command in ("progress", "due", "students", "prepare"):
                held.enter_context(mock.patch(f"decks.commands.{command}.datetime", Now))
            yield


class Student(io.TextIOBase):
    """Both ends of plain mode: what is written is read, and what is typed answers it."""

    def __init__(self, clock: Clock) -> None:
        self.clock, self.said, self.asked = clock, "", 0
        deck = Deck.open(DECK)
        self.deck, self.by_placement = deck, {first_shown(card): card for card in deck.cards}
        self.moves = {epd.split()[0]: verdicts.moves for epd, verdicts in deck.verdicts.items()}
        self.card: Card | None = None

    def write(self, text: str) -> int:
        self.said += text
        return len(text)

    def readline(self, size: int | None = -1) -> str:  # type: ignore[override]
        lines = self.said.splitlines()
        prompt = lines[-1]
        self.clock.now += timedelta(
            seconds=next((took for word, took in SECONDS.items() if prompt.startswith(word)), 15)
        )
        shown = placement(lines)
        if shown in self.by_placement:
            card = self.by_placement[shown]
            self.asked += card is not self.card
            self.card = card
        typed = self.typed(prompt, shown)
        self.said += f"{typed}\n"
        return f"{typed}\n"

    def typed(self, prompt: str, shown: str) -> str:
        if prompt.startswith("Enter"):
            return ""
        wrong = self.asked % WRONG_EVERY == 0
        if prompt.startswith("Your move"):
            moves = self.moves[shown]
            return (min if wrong else max)(moves, key=lambda move: moves[move].score)
        assert self.card is not None
        mark = self.key(next(ask for ask in ("root", "count", "assess") if ask in self.card.asks))
        if isinstance(mark, RootMark):
            if prompt == "Factor: ":
                return row_title(mark.hurt or "material")
            return move_at(self.card.board, self.card.line, mark.root).partition(" ")[0]
        if isinstance(mark, CountMark):
            *numbers, winner = (row.key for row in mark.rows)
            return " ".join([*map(str, numbers), SIDES[winner]])
        assert isinstance(mark, AssessMark)
        cells = {row_title(row.row): CELLS[0 if wrong else row.key] for row in mark.rows}
        return cells[prompt.partition(" (")[0]]

    def key(self, ask: str) -> object:
        assert self.card is not None
        task = Task(self.deck.settings.deck, self.card, (ask,), self.deck.verdicts)
        return ASKS[ask].begin(task, "", True).worked()


def first_shown(card: Card) -> str:
    """The placement that a card begins with; of a line that went wrong, its end."""
    return board_after(card.board, card.line if "root" in card.asks else ()).fen().split()[0]


def placement(lines: Sequence[str]) -> str:
    """The placement, as in a FEN, of the last board among these lines."""
    ranks = [line.split() for line in lines if re.fullmatch(r"[1-8]  (\S ){7}\S", line)][-8:]
    if ranks[0][0] == "1":
        ranks = [[number, *men[::-1]] for number, *men in ranks[::-1]]
    rows = ("".join(men) for _, *men in ranks)
    return "/".join(re.sub(r"\.+", lambda empty: str(len(empty[0])), row) for row in rows)


def evening(clock: Clock, day: int, book: Path) -> list[str]:
    """What one day's sitting says at its end; `day`: days after MONDAY."""
    clock.now = MONDAY + timedelta(days=day)
    student = Student(clock)
    with mock.patch("sys.stdin", student), contextlib.redirect_stdout(student):
        status = run_today(DECK, book, plain=True, now=lambda: clock.now)
    assert status == 0
    lines = student.said.splitlines()
    return lines[max(place for place, line in enumerate(lines) if line.startswith("Enter for")) + 1 :]


def printed(*arguments: str | Path) -> list[str]:
    """What a command prints."""
    result = CliRunner().invoke(cli, [*map(str, arguments)])
    assert result.exit_code == 0, result.output
    return result.stdout.splitlines()


def block(*lines: str) -> str:
    return "\n".join(["```text", *lines, "```"])


@contextlib.contextmanager
def at_home() -> Iterator[tuple[Clock, Path]]:
    clock = Clock()
    with contextlib.chdir(ROOT), TemporaryDirectory() as folder, clock.holds():
        book = Path(folder, "scorebook.sqlite")
        with mock.patch.dict(os.environ, {PATH_VARIABLE: str(book)}):
            yield clock, book


def in_short(day: int, said: list[str]) -> str:
    """A day in one line, from its closing page."""
    cards, answers = (next(line for line in said if word in line) for word in ("cards in", "answers:"))
    return f"{MONDAY + timedelta(days=day):%a}  {cards} {answers}"


def abridged(plan: list[str], days: int) -> list[str]:
    """The head of a plan, its first days and what it does not cover, if there is anything."""
    dated = [number for number, line in enumerate(plan) if re.match(r"\d{4}-", line)]
    more = next(number for number, line in enumerate(plan) if line.startswith("More positions"))
    left_out = next((number for number, line in enumerate(plan) if line.startswith("Not covered")), more)
    return [*plan[: dated[days]], "...", *plan[left_out:more]]


def first_week() -> str:
    """Seven evenings with the demo deck."""
    with at_home() as (clock, book):
        first, *others = (evening(clock, day, book) for day in range(7))
        evenings = [in_short(day, said) for day, said in enumerate(others, 1)]
        progress, due = (printed(command, "--scorebook", book) for command in ("progress", "due"))
    at = progress.index("Fork: move")
    return f"""\
Nia practises in the evening, with the demo deck, and gets every fourth position wrong. On Monday she meets
as many motifs as there is time for. Each begins with a position whose idea is shown.

{block(*filter(None, first))}

In the next evenings she meets the other motifs, three a day. After that there is little to do. The deck has
few positions of each motif, and new ones are spent slowly, though `rondeau today --minutes 10` takes a few
more. At the end of each evening Rondeau names the command that makes some. After a fortnight positions that
she has seen begin to come again, and the evenings get longer.

{block(*evenings[:2], "...", evenings[-1])}

On Sunday `rondeau progress` tells how far she has come with each motif, and `rondeau due` what returns.

{block(*progress[at : at + 4], *due)}"""


def last_fortnight() -> str:
    """A plan for two weeks that is made, followed, missed and made again."""
    with at_home() as (clock, book):
        event = MONDAY.date() + timedelta(days=14)
        plan = "prepare", "--event", str(event), "--minutes", "10", "--deck", DECK, "--scorebook", book
        first = printed(*plan)
        evenings = [in_short(day, evening(clock, day, book)) for day in (0, 1, 4)]
        clock.now = MONDAY + timedelta(days=5)
        again = printed(*plan)
    return f"""\
Two weeks before the club championship Nia types `rondeau prepare --event {event} --minutes 10`.

{block(*abridged(first, 2))}

Every evening `rondeau today` follows the plan. On Wednesday and Thursday she has no time.

{block(*evenings)}

The plan has changed with the days. On Saturday the same command shows how:

{block(*abridged(again, 1))}"""


if __name__ == "__main__":
    print(first_week(), last_fortnight(), sep="\n\n")
