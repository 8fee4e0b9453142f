"""Items, which a student remembers or forgets, and answers, as the log keeps them.

An item is one ask of a card, or a strand: a skill, which is asked in changing positions. Its id is a string:
`card:<deck uuid>/<CardId>/<ask>` or `motif:<motif>/<ask>`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal
from uuid import UUID

from decks.asks.catalogue import ASKS
from decks.tasks.card import GRADES, TARGET_RECALL, Grade, Why

RIGHT_GRADES: tuple[Grade, ...] = ("found", "fluent")
"""Grades of an answer that was right without help."""

EVERY_MOTIF = "every-motif"
"""In a strand in place of a motif. No motif has this id."""


How = Literal["asked", "worked", "looked up", "on paper"]
"""How a position is displayed. `worked`: with its answer, to be studied."""


@dataclass(frozen=True)
class CardItem:
    """One ask of one card. `str()` gives its id."""

    deck: str
    card_id: str
    ask: str

    def __str__(self) -> str:
        return card_item(self.deck, self.card_id, self.ask)


def card_item(deck: str, card_id: str, ask: str) -> str:
    """The id of the item of one ask of one card."""
    return f"card:{deck}/{card_id}/{ask}"


@dataclass(frozen=True, order=True)
class Strand:
    """A skill: one ask of a motif, in whatever position. `str()` gives its id.

    `motif` is EVERY_MOTIF for an ask whose skill doesn't depend on the motif.
    """

    motif: str
    ask: str

    def __str__(self) -> str:
        return f"motif:{self.motif}/{self.ask}"


def parse_item(text: str) -> CardItem | Strand:
    """Read an item id. ValueError if the text is not one. A CardId may contain slashes.

    >>> parse_item("motif:pin-on-file/spot")
    Strand(motif='pin-on-file', ask='spot')
    """
    kind, _, rest = text.partition(":")
    subject, _, ask = rest.rpartition("/")
    if subject and ask in ASKS:
        if kind == "motif":
            return Strand(subject, ask)
        deck, _, card_id = subject.partition("/")
        if kind == "card" and deck and card_id:
            return CardItem(deck, card_id, ask)
    raise ValueError(f"{text!r} is not an item: write card:DECK/CARD/ASK or motif:MOTIF/ASK")


@dataclass(frozen=True)
class Answer:
    """One answer of one student, as the log keeps it. It is never changed.

    `answer_id`: a uuid made once, so that a retry or a merge never counts it twice. `student`: the
    scorebook's number for the student. `deck`: uuid of the deck, or None. `card_id`: the card shown. `fen`:
    the position shown. `key_version`: the version of the card's key it was graded by. `raw`: the answer as
    given, JSON text. `score`: 0..1. `seconds`: time taken. `hints`: how many were asked for. `study_day`: the
    local date on which its sitting began. `time`: the moment, with its time zone. `first_sight`: whether the
    student had never seen this position, None if unknown. `target_recall`: the deck's, for the interval.
    `motif`: the card's first, or the one that only seems to be there; `tier`: how hard the card is (1 to 3);
    `why`: why it was asked. These are None for answers that are older than strands, and `motif` for a card
    without one. `lookalike`: the motif only seemed to be there. `on_paper`: answered away from the screen,
    so that the time says nothing.
    """

    answer_id: str
    student: int
    deck: str | None
    item: str
    card_id: str
    ask: str
    fen: str
    key_version: str
    raw: str
    score: float
    grade: Grade
    seconds: float
    hints: int
    study_day: date
    time: datetime
    first_sight: bool | None = None
    target_recall: float = TARGET_RECALL
    motif: str | None = None
    tier: int | None = None
    lookalike: bool = False
    on_paper: bool = False
    why: Why | None = None

    def __post_init__(self) -> None:
        UUID(self.answer_id)
        if parse_item(self.item).ask != self.ask:
            raise ValueError(f"item {self.item!r} doesn't ask for {self.ask!r}")
        check_grade(self.grade)
        if not 0 <= self.score <= 1:
            raise ValueError(f"a score is 0 to 1, not {self.score}")
        if not self.seconds >= 0 or self.hints < 0:
            raise ValueError(f"seconds {self.seconds} and hints {self.hints} can't be below 0")
        if not 0 < self.target_recall < 1:
            raise ValueError(f"target recall {self.target_recall} is not between 0 and 1")
        check_moment(self.time)


@dataclass(frozen=True)
class Display:
    """A position as it was displayed to a student, who has seen it from then on, answered or not.

    `display_id`: a uuid. `item`: what it was displayed for, None if it was only looked up. `study_day`: never
    before an earlier one. The other fields are as in `Answer`.
    """

    display_id: str
    student: int
    deck: str | None
    card_id: str
    fen: str
    how: How
    study_day: date
    time: datetime
    item: str | None = None
    why: Why | None = None


@dataclass(frozen=True)
class Correction:
    """The grade that holds from now on, and why. The answer itself stays as it was.

    `grade`: None voids the answer, so that it takes no part until a later correction gives it a grade.
    `unvoids`: that is all this one does; it decides nothing on a contested grade.
    """

    correction_id: str
    answer_id: str
    grade: Grade | None
    reason: str
    time: datetime
    unvoids: bool = False

    def __post_init__(self) -> None:
        UUID(self.correction_id)
        if self.grade is not None:
            check_grade(self.grade)
        check_moment(self.time)


@dataclass(frozen=True)
class Contest:
    """A student's claim that an answer deserves another grade. It changes nothing by itself."""

    contest_id: str
    answer_id: str
    grade: Grade
    time: datetime


@dataclass(frozen=True)
class Withdrawal:
    """A student takes a claim back. `withdraws`: the id of the claim."""

    contest_id: str
    answer_id: str
    withdraws: str
    time: datetime


Logged = Answer | Display | Correction | Contest | Withdrawal
"""What a log consists of. Nothing of it is ever changed."""


LOOKED_AT_AGAIN = "looked at again by "
"""What the reason of a decision begins with that an engine has made."""


@dataclass(frozen=True)
class Settled:
    """A claim that was decided: what was answered, which grade was claimed, and what came of it.

    The fields up to `hints` are those of the answer. `grade`: the decision's.
    """

    deck: str
    card_id: str
    ask: str
    fen: str
    key_version: str
    raw: str
    hints: int
    claimed: Grade
    grade: Grade
    reason: str
    time: datetime

    @property
    def by_engine(self) -> bool:
        """Whether an engine decided it, and not the coach."""
        return self.reason.startswith(LOOKED_AT_AGAIN)


def check_grade(grade: str) -> None:
    """ValueError unless `grade` is one of ours."""
    if grade not in GRADES:
        raise ValueError(f"{grade!r} is not a grade: one of {', '.join(GRADES)}")


def check_moment(moment: datetime) -> None:
    """ValueError unless `moment` says which time zone it means."""
    if moment.utcoffset() is None:
        raise ValueError(f"the time {moment} lacks a time zone")
