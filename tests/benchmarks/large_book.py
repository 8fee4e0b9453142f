"""How long a day takes to open with very many cards and answers: `python tests/benchmarks/large_book.py`.

Made data: decks of 100,000 cards, which are in memory already, and a scorebook with 1,000,000 answers of ten
students, half of them to strands and half to fixed cards. Prints the time until the first task of a day is
there (limit: 1 s) and the time to keep an answer (limit: 10 ms), each the median of several runs.
"""

from __future__ import annotations

import random
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from uuid import uuid4

import chess

from decks.cards.deck import Deck
from decks.cards.settings import DeckSettings
from decks.course import Course
from decks.memory.answers import Answer, CardItem, Strand
from decks.memory.day import day_ahead
from decks.memory.pool import position_key
from decks.review.messages import SaveShown
from decks.scorebook.book import Scorebook
from decks.scorebook.rows import row_of
from decks.scorebook.shown import remember_all_strands
from decks.tasks.card import Card, MotifTag
from decks.today import DAMAGE_LOOKED_FOR, recent_days
from patterns.engines.scores import PositionVerdicts

DECKS, CARDS, STUDENTS, ANSWERS = 20, 100_000, 10, 1_000_000
MOTIFS = [f"motif-{letter}" for letter in "abcdefghijklmnopqrstuvwxyz"]
FIRST_DAY, DAYS = date(2021, 1, 1), 3650
NOW = datetime(2031, 1, 2, 19, tzinfo=UTC)
RUNS = 5
NO_VERDICTS = PositionVerdicts("", "", "wdl", {}, settled=True)
OPENS_WITHIN, KEPT_WITHIN = 1.0, 0.010


def made_cards() -> list[Card]:
    """Cards in positions that differ; every second one has a motif."""
    cards, board = [], chess.Board("4k3/8/8/8/8/8/8/4K3 w - - 0 1")
    squares = [square for square in chess.SQUARES if chess.square_rank(square) in (1, 2, 3, 4, 5, 6)]
    for number in range(CARDS):
        board.clear_board()
        board.set_piece_at(chess.E8, chess.Piece.from_symbol("k"))
        board.set_piece_at(chess.E1, chess.Piece.from_symbol("K"))
        for bit in range(17):
            if number >> bit & 1:
                board.set_piece_at(squares[bit * 2], chess.Piece.from_symbol("Pp"[bit % 2]))
        tags = (MotifTag(MOTIFS[number // 2 % len(MOTIFS)], "white"),) if number % 2 else ()
        cards.append(
            Card(f"card-{number}", board.fen(), ("play",), tags, line=("e1e2",), tier=1 + number % 3)
        )
    return cards


def made_decks(cards: list[Card]) -> list[Deck]:
    """These cards in decks of equal size, with verdicts that say nothing."""
    size = len(cards) // DECKS
    return [
        Deck(
            Path(f"deck-{n}"),
            DeckSettings(str(uuid4()), f"Deck {n}"),
            tuple(cards[n * size : (n + 1) * size]),
            {},
            {},
        )
        for n in range(DECKS)
    ]


def epd_of(card: Card) -> str:
    return position_key(card.fen)


def fill(book: Scorebook, decks: list[Deck]) -> None:
    """Put the answers into the scorebook, as if they had come in one by one."""
    rng = random.Random(1)
    for deck in decks:
        book.register_deck(deck.settings.deck, deck.settings.title, "")
    students = [book.student(f"Student {number}") for number in range(STUDENTS)]
    cards = [(deck.settings.deck, card) for deck in decks for card in deck.cards]
    with book._writing():
        for start in range(0, ANSWERS, 50_000):
            answers = [an_answer(n, students[n % STUDENTS], rng, cards) for n in range(start, start + 50_000)]
            rows = [
                {**row_of(answer), "arrival": start + place, "clock_back": 0}
                for place, answer in enumerate(answers, 1)
            ]
            book._db.table("reviews").insert_all(rows)
        book._db.execute(
            "INSERT INTO displays SELECT answer_id, student, deck, card_id, fen, 'asked', item, why, "
            "study_day, time, arrival - 1 FROM reviews"
        )
        book._remember_all()
        remember_all_strands(book._db)


def an_answer(number: int, student: int, rng: random.Random, cards: list[tuple[str, Card]]) -> Answer:
    deck, card = cards[rng.randrange(len(cards) // 2)]
    motif = card.motifs[0].motif if card.motifs else None
    day = FIRST_DAY + timedelta(days=number * DAYS // ANSWERS)
    return Answer(
        str(uuid4()),
        student,
        deck,
        str(Strand(motif, "play") if motif else CardItem(deck, card.card_id, "play")),
        card.card_id,
        "play",
        card.fen,
        "0",
        '["e1e2"]',
        1.0,
        rng.choice(["missed", "partly", "found", "found", "found"]),
        rng.uniform(20, 90),
        0,
        day,
        datetime.combine(day, NOW.timetz()),
        bool(rng.randrange(2)),
        motif=motif,
        tier=card.tier,
        why="turn",
    )


def median_of(measured: Callable[[], object]) -> float:
    """The median seconds of several runs."""
    seconds = []
    for _ in range(RUNS):
        start = time.perf_counter()
        measured()
        seconds.append(time.perf_counter() - start)
    return statistics.median(seconds)


def main() -> int:
    decks = made_decks(made_cards())
    with tempfile.TemporaryDirectory() as folder, Scorebook.open(Path(folder) / "scorebook.sqlite") as book:
        fill(book, decks)
        student = book.student("Student 3")

        def open_day() -> Course:
            book.damage(DAMAGE_LOOKED_FOR)
            ahead = day_ahead(recent_days(book, student), NOW)
            course = Course.begin(decks, book, student, ahead, NOW, lambda: NOW, print)
            assert course.tasks
            return course

        opened = median_of(open_day)
        course, rng = open_day(), random.Random(2)
        cards = [(deck.settings.deck, card) for deck in decks for card in deck.cards]

        def keep() -> None:
            course.keep(SaveShown(course.tasks[0]))
            book.save_answer(replace(an_answer(ANSWERS, student, rng, cards), study_day=NOW.date()))

        kept = median_of(keep)
    print(f"a day opens in {opened:.2f} s (limit {OPENS_WITHIN} s)")
    print(f"an answer is kept in {1000 * kept:.1f} ms (limit {1000 * KEPT_WITHIN:.0f} ms)")
    return int(opened > OPENS_WITHIN or kept > KEPT_WITHIN)


if __name__ == "__main__":
    sys.exit(main())
