"""Today's session, start to end: decks and scorebook in, cards asked, answers kept."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Iterable, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import TextIO
from uuid import uuid4

from decks.asks.catalogue import ASKS
from decks.cards.deck import Deck, is_deck
from decks.cards.demo import demo_deck_folder
from decks.cards.faults import DeckError, Fault
from decks.memory.answers import Answer, CardItem
from decks.memory.model import Memory, study_day
from decks.memory.queue import Sitting, todays_sittings
from decks.review.messages import SaveAnswer, SaveContest
from decks.review.session import State, start
from decks.scorebook.book import DEFAULT_STUDENT, Scorebook
from decks.tasks.task import Task
from decks.telling.result import closing
from patterns.reading.text import counted, safe

DEMO_SCOREBOOK = "demo-scorebook.sqlite"
"""The demo deck's own scorebook, beside the user's."""

CONTESTED = "contested by the student in the session"

NEW_CARDS = 10
"""Cards not met before that one session asks unless minutes say otherwise: they all come back within days
(common practice, no source)."""

TEXT_LIMIT = 2000


@dataclass
class Keeper:
    """Keeps a session's answers in the scorebook; `now` tells the local time."""

    scorebook: Scorebook
    student: int
    now: Callable[[], datetime]
    answer_ids: dict[tuple[str, str, str], str] = field(default_factory=dict)

    def keep(self, effect: SaveAnswer | SaveContest) -> Memory:
        """Keep an answer or a correction; ScorebookError if that fails."""
        task, given, moment = effect.task, effect.given, self.now()
        name = (task.deck, task.card.card_id, given.ask)
        if isinstance(effect, SaveContest):
            return self.scorebook.contest(self.answer_ids[name], effect.grade, CONTESTED, moment)
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
            study_day=study_day(moment),
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
    now: Callable[[], datetime] = lambda: datetime.now().astimezone(),
) -> int:
    """Ask what is due today; the exit status is 0, or 1 if an answer could not be kept.

    `deck_folder`: the deck to ask from; None: every deck the scorebook knows, or, where it knows none, the
    demo deck with a scorebook of its own. `minutes`: when to stop, None for everything due. `plain`: lines
    instead of the screen, which is also what happens where input or output is no terminal. `whole_ballot`:
    take stock of every factor, not of those alone that decide. DeckError and
    ScorebookError as they come; KeyboardInterrupt on Ctrl-C, with every answer kept.
    """
    with ExitStack() as opened:
        scorebook = opened.enter_context(Scorebook.open(scorebook_path))
        decks = [Deck.open(deck_folder)] if deck_folder else known_decks(scorebook, _warn)
        if not decks:
            own = scorebook_path.with_name(DEMO_SCOREBOOK)
            print(
                f"No deck yet: this is the demo deck. Its answers are kept in {safe(own)}.", file=sys.stderr
            )
            scorebook = opened.enter_context(Scorebook.open(own))
            decks = [Deck.open(demo_deck_folder())]
        number = scorebook.student(student)
        for deck in decks:
            scorebook.register_deck(deck.settings.deck, deck.settings.title, str(deck.folder.resolve()))
        tasks = todays_tasks(decks, scorebook, number, minutes, now(), _warn, whole_ballot)
        keeper = Keeper(scorebook, number, now)
        state = start(tasks, minutes, time.monotonic())
        state = _run(state, keeper, plain, letters)
    if state.failure:
        _warn(f"The last answer could not be kept: {state.failure}. Everything before it is safe.")
    return 1 if state.failure else 0


def known_decks(scorebook: Scorebook, warn: Callable[[str], None]) -> list[Deck]:
    """The decks noted in the scorebook; one that has moved away is left alone, `warn` is told of faulty ones.

    DeckError if some are noted and none of them can be asked.
    """
    decks: list[Deck] = []
    gone: list[Fault] = []
    faulty: list[Fault] = []
    for folder in (Path(name) for _, _, name in scorebook.decks()):
        if not is_deck(folder):
            gone.append(Fault(str(folder), None, None, "the deck is no longer here: --deck DIR tells where"))
            continue
        try:
            decks.append(Deck.open(folder))
        except DeckError as error:
            found = counted(len(error.faults), "fault")
            message = f"{found} (`rondeau check` names them), so nothing of this deck is asked"
            faulty.append(Fault(str(folder), None, None, message))
    if not decks and (gone or faulty):
        raise DeckError([*gone, *faulty])
    for fault in faulty:
        warn(str(fault))
    return decks


def todays_tasks(
    decks: Iterable[Deck],
    scorebook: Scorebook,
    student: int,
    minutes: float | None,
    moment: datetime,
    warn: Callable[[str], None],
    whole_ballot: bool = False,
) -> list[Task]:
    """What to ask a student today, in order. Moves without verdicts are not asked for, and `warn` is told."""
    by_deck = {deck.settings.deck: deck for deck in decks}
    memories = scorebook.memory_of(student)
    sizes = {ask.id: ask.size_of(whole_ballot) for ask in ASKS.values()}
    usual: dict[str, float] = {}
    for ask, size in sizes.items():
        if (seconds := scorebook.median_seconds(student, ask, size.parts)) is not None:
            usual[ask] = seconds
    cards = [(deck.settings.deck, card) for deck in by_deck.values() for card in deck.cards]
    needed = {ask: size.seconds for ask, size in sizes.items()}
    new = NEW_CARDS if minutes is None else None
    unjudged = {item for deck in by_deck.values() for item in unjudged_items(deck, warn)}
    day, times = study_day(moment), {**needed, **usual}
    sittings = todays_sittings(cards, memories, day, minutes, times, new, unjudged)
    tasks = (task_for(sitting, by_deck[sitting.deck], memories, usual) for sitting in sittings)
    return [replace(task, whole_ballot=whole_ballot) for task in tasks]


def unjudged_items(deck: Deck, warn: Callable[[str], None]) -> list[str]:
    """The items of a deck that need verdicts which it lacks; where there are any, `warn` is told."""
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
            f"they are not asked for; `rondeau check` derives them"
        )
    return [str(CardItem(deck.settings.deck, card.card_id, ask)) for card, ask in unjudged]


def task_for(
    sitting: Sitting,
    deck: Deck,
    memories: Mapping[str, Memory],
    usual: Mapping[str, float],
) -> Task:
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
        first_sight=not any(item in memories for item in items.values()),
        target_recall=deck.settings.recall,
    )


def _run(state: State, keeper: Keeper, plain: bool, letters: bool) -> State:
    if plain or not _at_terminal(sys.stdin, sys.stdout):
        from decks.plain import run_plain

        return run_plain(state, keeper.keep, time.monotonic, sys.stdin, sys.stdout)
    from decks.screen.app import run_screen

    state = run_screen(state, keeper.keep, time.monotonic, letters)
    if not state.failure:
        for paragraph in closing(state):
            print(safe(paragraph.text, TEXT_LIMIT))
    return state


def _at_terminal(*streams: TextIO) -> bool:
    return all(stream.isatty() for stream in streams) and os.environ.get("TERM") != "dumb"


def _warn(message: str) -> None:
    print(safe(message, TEXT_LIMIT), file=sys.stderr)
