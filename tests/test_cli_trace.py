"""`rondeau trace` end to end, on a scripted engine: fresh, from what was kept, and killed in between."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import chess
import pytest
import scripted_engine
from click.testing import CliRunner, Result
from test_cli_engine_pass import ROOT, program, searched, wait_until
from test_engine_pass import is_running

from decks.cli import cli

FEN = "3r2k1/p4ppp/8/8/8/8/P4PPP/2R3K1 w - - 0 10"


def tags(white: str, black: str, result: str, event: str = "Saltmarsh club evening") -> str:
    return (
        f'[Event "{event}"]\n[White "{white}"]\n[Black "{black}"]\n[Date "2026.03.14"]\n'
        f'[Result "{result}"]\n[SetUp "1"]\n[FEN "{FEN}"]\n[TimeControl "300"]\n\n'
    )


GAME = tags("Wren, Anna", "Reed, Tom", "0-1") + "10. a3 {[%clk 0:00:29]} a6 11. Rc7 Rd1# 0-1\n\n"
OTHER = tags("Birch, Nell", "Wren, Bert", "1/2-1/2") + "10. g3 g6 11. Kg2 Kg7 1/2-1/2\n\n"


def after(*moves: str) -> chess.Board:
    board = chess.Board(FEN)
    for move in moves:
        board.push_san(move)
    return board


ROOT_EPD = after("a3", "a6").epd()
MATED_EPD = after("a3", "a6", "Rc7").epd()
SCORES = {ROOT_EPD: {"c1c7": -1000}, MATED_EPD: {"d8d1": 1000}}
LINES = {ROOT_EPD: {"c1c7": ["d8d1"]}}


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(cli, [str(argument) for argument in arguments])


@pytest.fixture
def games(tmp_path: Path) -> Path:
    path = tmp_path / "games.pgn"
    path.write_text(GAME + OTHER)
    return path


@pytest.fixture
def engine(tmp_path: Path) -> Path:
    return program(tmp_path, scores=SCORES, lines=LINES)


def test_an_episode_is_told_as_a_coach_would(games: Path, engine: Path) -> None:
    result = run("trace", games, "--player", "wren, anna", "--engine", engine)
    assert result.exit_code == 0, result.output
    first, _, told = result.stdout.partition("\n\n")
    assert first == "Wren, Anna: 1 of 2 games (1 as White, 0 as Black), judged by Scripted 1"
    lines = [line.strip() for line in told.splitlines()]
    assert lines[0] == "Game 1: Wren, Anna - Reed, Tom, 2026.03.14, 0-1. White's moves: 1 episode"
    assert lines[2] == "Episode 1: 11. Rc7, 50 points in 100, endgame, time trouble (0:29 left)"
    assert lines[4].startswith("11. Rc7 lets in 11... Rd1# (weak back rank): The rook on d8")
    assert lines[5].endswith("White would be level; after 11. Rc7, White is lost. It shows at once.")
    assert lines[6] == "It is a matter of king safety."
    assert "2  . . . . . P P P" in lines
    assert lines[-1] == "FEN 3r2k1/5ppp/p7/8/8/P7/5PPP/2R3K1 w - - 0 11"


def test_json_has_what_is_told(games: Path, engine: Path) -> None:
    result = run("trace", games, "--player", "Wren, Anna", "--engine", engine, "--json")
    found = json.loads(result.stdout)
    assert (found["player"], found["engine"], found["left_out"]) == ("Wren, Anna", "Scripted 1", [])
    (game,) = found["games"]
    (episode,) = game.pop("episodes")
    assert game == {
        "file": str(games),
        "game": 1,
        "white": "Wren, Anna",
        "black": "Reed, Tom",
        "date": "2026.03.14",
        "result": "0-1",
        "side": "white",
        "moves": 2,
        "other_slips": [],
    }
    assert (episode["kind"], episode["motif"], episode["factor"]) == ("let in", "back-rank", "king-safety")
    assert (episode["ply"], episode["played"], episode["showed"]) == (2, "c1c7", 3)
    assert episode["fen"] == after("a3", "a6").fen()
    assert episode["played_line"] == ["c1c7", "d8d1"]
    assert episode["use"]["ply"] == 1
    assert (episode["circumstances"], episode["seconds"]) == (["endgame", "time-trouble"], 29.0)
    assert (episode["first"], episode["last"], episode["prepared_by"]) == (2, 2, [])
    assert episode["before"] == 0.5
    assert episode["after"] == pytest.approx(0.0, abs=0.01)
    assert episode["cost"] == pytest.approx(0.5, abs=0.01)
    assert [slip["ply"] for slip in episode["slips"]] == [2]
    assert len(episode["text"]) == 3


def test_without_a_name_both_sides_of_each_game_are_traced(games: Path, engine: Path) -> None:
    result = run("trace", games, "--engine", engine)
    assert result.stdout.startswith("Both players of 2 games, judged by Scripted 1\n")
    titles = [line for line in result.stdout.splitlines() if line.startswith("Game ")]
    assert [title.rpartition(". ")[2] for title in titles] == [
        "White's moves: 1 episode",
        "Black's moves: no episode",
        "White's moves: no episode",
        "Black's moves: no episode",
    ]
    assert "player" not in json.loads(run("trace", games, "--engine", engine, "--json").stdout)


def test_one_game_of_the_file(games: Path, engine: Path) -> None:
    result = run("trace", games, "--game", "2", "--engine", engine, "--json")
    assert [game["game"] for game in json.loads(result.stdout)["games"]] == [2, 2]
    missing = run("trace", games, "--game", "3", "--engine", engine)
    assert missing.exit_code == 2
    assert "no readable game 3" in missing.stderr


def test_whom_a_name_means(games: Path, engine: Path, tmp_path: Path) -> None:
    several = run("trace", games, "--player", "wren", "--engine", engine)
    assert several.exit_code == 2
    assert "Wren, Anna; Wren, Bert" in several.stderr
    assert searched(tmp_path) == []
    part = run("trace", games, "--player", "bert", "--engine", engine)
    assert part.stdout.startswith("Wren, Bert: 1 of 2 games (0 as White, 1 as Black)")
    nobody = run("trace", games, "--player", "Heron", "--engine", engine)
    assert nobody.stdout == "Heron does not play in any of these games\n"


def test_a_student_is_traced_under_all_aliases(games: Path, engine: Path) -> None:
    names = ("Anna Wren=Wren, Anna", "Anna Wren=Wren, Bert")
    run("students", "--add", "Anna Wren", *(part for name in names for part in ("--alias", name)))
    told = run("trace", games, "--player", "anna wren", "--engine", engine).stdout
    assert told.startswith("Wren, Anna; Wren, Bert: 2 of 2 games (1 as White, 1 as Black)")


def test_a_game_is_not_searched_twice_whatever_its_file_is_called(
    games: Path, engine: Path, tmp_path: Path
) -> None:
    told = run("trace", games, "--engine", engine).stdout
    count = len(searched(tmp_path))
    renamed = tmp_path / "renamed.pgn"
    renamed.write_text((GAME + OTHER).replace("Saltmarsh club evening", "Club championship"))
    assert run("trace", renamed, "--engine", engine).stdout == told
    assert len(searched(tmp_path)) == count > 0


def test_the_ledger_counts_what_was_traced(games: Path, engine: Path) -> None:
    for _ in range(2):
        run("trace", games, "--engine", engine)
    counted = json.loads(run("ledger", "--player", "Wren, Anna", "--by", "clock", "--json").stdout)
    assert (counted["player"], counted["games"], counted["white"]) == ("Wren, Anna", 1, 1)
    (part,) = counted["parts"]
    (row,) = [row for row in part["motifs"] if row["let_in"]]
    assert (part["clock"], row["motif"], row["let_in"]) == ("time trouble", "back-rank", 1)
    assert row["cost"] == pytest.approx(0.5, abs=0.01)


def test_a_scorebook_that_cannot_be_kept_spoils_no_trace(games: Path, engine: Path, tmp_path: Path) -> None:
    (tmp_path / "scorebook.sqlite").write_text("This is no scorebook.")
    result = run("trace", games, "--engine", engine, "--scorebook", tmp_path / "scorebook.sqlite")
    assert (result.exit_code, "1 episode" in result.stdout) == (0, True)
    assert "not kept for the ledger: " in result.stderr


def test_two_engines_find_what_one_finds(games: Path, engine: Path, tmp_path: Path) -> None:
    found = [
        run(
            *("trace", games, "--engine", engine, "--json", "--workers", workers),
            *("--scorebook", tmp_path / f"{workers}.sqlite"),
        ).stdout
        for workers in ("1", "2")
    ]
    assert found[0] == found[1]
    assert not any(map(is_running, scripted_engine.processes(tmp_path / "engine")))


def test_games_that_cannot_be_read_are_named_and_left_out(engine: Path, tmp_path: Path) -> None:
    games = tmp_path / "games.pgn"
    games.write_text(GAME + tags("Ash", "Elm", "*") + "10. Rc9 *\n\n")
    result = run("trace", games, "--player", "Wren, Anna", "--engine", engine)
    assert result.exit_code == 1
    assert "1 episode" in result.stdout
    assert "game 2 (Ash - Elm)" in result.stderr
    assert "1 unreadable game or file left out" in result.stderr
    left_out = json.loads(run("trace", games, "--engine", engine, "--json").stdout)["left_out"]
    assert [one["game"] for one in left_out] == [2]


def test_an_engine_that_dies_in_a_game_is_told_and_the_others_are_traced(games: Path, tmp_path: Path) -> None:
    engine = program(tmp_path, scores=SCORES, lines=LINES, dies_in=[after("g3", "g6").epd()])
    result = run("trace", games, "--engine", engine)
    assert result.exit_code == 3
    assert "White's moves: 1 episode" in result.stdout
    assert "Birch, Nell - Wren, Bert, 2026.03.14, 1/2-1/2. White" not in result.stdout
    assert "Scripted 1 stopped instead of answering" in result.stderr


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGINT])
def test_a_trace_that_was_killed_leaves_no_engine_and_goes_on(
    games: Path, tmp_path: Path, number: signal.Signals
) -> None:
    slow = after("g3", "g6").epd()
    engine = program(tmp_path, scores=SCORES, lines=LINES, slow_in=[slow], seconds=300)
    arguments = ["trace", str(games), "--workers", "1", "--engine", str(engine)]
    started = subprocess.Popen(
        [sys.executable, "-m", "decks.start", *arguments],
        cwd=ROOT,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        start_new_session=True,
    )
    try:
        wait_until(lambda: slow in searched(tmp_path))
        time.sleep(0.5)  # the last that was found is on its way to the scorebook
    finally:
        if number == signal.SIGINT:
            os.killpg(started.pid, number)  # as the terminal does it
        else:
            started.kill()
        _, told = started.communicate(timeout=30)
    expected = (130, b"interrupted") if number == signal.SIGINT else (-number, b"")
    assert (started.returncode, told.strip()) == expected
    wait_until(lambda: not any(map(is_running, scripted_engine.processes(tmp_path / "engine"))))
    before = searched(tmp_path)
    program(tmp_path, scores=SCORES, lines=LINES)
    assert "1 episode" in run(*arguments).stdout
    again = searched(tmp_path)[len(before) :]
    assert again[0] == slow
    assert set(again) & set(before) == {slow}
