"""Nothing outlives the program: no worker, no engine, no helper of an engine, whichever signal ends it."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import fake_engine
import pytest
from made_tasks import black_to_move

from decks.cards.cards_file import CardEntry
from decks.cards.deck import add_cards, new_deck
from decks.cards.demo import demo_deck_folder
from decks.cards.settings import DeckSettings, new_deck_id

SIGNALS = [signal.SIGTERM, signal.SIGHUP, signal.SIGKILL]
CAUGHT_AND_NOT = [signal.SIGTERM, signal.SIGKILL]
"""All signals that can be caught end the program in one way, which one test tries with each of them."""
PATIENCE = 60.0
"""Seconds within which something must have happened, even on a busy machine."""


def until(happened: Callable[[], bool]) -> None:
    deadline = time.monotonic() + PATIENCE
    while not happened():
        assert time.monotonic() < deadline
        time.sleep(0.05)


def rondeau(*arguments: str, typed: Path = Path(os.devnull), **environment: str) -> subprocess.Popen[bytes]:
    with typed.open("rb") as stdin:
        return subprocess.Popen(
            [sys.executable, "-m", "decks.start", *arguments],
            cwd=Path(__file__).parents[1],
            env={**os.environ, **environment},
            stdin=stdin,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )


def children_of(pid: int) -> set[int]:
    """The child processes of a process that still run (Linux: proc(5))."""
    found = set()
    for status in Path("/proc").glob("[0-9]*/stat"):
        try:
            number, _, rest = status.read_text().partition(" ")
        except OSError:  # it has just ended
            continue
        state, parent = rest.rpartition(")")[2].split()[:2]
        if int(parent) == pid and state != "Z":
            found.add(int(number))
    return found


def is_silent(pulse: Path) -> bool:
    """Whether nobody writes to this file any more."""
    size = pulse.stat().st_size
    time.sleep(0.3)
    return pulse.stat().st_size == size


def runs(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


@pytest.mark.parametrize("number", CAUGHT_AND_NOT, ids=lambda number: number.name)
def test_the_workers_of_a_scan_end_with_it(number: signal.Signals, tmp_path: Path) -> None:
    games = tmp_path / "games.pgn"
    games.write_bytes((demo_deck_folder() / "games.pgn").read_bytes() * 60)
    scan = rondeau("scan", str(games), "--workers", "2", "--scorebook", str(tmp_path / "book.sqlite"))
    until(lambda: len(children_of(scan.pid)) >= 2)
    workers = children_of(scan.pid)
    scan.send_signal(number)
    status = scan.wait(PATIENCE)
    assert status == (-number if number == signal.SIGKILL else 128 + number)
    until(lambda: not any(runs(worker) for worker in workers))


@pytest.mark.parametrize("number", SIGNALS, ids=lambda number: number.name)
def test_an_engine_hung_in_a_search_and_its_helper_end_with_the_program(
    number: signal.Signals, tmp_path: Path
) -> None:
    engine, pulse, deck = tmp_path / "engine", tmp_path / "pulse", tmp_path / "deck"
    engine.write_text(f"#!/bin/sh\nexec {sys.executable} {fake_engine.__file__} stuck\n")
    engine.chmod(0o755)
    deck.mkdir()
    for name in ("deck.toml", "cards.pgn"):
        (deck / name).write_bytes((demo_deck_folder() / name).read_bytes())
    check = rondeau("check", str(deck), "--engine", str(engine), FAKE_ENGINE_PULSE=str(pulse))
    until(lambda: pulse.exists() and pulse.stat().st_size > 0)
    time.sleep(0.3)  # into the search
    check.send_signal(number)
    assert check.wait(PATIENCE) == (-number if number == signal.SIGKILL else 128 + number)
    until(lambda: is_silent(pulse))


@pytest.mark.parametrize("number", CAUGHT_AND_NOT, ids=lambda number: number.name)
def test_an_engine_that_looks_again_at_a_contested_move_ends_with_the_session(
    number: signal.Signals, tmp_path: Path
) -> None:
    engine, pulse, deck, typed = (tmp_path / name for name in ("engine", "pulse", "deck", "typed"))
    named = "FAKE_ENGINE_NAME='Stockfish 99'"
    engine.write_text(f"#!/bin/sh\n{named} exec {sys.executable} {fake_engine.__file__} stuck\n")
    engine.chmod(0o755)
    task = black_to_move("play")
    new_deck(deck, DeckSettings(new_deck_id(), "Saltmarsh rooks"))
    add_cards(deck, [CardEntry(task.card)], task.verdicts.values())
    typed.write_text("Rd3\ncontest\nyes\n")
    arguments = ("today", "--plain", "--deck", str(deck))
    session = rondeau(*arguments, typed=typed, FAKE_ENGINE_PULSE=str(pulse), RONDEAU_ENGINE=str(engine))
    until(lambda: pulse.exists() and pulse.stat().st_size > 0)
    time.sleep(0.3)  # into the search
    session.send_signal(number)
    assert session.wait(PATIENCE) == (-number if number == signal.SIGKILL else 128 + number)
    until(lambda: is_silent(pulse))
