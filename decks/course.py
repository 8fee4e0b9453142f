"""The course of a study day: what a student is asked, one step after the other, and what is kept of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from time import monotonic
from uuid import uuid4

from decks.asks.catalogue import ASKS
from decks.cards.faults import DeckError
from decks.material import Log, Material, returning, todays
from decks.memory.answers import EVERY_MOTIF, Answer, Display, Strand, parse_item
from decks.memory.askable import Askable, fixed, practised, tier_of
from decks.memory.day import DayAhead
from decks.memory.minutes import WORKED_SECONDS, Step, StrandStep, Today, done, plan_day
from decks.memory.pool import has_only_lookalikes, has_unseen_real, is_dry, shows_on
from decks.memory.strands import Learnt, fluent_within, usual_time
from decks.preparing import Event, fixed_cards, prepared
from decks.review.attempt import Attempt
from decks.review.messages import Kept, Rest, SaveAnswer, SaveContest, SaveDecision, SaveShown
from decks.review.rulings import SettledMoves
from decks.scorebook.book import Scorebook
from decks.shelf.shelved import ShelvedDeck
from decks.tasks.card import LABEL, Why
from decks.tasks.task import Task
from decks.telling.outlook import Outlook, build_command, used_up_lines

MOTIFS_FED = 3
"""For so many motifs at once positions are asked for."""


def _say_nothing(message: str) -> None:
    """For what has been told before."""


@dataclass
class Course:
    """A study day as it goes on. `began`: when the sitting began, local time; `now`: gives the local time.

    `today`: what it has come to. `steps`: the next ones, as they look now. `settled`: contested moves.
    `target_recall`: the student's, for decks that don't say one. `clock`: as of the session, in seconds;
    `started`: its time when this sitting began; `in_log`: what the log says that it has taken so far.
    `on_paper`: as of `begin`.
    """

    material: Material
    log: Log
    today: Today
    began: datetime
    now: Callable[[], datetime]
    usual: Mapping[str, float]
    settled: SettledMoves
    target_recall: float
    whole_ballot: bool = False
    fluent: dict[tuple[str, int], float | None] = field(default_factory=dict)
    steps: list[Step] = field(default_factory=list)
    tasks: tuple[Task, ...] = ()
    answer_ids: dict[tuple[str, str, str], str] = field(default_factory=dict)
    contest_ids: dict[tuple[str, str, str], str] = field(default_factory=dict)
    clock: Callable[[], float] = monotonic
    started: float = 0.0
    sitting: str = field(default_factory=lambda: str(uuid4()))
    in_log: float = 0.0
    on_paper: bool = False

    @classmethod
    def begin(
        cls,
        decks: Iterable[ShelvedDeck],
        scorebook: Scorebook,
        student: int,
        ahead: DayAhead,
        began: datetime,
        now: Callable[[], datetime],
        warn: Callable[[str], None],
        whole_ballot: bool = False,
        event: Event | None = None,
        clock: Callable[[], float] = monotonic,
        on_paper: bool = False,
    ) -> Course:
        """What is left of a study day. `whole_ballot`: ballots with all factors. `event`: what comes up.

        `clock`: the session's. `on_paper`: the answers were given away from the screen, and are typed in.
        """
        material = Material.of(decks, warn)
        log = Log.read(scorebook, student, ahead.day, warn)
        size = {ask.id: ask.size_of(whole_ballot) for ask in ASKS.values()}
        times = {ask: scorebook.own_times(student, ask, parts=size[ask].parts) for ask in size}
        usual = {ask: seconds for ask in size if (seconds := usual_time(times[ask])) is not None}
        seconds_of = {ask: size[ask].seconds for ask in size} | usual
        today = todays(material, log, ahead, seconds_of, event.day if event else None)
        if event is not None:
            today = prepared(today, fixed_cards(material, log, today), event)
        course = cls(
            material,
            log,
            today,
            began,
            now,
            usual,
            SettledMoves(scorebook.settled()),
            next(each.target_recall for each in scorebook.roster() if each.number == student),
            whole_ballot,
            clock=clock,
            started=clock(),
            on_paper=on_paper,
        )
        course._go_on()
        return course

    def plan(self, attempt: Attempt) -> Rest:
        """What follows the first of the steps, which was answered or shown worked."""
        step, *_ = self.steps
        seconds = sum(given.seconds for given in attempt.given) or step.seconds
        stored = self.log.scorebook.strand_states(self.log.student)
        states = {strand: stored.get(strand, state) for strand, state in self.today.states.items()}
        self.today = done(replace(self.today, states=states), step, seconds)
        self._go_on()
        return Rest(self.tasks, self._used_up())

    def _used_up(self) -> dict[str, date | None]:
        today = self.today
        came = ((strand, state.returns) for strand, state in today.states.items() if state.last == today.day)
        return {
            str(strand): shows_on(today.pools[strand], today.shown, returns)
            for strand, returns in came
            if returns is not None and not has_unseen_real(today.pools[strand], today.shown)
        }

    def keep(self, effect: Kept) -> Learnt | None:
        """Keep what happened. ScorebookError if that fails.

        Returns what follows for the item after an answer or a decision, else None.
        """
        scorebook, moment = self.log.scorebook, self.now()
        if isinstance(effect, SaveShown):
            for display in self._displays(effect.task, moment):
                scorebook.save_display(display)
                self.in_log += WORKED_SECONDS if effect.task.worked else 0.0
            self.note_time(self.clock())
            return None
        name = (effect.task.deck, effect.task.card.card_id, effect.given.ask)
        if isinstance(effect, SaveContest):
            if effect.grade is None:
                scorebook.withdraw(self.contest_ids[name], moment)
            else:
                self.contest_ids[name] = scorebook.contest(self.answer_ids[name], effect.grade, moment)
            return None
        if isinstance(effect, SaveDecision):
            decided = scorebook.decide(self.contest_ids[name], effect.given.grade, effect.reason, moment)
            self.settled = SettledMoves(scorebook.settled())
            return decided
        answer = self._answer(effect, moment)
        learnt = scorebook.save_answer(answer)
        self.in_log += answer.seconds
        self.answer_ids[name] = answer.answer_id
        return learnt

    def note_time(self, until: float) -> None:
        """Note how long the sitting has taken, reading included. `until`: the time of its clock."""
        reading = until - self.started - self.in_log
        self.log.scorebook.note_reading(self.sitting, self.log.student, self.log.day, reading)

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
        lacks_positions = bool(met or unmet) and not self.steps and today.ahead.seconds > 0
        used_up = self._used_up()
        then = [each for returns, each in coming if returns == first]
        return Outlook(
            day,
            None,
            first,
            cards=sum(each.is_card for each in then),
            motifs=sum(not each.is_card for each in then),
            unmet=bool(unmet or today.unmet_cards) and today.ahead.first_meetings < 1,
            catching_up=bool(unmet or today.unmet_cards) and not today.may_meet,
            lacks_positions=lacks_positions,
            unseen=len(self.material.pools.keys_held - today.shown.keys()),
            feeds=self.feeding(() if lacks_positions else _motifs(used_up)),
            used_up=len(used_up),
            only_lookalikes=len(
                {one.motif for one, pool in today.pools.items() if has_only_lookalikes(pool)}
            ),
        )

    def used_up_told(self) -> list[str]:
        """What is said when a sitting ends before the day does."""
        used_up = self._used_up()
        return used_up_lines(len(used_up), self.feeding(_motifs(used_up))) if used_up else []

    def feeding(self, wanted: Iterable[str] = ()) -> str:
        """The command that makes positions for the first of these motifs.

        Without any that can be fed, for the motifs that have the fewest unseen positions.
        """
        left: Counter[str] = Counter()
        folders: dict[str, Counter[str]] = {}
        for strand, pool in self.today.pools.items():
            if strand.motif != EVERY_MOTIF and not strand.motif.startswith(LABEL):
                left[strand.motif] += sum(position.key not in self.today.shown for position in pool)
                for deck, cards in self.material.pools.sizes(strand).items():
                    folder = str(self.material.decks[deck].folder)
                    folders.setdefault(strand.motif, Counter())[folder] += cards
        scarcest = sorted(left, key=lambda motif: (left[motif], motif))
        motifs = ([motif for motif in dict.fromkeys(wanted) if motif in left] or scarcest)[:MOTIFS_FED]
        deck = folders[motifs[0]].most_common(1)[0][0] if motifs else "DIR"
        return build_command(deck, motifs, self.log.scorebook.games_with(motifs))

    def _go_on(self) -> None:
        """Plan the next steps. A card that somebody has just changed in its deck doesn't come today."""
        while True:
            self.steps, tasks = plan_day(self.today), []
            for step in self.steps:
                try:
                    tasks.append(self._task(step))
                except DeckError:
                    self.today = replace(self.today, shown={**self.today.shown, step.position: self.log.day})
                    break
            else:
                self.tasks = tuple(tasks)
                return

    def _displays(self, task: Task, moment: datetime) -> list[Display]:
        """What the log keeps of a position that is displayed: one display, but worked one for each ask."""
        return [
            Display(
                display_id=str(uuid4()),
                student=self.log.student,
                deck=task.deck,
                card_id=task.card.card_id,
                fen=task.card.fen,
                how="worked" if task.worked else "on paper" if self.on_paper else "asked",
                study_day=self.log.day,
                time=moment,
                item=task.items[ask],
                why=task.why[ask],
            )
            for ask in (task.asks if task.worked else task.asks[-1:])
        ]

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
            motif=tag.motif if (tag := practised(task.card)) else None,
            tier=tier_of(task.card),
            lookalike=task.lookalike,
            on_paper=self.on_paper,
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
        deck, _, card_id = step.card.card.partition("/")
        card = self.material.fixed.named(deck, card_id)
        assert card is not None
        memories, day = self.log.memories, self.log.day
        found = fixed(card, memories, day) or fixed(card, memories, day, early=True)
        assert found is not None
        task = self._bare_task(card, dict.fromkeys(found.asks, step.why))
        items = {ask: card.items[ask] for ask in found.asks}
        first_sight = step.position not in self.log.shown
        return replace(task, items=items, first_sight=first_sight, worked=found.worked)

    def _bare_task(self, askable: Askable, why: Mapping[str, Why]) -> Task:
        deck, tier = self.material.decks[askable.deck], askable.kind.tier
        card, verdicts = deck.read(deck.index.row_of[askable.card_id])
        within = {ask: self._fluent_within(ask, tier) for ask in why}
        return Task(
            deck=askable.deck,
            card=card,
            asks=tuple(why),
            verdicts=verdicts,
            usual_seconds=self.usual,
            fluent_within={ask: seconds for ask, seconds in within.items() if seconds is not None},
            why=why,
            target_recall=deck.settings.target_recall or self.target_recall,
            whole_ballot=self.whole_ballot,
            rulings=self.settled.on(askable.deck, card, verdicts),
        )

    def _fluent_within(self, ask: str, tier: int) -> float | None:
        if self.on_paper:
            return None
        if (ask, tier) not in self.fluent:
            parts = ASKS[ask].size_of(self.whole_ballot).parts
            times = self.log.scorebook.own_times(self.log.student, ask, parts=parts, tier=tier)
            self.fluent[ask, tier] = fluent_within(times)
        return self.fluent[ask, tier]


def _motifs(strands: Iterable[str]) -> list[str]:
    """The motifs of strands, which are given by their ids."""
    return [item.motif for item in map(parse_item, strands) if isinstance(item, Strand)]


_BESIDE: Mapping[Why, Why] = {"due": "due", "first meeting": "turn", "turn": "turn"}
"""Why the other asks of a card are asked that is shown for a strand."""
