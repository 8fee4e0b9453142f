"""A card: the unit of review, as data. Reading and writing it is `decks.cards.deck`'s job."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

import chess

from patterns.words.verdicts import Verdict

Ask = Literal["play", "assess", "spot", "root"]
ASKS: tuple[Ask, ...] = ("assess", "spot", "play", "root")
"""Every ask, in the order one sitting goes through them: take stock first, then decide."""

Grade = Literal["missed", "helped", "partly", "found", "fluent"]
GRADES: tuple[Grade, ...] = ("missed", "helped", "partly", "found", "fluent")


@dataclass(frozen=True)
class MotifTag:
    """A motif and the side that profits from it, as in the tag `pin-on-file:white`."""

    motif: str
    side: Literal["white", "black"]

    def __str__(self) -> str:
        return f"{self.motif}:{self.side}"


@dataclass(frozen=True)
class Card:
    """One card of a deck.

    `line`: the main line (UCI) from `fen`; the student plays its even plies (0, 2, ...), the odd ones are
    the stored replies. `factors`: the coach's key, by factor id or `verdict`; what it lacks is computed.
    `evidence`: the squares a `spot` answer must point to, by motif. `root`: the move of the line that let it
    in (1 is the first). `checked`: who checked the key, how deep, when; starts with `unverified` below the
    bar.
    `comments`: the coach's words, by ply (0 is before the first move).
    """

    card_id: str
    fen: str
    asks: tuple[Ask, ...]
    motifs: tuple[MotifTag, ...] = ()
    factors: Mapping[str, Verdict] = field(default_factory=dict)
    line: tuple[str, ...] = ()
    origin: str = ""
    evidence: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    root: int | None = None
    checked: str = ""
    comments: Mapping[int, str] = field(default_factory=dict)

    @cached_property
    def board(self) -> chess.Board:
        """The position asked about (do not push moves on it; copy it first)."""
        return chess.Board(self.fen)

    @cached_property
    def key_version(self) -> str:
        """Names what the key says: a changed position, line, motif, factor or root makes another version."""
        parts = [
            self.fen,
            " ".join(self.line),
            ";".join(map(str, self.motifs)),
            ";".join(f"{name}={self.factors[name]}" for name in sorted(self.factors)),
            ";".join(f"{name}={','.join(self.evidence[name])}" for name in sorted(self.evidence)),
            str(self.root),
        ]
        return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:12]

    def boards_to_move(self) -> tuple[chess.Board, ...]:
        """The positions where the student may have to move: after 0, 2, 4, ... plies of the line."""
        board, found = self.board.copy(stack=False), []
        for ply, move in enumerate(self.line):
            if ply % 2 == 0:
                found.append(board.copy(stack=False))
            board.push_uci(move)
        return tuple(found)
