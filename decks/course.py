"""The course of a study day: what a student is asked, from the decks and the log, and what is kept of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from typing import NamedTuple
from uuid import uuid4

from decks.asks.catalogue import ASKS
from decks.cards.deck import Deck
from decks.memory.answers import EVERY_MOTIF, Answer, CardItem, Display, Strand
from decks.memory.askable import Askable, Fixed, Pools, fixed, position_of, tier_of
from decks.memory.day import DayAhead
from decks.memory.minutes import (
    FixedCard,
    Step,
    StrandStep,
    Today,
    clear_again,
    done,
    due_cards,
    plan_day,
    rest_of,
    returns,
)
from decks.memory.model import Memory
from decks.memory.pool import fresh_allowance, is_dry, position_key
from decks.memory.strands import Learnt, StrandState, fluent_within, usual_time
from decks.review.attempt import Attempt
from decks.review.messages import Kept, SaveAnswer, SaveContest, SaveDecision, SaveShown
from decks.scorebook.book import DamagedMemoryError, Scorebook
from decks.tasks.card import LABEL, Card, Why
from decks.tasks.task import Task
from decks.telling.outlook import Outlook, build_command
from patterns.reading.text import safe

CARDS_LOOKED_AT = 100
"""So many fixed cards, due or unmet, are looked at for a day; more would not fit in it."""


MOTIFS_FED = 3
"""For so many motifs at once positions are asked for."""


class Seen(NamedTuple):
    """The first and the last study day on which a student saw a position."""

    first: date
    last: date


@dataclass(frozen=True)
class Material:
    """What the decks can ask. `fixed`: the fixed cards, in the order of the decks."""

    decks: Mapping[str, Deck]
    pools: Pools
    fixed: tuple[Askable, ...]

    @classmethod
    def of(cls, decks: Iterable[Deck], warn: Callable[[str], None]) -> Material:
        """The cards of these decks. Asks that lack verdicts are left out, with a call of `warn`."""
        by_id = {deck.settings.deck: deck for deck in decks}
        cards = [card for deck in by_id.values() for card in askable_cards(deck, warn)]
        in_pools = [card for card in cards if card.strands]
        return cls(by_id, Pools(in_pools), tuple(card for card in cards if not card.strands))

    def card_named(self, name: str) -> Askable:
        """The fixed card with this name."""
        return next(card for card in self.fixed if card.name == name)


def askable_cards(deck: Deck, warn: Callable[[str], None]) -> list[Askable]:
    """The cards of a deck with those of their asks that have verdicts."""
    cards, lacking = [], []
    for card in deck.cards:
        asks = tuple(ask for ask in card.asks if _is_judged(card, ask, deck.verdicts))
        if asks:
            cards.append(Askable(deck.settings.deck, card, asks, deck.settings.by_heart))
        if len(asks) < len(card.asks):
            lacking.append(card.card_id)
    if lacking:
        others = f" and {len(lacking) - 1} more" if len(lacking) > 1 else ""
        warn(
            f"{safe(deck.folder)}: no verdicts yet on the moves of card {safe(lacking[0])}{others}, so "
            f"these moves are not asked; `rondeau check` adds the verdicts"
        )
    return cards


def _is_judged(card: Card, ask: str, verdicts: Container[str]) -> bool:
    """Whether there are verdicts for all positions in which an ask of a card has the student move.

    A line of one move needs only the first position. Whether that is there shows without setting it up, which
    takes most of the time of reading a day's cards.
    """
    if len(card.asked_line) <= 2 and position_key(card.fen) in verdicts:
        return True
    return all(move.board.epd() in verdicts for move in ASKS[ask].moves_judged(card))


@dataclass(frozen=True)
class Log:
    """What the log of a student says on a study day, as far as a day needs it."""

    scorebook: Scorebook
    student: int
    day: date
    memories: Mapping[str, Memory]
    states: Mapping[Strand, StrandState]
    seen: Mapping[str, Seen]

    @classmethod
    def read(cls, scorebook: Scorebook, student: int, day: date, warn: Callable[[str], None]) -> Log:
        """Read it. What is stored and damaged is worked out again, with a call of `warn`."""
        try:
            memories, states = scorebook.memory_of(student), scorebook.strand_states(student)
        except DamagedMemoryError as error:
            warn(f"{error}; they are computed again from the log")
            scorebook.replay(mend=True)
            memories, states = scorebook.memory_of(student), scorebook.strand_states(student)
        seen: dict[str, Seen] = {}
        for fen, first, last in scorebook.displayed(student):
            key = position_key(fen)
            before = seen.get(key, Seen(date.max, date.min))
            if last > day:  # a wrong clock: it was seen, but nobody knows when
                last = date.min
            seen[key] = Seen(min(before.first, first), max(before.last, last))
        return cls(scorebook, student, day, memories, states, seen)


def todays(material: Material, log: Log, ahead: DayAhead, seconds_of: Mapping[str, float]) -> Today:
    """The study day as it stands before the next step."""
    pools, day = material.pools, ahead.day
    cards = pools.by_key
    states = {strand: log.states.get(strand, StrandState()) for strand in pools}
    used = sum(key in log.seen and log.seen[key].first == day for key in cards)
    unseen = sum(key not in log.seen for key in cards) + used
    last = {strand: position_key(fen) for strand, fen in log.scorebook.last_displayed(log.student).items()}
    ready = [found for card in material.fixed if (found := fixed(card, log.memories, day))]
    unmet = [found.as_card(seconds_of) for found in ready if found.memory is None][:CARDS_LOOKED_AT]
    shown = {key: seen.last for key, seen in log.seen.items()}
    waiting = {position_key(found.card.card.fen) for found in ready} - cards.keys()
    for key in waiting - set(map(position_key, log.scorebook.answered_since(log.student, day))):
        shown.pop(key, None)  # a fixed card that was left unanswered may come again today
    return Today(
        ahead,
        states,
        pools,
        shown,
        fresh_left=max(0, fresh_allowance(unseen) - used),
        seconds_of=seconds_of,
        due_cards=_due(log, [found for found in ready if found.memory], seconds_of),
        unmet_cards=tuple(unmet),
        may_meet=clear_again(ahead, {each: _due_at_end(material, log, each) for each in ahead.clear_one_of}),
        last_shown={strand: position_of(cards[key]) for strand, key in last.items() if key in cards},
        seed=log.student,
        meeting=next((strand for strand, state in states.items() if state.in_first_meeting), None),
    )


def _due(log: Log, found: Sequence[Fixed], seconds_of: Mapping[str, float]) -> tuple[FixedCard, ...]:
    """The fixed cards that are due, without those that rest because the student is stuck on them."""
    by_name = {each.card.name: each for each in found}
    first = due_cards((each.as_card(seconds_of) for each in found), log.day)[:CARDS_LOOKED_AT]
    items = {
        card.card: [str(CardItem(each.deck, each.card.card_id, ask)) for ask in each.asks]
        for card in first
        for each in (by_name[card.card].card,)
    }
    grades = log.scorebook.grades(log.student, [item for each in items.values() for item in each])
    rested = []
    for card in first:
        rests = filter(None, (rest_of(grades.get(item, ())) for item in items[card.card]))
        rested.append(replace(card, rests_until=max(rests, default=None)))
    return due_cards(rested, log.day)


def _due_at_end(material: Material, log: Log, day: date) -> bool:
    """Whether anything that can still be asked was due when a study day ended."""
    learnt = log.scorebook.learnt_until(log.student, day)
    shown = {key: seen.last for key, seen in log.seen.items()}
    strands = (
        strand
        for strand in material.pools
        if isinstance(state := learnt.get(str(strand)), StrandState) and state.is_due(day)
    )
    if any(not is_dry(material.pools[strand], shown, log.day) for strand in strands):
        return True
    items = (str(CardItem(card.deck, card.card.card_id, ask)) for card in material.fixed for ask in card.asks)
    return any(isinstance(memory := learnt.get(item), Memory) and returns(memory) <= day for item in items)


class Returning(NamedTuple):
    """What returns, and the study day on which it does, at the earliest today."""

    day: date
    what: Askable | Strand

    @property
    def is_card(self) -> bool:
        """Whether it is a fixed card and not a strand."""
        return isinstance(self.what, Askable)


def returning(material: Material, log: Log) -> list[Returning]:
    """What returns when, the soonest first, of all that has been met. A strand needs a position to show."""
    found = []
    for card in material.fixed:
        items = (str(CardItem(card.deck, card.card.card_id, ask)) for ask in card.asks)
        days = [returns(log.memories[item]) for item in items if item in log.memories]
        if days:
            found.append(Returning(max(log.day, min(days)), card))
    shown = {key: seen.last for key, seen in log.seen.items()}
    for strand, pool in material.pools.items():
        state = log.states.get(strand, StrandState())
        if state.returns is not None:
            day = max(log.day, state.returns)
            if not is_dry(pool, shown, day):
                found.append(Returning(day, strand))
    return sorted(found, key=lambda each: (each.day, each.is_card))


def _say_nothing(message: str) -> None:
    """For what has been told before."""


@dataclass
class Course:
    """A study day as it goes on. `began`: when the sitting began, local time; `now`: gives the local time.

    `today`: what it has come to. `steps`: the next ones, as they look now.
    """

    material: Material
    log: Log
    today: Today
    began: datetime
    now: Callable[[], datetime]
    usual: Mapping[str, float]
    whole_ballot: bool = False
    fluent: dict[tuple[str, int], float | None] = field(default_factory=dict)
    steps: list[Step] = field(default_factory=list)
    answer_ids: dict[tuple[str, str, str], str] = field(default_factory=dict)
    contest_ids: dict[tuple[str, str, str], str] = field(default_factory=dict)

    @classmethod
    def begin(
        cls,
        decks: Iterable[Deck],
        scorebook: Scorebook,
        student: int,
        ahead: DayAhead,
        began: datetime,
        now: Callable[[], datetime],
        warn: Callable[[str], None],
        whole_ballot: bool = False,
    ) -> Course:
        """What is left of a study day. `whole_ballot`: ballots with all factors."""
        material = Material.of(decks, warn)
        log = Log.read(scorebook, student, ahead.day, warn)
        size = {ask.id: ask.size_of(whole_ballot) for ask in ASKS.values()}
        times = {ask: scorebook.own_times(student, ask, parts=size[ask].parts) for ask in size}
        usual = {ask: seconds for ask in size if (seconds := usual_time(times[ask])) is not None}
        seconds_of = {ask: size[ask].seconds for ask in size} | usual
        today = todays(material, log, ahead, seconds_of)
        return cls(material, log, today, began, now, usual, whole_ballot, steps=plan_day(today))

    @property
    def tasks(self) -> tuple[Task, ...]:
        """The tasks of the next steps."""
        return tuple(map(self._task, self.steps))

    def plan(self, attempt: Attempt) -> tuple[Task, ...]:
        """What follows the first of the steps, which was answered or shown worked."""
        step, *_ = self.steps
        seconds = sum(given.seconds for given in attempt.given) or step.seconds
        stored = self.log.scorebook.strand_states(self.log.student)
        states = {strand: stored.get(strand, state) for strand, state in self.today.states.items()}
        self.today = done(replace(self.today, states=states), step, seconds)
        self.steps = plan_day(self.today)
        return self.tasks

    def keep(self, effect: Kept) -> Learnt | None:
        """Keep what happened. ScorebookError if that fails.

        Returns what follows for the item after an answer or a decision, else None.
        """
        scorebook, moment = self.log.scorebook, self.now()
        if isinstance(effect, SaveShown):
            scorebook.save_display(self._display(effect.task, moment))
            return None
        name = (effect.task.deck, effect.task.card.card_id, effect.given.ask)
        if isinstance(effect, SaveContest):
            if effect.grade is None:
                scorebook.withdraw(self.contest_ids[name], moment)
            else:
                self.contest_ids[name] = scorebook.contest(self.answer_ids[name], effect.grade, moment)
            return None
        if isinstance(effect, SaveDecision):
            return scorebook.decide(self.contest_ids[name], effect.given.grade, effect.reason, moment)
        answer = self._answer(effect, moment)
        learnt = scorebook.save_answer(answer)
        self.answer_ids[name] = answer.answer_id
        return learnt

    def outlook(self) -> Outlook:
        """How things stand if the day ends here. `minutes` is left open."""
        today, day = self.today, self.log.day
        dry = {strand for strand, pool in today.pools.items() if is_dry(pool, today.shown, day)}
        unmet = [strand for strand, state in today.states.items() if not state.asked and strand not in dry]
        met = [strand for strand, state in today.states.items() if state.asked and not state.rests(day)]
        log = Log.read(self.log.scorebook, self.log.student, day, _say_nothing)
        tomorrow = day + timedelta(days=1)
        coming = [(max(each.day, tomorrow), each) for each in returning(self.material, log)]
        first = min((returns for returns, _ in coming), default=None)
        then = [each for returns, each in coming if returns == first]
        return Outlook(
            day,
            None,
            first,
            cards=sum(each.is_card for each in then),
            motifs=sum(not each.is_card for each in then),
            unmet=bool(unmet or today.unmet_cards) and today.ahead.first_meetings < 1,
            catching_up=bool(unmet or today.unmet_cards) and not today.may_meet,
            lacks_positions=bool(met or unmet) and not self.steps and today.ahead.seconds > 0,
            unseen=len(self.material.pools.by_key.keys() - today.shown.keys()),
            feeds=self._feeding(),
        )

    def _feeding(self) -> str:
        """The command that makes positions for the motifs that have the fewest unseen ones."""
        left: Counter[str] = Counter()
        folders: dict[str, Counter[str]] = {}
        for strand, pool in self.today.pools.items():
            if strand.motif != EVERY_MOTIF and not strand.motif.startswith(LABEL):
                left[strand.motif] += sum(position.key not in self.today.shown for position in pool)
                decks = [self.material.decks[card.deck] for card in self.material.pools.cards(strand)]
                folders.setdefault(strand.motif, Counter()).update(str(deck.folder) for deck in decks)
        motifs = sorted(left, key=lambda motif: (left[motif], motif))[:MOTIFS_FED]
        deck = folders[motifs[0]].most_common(1)[0][0] if motifs else "DIR"
        return build_command(deck, motifs, self.log.scorebook.games_with(motifs))

    def _display(self, task: Task, moment: datetime) -> Display:
        ask = task.asks[-1]
        return Display(
            display_id=str(uuid4()),
            student=self.log.student,
            deck=task.deck,
            card_id=task.card.card_id,
            fen=task.card.fen,
            how="worked" if task.worked else "asked",
            study_day=self.log.day,
            time=moment,
            item=task.items[ask],
            why=task.why[ask],
        )

    def _answer(self, effect: SaveAnswer, moment: datetime) -> Answer:
        task, given = effect.task, effect.given
        return Answer(
            answer_id=str(uuid4()),
            student=self.log.student,
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
            study_day=self.began.date(),
            time=moment,
            first_sight=task.first_sight,
            target_recall=task.target_recall,
            motif=task.card.motifs[0].motif if task.card.motifs else None,
            tier=tier_of(task.card),
            lookalike=task.lookalike,
            why=task.why[given.ask],
        )

    def _task(self, step: Step) -> Task:
        if isinstance(step, StrandStep):
            strands = step.strands or (step.strand,)
            why = {each.ask: step.why if each == step.strand else _BESIDE[step.why] for each in strands}
            task = self._bare_task(self.material.pools.card_of(step.shown), why)
            items = {each.ask: str(each) for each in strands}
            fresh, lookalike = step.fresh, step.shown.lookalike
            return replace(task, items=items, first_sight=fresh, lookalike=lookalike, worked=not step.strands)
        card = self.material.card_named(step.card.card)
        found = fixed(card, self.log.memories, self.log.day)
        assert found is not None
        task = self._bare_task(card, dict.fromkeys(found.asks, step.why))
        items = {ask: str(CardItem(card.deck, card.card.card_id, ask)) for ask in found.asks}
        return replace(task, items=items, first_sight=step.position not in self.log.seen)

    def _bare_task(self, card: Askable, why: Mapping[str, Why]) -> Task:
        deck, tier = self.material.decks[card.deck], tier_of(card.card)
        within = {ask: self._fluent_within(ask, tier) for ask in why}
        return Task(
            deck=card.deck,
            card=card.card,
            asks=tuple(why),
            verdicts=deck.verdicts,
            usual_seconds=self.usual,
            fluent_within={ask: seconds for ask, seconds in within.items() if seconds is not None},
            why=why,
            target_recall=deck.settings.target_recall,
            whole_ballot=self.whole_ballot,
        )

    def _fluent_within(self, ask: str, tier: int) -> float | None:
        if (ask, tier) not in self.fluent:
            parts = ASKS[ask].size_of(self.whole_ballot).parts
            times = self.log.scorebook.own_times(self.log.student, ask, parts=parts, tier=tier)
            self.fluent[ask, tier] = fluent_within(times)
        return self.fluent[ask, tier]


_BESIDE: Mapping[Why, Why] = {"due": "due", "first meeting": "turn", "turn": "turn"}
"""Why the other asks of a card are asked that is shown for a strand."""
