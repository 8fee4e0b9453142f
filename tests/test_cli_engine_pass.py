"""`rondeau build` and `check` on engines in parallel: searches are kept, and a killed run goes on."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from shutil import rmtree

import pytest
import scripted_engine
from click.testing import CliRunner, Result
from test_cli_build import GAME, MATED_ON_THE_BACK_RANK
from test_engine_pass import is_running

from decks.cli import cli

ROOT = Path(__file__).resolve().parent.parent
SETTINGS = 'deck = "0d9c1a52-6f0e-4a53-9c0a-5f3b1e7d2c84"\ntitle = "Saltmarsh rook endings"\n'
PAWNS = ("1p6", "2p5", "3p4", "4p3", "5p2", "6p1")
FENS = [f"6k1/5ppp/{pawn}/8/8/8/8/R5K1 w - - 0 1" for pawn in PAWNS]
EPDS = [" ".join(fen.split()[:4]) for fen in FENS]


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(cli, [str(argument) for argument in arguments])


def write_deck(folder: Path) -> Path:
    folder.mkdir()
    (folder / "deck.toml").write_text(SETTINGS)
    names = ("Event", "Site", "Date", "Round", "White", "Black")
    roster = "".join(f'[{name} "?"]\n' for name in names)
    cards = (f'{roster}[Result "*"]\n[SetUp "1"]\n[FEN "{fen}"]\n\n1. Ra8# *\n' for fen in FENS)
    (folder / "cards.pgn").write_text("\n".join(cards))
    return folder


def program(folder: Path, **script: object) -> Path:
    place = folder / "engine"
    place.mkdir(exist_ok=True)
    return scripted_engine.write_engine(place, **script)


def searched(folder: Path) -> list[str]:
    return scripted_engine.searches(folder / "engine")


@pytest.fixture
def games(tmp_path: Path) -> Path:
    path = tmp_path / "games.pgn"
    path.write_text(GAME)
    return path


def test_two_workers_build_the_deck_of_one_and_what_was_kept_is_not_searched_again(
    games: Path, tmp_path: Path, own_scorebook: Path
) -> None:
    epd = " ".join(MATED_ON_THE_BACK_RANK.split()[:4])
    engine = program(tmp_path, scores={epd: {"d1d8": 1000}}, lines={epd: {"d1d8": ["c6e8", "d8e8"]}})
    texts, counts = [], []
    for name, options in (
        ("one", ["--workers", "1"]),
        ("kept", ["--workers", "2"]),
        ("two", ["--workers", "2", "--scorebook", str(tmp_path / "other.sqlite")]),
    ):
        folder = tmp_path / name
        source = ["--from", str(games), "--motif", "back-rank", "--engine", str(engine), "--depth", "11"]
        result = run("build", folder, *source, *options)
        assert result.stdout.startswith("1 card added"), result.output
        texts.append([(folder / file).read_text() for file in ("cards.pgn", "verdicts.jsonl")])
        rmtree(folder)  # what other decks of the scorebook have is not built again
        counts.append(len(searched(tmp_path)))
    assert texts[0] == texts[1] == texts[2]
    assert 0 < counts[0] == counts[1] < counts[2]
    assert not any(map(is_running, scripted_engine.processes(tmp_path / "engine")))


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGINT])
def test_a_check_that_was_killed_leaves_no_engine_and_goes_on(tmp_path: Path, number: signal.Signals) -> None:
    deck = write_deck(tmp_path / "deck")
    slow = EPDS[4]
    arguments = ["check", str(deck), "--depth", "11", "--workers", "2", "--json", "--engine"]
    engine = program(tmp_path, slow_in=[slow], seconds=300)
    started = subprocess.Popen(
        [sys.executable, "-m", "decks.start", *arguments, str(engine)],
        cwd=ROOT,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        start_new_session=True,
    )
    try:
        wait_until(lambda: set(EPDS) <= set(searched(tmp_path)))
        time.sleep(1.0)  # the last that was found is on its way to the scorebook
    finally:
        if number == signal.SIGINT:
            os.killpg(started.pid, number)  # as the terminal does it
        else:
            started.kill()
        _, told = started.communicate(timeout=30)
    expected = (130, b"interrupted") if number == signal.SIGINT else (-number, b"")
    assert (started.returncode, told.strip()) == expected
    wait_until(lambda: not any(map(is_running, scripted_engine.processes(tmp_path / "engine"))))
    count = len(searched(tmp_path))
    result = run(*arguments, program(tmp_path))
    assert json.loads(result.stdout)["faults"] == [], result.output
    assert (deck / "verdicts.jsonl").read_text().count("\n") == len(EPDS)
    assert set(EPDS) & set(searched(tmp_path)[count:]) == {slow}


def test_a_signal_to_program_and_workers_ends_both_without_a_word(tmp_path: Path) -> None:
    """`timeout` and service managers send it to all. More questions wait than the workers have begun."""
    deck = write_deck(tmp_path / "deck")
    engine = program(tmp_path, slow_in=EPDS, seconds=300)
    arguments = ["check", str(deck), "--depth", "11", "--workers", "1", "--engine", str(engine)]
    started = subprocess.Popen(
        [sys.executable, "-m", "decks.start", *arguments],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        start_new_session=True,
    )
    try:
        wait_until(lambda: searched(tmp_path))
        time.sleep(0.3)  # the others are asked by then
    finally:
        os.killpg(started.pid, signal.SIGTERM)
        told, _ = started.communicate(timeout=30)
    assert (started.returncode, told) == (143, b"")
    wait_until(lambda: not any(map(is_running, scripted_engine.processes(tmp_path / "engine"))))


def test_an_interrupted_build_says_so_and_keeps_the_cards_that_are_done(tmp_path: Path) -> None:
    folder, handed_out = tmp_path / "deck", tmp_path / "hand-outs.pgn"
    handed_out.write_text("\n".join(f'[FEN "{fen}"]\n\n1. Ra8# *\n' for fen in FENS[:2]))
    engine = program(tmp_path, slow_in=EPDS[1:2], seconds=300)
    arguments = ["--from", handed_out, "--depth", "11", "--workers", "1", "--engine", engine]
    started = subprocess.Popen(
        [sys.executable, "-m", "decks.start", "build", folder, *map(str, arguments)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
        text=True,
    )
    try:
        wait_until(lambda: (folder / "built.epd").is_file() and EPDS[1] in searched(tmp_path))
    finally:
        os.killpg(started.pid, signal.SIGINT)
        out, told = started.communicate(timeout=30)
    assert (started.returncode, told.strip()) == (130, "interrupted")
    assert out.startswith(f"1 card added to {folder}, of 1 candidate, judged by ")
    assert (folder / "cards.pgn").read_text().count("[CardId ") == 1


def wait_until(holds: object, seconds: float = 40.0) -> None:
    assert callable(holds)
    deadline = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < deadline
        time.sleep(0.05)


def test_an_engine_that_dies_in_one_position_is_told_and_the_rest_is_judged(tmp_path: Path) -> None:
    deck = write_deck(tmp_path / "deck")
    result = run("check", deck, "--depth", "11", "--engine", program(tmp_path, dies_in=[EPDS[2]]))
    assert result.exit_code == 3
    (line,) = result.stderr.splitlines()
    assert line.startswith("Error: Scripted 1 stopped instead of answering in ") and EPDS[2] in line
    assert (deck / "verdicts.jsonl").read_text().count("\n") == len(EPDS) - 1


def test_again_tells_what_changed(tmp_path: Path) -> None:
    deck = write_deck(tmp_path / "deck")
    assert run("check", deck, "--depth", "11", "--engine", program(tmp_path)).exit_code == 0
    again = ["check", str(deck), "--again", "--depth", "11", "--engine"]
    assert "changed" not in run(*again, program(tmp_path)).stdout
    better = program(tmp_path, name="Scripted 2", scores={EPDS[1]: {"a1a7": 50}})
    told = [line for line in run(*again, better).stdout.splitlines() if line.startswith("changed: ")]
    assert [line.partition(": ")[2].partition(": ")[2] for line in told] == ["1. Ra7 fails -> slips"]


def test_a_scorebook_that_cannot_be_used_costs_only_the_keeping(tmp_path: Path) -> None:
    deck = write_deck(tmp_path / "deck")
    book = tmp_path / "book.sqlite"
    book.write_text("no scorebook")
    result = run("check", deck, "--depth", "11", "--engine", program(tmp_path), "--scorebook", book)
    assert result.exit_code == 0
    reason = f"{book}: file is not a database\n"
    assert result.stderr == f"contested moves are not looked at: {reason}searches are not kept: {reason}"
    assert "6 positions judged by Scripted 1" in result.stdout
