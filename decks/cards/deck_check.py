"""Checking a deck: whether it is well formed and its keys hold. An engine supplies missing verdicts."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial
from pathlib import Path

import chess

from decks.asks.catalogue import moves_judged
from decks.cards.added_tags import goals, rescaled, setups, trims, untold_goals
from decks.cards.ballot_keys import KeySearch, SearchedBallot, ballots, key_notes, new_keys
from decks.cards.cards_file import CARDS_FILE, CardGame, read_cards
from decks.cards.deck import DeckContents, made_id, read_deck
from decks.cards.faults import DeckError, Fault
from decks.cards.folder import read_file, replace_file
from decks.cards.key_changes import changes
from decks.cards.key_notes import Assess, factor_notes, key_fails, move_notes, ruling_notes
from decks.cards.own_marks import own_marks
from decks.cards.pgn_spans import Game, set_tags, without_tokens
from decks.cards.verdicts_file import (
    VERDICTS_FILE,
    illegal_continuations,
    missing,
    positions_to_judge,
    stale,
    write_verdicts,
)
from decks.tasks.card import Card, KeyMove
from decks.tasks.task import Rulings
from patterns.engines.effort import SETTLED, Effort
from patterns.engines.questions import Question
from patterns.engines.scores import PositionVerdicts
from patterns.engines.strength import strong_enough
from patterns.reading.text import safe

Progress = Callable[[int, int], None]
"""Called with the number of positions judged so far, and of all to judge."""

Judging = Callable[[Sequence[Question]], Iterable[tuple[Question, PositionVerdicts]]]
"""Answers questions in the order in which the answers are ready: `EnginePass.answers`."""


Ruled = Callable[[str, Card, Mapping[str, PositionVerdicts]], Rulings]
"""What was decided on contested moves of a card: by its deck's uuid, the card, and verdicts by EPD."""


@dataclass(frozen=True)
class CheckResult:
    """What a check found and did.

    `faults`: what must be corrected. If there are any, the check stopped there and wrote nothing. `notes`:
    doubtful points, in the same shape. `written`: names of the files changed. `judged`: EPDs of the positions
    judged now. `dropped`: EPDs of the stale verdicts removed. `new_ids`: the CardIds assigned. `refuted`:
    CardIds of the cards whose key fails by the verdicts; the notes say how. `unverified`: CardIds of the
    cards whose verdicts come from a weak engine or a shallow search. `changed`: what the verdicts say now
    that they did not say before, one for each card, in the shape of a note. `added`: what the tags say that
    were added, CardId and Checked aside, in the same shape. `removed`: marks that were taken out, in the same
    shape.
    """

    faults: tuple[Fault, ...]
    notes: tuple[Fault, ...] = ()
    written: tuple[str, ...] = ()
    judged: tuple[str, ...] = ()
    dropped: tuple[str, ...] = ()
    new_ids: tuple[str, ...] = ()
    refuted: tuple[str, ...] = ()
    unverified: tuple[str, ...] = ()
    changed: tuple[Fault, ...] = ()
    added: tuple[Fault, ...] = ()
    removed: tuple[Fault, ...] = ()


def check_deck(
    folder: Path,
    known_motifs: Collection[str] | None,
    judging: Judging | None,
    today: date,
    *,
    effort: Effort = SETTLED,
    again: bool = False,
    trim: bool = False,
    goal: bool = False,
    key_search: KeySearch | None = None,
    assess: Assess | None = None,
    ruled: Ruled | None = None,
    progress: Progress | None = None,
) -> CheckResult:
    """Check a deck. If it has no faults, also write what is missing in it.

    Cards without a CardId get one, and cards with only a FEN get the tag SetUp. With `judging` (which is
    asked with `effort`), missing verdicts are added, stale ones are removed, and the tag `Checked` records
    who judged each card's moves on `today`. With `again`, every position is judged anew, verdicts that
    `build` has set may follow (`rescaled`), marks that are the program's own go (`own_marks`), and with
    `key_search` so do keys of ballots that ask for no move (`ballot_keys`). With `trim`, cards ask only for
    moves that have to be found, and with `goal`, they get their goal, or a note that says why none is told.
    `known_motifs`: the valid motif ids (None: any id). `assess`: if given, factor keys are compared with its
    verdicts. `ruled`: if given, what it says is compared with the verdicts. If the judging fails or is
    interrupted, the verdicts that it has given are kept. DeckError if a file can't be written.
    """
    found = read_deck(folder, known_motifs)
    faults = (*found.faults, *illegal_continuations(found.verdicts))
    if faults:
        return CheckResult(faults)
    assert found.settings is not None
    removed: tuple[Fault, ...] = ()
    if again:
        found, removed = _without_own_marks(folder, found, known_motifs)
    assert found.settings is not None
    needed = positions_to_judge(card.entry.card for card in found.cards)
    verdicts = dict(found.verdicts.by_epd)
    judged = (tuple(needed) if again else missing(found.verdicts, needed)) if judging else ()
    dropped = stale(found.verdicts, needed) if judging else ()
    asked = ballots(found.cards) if again and key_search else []
    in_all = len(judged) + len(asked)
    if judging is not None:
        questions = [Question(needed[epd], effort) for epd in judged]
        if progress and in_all:
            progress(0, in_all)
        try:
            for done, (_, one) in enumerate(judging(questions), 1):
                verdicts[one.epd] = one
                if progress:
                    progress(done, in_all)
            verdicts = {epd: one for epd, one in verdicts.items() if epd in needed}
        finally:
            if verdicts != found.verdicts.by_epd:
                replace_file(folder, VERDICTS_FILE, write_verdicts(verdicts.values()).encode())
    searched = (
        list(_searched(asked, key_search, len(judged), in_all, progress)) if asked and key_search else []
    )
    new_tags = [
        *setups(found.cards),
        *(trims(found.cards, verdicts) if trim else ()),
        *(goals(found.cards, verdicts) if goal else ()),
        *(rescaled(found.cards, found.verdicts.by_epd, verdicts) if again else ()),
        *new_keys(searched, today),
    ]
    text = set_tags(found.text, [(one.card.game, one.name, one.value) for one in new_tags])
    cards = read_cards(text, found.settings.asks, known_motifs)[0] if new_tags else found.cards
    assigned = _assigned_ids(cards)
    edits = [(game, "CardId", card_id) for game, card_id in assigned]
    if judging is not None:
        edits += _checked_edits(cards, verdicts, judged, today)
    text = set_tags(text, edits)
    cards, unread = read_cards(text, found.settings.asks, known_motifs)
    if unread:
        raise DeckError(unread)
    if text != found.text:
        # Judging takes long, so the coach may have edited the file in the meantime.
        if read_file(folder, CARDS_FILE) != found.text.encode():
            raise DeckError([Fault(CARDS_FILE, None, None, "changed while it was checked: check it again")])
        replace_file(folder, CARDS_FILE, text.encode())
    if trim:
        verdicts = _kept(folder, verdicts, positions_to_judge(card.entry.card for card in cards))
    written = [CARDS_FILE] if text != found.text or removed else []
    written += [VERDICTS_FILE] if verdicts != found.verdicts.by_epd else []
    notes = [*found.notes, *([] if judging else _verdict_notes(found, needed))]
    notes += _card_notes(cards, verdicts, assess)
    doubts = [*key_notes(searched), *(untold_goals(cards, verdicts) if goal else ())]
    notes += [Fault(CARDS_FILE, card.game.line, card.entry.card.card_id, why) for card, why in doubts]
    if ruled:
        notes += _ruling_notes(cards, verdicts, partial(ruled, found.settings.deck))
    new_ids = tuple(card_id for _, card_id in assigned)
    refuted = tuple(card.entry.card.card_id for card in cards if key_fails(card.entry.card, verdicts))
    unverified = tuple(
        card.entry.card.card_id for card in cards if _unverified_positions([card.entry.card], verdicts)
    )
    added = tuple(
        Fault(CARDS_FILE, one.card.game.line, one.card.entry.card.card_id or None, one.says)
        for one in new_tags
        if one.says
    )
    return CheckResult(
        (),
        tuple(notes),
        tuple(written),
        (*judged, *dict.fromkeys(card.entry.card.board.epd() for card in asked)),
        dropped,
        new_ids,
        refuted,
        unverified,
        changed=changes(cards, found.verdicts.by_epd, verdicts),
        added=added,
        removed=removed,
    )


def _searched(
    asked: Sequence[CardGame], search: KeySearch, done: int, in_all: int, progress: Progress | None
) -> Iterator[SearchedBallot]:
    """The ballots with what the search says of each. `done`: positions judged before, of `in_all`."""
    boards = [one.entry.card.board for one in asked]
    for number, (one, key) in enumerate(zip(asked, search(boards), strict=True), done + 1):
        yield one, key
        if progress:
            progress(number, in_all)


def _without_own_marks(
    folder: Path, found: DeckContents, known_motifs: Collection[str] | None
) -> tuple[DeckContents, tuple[Fault, ...]]:
    """The deck without the program's own marks, and which they were.

    They are taken out before anything is judged: other verdicts would not tell them apart any more.
    """
    marks = own_marks(found.text, found.cards, found.verdicts.by_epd)
    if not marks:
        return found, ()
    text = without_tokens(found.text, (one.token for one in marks))
    replace_file(folder, CARDS_FILE, text.encode())
    removed = (
        Fault(
            CARDS_FILE,
            one.token.line,
            one.card.entry.card.card_id or None,
            f"the mark of {one.move} was the program's own",
        )
        for one in marks
    )
    return read_deck(folder, known_motifs), tuple(removed)


def _kept(
    folder: Path, verdicts: dict[str, PositionVerdicts], needed: Collection[str]
) -> dict[str, PositionVerdicts]:
    """The verdicts on positions that are still asked about; the file keeps no others."""
    kept = {epd: one for epd, one in verdicts.items() if epd in needed}
    if kept != verdicts:
        replace_file(folder, VERDICTS_FILE, write_verdicts(kept.values()).encode())
    return kept


def _assigned_ids(cards: Iterable[CardGame]) -> list[tuple[Game, str]]:
    """New CardIds for the games that have none."""
    taken = {card.entry.card.card_id for card in cards}
    assigned = []
    for card in cards:
        if not card.entry.card.card_id:
            card_id = made_id(card.entry.card, taken)
            taken.add(card_id)
            assigned.append((card.game, card_id))
    return assigned


def _checked_edits(
    cards: Iterable[CardGame],
    verdicts: Mapping[str, PositionVerdicts],
    judged: Collection[str],
    today: date,
) -> list[tuple[Game, str, str]]:
    """New values of `Checked`, for cards judged now and for cards whose tag names another engine or depth."""
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
    """Who judged a card's moves, and the least depth that a grade can rest on."""
    _, depth, engine = min(source for _, source in _sources(moves, verdicts))
    return searched_by(engine, depth)


def searched_by(engine: str, depth: int) -> str:
    """How `Checked` names an engine and a depth.

    >>> searched_by("Stockfish 15.1", 18), searched_by("sunfish", 18)
    ('Stockfish 15.1 depth 18', 'unverified: sunfish depth 18')
    """
    return f"{'' if strong_enough(engine, depth) else 'unverified: '}{safe(engine, 80)} depth {depth}"


def _sources(
    moves: Iterable[KeyMove], verdicts: Mapping[str, PositionVerdicts]
) -> Iterator[tuple[str, tuple[bool, int, str]]]:
    """For each EPD, where its verdicts come from: (whether strong enough, depth, engine)."""
    for key in moves:
        found = verdicts.get(key.board.epd())
        if found is not None:
            depth = found.least_depth
            yield found.epd, (strong_enough(found.engine, depth), depth, safe(found.engine, 80))


def _unverified_positions(cards: Iterable[Card], verdicts: Mapping[str, PositionVerdicts]) -> tuple[str, ...]:
    """The EPDs, each once, of the positions whose verdicts do not count as verified."""
    moves = (move for card in cards for move in moves_judged(card))
    return tuple(dict.fromkeys(epd for epd, (strong, _, _) in _sources(moves, verdicts) if not strong))


def _verdict_notes(found: DeckContents, needed: Mapping[str, chess.Board]) -> list[Fault]:
    """Notes on stale and missing verdicts, for a check without an engine."""
    notes = [
        Fault(VERDICTS_FILE, found.verdicts.text_lines[epd], None, f"stale: no card asks for a move in {epd}")
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


def _ruling_notes(
    cards: Iterable[CardGame],
    verdicts: Mapping[str, PositionVerdicts],
    ruled: Callable[[Card, Mapping[str, PositionVerdicts]], Rulings],
) -> list[Fault]:
    return [
        Fault(CARDS_FILE, card.game.line, card.entry.card.card_id, message)
        for card in cards
        for message in ruling_notes(card.entry.card, verdicts, ruled(card.entry.card, verdicts))
    ]


def _card_notes(
    cards: Iterable[CardGame], verdicts: Mapping[str, PositionVerdicts], assess: Assess | None
) -> list[Fault]:
    notes = []
    for card in cards:
        messages = [*move_notes(card.entry, verdicts), *(factor_notes(card.entry, assess) if assess else ())]
        place = card.game.line, card.entry.card.card_id
        notes += [Fault(CARDS_FILE, *place, message) for message in messages]
    return notes
