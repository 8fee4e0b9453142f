"""A card: the unit of review, as data. `decks.cards.deck` reads and writes cards."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType
from typing import Literal

import chess

from patterns.words.verdicts import Verdict

Goal = Literal["mate", "win-material", "win", "draw", "improve"]
GOALS: tuple[Goal, ...] = ("mate", "win-material", "win", "draw", "improve")

Grade = Literal["missed", "helped", "partly", "found", "fluent"]
GRADES: tuple[Grade, ...] = ("missed", "helped", "partly", "found", "fluent")

TIERS = 3
"""Tiers, 1 (easy) to this one (hard)."""

Why = Literal["due", "first meeting", "turn"]
"""Why something is asked on a day."""

TARGET_RECALL = 0.9
"""An item is due when its recall falls to this value, unless another is wanted. Stability refers to it."""

RecallStep = Literal["light", "usual", "firm"]

RECALL_STEPS: Mapping[RecallStep, float] = MappingProxyType(
    {"light": 0.80, "usual": TARGET_RECALL, "firm": 0.95}
)
"""How firmly a card is to be remembered, as decks and students say it: the recall at which it falls due. By
FSRS-6 it then returns after about 3.3, 1 and .4 times its stability. The steps are our choice."""


LABEL = "coach:"
"""What a coach's label begins with: `coach:rook-endings` is a motif that no detector finds."""


@dataclass(frozen=True)
class MotifTag:
    """A motif or a coach's label, and the side that profits from it, as in the tag `pin-on-file:white`."""

    motif: str
    side: Literal["white", "black"]

    @property
    def is_label(self) -> bool:
        """Whether it is a coach's label, which no detector finds."""
        return self.motif.startswith(LABEL)

    def __str__(self) -> str:
        return f"{self.motif}:{self.side}"


MOST_DEFENCES = 3
"""Defences that one card asks the student to meet. With more it would be a list to go through."""


@dataclass(frozen=True)
class Defence:
    """Another reply of the other side, which the student has to meet too.

    `ply`: plies of the main line before it (odd). `line`: the reply, the student's answer and what follows
    (UCI). `marks`: answers (UCI) that the coach accepts (True) or refuses, whatever an engine finds.
    """

    ply: int
    line: tuple[str, ...]
    marks: Mapping[str, bool] = field(default_factory=dict)


@dataclass(frozen=True)
class KeyMove:
    """A move of a card's key.

    `place`: which of the card's moves it is, from 0; the answers to defences come after the main line.
    `before`: the moves (UCI) played from the card's position; `board`: the position after them. `line`: the
    move (UCI) and what follows it. `marks`: as in `Defence`. `defence`: the one that it answers; None in the
    main line.
    """

    place: int
    before: tuple[str, ...]
    board: chess.Board
    line: tuple[str, ...]
    marks: Mapping[str, bool]
    defence: Defence | None = None

    @property
    def move(self) -> str:
        """The move (UCI)."""
        return self.line[0]

    @property
    def ply(self) -> int:
        """How many plies are before it."""
        return len(self.before)


@dataclass(frozen=True)
class Card:
    """One card of a deck.

    `asks`: ids of its asks (`decks.asks`), in the order of a sitting. `line`: the main line (UCI) from `fen`;
    the student plays its even plies (0, 2, ...), the odd plies are the stored replies. `to_find`: how many of
    the student's moves are asked; what follows is only shown (None: all are asked). `goal`: what the best
    moves achieve, which is told with the question. `tier`: how hard it is, 1 to 3. `lookalike`: a motif that
    only seems to be there. `factors`: the coach's key, by factor id or `verdict`; the program computes the
    rest. `origin`: the game and move it comes from. `chosen`: why it was taken, in words. `evidence`: the
    squares that an answer must point to, by motif; for a lookalike, the men that refute it. `root`: which
    move of the line was the mistake (1 is the first). `checked`: who checked the key, how deep and when; it
    starts with `unverified` if that was not deep enough. `comments`: the coach's words, by ply (0 is before
    the first move). `own_tags`: the text of tags that only one ask reads, by name. `marks`: by even ply, the
    moves (UCI) that the coach accepts (True) or refuses, whatever an engine finds. `defences`: other replies
    to the student's moves, in order. `tried`: other first moves, each with what follows (UCI).
    """

    card_id: str
    fen: str
    asks: tuple[str, ...]
    motifs: tuple[MotifTag, ...] = ()
    factors: Mapping[str, Verdict] = field(default_factory=dict)
    line: tuple[str, ...] = ()
    to_find: int | None = None
    goal: Goal | None = None
    tier: int | None = None
    lookalike: MotifTag | None = None
    origin: str = ""
    chosen: str = ""
    evidence: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    root: int | None = None
    checked: str = ""
    comments: Mapping[int, str] = field(default_factory=dict)
    own_tags: Mapping[str, str] = field(default_factory=dict)
    marks: Mapping[int, Mapping[str, bool]] = field(default_factory=dict)
    defences: tuple[Defence, ...] = ()
    tried: tuple[tuple[str, ...], ...] = field(default=(), compare=False)

    @cached_property
    def board(self) -> chess.Board:
        """The position asked about (do not push moves on it; copy it first)."""
        return chess.Board(self.fen)

    @property
    def asked_line(self) -> tuple[str, ...]:
        """The line up to the last move that is asked."""
        return self.line if self.to_find is None else self.line[: 2 * self.to_find - 1]

    @property
    def asked_defences(self) -> tuple[Defence, ...]:
        """The defences that the student has to meet: replies to moves that are asked."""
        return tuple(one for one in self.defences if one.ply <= len(self.asked_line))[:MOST_DEFENCES]

    @cached_property
    def key_version(self) -> str:
        """A short text that changes with what decides a grade.

        That is position, line, defences, motifs, factors, evidence, root and own tags; not goal and tier, and
        of the line only what is asked.
        """
        parts = [
            self.fen,
            " ".join(self.asked_line),
            ";".join(map(str, self.motifs)),
            ";".join(f"{name}={self.factors[name]}" for name in sorted(self.factors)),
            ";".join(f"{name}={','.join(self.evidence[name])}" for name in sorted(self.evidence)),
            str(self.root),
            *(f"{name}={self.own_tags[name]}" for name in sorted(self.own_tags)),
            *(f"{one.ply} {' '.join(one.line[:2])}" for one in self.asked_defences),
        ]
        return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:12]

    def moves_to_find(self) -> tuple[KeyMove, ...]:
        """The moves of the line that the student has to find: after 0, 2, 4, ... plies."""
        board, found = self.board.copy(stack=False), []
        for ply, move in enumerate(self.asked_line):
            if ply % 2 == 0:
                here, marks = board.copy(stack=False), self.marks.get(ply, {})
                found.append(KeyMove(ply // 2, self.line[:ply], here, self.line[ply:], marks))
            board.push_uci(move)
        return tuple(found)

    def moves_asked(self) -> tuple[KeyMove, ...]:
        """The moves of the line that the student has to find, then the answers to the defences."""
        found = list(self.moves_to_find())
        for one in self.asked_defences:
            before = (*self.line[: one.ply], one.line[0])
            board = self.board.copy(stack=False)
            for move in before:
                board.push_uci(move)
            found.append(KeyMove(len(found), before, board, one.line[1:], one.marks, one))
        return tuple(found)
