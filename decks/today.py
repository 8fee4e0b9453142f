"""Today's session from start to end: opens decks and scorebook, asks the cards, keeps the answers."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from pathlib import Path
from shlex import quote
from typing import TextIO
from uuid import uuid4

from decks.asks.catalogue import ASKS
from decks.cards.deck import Deck, deck_id, is_deck
from decks.cards.demo import demo_deck_folder
from decks.cards.faults import DeckError, Fault
from decks.engine_at_hand import EngineAtHand
from decks.memory.answers import Answer, CardItem
from decks.memory.day import (
    MINUTES_A_FIRST_MEETING,
    USUAL_MINUTES,
    DayAhead,
    clock_doubt,
    day_ahead,
    ended_clear,
)
from decks.memory.model import Memory
from decks.memory.queue import Return, Sitting, next_return, todays_sittings, unmet_sittings
from decks.memory.strands import Learnt, usual_time
from decks.review.messages import Kept, SaveContest, SaveDecision
from decks.review.session import State, start
from decks.scorebook.book import (
    DEFAULT_STUDENT,
    DamagedMemoryError,
    Scorebook,
    ScorebookError,
    default_path,
)
from decks.tasks.task import Task
from decks.telling.result import closing
from decks.telling.shown import when
from patterns.reading.text import counted, safe

DEMO_SCOREBOOK = "demo-scorebook.sqlite"
"""The scorebook of the demo deck, in the same folder as the user's."""

WRONG_CLOCK = "given under a wrong clock"

TEXT_LIMIT = 2000


@dataclass
class Keeper:
    """Keeps a session's answers in the scorebook, all under the date on which it began; `now`: local time."""

    scorebook: Scorebook
    student: int
    day: date
    now: Callable[[], datetime]
    answer_ids: dict[tuple[str, str, str], str] = field(default_factory=dict)
    contest_ids: dict[tuple[str, str, str], str] = field(default_factory=dict)

    def keep(self, effect: Kept) -> Learnt | None:
        """Keep an answer, a contest or a decision. ScorebookError if that fails.

        Returns the memory after an answer or a decision, None after a contest.
        """
        task, given, moment = effect.task, effect.given, self.now()
        name = (task.deck, task.card.card_id, given.ask)
        if isinstance(effect, SaveContest):
            if effect.grade is None:
                self.scorebook.withdraw(self.contest_ids[name], moment)
            else:
                self.contest_ids[name] = self.scorebook.contest(self.answer_ids[name], effect.grade, moment)
            return None
        if isinstance(effect, SaveDecision):
            return self.scorebook.decide(self.contest_ids[name], given.grade, effect.reason, moment)
        answer = Answer(
            answer_id=str(uuid4()),
            student=self.student,
            deck=task.deck,
            item=task.items[given.ask],
            card_id=task.card.card_id,
            ask=given.ask,
            fen=task.card.fen,
            key_version=task.card.key_version,
            raw=given.raw,
            score=given.score,
            grade=given.grade,
            seconds=given.seconds,
            hints=given.hints,
            study_day=self.day,
            time=moment,
            first_sight=task.first_sight,
            target_recall=task.target_recall,
        )
        memory = self.scorebook.save_answer(answer)
        self.answer_ids[name] = answer.answer_id
        return memory


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
) -> int:
    """Ask today's cards. Returns the exit status: 1 if the clock is wrong or an answer was not kept, else 0.

    `deck_folder`: the deck to ask from. None: every deck in the scorebook, or if there is none, the demo deck
    with its own scorebook. `minutes`: minutes from now; None: what is left of the day's. `plain`: lines of
    text instead of the screen. This is also used if input or output is not a terminal. `whole_ballot`:
    ballots with all factors, not only those that decide. `clock_is_right`: trust today's date without asking.
    Raises DeckError and ScorebookError, and KeyboardInterrupt on Ctrl-C, with every answer kept.
    """
    with open_decks(deck_folder, scorebook_path) as (scorebook, decks):
        number = scorebook.student(student)
        for deck in decks:
            scorebook.register_deck(deck.settings.deck, deck.settings.title, str(deck.folder.resolve()))
        began = now()
        if not trust_clock(scorebook, number, began, clock_is_right):
            return 1
        for damage in scorebook.damage():
            _warn(f"{scorebook.path}: {damage}")
        ahead = day_ahead(scorebook.study_days(number), began, minutes)
        plan = todays_plan(decks, scorebook, number, ahead, _warn, whole_ballot)
        if not plan.tasks:
            print("\n".join(why_nothing_is_asked(plan, ahead)))
            return 0
        state = start(plan.tasks, ahead.seconds / 60, time.monotonic())
        keeper = Keeper(scorebook, number, began.date(), now)
        with EngineAtHand() as engine:
            state = _run(state, keeper, engine, plain, letters)
    if state.failure:
        _warn(f"The last answer could not be kept: {state.failure}. Everything before it is safe.")
    return 1 if state.failure else 0


@contextmanager
def open_decks(deck_folder: Path | None, scorebook_path: Path) -> Iterator[tuple[Scorebook, list[Deck]]]:
    """The scorebook, and the deck in this folder (None: every deck in the scorebook).

    If there is no deck, the demo deck with its own scorebook. Raises DeckError and ScorebookError.
    """
    with ExitStack() as opened:
        scorebook = opened.enter_context(Scorebook.open(scorebook_path))
        opened_decks = [Deck.open(deck_folder)] if deck_folder else known_decks(scorebook, _warn)
        decks = without_copies(opened_decks, scorebook, _warn)
        if not decks:
            own = scorebook_path.with_name(DEMO_SCOREBOOK)
            _warn(f"No deck yet: this is the demo deck. Its answers are kept in {safe(own)}.")
            scorebook = opened.enter_context(Scorebook.open(own))
            decks = [Deck.open(demo_deck_folder())]
        yield scorebook, decks


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
    with suppress(ScorebookError):  # there is no default path
        if scorebook.path == default_path():
            return "rondeau replay"
    return f"rondeau replay --scorebook {safe(quote(str(scorebook.path)))}"


def _confirmed(question: str) -> bool:
    """Whether the student answers yes at the terminal."""
    try:
        return input(safe(question, TEXT_LIMIT)).strip().lower() in ("y", "yes")
    except EOFError:
        return False


def without_copies(decks: Iterable[Deck], scorebook: Scorebook, warn: Callable[[str], None]) -> list[Deck]:
    """The decks, each only once. A copy, which has the uuid of another deck, is replaced by that deck.

    Calls `warn` for each copy, and for each deck that has moved to another folder since it was used.
    """
    known = {deck: Path(folder) for deck, _, folder in scorebook.decks() if folder}
    kept: dict[str, Deck] = {}
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
            kept.setdefault(uuid, Deck.open(first))
        else:
            warn(f"{here}: this deck was in {first} before, and is now asked from here")
            kept[uuid] = deck
    return list(kept.values())


def known_decks(scorebook: Scorebook, warn: Callable[[str], None]) -> list[Deck]:
    """The decks in the scorebook that can be asked. Others are left out, with a call of `warn` if faulty.

    DeckError if there are decks in the scorebook, but none of them can be asked.
    """
    decks: list[Deck] = []
    gone: list[Fault] = []
    faulty: list[Fault] = []
    for folder in (Path(name) for _, _, name in scorebook.decks()):
        if not is_deck(folder):
            gone.append(Fault(str(folder), None, None, "the deck is no longer here: use --deck DIR"))
            continue
        try:
            decks.append(Deck.open(folder))
        except DeckError as error:
            found = counted(len(error.faults), "fault")
            message = f"{found} (`rondeau check` lists them), so this deck is not asked"
            faulty.append(Fault(str(folder), None, None, message))
    if not decks and (gone or faulty):
        raise DeckError([*gone, *faulty])
    for fault in faulty:
        warn(str(fault))
    return decks


@dataclass(frozen=True)
class Plan:
    """What to ask a student today.

    `tasks`: in order. `returns`: when cards return next, and how many; None if no card has been met.
    `unmet`: whether there are unmet cards. `catching_up`: whether they wait because of a long absence.
    """

    tasks: tuple[Task, ...]
    returns: Return | None
    unmet: bool
    catching_up: bool


def todays_plan(
    decks: Iterable[Deck],
    scorebook: Scorebook,
    student: int,
    ahead: DayAhead,
    warn: Callable[[str], None],
    whole_ballot: bool = False,
) -> Plan:
    """What to ask a student today. Asks that lack verdicts are left out, with a call of `warn`."""
    by_deck = {deck.settings.deck: deck for deck in decks}
    memories = memories_of(student, scorebook, warn)
    sizes = {ask.id: ask.size_of(whole_ballot) for ask in ASKS.values()}
    usual: dict[str, float] = {}
    for ask, size in sizes.items():
        if (seconds := usual_time(scorebook.own_times(student, ask, parts=size.parts))) is not None:
            usual[ask] = seconds
    cards = [(deck.settings.deck, card) for deck in by_deck.values() for card in deck.cards]
    needed = {ask: size.seconds for ask, size in sizes.items()}
    unjudged = {item for deck in by_deck.values() for item in unjudged_items(deck, warn)}
    sittings = todays_sittings(cards, memories, ahead, {**needed, **usual}, unjudged)
    catching_up = False
    if ahead.clear_one_of and any(sitting.first_meeting for sitting in sittings):
        items = {str(CardItem(deck, card.card_id, ask)) for deck, card in cards for ask in card.asks}
        catching_up = not ended_clear(scorebook.answers(student), items - unjudged, ahead.clear_one_of)
    if catching_up:
        sittings = [sitting for sitting in sittings if not sitting.first_meeting]
    tasks = (task_for(sitting, by_deck[sitting.deck], usual) for sitting in sittings)
    return Plan(
        tuple(replace(task, whole_ballot=whole_ballot) for task in tasks),
        next_return(cards, memories, ahead.day, unjudged),
        unmet=bool(unmet_sittings(cards, memories, unjudged)),
        catching_up=catching_up,
    )


def memories_of(student: int, scorebook: Scorebook, warn: Callable[[str], None]) -> dict[str, Memory]:
    """A student's stored memories. Damaged ones are computed again from the log, with a call of `warn`."""
    try:
        return scorebook.memory_of(student)
    except DamagedMemoryError as error:
        warn(f"{error}; they are computed again from the log")
        scorebook.replay(mend=True)
        return scorebook.memory_of(student)


def why_nothing_is_asked(plan: Plan, ahead: DayAhead) -> list[str]:
    """The message if there is nothing to ask: why, when the next card returns, and how to go on."""
    used_up = ahead.seconds <= 0
    minutes = counted(round(USUAL_MINUTES), "minute")
    lines = [f"Today's {minutes} are done." if used_up else "Nothing returns today."]
    if plan.returns is not None:
        cards = "1 card returns" if plan.returns.cards == 1 else f"{plan.returns.cards} cards return"
        lines.append(f"{cards} {when(plan.returns.day, ahead.day)}.")
    if used_up:
        lines.append("To go on today: `--minutes M` adds M minutes.")
    elif plan.catching_up:  # nothing is due now, so this day ends with nothing due
        lines.append("Because you were away, unmet cards follow from tomorrow on.")
    elif plan.unmet:
        each = MINUTES_A_FIRST_MEETING
        lines.append(
            f"There are a few unmet cards a day: `--minutes M` adds M minutes, with one card for each {each}."
        )
    return lines


def unjudged_items(deck: Deck, warn: Callable[[str], None]) -> list[str]:
    """The items of a deck for which verdicts are missing. If there are any, `warn` is called once."""
    unjudged = [
        (card, ask)
        for card in deck.cards
        for ask in card.asks
        if any(move.board.epd() not in deck.verdicts for move in ASKS[ask].moves_judged(card))
    ]
    cards = list(dict.fromkeys(card.card_id for card, _ in unjudged))
    if cards:
        others = f" and {len(cards) - 1} more" if len(cards) > 1 else ""
        warn(
            f"{safe(deck.folder)}: no verdicts yet on the moves of card {safe(cards[0])}{others}, so "
            f"these moves are not asked; `rondeau check` adds the verdicts"
        )
    return [str(CardItem(deck.settings.deck, card.card_id, ask)) for card, ask in unjudged]


def task_for(sitting: Sitting, deck: Deck, usual: Mapping[str, float]) -> Task:
    """The task of a sitting."""
    card = sitting.card
    items = {ask: str(CardItem(sitting.deck, card.card_id, ask)) for ask in card.asks}
    return Task(
        deck=sitting.deck,
        card=card,
        asks=sitting.asks,
        verdicts=deck.verdicts,
        usual_seconds=usual,
        items=items,
        first_sight=sitting.first_meeting,
        target_recall=deck.settings.target_recall,
    )


def _run(state: State, keeper: Keeper, engine: EngineAtHand, plain: bool, letters: bool) -> State:
    if plain or not _at_terminal(sys.stdin, sys.stdout):
        from decks.plain import run_plain

        return run_plain(state, keeper.keep, time.monotonic, sys.stdin, sys.stdout, engine.look)
    from decks.screen.app import run_screen

    state = run_screen(state, keeper.keep, time.monotonic, letters, engine.look)
    if not state.failure:
        for paragraph in closing(state):
            print(safe(paragraph.text, TEXT_LIMIT))
    return state


def _at_terminal(*streams: TextIO) -> bool:
    return all(stream.isatty() for stream in streams) and os.environ.get("TERM") != "dumb"


def _warn(message: str) -> None:
    print(safe(message, TEXT_LIMIT), file=sys.stderr)
