"""Made data on the disk for `large_book.py`: decks of very many cards, a scorebook with very many answers."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from itertools import chain, combinations, islice
from pathlib import Path
from typing import NamedTuple
from uuid import UUID, uuid4

from decks.cards.cards_file import CARDS_FILE
from decks.cards.settings import SETTINGS_FILE, DeckSettings, write_settings
from decks.cards.verdicts_file import VERDICTS_FILE
from decks.memory.answers import Answer, CardItem, Strand
from decks.memory.strands import SIGHTS_KEPT, TIERS, Sight, StrandState
from decks.scorebook import shown
from decks.scorebook.book import Scorebook
from decks.scorebook.database import ScorebookDatabase

DECKS, CARDS, STUDENTS, ANSWERS = 20, 100_000, 10, 1_000_000
MOTIFS = [f"motif-{letter}" for letter in "abcdefghijklmnopqrstuvwxyz"]
NOW = datetime.now(UTC)
DAYS = 3650
FIRST_DAY = NOW.date() - timedelta(days=DAYS)
"""The last answers are of yesterday."""
PAWNS = [f"{file}{rank}" for file in "cdefgh" for rank in "456"]
"""Where Black's pawns may stand. Wherever they do, White's king on a1 has the same three moves."""


class MadeCard(NamedTuple):
    """A card of the made decks; without a motif it is a fixed card."""

    deck: str
    card_id: str
    fen: str
    motif: str | None
    tier: int


def made_cards(number_of_cards: int = CARDS) -> list[MadeCard]:
    """Cards in positions that differ; every second one has a motif."""
    subsets = chain.from_iterable(combinations(PAWNS, number) for number in (8, 7, 6, 5))
    return [
        MadeCard(
            str(UUID(int=number * DECKS // number_of_cards + 1)),
            f"card-{number}",
            f"{_placement(pawns)} w - - 0 1",
            MOTIFS[number // 2 % len(MOTIFS)] if number % 2 else None,
            1 + number % 3,
        )
        for number, pawns in enumerate(islice(subsets, number_of_cards))
    ]


def _placement(pawns: tuple[str, ...]) -> str:
    rows = ["7k", "8", *(_row(rank, pawns) for rank in "654"), "8", "8", "K7"]
    return "/".join(rows)


def _row(rank: str, pawns: tuple[str, ...]) -> str:
    row = "".join("p" if f"{file}{rank}" in pawns else "1" for file in "abcdefgh")
    for number in range(8, 1, -1):
        row = row.replace("1" * number, str(number))
    return row


def write_decks(place: Path, cards: list[MadeCard]) -> list[Path]:
    """Put the cards into deck folders of equal size, which are returned."""
    size = len(cards) // DECKS
    folders = []
    for number in range(DECKS):
        part = cards[number * size : (number + 1) * size]
        folder = place / f"deck-{number:02}"
        folder.mkdir()
        settings = DeckSettings(part[0].deck, f"Saltmarsh {number:02}", asks=("play",))
        (folder / SETTINGS_FILE).write_text(write_settings(settings), encoding="utf-8")
        (folder / CARDS_FILE).write_text("\n".join(map(_game, part)), encoding="utf-8")
        (folder / VERDICTS_FILE).write_text("".join(map(_verdict, part)), encoding="utf-8")
        folders.append(folder)
    return folders


def _game(card: MadeCard) -> str:
    motifs = f'[Motifs "{card.motif}:white"]\n' if card.motif else ""
    return (
        f'[Event "Saltmarsh club evening"]\n[Site "Saltmarsh"]\n[Date "2031.05.02"]\n[Round "1"]\n'
        f'[White "?"]\n[Black "?"]\n[Result "*"]\n[CardId "{card.card_id}"]\n[FEN "{card.fen}"]\n'
        f'{motifs}[SetUp "1"]\n[Tier "{card.tier}"]\n\n1. Kb2 *\n'
    )


def _verdict(card: MadeCard) -> str:
    moves = {
        move: {"score": score, "cp": 0, "depth": 16, "line": ["h8g8"]}
        for move, score in (("a1b2", 0.5), ("a1a2", 0.3), ("a1b1", 0.2))
    }
    epd = card.fen.removesuffix(" 0 1")
    found = {"epd": epd, "engine": "made", "conversion": "wdl", "settled": True, "moves": moves}
    return f"{json.dumps(found)}\n"


def fill(book: Scorebook, cards: list[MadeCard], folders: list[Path], answers: int = ANSWERS) -> None:
    """Put answers to the first half of the cards into the scorebook, by statements of SQL.

    What is remembered is made up: working it out from so many answers would take minutes.
    """
    for card, folder in zip(cards[:: len(cards) // DECKS], folders, strict=True):
        book.register_deck(card.deck, folder.name, str(folder))
    students = [book.student(f"Student {number}") for number in range(STUDENTS)]
    with book._writing():
        around = _without_indexes(book._db)
        book._db.execute(
            "CREATE TEMP TABLE made (n INTEGER PRIMARY KEY, deck, card_id, fen, motif, tier, item)"
        )
        asked = cards[: len(cards) // 2]
        book._db.conn.executemany(
            "INSERT INTO made VALUES (?, ?, ?, ?, ?, ?, ?)",
            ((number, *card, _item(card)) for number, card in enumerate(asked)),
        )
        book._db.execute(_ANSWERS, {"answers": answers, "cards": len(asked), "students": STUDENTS})
        for statement in (_DISPLAYS, _MEMORIES, *around):
            book._db.execute(statement)
        strands = [str(Strand(motif, "play")) for motif in MOTIFS]
        states = {(student, item): _STATE for student in students for item in strands}
        book._db.table("strands").insert_all(shown._rows(states))


_ANSWERS = f"""
    WITH RECURSIVE numbers(n) AS (SELECT 0 UNION ALL SELECT n + 1 FROM numbers WHERE n + 1 < :answers)
    INSERT INTO reviews (answer_id, student, deck, item, card_id, ask, fen, key_version, raw, score, grade,
        seconds, hints, study_day, time, first_sight, target_recall, arrival, clock_back, motif, tier, why)
    SELECT printf('%08x-0000-4000-8000-000000000000', numbers.n), 1 + numbers.n % :students, deck, item,
        card_id, 'play', fen, '0', '["a1b2"]', 1.0,
        CASE numbers.n * 7919 % 5 WHEN 0 THEN 'missed' WHEN 1 THEN 'partly' ELSE 'found' END,
        20.0 + numbers.n * 104729 % 70, 0, date('{FIRST_DAY}', (numbers.n * {DAYS} / :answers) || ' days'),
        date('{FIRST_DAY}', (numbers.n * {DAYS} / :answers) || ' days') || 'T19:00:00.000000+00:00',
        numbers.n % 3 > 0, 0.9, numbers.n + 1, 0, motif, tier, 'turn'
    FROM numbers JOIN made ON made.n = numbers.n * 48271 % 2147483647 % :cards"""

_DISPLAYS = """
    INSERT INTO displays SELECT answer_id, student, deck, card_id, fen, 'asked', item, why, study_day, time,
        arrival - 1 FROM reviews"""

_MEMORIES = """
    INSERT INTO memory (student, item, stability, difficulty, last, due)
    SELECT student, item, 20.0, 5.0, max(study_day), date(max(study_day), '+20 days')
    FROM reviews WHERE item GLOB 'card:*' GROUP BY student, item"""

_YESTERDAY = FIRST_DAY + timedelta(days=DAYS - 1)
_SIGHTS = [Sight(tier, lookalike, True) for tier in TIERS for lookalike in (False, True)] * SIGHTS_KEPT
_STATE = StrandState(
    tier=2,
    returns=NOW.date(),
    last=_YESTERDAY,
    asked=1000,
    worked=1,
    sights=tuple(_SIGHTS),
    tiers=tuple((FIRST_DAY + timedelta(days=day), 1 + day % 2) for day in range(100)),
)
"""As long as a state gets, and with far more changes of its tier than a student will have."""


def _item(card: MadeCard) -> str:
    return str(Strand(card.motif, "play") if card.motif else CardItem(card.deck, card.card_id, "play"))


def _without_indexes(db: ScorebookDatabase) -> list[str]:
    """Remove indexes and triggers of the log; returns the statements that make them again."""
    found = list(
        db.query(
            "SELECT type, name, sql FROM sqlite_master WHERE sql NOT NULL AND type IN ('index', 'trigger') "
            "AND tbl_name IN ('reviews', 'displays')"
        )
    )
    for each in found:
        db.execute(f"DROP {each['type']} {each['name']}")
    return [each["sql"] for each in found]


def an_answer(student: int, card: MadeCard) -> Answer:
    """One more answer to a made card."""
    return Answer(
        answer_id=str(uuid4()),
        student=student,
        deck=card.deck,
        item=_item(card),
        card_id=card.card_id,
        ask="play",
        fen=card.fen,
        key_version="0",
        raw='["a1b2"]',
        score=1.0,
        grade="found",
        seconds=30.0,
        hints=0,
        study_day=NOW.date(),
        time=NOW,
        first_sight=True,
        motif=card.motif,
        tier=card.tier,
        why="turn",
    )
