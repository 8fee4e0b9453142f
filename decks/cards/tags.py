"""The tags of a card in `cards.pgn`: writing and reading them.

    Asks      play assess
    Motifs    pin-on-file:white; coach:rook-endings:white
    Lookalike fork:white
    Factors   material=level; king-safety=white 2; verdict=white 2
    Evidence  pin-on-file=e1 e5 e8; back-rank=d8
    Root      3
    ToFind    2
    Goal      win-material
    Tier      2
    Chosen    22. Qe2 was played and loses 0.34

`Lookalike` is a motif that only seems to be there; its `Evidence` is the men that refute it. A motif that
begins with `coach:` is a label of the coach's own, which no detector finds. `Root` is the move of the line
that let the motif in, counted from 1. `ToFind` is how many of the student's moves are asked; the rest of the
line is shown. `Tier` is how hard the card is, from 1 to 3. `Chosen` says in words why `build` took the
position. Every reader raises a ValueError that quotes what is wrong and says what would be right.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from typing import Literal, cast

import chess

from decks.asks.catalogue import ASKS, in_order
from decks.cards.faults import quoted
from decks.tasks.card import GOALS, LABEL, TIERS, Card, Goal, MotifTag
from patterns.words.verdicts import FACTORS, Verdict

CARD_TAGS = (
    "CardId",
    "Asks",
    "Motifs",
    "Lookalike",
    "Factors",
    "CardOrigin",
    "Evidence",
    "Root",
    "ToFind",
    "Goal",
    "Tier",
    "Chosen",
    "Checked",
)
"""Our tags, except those that only one ask reads."""

FACTOR_KEYS = (*FACTORS, "verdict")
"""The keys that `Factors` may contain."""

_CARD_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")
_MOTIF = re.compile(r"[a-z]+(?:-[a-z]+)*")
_LABEL = re.compile(rf"{LABEL}\w+(?:-\w+)*")


def own_tags() -> tuple[str, ...]:
    """The tags that only one ask reads."""
    return tuple(dict.fromkeys(name for ask in ASKS.values() for name in ask.tags))


def read_card_id(text: str) -> str:
    """The CardId, checked."""
    if not _CARD_ID.fullmatch(text):
        allowed = "letters, digits, dots, dashes and underscores, at most 64"
        raise ValueError(f"CardId {quoted(text)} is not an id: {allowed}")
    return text


def read_asks(words: Collection[str]) -> tuple[str, ...]:
    """The asks named by `words`, in the order in which a sitting goes through them.

    >>> read_asks(["play", "assess"])
    ('assess', 'play')
    """
    for word in words:
        if word not in ASKS:
            raise ValueError(f"unknown ask {quoted(word)}: the asks are {', '.join(ASKS)}")
    if not words or len(set(words)) < len(words):
        raise ValueError(
            f"{quoted(' '.join(words))} must name one or more asks, each once: {', '.join(ASKS)}"
        )
    return in_order(words)


def read_motifs(text: str, known: Collection[str] | None) -> tuple[MotifTag, ...]:
    """The motifs of a `Motifs` tag. `known`: the valid ids, besides labels (None: any id)."""
    motifs: list[MotifTag] = []
    for item in _items(text):
        motif, side = _parted(item)
        _check_motif(motif, known)
        if side not in ("white", "black"):
            raise ValueError(f"{quoted(item)} doesn't name a side: write {motif}:white or {motif}:black")
        motifs.append(MotifTag(motif, cast(Literal["white", "black"], side)))
    if len(set(motifs)) < len(motifs):
        raise ValueError(f"a motif appears twice in {quoted(text)}")
    return tuple(motifs)


def read_factors(text: str) -> dict[str, Verdict]:
    """The verdicts of a `Factors` tag, by factor id or `verdict`."""
    factors: dict[str, Verdict] = {}
    for item in _items(text):
        factor, equals, verdict = (part.strip() for part in item.partition("="))
        if factor not in FACTOR_KEYS:
            raise ValueError(f"unknown factor {quoted(factor)}: the factors are {', '.join(FACTOR_KEYS)}")
        if not equals:
            raise ValueError(f"{quoted(item)} has no verdict: write {factor}=level or {factor}=white 2")
        if factor in factors:
            raise ValueError(f"{factor} appears twice in {quoted(text)}")
        factors[factor] = Verdict.parse(verdict)
    return factors


def read_evidence(text: str, motifs: Collection[str]) -> dict[str, tuple[str, ...]]:
    """The squares of an `Evidence` tag, by motif. `motifs`: the card's, real or not."""
    evidence: dict[str, tuple[str, ...]] = {}
    for item in _items(text):
        motif, _, squares = (part.strip() for part in item.partition("="))
        if motif not in motifs:
            raise ValueError(f"Evidence names {quoted(motif)}, which is not among the card's Motifs")
        if motif in evidence:
            raise ValueError(f"{motif} appears twice in {quoted(text)}")
        for square in squares.split():
            if square not in chess.SQUARE_NAMES:
                raise ValueError(f"{quoted(square)} is not a square: write a1 to h8")
        if not squares:
            raise ValueError(f"{quoted(item)} has no squares: write {motif}=e1 e5 e8")
        evidence[motif] = tuple(squares.split())
    return evidence


def read_lookalike(text: str, known: Collection[str] | None) -> MotifTag:
    """The motif of a `Lookalike` tag. `known`: as for `read_motifs`."""
    motifs = read_motifs(text, known)
    if len(motifs) != 1 or motifs[0].is_label:
        raise ValueError(f"Lookalike {quoted(text)} is not one motif: write for example fork:white")
    return motifs[0]


def read_root(text: str, plies: int) -> int:
    """The number of the move in a `Root` tag, counted from 1. `plies`: the number of moves in the line."""
    if not (text.isascii() and text.isdigit() and len(text) < 5 and 1 <= int(text) <= plies):
        right = f"write 1 to {plies}" if plies else "the line has no moves"
        raise ValueError(f"Root {quoted(text)} is not the number of a move of the line: {right}")
    return int(text)


def read_to_find(text: str, plies: int) -> int:
    """The number of moves in a `ToFind` tag. `plies`: the number of moves in the line, replies included."""
    most = (plies + 1) // 2
    if not (text.isascii() and text.isdigit() and len(text) < 5 and 1 <= int(text) <= most):
        right = f"write 1 to {most}" if most else "the line has no moves"
        raise ValueError(f"ToFind {quoted(text)} is not a number of moves to find: {right}")
    return int(text)


def read_goal(text: str) -> Goal:
    """The goal of a `Goal` tag."""
    goal = next((one for one in GOALS if one == text), None)
    if goal is None:
        raise ValueError(f"unknown goal {quoted(text)}: the goals are {', '.join(GOALS)}")
    return goal


def read_tier(text: str) -> int:
    """The tier of a `Tier` tag."""
    tiers = [str(tier) for tier in range(1, TIERS + 1)]
    if text not in tiers:
        raise ValueError(f"Tier {quoted(text)} is not a tier: write {tiers[0]} to {tiers[-1]}")
    return int(text)


def card_tags(card: Card) -> Iterator[tuple[str, str]]:
    """The tags of a card, as (name, value). Empty ones are left out."""
    named = {
        "CardId": card.card_id,
        "Asks": " ".join(card.asks),
        "Motifs": "; ".join(map(str, card.motifs)),
        "Lookalike": "" if card.lookalike is None else str(card.lookalike),
        "Factors": "; ".join(f"{key}={card.factors[key]}" for key in FACTOR_KEYS if key in card.factors),
        "CardOrigin": card.origin,
        "Evidence": "; ".join(f"{motif}={' '.join(squares)}" for motif, squares in card.evidence.items()),
        "Root": "" if card.root is None else str(card.root),
        "ToFind": "" if card.to_find is None else str(card.to_find),
        "Goal": card.goal or "",
        "Tier": "" if card.tier is None else str(card.tier),
        "Chosen": card.chosen,
        "Checked": card.checked,
        **card.own_tags,
    }
    return ((name, value) for name, value in named.items() if value)


def _items(text: str) -> list[str]:
    items = [item.strip() for item in text.split(";")]
    if items and not items[-1]:
        items.pop()  # a semicolon at the end is allowed
    return items


def _parted(item: str) -> tuple[str, str]:
    """The motif and the side of an item. A coach's label has a colon of its own."""
    label = LABEL if item.startswith(LABEL) else ""
    motif, _, side = item.removeprefix(label).partition(":")
    return f"{label}{motif.strip()}", side.strip()


def check_label(label: str) -> None:
    """ValueError unless the text is a coach's label."""
    if not _LABEL.fullmatch(label):
        raise ValueError(
            f"{quoted(label)} is not a label: write {LABEL} and a word, such as {LABEL}rook-endings"
        )


def _check_motif(motif: str, known: Collection[str] | None) -> None:
    if motif.startswith(LABEL):
        check_label(motif)
    elif known is None:
        if not _MOTIF.fullmatch(motif):
            raise ValueError(f"{quoted(motif)} is not a motif: write an id such as pin-on-file")
    elif motif not in known:
        raise ValueError(f"unknown motif {quoted(motif)}: `rondeau motifs` lists them")
