"""Today's session from start to end: opens decks and scorebook, asks the cards, keeps the answers."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import replace
from datetime import date, datetime
from itertools import pairwise
from pathlib import Path
from shlex import quote
from typing import TextIO

from decks.cards.deck import deck_id, is_deck
from decks.cards.demo import demo_deck_folder
from decks.cards.faults import DeckError, Fault
from decks.course import Course
from decks.engine_at_hand import EngineAtHand
from decks.memory.day import LEAP, LONG_AWAY, USUAL_MINUTES, DaySoFar, clock_doubt, day_ahead, study_day
from decks.preparing import event_ahead
from decks.review.session import State, start
from decks.scorebook.book import DEFAULT_STUDENT, Scorebook, ScorebookError, default_path
from decks.shelf.shelved import ShelvedDeck, take
from decks.telling.outlook import outlook_lines
from decks.telling.result import closing
from patterns.reading.text import counted, safe
from patterns.words.wording import listed

DEMO_SCOREBOOK = "demo-scorebook.sqlite"
"""The scorebook of the demo deck, in the same folder as the user's."""

WRONG_CLOCK = "given under a wrong clock"

TEXT_LIMIT = 2000

DAMAGE_LOOKED_FOR = 2_000
"""In so many last answers, those of some months; `replay` looks at all."""


def run_today(
    deck_folder: Path | None,
    scorebook_path: Path,
    student: str = DEFAULT_STUDENT,
    minutes: float | None = None,
    plain: bool = False,
    letters: bool = False,
    whole_ballot: bool = False,
    clock_is_right: bool = False,
    now: Callable[[], datetime] = lambda: datetime.now().astimezone(),
    on_paper: bool = False,
) -> int:
    """Ask today's cards. Returns the exit status: 1 if the clock is wrong or an answer was not kept, else 0.

    `deck_folder`: the deck to ask from. None: every deck in the scorebook, or if there is none, the demo deck
    with its own scorebook. `minutes`: minutes from now; None: what is left of the day's. `plain`: lines of
    text instead of the screen. This is also used if input or output is not a terminal. `whole_ballot`:
    ballots with all factors, not only those that decide. `clock_is_right`: trust today's date without asking.
    `on_paper`: the answers typed were given on paper. Raises DeckError and ScorebookError, and
    KeyboardInterrupt on Ctrl-C, with every answer kept.
    """
    with open_decks(deck_folder, scorebook_path, student) as (scorebook, decks):
        refuse_decks_of_others(decks, scorebook, student)
        number = scorebook.student(student)
        known = scorebook.decks()
        for deck in decks:
            named = deck.settings.deck, deck.settings.title, str(deck.folder.resolve())
            if named not in known:
                scorebook.register_deck(*named)
        began = now()
        if not trust_clock(scorebook, number, began, clock_is_right):
            return 1
        for damage in scorebook.damage(DAMAGE_LOOKED_FOR):
            _warn(f"{scorebook.path}: {damage}")
        days = recent_days(scorebook, number)
        event = event_ahead(scorebook, number, study_day(began, days[-1].day if days else None))
        usual = event.minutes if event else USUAL_MINUTES
        ahead = day_ahead(days, began, minutes, usual)
        course = Course.begin(
            decks, scorebook, number, ahead, began, now, _warn, whole_ballot, event, time.monotonic, on_paper
        )
        if not course.steps:
            print("\n".join(_ending(course, usual)))
            return 0
        told = "" if student == DEFAULT_STUDENT else student
        state = start(
            course.tasks, ahead.seconds / 60, time.monotonic(), told, named_scorebook(scorebook_path)
        )
        with EngineAtHand() as engine:
            state = _run(state, course, engine, plain, letters)
        if not state.failure:
            course.note_time(state.now)
            lines = course.used_up_told() if course.steps else _ending(course, usual)
            if lines:
                print("", *lines, sep="\n")
    if state.failure:
        _warn(f"The last answer could not be kept: {state.failure}. Everything before it is safe.")
    return 1 if state.failure else 0


@contextmanager
def open_decks(
    deck_folder: Path | None, scorebook_path: Path, student: str, to_ask: bool = True
) -> Iterator[tuple[Scorebook, list[ShelvedDeck]]]:
    """The scorebook, and the deck in this folder (None: every deck that this student is asked from).

    If there is no deck, the demo deck with its own scorebook. Without `to_ask`, a scorebook that holds
    answers, such as those that a coach has collected, needs no deck. Raises DeckError and ScorebookError.
    """
    with ExitStack() as opened:
        scorebook = opened.enter_context(Scorebook.open(scorebook_path))
        needed = to_ask or not scorebook.has_answers()
        named = [take(deck_folder)] if deck_folder else known_decks(scorebook, student, _warn, needed)
        decks = without_copies(named, scorebook, _warn)
        if not decks and not needed:
            yield scorebook, []
            return
        if not decks and scorebook.decks():
            raise ScorebookError(
                f"{scorebook_path}: every deck is another student's own: `rondeau students --deck` gives one"
            )
        if not decks:
            own = scorebook_path.with_name(DEMO_SCOREBOOK)
            _warn(f"No deck yet: this is the demo deck. Its answers are kept in {safe(own)}.")
            scorebook = opened.enter_context(Scorebook.open(own))
            decks = [take(demo_deck_folder())]
        yield scorebook, decks


def refuse_decks_of_others(decks: Iterable[ShelvedDeck], scorebook: Scorebook, student: str) -> None:
    """ScorebookError if one of these decks is another student's own."""
    asked = {deck for deck, _, _ in scorebook.decks_for(student)}
    for deck in decks:
        uuid = deck.settings.deck
        owners = [each.name for each in scorebook.roster() if uuid in each.decks]
        if owners and uuid not in asked:
            whose = f"this deck is {listed(owners)}'s own"
            raise ScorebookError(f"{deck.folder}: {whose}: `rondeau students --deck` gives it to others too")


def study_day_now(scorebook: Scorebook, student: int, now: datetime) -> date:
    """The study day that an answer of this student would belong to."""
    last = scorebook.last_answer(student)
    return study_day(now, last.study_day if last else None)


def recent_days(scorebook: Scorebook, student: int) -> list[DaySoFar]:
    """The last study days, from the one before the last long absence on, or from the last but one.

    What happened earlier changes nothing today.
    """
    last = scorebook.last_answer(student)
    first = last.study_day.toordinal() - LEAP.days if last else 1
    dates = scorebook.dates_studied(student, date.fromordinal(max(1, first)))
    left = [one for one, following in pairwise(dates) if following - one >= LONG_AWAY]
    since = [*dates[-2:-1], *left]
    return scorebook.study_days(student, since[-1] if since else date.min)


def trust_clock(scorebook: Scorebook, student: int, began: datetime, clock_is_right: bool) -> bool:
    """Whether a session may begin. If the last answer makes the clock doubtful, the student is asked.

    On a terminal the student says whether today's date is right; otherwise `clock_is_right` says it. If it is
    right, answers of later dates are voided. If nobody can be asked, a clock that is behind gets a warning.
    """
    last = scorebook.last_answer(student)
    doubt = clock_doubt(began, last)
    if last is None or doubt is None:
        return True
    today = began.date()
    dates = f"The last answer is of {last.study_day}, but this computer's date is {today}."
    asked = not clock_is_right and _at_terminal(sys.stdin, sys.stdout)
    if asked:
        then = " Answers of later dates will no longer count." if doubt == "behind" else ""
        clock_is_right = _confirmed(f"{dates} Is this computer's date right?{then} [y/N] ")
    if clock_is_right:
        _void_later(scorebook, student, began)
        if doubt == "leap":
            voiding = f"{_replay_of(scorebook)} --void {last.study_day}"
            _warn(f"If the other date was wrong, `{voiding}` voids its answers.")
        return True
    if asked or doubt == "leap":
        _warn(f"{dates} Nothing is asked. Set the clock or, if it is right, add `--clock-is-right`.")
        return False
    _warn(
        f"{dates} Your answers count for {last.study_day}. If this computer's date is right, add "
        f"`--clock-is-right`, which voids the answers of later dates."
    )
    return True


def _void_later(scorebook: Scorebook, student: int, began: datetime) -> None:
    later = scorebook.dated_after(student, began.date())
    if later:
        scorebook.void(later, WRONG_CLOCK, began)
        replay = _replay_of(scorebook)
        _warn(
            f"{counted(len(later), 'answer')} of later dates no longer "
            f"count{'s' if len(later) == 1 else ''}. `{replay}` lists what is voided, and "
            f"`{replay} --unvoid ID` brings it back."
        )


def _replay_of(scorebook: Scorebook) -> str:
    """The replay of this scorebook as it has to be typed."""
    named = named_scorebook(scorebook.path)
    return f"rondeau replay --scorebook {safe(quote(named))}" if named else "rondeau replay"


def named_scorebook(path: Path) -> str:
    """The scorebook as commands have to name it: its path, or nothing if it is the one they use anyway."""
    with suppress(ScorebookError):  # there is no default path
        if path == default_path():
            return ""
    return str(path)


def _confirmed(question: str) -> bool:
    """Whether the student answers yes at the terminal."""
    try:
        return input(safe(question, TEXT_LIMIT)).strip().lower() in ("y", "yes")
    except EOFError:
        return False


def without_copies(
    decks: Iterable[ShelvedDeck], scorebook: Scorebook, warn: Callable[[str], None]
) -> list[ShelvedDeck]:
    """The decks, each only once. A copy, which has the uuid of another deck, is replaced by that deck.

    Calls `warn` for each copy, and for each deck that has moved to another folder since it was used.
    """
    known = {deck: Path(folder) for deck, _, folder in scorebook.decks() if folder}
    kept: dict[str, ShelvedDeck] = {}
    for deck in decks:
        uuid, here = deck.settings.deck, deck.folder.resolve()
        first = known.get(uuid, here)
        if first == here or (first.exists() and first.samefile(here)):
            kept[uuid] = deck
        elif deck_id(first) == uuid:
            warn(
                f"{here}: this is a copy of the deck in {first}, which is asked instead; "
                f"`rondeau check --new-identity {here}` makes it a deck of its own"
            )
            kept.setdefault(uuid, take(first))
        else:
            warn(f"{here}: this deck was in {first} before, and is now asked from here")
            kept[uuid] = deck
    return list(kept.values())


def known_decks(
    scorebook: Scorebook, student: str, warn: Callable[[str], None], needed: bool = True
) -> list[ShelvedDeck]:
    """The decks that can be asked of a student (by name); others are left out, faulty ones with a warning.

    DeckError if the scorebook has decks for this student, but none of them can be asked. Unless one is
    `needed`, there is a warning for each instead, also for those that are gone.
    """
    decks: list[ShelvedDeck] = []
    gone: list[Fault] = []
    faulty: list[Fault] = []
    for folder in (Path(name) for _, _, name in scorebook.decks_for(student)):
        if not is_deck(folder):
            gone.append(Fault(str(folder), None, None, "the deck is no longer here: use --deck DIR"))
            continue
        try:
            decks.append(take(folder))
        except DeckError as error:
            found = counted(len(error.faults), "fault")
            message = f"{found} (`rondeau check` lists them), so this deck is not asked"
            faulty.append(Fault(str(folder), None, None, message))
    if needed and not decks and (gone or faulty):
        raise DeckError([*gone, *faulty])
    for fault in faulty if needed else [*gone, *faulty]:
        warn(str(fault))
    return decks


def _ending(course: Course, usual: float) -> list[str]:
    """Why the day ends here, what returns when, and how to go on. `usual`: the minutes of a day."""
    outlook = course.outlook()
    if course.today.ahead.seconds <= 0:
        outlook = replace(outlook, minutes=usual)
    elif not outlook.lacks_positions:
        return ["Nothing returns today.", *outlook_lines(outlook)]
    return outlook_lines(outlook)


def _run(state: State, course: Course, engine: EngineAtHand, plain: bool, letters: bool) -> State:
    if plain or not _at_terminal(sys.stdin, sys.stdout):
        from decks.plain import run_plain

        return run_plain(state, course.keep, time.monotonic, sys.stdin, sys.stdout, engine.look, course.plan)
    from decks.screen.app import run_screen

    state = run_screen(state, course.keep, time.monotonic, letters, engine.look, course.plan)
    if not state.failure:
        for paragraph in closing(state):
            print(safe(paragraph.text, TEXT_LIMIT))
    return state


def _at_terminal(*streams: TextIO) -> bool:
    return all(stream.isatty() for stream in streams) and os.environ.get("TERM") != "dumb"


def _warn(message: str) -> None:
    print(safe(message, TEXT_LIMIT), file=sys.stderr)
