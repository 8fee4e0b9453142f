"""`rondeau check`: what it says of a deck, what it writes into it, and its exit statuses."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from decks.cards.deck import Deck
from decks.cards.folder import reserved
from decks.cli import cli

ROOT = Path(__file__).resolve().parent.parent
FAKE_ENGINE = ROOT / "tests" / "fake_engine.py"

SETTINGS = """\
deck = "0d9c1a52-6f0e-4a53-9c0a-5f3b1e7d2c84"
title = "Saltmarsh rook endings"
"""

BACK_RANK = """\
[Event "Saltmarsh club evening"]
[Site "?"]
[Date "2031.03.01"]
[Round "?"]
[White "Wren, Anna"]
[Black "Reed, Tom"]
[Result "*"]
[SetUp "1"]
[FEN "6k1/5ppp/8/8/8/8/8/R5K1 w - - 0 1"]

1. Ra8# *
"""


def check(*arguments: str | Path) -> Result:
    return CliRunner().invoke(cli, ["check", *map(str, arguments)])


def write_deck(folder: Path) -> Path:
    folder.mkdir()
    (folder / "deck.toml").write_text(SETTINGS)
    (folder / "cards.pgn").write_text(BACK_RANK)
    return folder


@pytest.fixture
def deck(tmp_path: Path) -> Path:
    return write_deck(tmp_path / "rooks")


@pytest.fixture(scope="module")
def judged(tmp_path_factory: pytest.TempPathFactory, stockfish: str) -> tuple[Path, Result]:
    """A deck that a check with Stockfish has been through, and what the check said."""
    folder = write_deck(tmp_path_factory.mktemp("decks") / "rooks")
    return folder, check(folder, "--engine", stockfish, "--depth", "16")


@pytest.fixture
def crashing_engine(tmp_path: Path) -> Path:
    return an_engine(tmp_path, "crash")


def an_engine(folder: Path, mode: str) -> Path:
    program = folder / f"{mode}-engine"
    program.write_text(f'#!/bin/sh\nexec "{sys.executable}" "{FAKE_ENGINE}" {mode}\n')
    program.chmod(0o755)
    return program


def test_a_new_deck_is_judged_and_marked_with_who_judged_it(judged: tuple[Path, Result]) -> None:
    deck, result = judged
    assert result.exit_code == 0, result.output
    assert "1 position judged by Stockfish" in result.stdout
    assert "0 faults" in result.stdout
    assert result.stderr == ""
    written = (deck / "cards.pgn").read_text()
    assert "[CardId " in written
    assert '[Checked "Stockfish' in written
    verdicts = json.loads((deck / "verdicts.jsonl").read_text())
    assert verdicts["epd"] == "6k1/5ppp/8/8/8/8/8/R5K1 w - -"
    assert verdicts["moves"]["a1a8"]["score"] == 1.0


def test_a_deck_that_is_judged_already_needs_no_engine_process(
    judged: tuple[Path, Result], crashing_engine: Path
) -> None:
    deck, _ = judged
    before = {path.name: path.read_bytes() for path in deck.iterdir()}
    result = check(deck, "--engine", crashing_engine, "--json")
    found = json.loads(result.stdout)
    assert (result.exit_code, found["judged"], found["engine"], found["written"]) == (0, 0, None, [])
    assert {path.name: path.read_bytes() for path in deck.iterdir()} == before


def test_every_fault_is_reported_with_its_file_and_line(deck: Path) -> None:
    (deck / "deck.toml").write_text(SETTINGS + 'colour = "green"\n')
    (deck / "cards.pgn").write_text(BACK_RANK.replace("Ra8#", "Rb8"))
    result = check(deck)
    assert result.exit_code == 1
    assert "deck.toml line 3: " in result.stdout
    assert "cards.pgn line 11" in result.stdout
    assert "2 faults" in result.stdout
    found = json.loads(check(deck, "--json").stdout)
    assert [(fault["file"], fault["line"]) for fault in found["faults"]] == [
        ("deck.toml", 3),
        ("cards.pgn", 11),
    ]


def test_a_copy_is_made_a_deck_of_its_own(judged: tuple[Path, Result], tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    shutil.copytree(judged[0], copy)
    before = {path.name: path.read_bytes() for path in copy.iterdir()}
    result = check(copy, "--new-identity", "--engine", "true")
    assert (result.exit_code, result.stderr) == (0, "")
    made = Deck.open(copy).settings.deck
    assert result.stdout.splitlines()[0] == f"{copy}: is a deck of its own now ({made})"
    old = Deck.open(judged[0]).settings.deck
    before["deck.toml"] = before["deck.toml"].replace(old.encode(), made.encode())
    assert {path.name: path.read_bytes() for path in copy.iterdir()} == before
    again = json.loads(check(copy, "--new-identity", "--engine", "true", "--json").stdout)
    assert again["new_identity"] == Deck.open(copy).settings.deck not in (old, made)


def test_a_deck_that_has_lost_its_uuid_gets_one(judged: tuple[Path, Result], tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    shutil.copytree(judged[0], copy)
    settings = copy / "deck.toml"
    lines = settings.read_text().splitlines(keepends=True)
    settings.write_text("".join(line for line in lines if not line.startswith("deck")))
    result = check(copy, "--engine", "true")
    assert result.exit_code == 1 and "`rondeau check --new-identity` writes one" in result.stdout
    assert check(copy, "--new-identity", "--engine", "true").exit_code == 0
    assert settings.read_text() == f'deck = "{Deck.open(copy).settings.deck}"\n' + "".join(lines[1:])


def test_a_key_that_fails_is_status_1(deck: Path, stockfish: str) -> None:
    cards = deck / "cards.pgn"
    missed = BACK_RANK.replace("Ra8#", "h3").replace(
        "6k1/5ppp/8/8/8/8/8/R5K1", "3r2k1/5ppp/8/8/8/8/5PPP/3R2K1"
    )
    cards.write_text(missed)
    result = check(deck, "--engine", stockfish, "--depth", "8")
    assert result.exit_code == 1
    assert "the key 1. h3 fails" in result.stdout


@pytest.mark.parametrize(
    ("mode", "depth", "used"), [("steady", 10, 11), ("steady", 11, 0), ("plain", 2, 3), ("plain", 3, 0)]
)
def test_a_depth_that_is_less_than_the_least_is_told(
    mode: str, depth: int, used: int, deck: Path, tmp_path: Path
) -> None:
    """An engine that searches one move at a time has a lower least depth."""
    result = check(deck, "--engine", an_engine(tmp_path, mode), "--depth", str(depth))
    assert "1 position judged by" in result.stdout
    told = f"--depth {depth}: {used} is used, because every move is searched to {used} plies\n"
    assert result.stderr == (told if used else "")


def test_a_folder_that_is_no_deck_is_status_1(tmp_path: Path) -> None:
    result = check(tmp_path / "nothing")
    assert result.exit_code == 1
    assert f"{tmp_path}/nothing: no such folder" in result.stdout


def test_an_engine_that_is_not_there_or_fails_is_status_3(deck: Path, crashing_engine: Path) -> None:
    for engine in ("no-such-engine", crashing_engine):
        result = check(deck, "--engine", engine)
        assert (result.exit_code, result.stdout) == (3, "")
        assert result.stderr.startswith("Error: ")
        assert result.stderr.count("\n") == 1


def test_a_folder_that_cannot_be_written_is_reported_before_minutes_of_work(deck: Path) -> None:
    command = f"ulimit -f 0; {sys.executable} -m decks.start check {deck} --engine true 2>&1"
    shown = subprocess.run(["bash", "-c", command], cwd=ROOT, capture_output=True, text=True, check=False)
    assert shown.returncode == 1
    assert shown.stdout == f"Error: {deck}: can't be written in: File too large\n"


def test_a_check_does_not_wait_for_another_process(deck: Path) -> None:
    with reserved(deck):
        result = check(deck, "--engine", "true")
    assert result.exit_code == 1
    assert "another process is writing in this deck: try again" in result.stderr
