"""`spot`: name the motif and point to its men. With a tag of its own it comes in the coach's wording."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from decks.asks import weak_point, weak_point_mark
from decks.asks.ask import Answer, Ask, Mark, Reaction, Size
from decks.tasks.card import Card
from decks.tasks.entry import EntryError, InvalidEntry, read_square
from decks.tasks.evidence import Marks, key_squares, motif_title
from decks.tasks.hints import Hint, where
from decks.tasks.layout import BLANK, Completion, Key, Layout, MessageAt, Paragraph, Piece, Row
from decks.tasks.messages import Click, Enter, Message, Submit
from decks.tasks.scoring import above_chance
from decks.tasks.task import Task
from patterns.reading.text import safe
from patterns.words.wording import listed, sentence

DECOYS = 3
"""How many wrong motifs the last hint names beside the right one."""


@dataclass(frozen=True)
class Name(Message):
    """Name a motif, or take it back."""

    motif: str


@dataclass(frozen=True)
class SpotMark(Mark):
    """The result: motifs right, wrong, left out, and there but not asked for; then the same for squares."""

    right: frozenset[str]
    wrong: frozenset[str]
    left_out: frozenset[str]
    also: frozenset[str]
    squares_hit: frozenset[str]
    squares_wrong: frozenset[str]
    squares_left_out: frozenset[str]

    def reason(self, task: Task) -> str:
        names = (
            ("right", self.right),
            ("not there", self.wrong),
            ("left out", self.left_out),
            ("also there, but not the main point", self.also),
        )
        squares = (
            ("right squares", self.squares_hit),
            ("wrong squares", self.squares_wrong),
            ("squares left out", self.squares_left_out),
        )
        parts = [
            f"{label}: {listed(motif_title(motif) for motif in sorted(these))}"
            for label, these in names
            if these
        ]
        parts += [f"{label}: {listed(sorted(these))}" for label, these in squares if these]
        return sentence("; ".join(parts))


def score_spot(
    key: Mapping[str, frozenset[str]],
    named: frozenset[str],
    squares: frozenset[str],
    also_true: Mapping[str, frozenset[str]],
    motif_count: int,
) -> SpotMark:
    """Mark an answer.

    `key`: the squares to point to (actors and targets), by motif asked for. `named`, `squares`: the answer.
    `also_true`: other motifs in the position, with their squares: to name or point to them earns nothing and
    costs nothing. `motif_count`: how many motifs there are to choose from, which gives the chance level.
    Half the score is for the names and half for the squares. The squares count only as far as the names are
    right.
    """
    right = named & key.keys()
    wrong = named - key.keys() - also_true.keys()
    naming = _agreement(len(right), len(wrong), len(key) - len(right))
    wanted = frozenset().union(*key.values())
    excused = frozenset().union(*(also_true[motif] for motif in named & also_true.keys()))
    hit, beside, unseen = squares & wanted, squares - wanted - excused, wanted - squares
    pointing = _agreement(len(hit), len(beside), len(unseen)) if wanted else 1.0
    raw = naming * (0.5 + 0.5 * pointing)
    chance = 0.5 * len(key) / motif_count * _agreement(1, 0, len(key) - 1) if key and motif_count else 0.0
    left_out, also = frozenset(key) - named, named & also_true.keys()
    return SpotMark(above_chance(raw, chance), right, wrong, left_out, also, hit, beside, unseen)


def _agreement(hits: int, false: int, left_out: int) -> float:
    """Hits compared with wrong and missing ones, 0 to 1 (the balanced F measure of information retrieval)."""
    return 2 * hits / (2 * hits + false + left_out) if hits else 0.0


@dataclass(frozen=True)
class SpotAnswer(Answer):
    """The motifs named so far (ids) and the squares pointed to."""

    named: frozenset[str] = frozenset()
    pointed: frozenset[str] = frozenset()

    prompt = "Motifs and squares: "
    help = (
        "Write motifs, by title or id, and squares, for example: weak back rank, d1 g8.",
        "Writing one again takes it back; an empty line hands the answer in.",
    )
    plain_help = ("Commands: motifs (all there are), or motifs and the beginning of a name.",)

    @property
    def question(self) -> str:
        several = len(_to_name(self.task.card)) > 1
        which = "Which motifs are there? Name them" if several else "Which motif is there? Name it"
        return f"{self.to_move} {which} and point to the men."

    @property
    def marks(self) -> Marks:
        return Marks(squares=self.pointed)

    def react(self, message: Message) -> Reaction:
        match message:
            case Click(square=square):
                return Reaction(replace(self, pointed=self.pointed ^ {square}))
            case Name(motif=motif):
                return Reaction(replace(self, named=self.named ^ {motif}))
            case Submit() | Enter(text=""):
                return Reaction(self, handed_in=True) if self.named else Reaction(self, "Name a motif first.")
            case Enter(text=text):
                return self._entered(text)
        return Reaction(self)

    def _entered(self, text: str) -> Reaction:
        """Reads motifs by id or title, and squares. Each is added, or removed if it is there already."""
        try:
            motifs, squares = read_spot(_titles(), text)
        except EntryError as error:
            return Reaction(self, str(error))
        named, pointed = self.named ^ frozenset(motifs), self.pointed ^ frozenset(squares)
        return Reaction(replace(self, named=named, pointed=pointed))

    def layout(self) -> Layout:
        """What is named and pointed to so far, then all motifs, to click on."""
        choice: list[Row] = [
            (
                Piece(
                    f"[{'x' if motif in self.named else ' '}] {motif}",
                    "class:chosen" if motif in self.named else "",
                    _name(motif),
                ),
            )
            for motif in _titles()
        ]
        return Layout(below_hints=(BLANK, *map(Paragraph, self._so_far()), BLANK, *choice))

    def _so_far(self) -> tuple[str, str]:
        named = ", ".join(motif_title(motif) for motif in sorted(self.named)) or "nothing yet"
        pointed = " ".join(sorted(self.pointed)) or "nothing yet"
        return f"Named: {named}", f"Pointed to: {pointed}"

    def keys(self) -> tuple[Key, ...]:
        return (Key("enter", "Enter", "hand in", Submit),)

    def completions(self, typed: str) -> list[Completion]:
        end, motifs = complete_spot(_titles(), typed)
        return [Completion(motif, typed.removesuffix(end) + motif) for motif in motifs]

    def news(self, before: Answer | None) -> list[str]:
        return [self.question] if before is None else [] if before == self else list(self._so_far())

    def looked_up(self, typed: str) -> list[str] | None:
        first, _, beginning = typed.lower().partition(" ")
        if first != "motifs":
            return None
        titles, beginning = _titles(), beginning.strip()
        fitting = complete_spot(titles, beginning)[1] if beginning else list(titles)
        return [f"{motif}: {titles[motif]}" for motif in fitting] or ["No motif begins like this."]

    def hints(self, keeping_secret: bool) -> list[Hint]:
        return [where(self.task), _whose(self.task), _one_of(self.task)]

    def marked(self) -> SpotMark:
        named = _to_name(self.task.card)
        key = {motif: squares for motif, squares in key_squares(self.task).items() if motif in named}
        also: dict[str, frozenset[str]] = {}
        for finding in self.task.explanation.findings:
            if finding.motif not in key:
                squares = {*finding.actors, *finding.targets}
                also[finding.motif] = also.get(finding.motif, frozenset()) | squares
        return score_spot(key, self.named, self.pointed, also, len(_titles()))

    def raw(self) -> dict[str, list[str]]:
        return {"motifs": sorted(self.named), "squares": sorted(self.pointed)}


def _to_name(card: Card) -> set[str]:
    """The motifs that the student has to name. Nobody can guess a coach's label."""
    return {tag.motif for tag in card.motifs if not tag.is_label}


def _titles() -> dict[str, str]:
    """The titles of all motifs, by id."""
    from patterns.catalogue import MOTIFS  # array code, imported only when motifs are asked for

    return {motif.id: motif.title for motif in MOTIFS.values()}


def _name(motif: str) -> MessageAt:
    return lambda at: Name(at, motif)


def _whose(task: Task) -> Hint:
    sides = dict.fromkeys(tag.side.capitalize() for tag in task.card.motifs if not tag.is_label)
    return Hint(
        f"It is good for {listed(sides)}." if sides else "No motif of this card is good for either side."
    )


def _one_of(task: Task) -> Hint:
    """The right motifs among motifs that are not on the board, which are spread evenly over the catalogue."""
    right = _to_name(task.card)
    wrong = sorted(_titles().keys() - right - {finding.motif for finding in task.explanation.findings})
    decoys = wrong[:: max(1, len(wrong) // DECOYS)][:DECOYS]
    titles = sorted(motif_title(motif) for motif in {*right, *decoys})
    return Hint(f"It is among these: {listed(titles)}.")


def read_spot(titles: Mapping[str, str], text: str) -> tuple[list[str], list[str]]:
    """The motifs (ids) and the squares that an answer names, in its order.

    `titles`: title by id; a motif may be written either way. InvalidEntry quotes a word that is neither a
    motif nor a square.

    >>> read_spot({"pin-on-file": "Pin on the file"}, "pin on the file: e1, E5")
    (['pin-on-file'], ['e1', 'e5'])
    """
    ids = {spelling: motif for motif in titles for spelling in _spellings(motif, titles)}
    most_words = max((spelling.count(" ") + 1 for spelling in ids), default=1)
    words = re.sub(r"[,;:]", " ", text.lower()).split()
    motifs, squares, at = [], [], 0
    while at < len(words):
        phrases = (words[at : at + count] for count in range(most_words, 0, -1))
        longest = next((phrase for phrase in phrases if " ".join(phrase) in ids), [])
        if longest:
            motifs.append(ids[" ".join(longest)])
        elif square := read_square(words[at]):
            squares.append(square)
        else:
            raise InvalidEntry(f"'{safe(words[at], 40)}' is neither a motif nor a square like e4.")
        at += len(longest) or 1
    return motifs, squares


def complete_spot(titles: Mapping[str, str], text: str) -> tuple[str, list[str]]:
    """The part of `text` that begins a motif, and the ids of the motifs that it may become.

    That part is the longest end of the text with which an id, a title or a word of a title begins.

    >>> complete_spot({"pin-on-file": "Pin on the file", "fork": "Fork"}, "e4, pin on")
    ('pin on', ['pin-on-file'])
    """
    for start in re.finditer(r"[^\s,;:]+", text):
        typed = text[start.start() :]
        fitting = [
            motif
            for motif in titles
            if any(f" {spelling}".find(f" {typed.lower()}") >= 0 for spelling in _spellings(motif, titles))
        ]
        if fitting:
            return typed, fitting
    return "", []


def _spellings(motif: str, titles: Mapping[str, str]) -> tuple[str, str]:
    return motif, titles[motif].lower()


def _begin(task: Task, then: str, comes_first: bool) -> Answer:
    asks_for_a_point = weak_point_mark.TAG in task.card.own_tags
    kind = weak_point.WeakPointAnswer if asks_for_a_point else SpotAnswer
    return kind(task, then, comes_first)


def _in_words(card: Card, raw: Mapping[str, Any]) -> str:
    if "point" in raw:
        return weak_point.in_words(raw)
    return ", ".join([*(motif_title(motif) for motif in raw["motifs"]), *raw["squares"]])


def _lacks(card: Card, tags: Mapping[str, str]) -> str:
    if not tags.get("Motifs", "").strip(" ;"):
        return "no Motifs tag names one"
    point = tags.get(weak_point_mark.TAG)
    if point is not None:
        return weak_point_mark.lacks(card, point)
    return (
        "" if _to_name(card) or not card.motifs else "its Motifs tag has only labels, which nobody can name"
    )


def _built_tags(card: Card) -> Mapping[str, str]:
    """The weak point, if the card's motif stands on the board already with men that can go at something."""
    from patterns.detect import find_in  # array code, imported only when cards are built

    motif = next((tag.motif for tag in card.motifs if not tag.is_label), None)
    key = motif and weak_point_mark.weak_point_in(card, motif, find_in([card.board], motif)[0])
    return {weak_point_mark.TAG: str(key)} if key else {}


ASK = Ask(
    id="spot",
    title="motif",
    place=20,
    begin=_begin,
    in_words=_in_words,
    size=Size(seconds=40),  # a quick look for squares; our guess
    secrets=frozenset({"motif"}),
    by_motif=True,
    tags=(weak_point_mark.TAG,),
    lacks=_lacks,
    asks_of_a_position=True,
    built_tags=_built_tags,
)
