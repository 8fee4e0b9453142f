"""Is a deck well-formed and legal, and do its keys hold up? With an engine, missing verdicts are derived."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Protocol

import chess

from decks.asks.catalogue import moves_judged
from decks.cards.cards_file import CARDS_FILE, CardGame, read_cards
from decks.cards.deck import DeckContents, made_id, read_deck
from decks.cards.faults import DeckError, Fault
from decks.cards.folder import read_file, replace_file
from decks.cards.key_notes import Assess, factor_notes, key_fails, move_notes
from decks.cards.pgn_spans import Game, set_tags
from decks.cards.verdicts_file import (
    VERDICTS_FILE,
    broken_lines,
    missing,
    positions_to_judge,
    stale,
    write_verdicts,
)
from decks.tasks.card import Card, KeyMove
from patterns.engines.judging import strong_enough
from patterns.engines.scores import PositionVerdicts
from patterns.reading.text import safe

Progress = Callable[[int, int], None]
"""Told how many positions are judged, and of how many."""


class PositionJudge(Protocol):
    """What a check needs of `patterns.engines.judging.Judge`."""

    def judge(self, board: chess.Board, wide: int | None = None, deep: int | None = None) -> PositionVerdicts:
        """A verdict for every legal move of `board`."""
        ...


@dataclass(frozen=True)
class CheckResult:
    """What a check found and did.

    `faults`: what must be put right; if there are any, nothing else was looked at or written. `notes`: what
    is questionable, in the same shape. `written`: names of the files changed. `judged`, `dropped`: EPDs of
    the positions judged now and of stale verdicts taken out. `named`: the CardIds assigned. `refuted`: the
    CardIds of cards whose key fails by the verdicts; the notes say how. `unverified`: those of cards whose
    verdicts come from a weak engine or a shallow search.
    """

    faults: tuple[Fault, ...]
    notes: tuple[Fault, ...] = ()
    written: tuple[str, ...] = ()
    judged: tuple[str, ...] = ()
    dropped: tuple[str, ...] = ()
    named: tuple[str, ...] = ()
    refuted: tuple[str, ...] = ()
    unverified: tuple[str, ...] = ()


def check_deck(
    folder: Path,
    known_motifs: Collection[str] | None,
    judge: PositionJudge | None,
    today: date,
    *,
    wide: int | None = None,
    deep: int | None = None,
    again: bool = False,
    assess: Assess | None = None,
    progress: Progress | None = None,
) -> CheckResult:
    """Check a deck, and write what is missing in it unless it has faults.

    Cards without a CardId get one. With a judge (searching to `wide` and `deep` plies) verdicts that are
    missing are derived, stale ones dropped, and `Checked` tells who judged each card's moves on `today`;
    with `again`, what an unverified verdict was for is judged anew.
    `known_motifs`: the motif ids there are (None: any). `assess`: where given, factor keys are compared with
    it. What was judged before the judge failed or was interrupted is kept. DeckError if a file can't be
    written.
    """
    found = read_deck(folder, known_motifs)
    faults = (*found.faults, *broken_lines(found.verdicts))
    if faults:
        return CheckResult(faults)
    assert found.settings is not None
    needed = positions_to_judge(card.entry.card for card in found.cards)
    verdicts = dict(found.verdicts.by_epd)
    judged = missing(found.verdicts, needed) if judge else ()
    if judge and again:
        judged += _unverified_positions((card.entry.card for card in found.cards), verdicts)
    dropped = stale(found.verdicts, needed) if judge else ()
    if judge is not None:
        try:
            for done, epd in enumerate(judged):
                if progress:
                    progress(done, len(judged))
                verdicts[epd] = judge.judge(needed[epd], wide, deep)
            if progress:
                progress(len(judged), len(judged))
            verdicts = {epd: one for epd, one in verdicts.items() if epd in needed}
        finally:
            if verdicts != found.verdicts.by_epd:
                replace_file(folder, VERDICTS_FILE, write_verdicts(verdicts.values()).encode())
    named = _missing_ids(found.cards)
    edits = [(game, "CardId", card_id) for game, card_id in named]
    if judge is not None:
        edits += _checked_edits(found.cards, verdicts, judged, today)
    text = set_tags(found.text, edits)
    cards, unread = read_cards(text, found.settings.asks, known_motifs)
    if unread:
        raise DeckError(unread)
    if text != found.text:
        if (
            read_file(folder, CARDS_FILE) != found.text.encode()
        ):  # judging takes long, a coach may edit meanwhile
            raise DeckError([Fault(CARDS_FILE, None, None, "changed while it was checked: check it again")])
        replace_file(folder, CARDS_FILE, text.encode())
    written = [CARDS_FILE] if text != found.text else []
    written += [VERDICTS_FILE] if verdicts != found.verdicts.by_epd else []
    notes = [*found.notes, *([] if judge else _store_notes(found, needed))]
    notes += _card_notes(cards, verdicts, assess)
    ids = tuple(card_id for _, card_id in named)
    refuted = tuple(card.entry.card.card_id for card in cards if key_fails(card.entry.card, verdicts))
    unverified = tuple(
        card.entry.card.card_id for card in cards if _unverified_positions([card.entry.card], verdicts)
    )
    return CheckResult((), tuple(notes), tuple(written), judged, dropped, ids, refuted, unverified)


def _missing_ids(cards: Iterable[CardGame]) -> list[tuple[Game, str]]:
    taken = {card.entry.card.card_id for card in cards}
    named = []
    for card in cards:
        if not card.entry.card.card_id:
            card_id = made_id(card.entry.card, taken)
            taken.add(card_id)
            named.append((card.game, card_id))
    return named


def _checked_edits(
    cards: Iterable[CardGame],
    verdicts: Mapping[str, PositionVerdicts],
    judged: Collection[str],
    today: date,
) -> list[tuple[Game, str, str]]:
    """New values of `Checked`, for cards judged now or whose tag doesn't tell what their verdicts rest on."""
    edits = []
    for card in cards:
        moves = moves_judged(card.entry.card)
        if not moves:
            continue
        who = checked_by(moves, verdicts)
        old = card.entry.card.checked
        if not old.startswith(f"{who}, ") or any(move.board.epd() in judged for move in moves):
            edits.append((card.game, "Checked", f"{who}, {today.isoformat()}"))
    return edits


def checked_by(moves: Iterable[KeyMove], verdicts: Mapping[str, PositionVerdicts]) -> str:
    """Who judged a card's moves, and how deep: the weakest of the positions, by their best and key moves."""
    strong, depth, engine = min(ground for _, ground in _grounds(moves, verdicts))
    return f"{'' if strong else 'unverified: '}{engine} depth {depth}"


def _grounds(
    moves: Iterable[KeyMove], verdicts: Mapping[str, PositionVerdicts]
) -> Iterator[tuple[str, tuple[bool, int, str]]]:
    """By EPD, what the verdicts of these positions rest on: whether strong enough, how deep, who."""
    for key in moves:
        found = verdicts.get(key.board.epd())
        if found is not None:
            depth = min(found.moves[move].depth for move in (found.best, key.move))
            yield found.epd, (strong_enough(found.engine, depth), depth, safe(found.engine, 80))


def _unverified_positions(cards: Iterable[Card], verdicts: Mapping[str, PositionVerdicts]) -> tuple[str, ...]:
    """The positions (EPD), each once, whose verdicts are not strong enough to count as verified."""
    moves = (move for card in cards for move in moves_judged(card))
    return tuple(dict.fromkeys(epd for epd, (strong, _, _) in _grounds(moves, verdicts) if not strong))


def _store_notes(found: DeckContents, needed: Mapping[str, chess.Board]) -> list[Fault]:
    """Stale and missing verdicts, which a check without an engine leaves as they are."""
    notes = [
        Fault(VERDICTS_FILE, found.verdicts.lines[epd], None, f"stale: no card asks for a move in {epd}")
        for epd in stale(found.verdicts, needed)
    ]
    absent = set(missing(found.verdicts, needed))
    for card in found.cards:
        lacking = sum(epd in absent for epd in positions_to_judge([card.entry.card]))
        if lacking:
            what = "a position lacks" if lacking == 1 else f"{lacking} positions lack"
            message = f"{what} verdicts: check the deck with an engine"
            notes.append(Fault(CARDS_FILE, card.game.line, card.entry.card.card_id or None, message))
    return notes


def _card_notes(
    cards: Iterable[CardGame], verdicts: Mapping[str, PositionVerdicts], assess: Assess | None
) -> list[Fault]:
    notes = []
    for card in cards:
        messages = [*move_notes(card.entry, verdicts), *(factor_notes(card.entry, assess) if assess else ())]
        place = card.game.line, card.entry.card.card_id
        notes += [Fault(CARDS_FILE, *place, message) for message in messages]
    return notes
