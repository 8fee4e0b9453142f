"""`cards.pgn`: one game for each card. Reading cards and all their faults, and writing new ones.

The main line of a card's game is the line to find. Variations are other moves and replies; another reply that
is answered is a defence to meet. NAGs are the coach's opinion of a move, and comments are the coach's words.
New games are written in PGN export format (standard, sections 3.2 and 8): the seven-tag roster, other tags in
ASCII order, text lines under 80 columns.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from typing import TypeVar

import chess

from decks.asks.catalogue import ASKS
from decks.cards.coach_marks import coach_marks
from decks.cards.defences import defences_in
from decks.cards.faults import Fault, quoted
from decks.cards.movetext import Movetext, Variation, read_movetext, write_movetext
from decks.cards.pgn_spans import LONGEST_STRING, Game, escaped, split_games
from decks.cards.tags import (
    CARD_TAGS,
    card_tags,
    own_tags,
    read_asks,
    read_card_id,
    read_evidence,
    read_factors,
    read_goal,
    read_lookalike,
    read_motifs,
    read_root,
    read_tier,
    read_to_find,
)
from decks.tasks.card import Card, MotifTag
from patterns.reading.fen import FenError, board_from_fen
from patterns.reading.tokens import RESULTS

CARDS_FILE = "cards.pgn"

FREE_TEXT = ("CardOrigin", "Chosen", "Checked")
"""Our tags that only people read."""

ROSTER = {
    "Event": "?",
    "Site": "?",
    "Date": "????.??.??",
    "Round": "?",
    "White": "?",
    "Black": "?",
    "Result": "*",
}
"""The seven-tag roster, with the values for "unknown": PGN standard, section 8.1.1."""


@dataclass(frozen=True)
class CardEntry:
    """A card, and what else its game holds.

    `headers`: the other tags (the roster, and those that a person added). `variations`: those of the main
    line. `nags`: the coach's NAGs in the main line, by ply (1 is after the first move).
    """

    card: Card
    headers: Mapping[str, str] = field(default_factory=dict)
    variations: tuple[Variation, ...] = ()
    nags: Mapping[int, tuple[int, ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class CardGame:
    """A card as read from a text: the entry (its CardId is empty if missing), and its game."""

    entry: CardEntry
    game: Game


def read_cards(
    text: str, default_asks: tuple[str, ...], known_motifs: Collection[str] | None
) -> tuple[tuple[CardGame, ...], tuple[Fault, ...]]:
    """All cards that could be read, and all faults. `known_motifs`: the valid motif ids (None: any id)."""
    cards, faults = [], []
    first_lines: dict[str, int] = {}
    for game in split_games(text):
        reader = _CardReader(game, default_asks, known_motifs)
        card = reader.read()
        tag = game.tag("CardId")
        if tag is not None and reader.card_id:
            if reader.card_id in first_lines:
                reader.fault(tag.line, f"this CardId is taken: line {first_lines[reader.card_id]} has it too")
            first_lines.setdefault(reader.card_id, tag.line)
        faults += reader.faults
        if card is not None:
            cards.append(card)
    return tuple(cards), tuple(sorted(faults, key=lambda fault: fault.line or 0))


def write_card(entry: CardEntry) -> str:
    """The game of a card in PGN export format, with a newline at the end.

    ValueError if a move is not legal, or if a tag would be longer than the standard allows. Free text (the
    roster and FREE_TEXT) is shortened instead. A Result that is not in the standard becomes unknown.
    """
    free = {**ROSTER, **entry.headers}
    if free["Result"] not in RESULTS:  # the movetext ends with it, and it would be read as a move
        free["Result"] = ROSTER["Result"]
    tags = {name: _shortened(value) for name, value in free.items() if name not in _own_tag_names()}
    tags |= {"SetUp": "1", "FEN": entry.card.fen}
    for name, value in card_tags(entry.card):
        tags[name] = _shortened(value) if name in FREE_TEXT else value
    others = sorted(name for name in tags if name not in ROSTER)
    lines = [f'[{name} "{escaped(name, tags[name])}"]' for name in (*ROSTER, *others)]
    moves = write_movetext(entry.card, entry.nags, entry.variations, tags["Result"])
    return "\n".join([*lines, "", *moves, ""])


def _own_tag_names() -> tuple[str, ...]:
    return (*CARD_TAGS, *own_tags())


def _shortened(value: str) -> str:
    """`value` on one text line, and not longer than the standard allows, including escapes."""
    value = " ".join(value.split())
    while len(value.replace("\\", "\\\\").replace('"', '\\"')) > LONGEST_STRING:
        value = value[: min(len(value), LONGEST_STRING + 1) - 4].rstrip() + "..."
    return value


_Value = TypeVar("_Value")


class _CardReader:
    """Reads one game as a card, and collects its faults."""

    def __init__(
        self, game: Game, default_asks: tuple[str, ...], known_motifs: Collection[str] | None
    ) -> None:
        self.game = game
        self.default_asks = default_asks
        self.known_motifs = known_motifs
        self.faults: list[Fault] = []
        self.card_id = ""
        self.card_id = self._tag("CardId", read_card_id, "")

    def fault(self, line: int, message: str) -> None:
        self.faults.append(Fault(CARDS_FILE, line, self.card_id or None, message))

    def read(self) -> CardGame | None:
        """The card, or None if it has a fault."""
        for line, message in self.game.faults:
            self.fault(line, message)
        if not self.game.tags:
            self.fault(self.game.line, "the moves have no tag pairs: a card starts with its tags")
            return None
        self._check_tags()
        fen = self._fen()
        moves = read_movetext(self.game.tokens, chess.Board(fen), self.game.line) if fen else None
        for line, message in moves.faults if moves else ():
            self.fault(line, message)
        card = self._card(fen, moves) if fen and moves else None
        return None if card is None or self.faults else card

    def _card(self, fen: str, moves: Movetext) -> CardGame:
        asks = self._tag("Asks", lambda text: read_asks(text.split()), self.default_asks)
        motifs: tuple[MotifTag, ...] = self._tag(
            "Motifs", lambda text: read_motifs(text, self.known_motifs), ()
        )
        lookalike = self._tag("Lookalike", lambda text: read_lookalike(text, self.known_motifs), None)
        named = {tag.motif for tag in (*motifs, lookalike) if tag is not None}
        root = self._tag("Root", lambda text: read_root(text, len(moves.line)), None)
        free = {name: tag.value if (tag := self.game.tag(name)) else "" for name in FREE_TEXT}
        card = Card(
            card_id=self.card_id,
            fen=fen,
            asks=asks,
            motifs=motifs,
            lookalike=lookalike,
            factors=self._tag("Factors", read_factors, {}),
            line=moves.line,
            to_find=self._tag("ToFind", lambda text: read_to_find(text, len(moves.line)), None),
            goal=self._tag("Goal", read_goal, None),
            tier=self._tag("Tier", read_tier, None),
            origin=free["CardOrigin"],
            chosen=free["Chosen"],
            evidence=self._tag("Evidence", lambda text: read_evidence(text, named), {}),
            root=root,
            checked=free["Checked"],
            comments=moves.comments,
            own_tags={name: tag.value for name in own_tags() if (tag := self.game.tag(name))},
            marks=coach_marks(moves.line, moves.nags, moves.variations),
            defences=defences_in(moves.line, moves.variations),
            tried=tuple(one.line for one in moves.variations if one.ply == 0),
        )
        if not moves.faults:
            self._check_asks(card)
        own = {*_own_tag_names(), "SetUp", "FEN"}
        headers = {tag.name: tag.value for tag in self.game.tags if tag.name not in own}
        return CardGame(CardEntry(card, headers, moves.variations, moves.nags), self.game)

    def _check_tags(self) -> None:
        seen: set[str] = set()
        known = {name.lower(): name for name in (*_own_tag_names(), "SetUp", "FEN", *ROSTER)}
        for tag in self.game.tags:
            right = known.get(tag.name.lower(), tag.name)
            if right != tag.name:
                self.fault(tag.line, f"tag {tag.name} is misspelt: write {right}")
            if tag.name in seen:
                self.fault(tag.line, f"tag {tag.name} appears twice in this game")
            seen.add(tag.name)
            length = tag.value_end - tag.value_start
            if length > LONGEST_STRING:
                limit = f"the PGN standard allows {LONGEST_STRING}"
                self.fault(tag.line, f"tag {tag.name} has {length} characters, {limit}")
            if tag.name == "Variant":
                self.fault(tag.line, "tag Variant: cards must be standard chess")

    def _fen(self) -> str:
        """The position's FEN; empty if it is missing or has faults."""
        setup, tag = self.game.tag("SetUp"), self.game.tag("FEN")
        if setup is not None and setup.value != "1":
            self.fault(setup.line, 'SetUp must be "1": a card starts from its own position')
        if tag is None:
            self.fault(self.game.line, "the card has no FEN")
            return ""
        try:
            board_from_fen(tag.value)
        except FenError as error:
            self.fault(tag.line, f"FEN {quoted(tag.value, 100)}: {error}")
            return ""
        return tag.value

    def _check_asks(self, card: Card) -> None:
        tag = self.game.tag("Asks")
        line, origin = (tag.line, "") if tag else (self.game.line, " (the deck's default)")
        tags = {tag.name: tag.value for tag in self.game.tags}
        for ask in card.asks:
            if lacking := ASKS[ask].lacks(card, tags):
                self.fault(line, f"the card asks {ask}{origin}, but {lacking}")

    def _tag(self, name: str, read: Callable[[str], _Value], default: _Value) -> _Value:
        """The value of a tag. If it can't be read, `default` and a fault; if it is missing, `default`."""
        tag = self.game.tag(name)
        if tag is None:
            return default
        try:
            return read(tag.value)
        except ValueError as error:
            self.fault(tag.line, str(error))
            return default
