"""`rondeau scan`: games into the scorebook, what arose in them, and what could not be read."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from concurrent.futures import Executor, ProcessPoolExecutor
from pathlib import Path
from typing import Any

import chess
import pytest
from click.testing import CliRunner, Result

from decks.cli import cli
from decks.scorebook.book import Scorebook
from patterns.explanation import explain

ROOT = Path(__file__).resolve().parent.parent

HEADERS = """\
[Event "Saltmarsh club evening"]
[Site "Saltmarsh"]
[Date "2031.03.{number:02}"]
[Round "{number}"]
[White "{white}"]
[Black "{black}"]
[Result "{result}"]

"""

PINNING = "1. e4 e5 2. Nf3 d6 3. Bb5+ Nc6 4. d4 Bd7 5. d5 {result}\n\n"
QUIET = "1. a3 a6 2. h3 h6 {result}\n\n"
BROKEN = "1. e4 e5 2. Ke5 {result}\n\n"


def game(
    number: int, moves: str, white: str = "Wren, Anna", black: str = "Reed, Tom", result: str = "1-0"
) -> str:
    headers = HEADERS.format(number=number, white=white, black=black, result=result)
    return headers + moves.format(result=result)


GAMES = [
    game(1, PINNING),
    game(2, PINNING, white="Reed, Tom", black="Wren, Anna", result="1/2-1/2"),
    game(3, QUIET),
]


@pytest.fixture
def games(tmp_path: Path) -> Path:
    path = tmp_path / "games.pgn"
    path.write_text("".join(GAMES))
    return path


def scan(*arguments: str | Path) -> Result:
    return CliRunner().invoke(cli, ["scan", *map(str, arguments)])


def counts(result: Result) -> dict[tuple[str, str], tuple[Any, ...]]:
    """Instances, games and score by motif and side."""
    found = json.loads(result.stdout)
    return {
        (each["motif"], each["side"]): (each["instances"], each["games"], each["score"])
        for each in found["motifs"]
    }


def test_games_and_findings_are_stored_and_counted(games: Path, own_scorebook: Path) -> None:
    result = scan(games, "--json")
    assert (result.exit_code, result.stderr, result.stdout.count("\n")) == (0, "", 1)
    found = json.loads(result.stdout)
    assert (found["games"], found["positions"], found["left_out"]) == (3, 25, [])
    instances, in_games, score = counts(result)["pin-on-diagonal", "white"]
    assert (instances >= 2, in_games, score) == (True, 2, 0.75)
    with Scorebook.open(own_scorebook) as book:
        stored = [finding for number in (1, 2, 3) for finding in book.findings(number)]
    assert len(stored) == found["findings"] > 0


def test_scanning_again_counts_nothing_twice_and_other_games_do_not_count(
    games: Path, tmp_path: Path
) -> None:
    first = scan(games, "--json")
    assert scan(games, "--json").stdout == first.stdout
    other = tmp_path / "other.pgn"
    other.write_text(game(4, QUIET))
    assert counts(scan(other, "--json")) == {}
    assert counts(scan(games, games, "--json")) == counts(first)


def test_a_player_sees_what_arose_for_and_against(games: Path) -> None:
    found = counts(scan(games, "--player", "wren", "--json"))
    assert found["pin-on-diagonal", "player"][1:] == (1, 1.0)
    assert found["pin-on-diagonal", "opponent"][1:] == (1, 0.5)
    table = scan(games, "--player", "wren").stdout
    assert "pin-on-diagonal" in table
    assert table.startswith("Wren, Anna: 3 of 3 games (2 as White, 1 as Black), ")
    assert "score: share of the points won by Wren, Anna in those games" in table


def test_a_players_header_counts_the_players_games_and_no_others(games: Path, tmp_path: Path) -> None:
    others = tmp_path / "others.pgn"
    others.write_text(game(7, PINNING, white="Heron, Cy", black="Tern, Bo"))
    alone = json.loads(scan(games, "--player", "Wren", "--json").stdout)
    found = json.loads(scan(games, others, "--player", "Wren", "--json").stdout)
    assert found == alone
    assert (found["player"], found["games"], found["positions"]) == ("Wren, Anna", 3, 25)
    assert json.loads(scan(games, others, "--json").stdout)["games"] == 4
    nobody = json.loads(scan(games, "--player", "Plover", "--json").stdout)
    assert (nobody["player"], nobody["games"], nobody["findings"]) == (None, 0, 0)


@pytest.mark.parametrize(
    ("player", "meant"),
    [
        ("REED,  tom", "Reed, Tom"),
        ("Reed, Tom", "Reed, Tom"),  # exact, though it is a part of another name
        ("Reed, Tom sen", "Reed, Tom senior"),
        ("cy", "Heron, Cy"),
        ("Reed", None),
        ("e", None),
    ],
)
def test_a_part_of_a_name_must_fit_one_person(
    player: str, meant: str | None, games: Path, tmp_path: Path, own_scorebook: Path
) -> None:
    others = tmp_path / "others.pgn"
    others.write_text(game(7, QUIET, white="Heron, Cy", black="Reed, Tom senior"))
    result = scan(games, others, "--player", player)
    if meant:
        assert (result.exit_code, result.stdout.split(": ")[0]) == (0, meant)
        return
    assert (result.exit_code, result.stdout) == (2, "")
    told = " ".join(result.stderr.split())
    fitting = ["Reed, Tom", "Reed, Tom senior"] if player == "Reed" else None
    names = "; ".join(fitting or ["Heron, Cy", "Reed, Tom", "Reed, Tom senior", "Wren, Anna"])
    assert f"'{player}' fits several people: {names}. The games are stored" in told
    with Scorebook.open(own_scorebook) as book:
        assert len(book.motif_counts("Wren, Anna")) > 0


def test_the_same_game_under_another_title_or_in_another_file_adds_nothing(
    games: Path, tmp_path: Path
) -> None:
    first = scan(games, "--json").stdout
    copy = tmp_path / "copy.pgn"
    text = (
        games.read_text()
        .replace("Saltmarsh club evening", "Saltmarsh open")
        .replace("Wren, Anna", "WREN,  anna")
    )
    copy.write_text(text.replace('[Round "', '[Round "1.'))
    assert scan(games, copy, "--json").stdout == first
    assert scan(copy, "--json").stdout == first
    together = tmp_path / "together.pgn"
    together.write_text(games.read_text() + text)
    assert scan(together, "--json").stdout == first


def test_a_coach_reads_who_has_the_weak_pawn(tmp_path: Path) -> None:
    """The side a weakness is counted for is the one that profits: the pawn is the other's."""
    path = tmp_path / "isolated.pgn"
    setup = '[SetUp "1"]\n[FEN "3r2k1/pp3ppp/4b3/3p4/8/4PN2/PP3PPP/3R2K1 w - - 0 1"]\n\n'
    path.write_text(game(1, "1. h3 h6 {result}\n\n").replace("]\n\n", f"]\n{setup}", 1))
    lines = scan(path, "--player", "Reed, Tom").stdout.splitlines()
    assert lines[2].split() == ["motif", "for", "against", "instances", "games", "score"]
    (weakness,) = (line.split() for line in lines if line.startswith("isolated-pawn"))
    assert weakness[:3] == ["isolated-pawn", "opponent", "player"]
    assert lines[-2].startswith("for: whom it helps; against: who has the weak pawn, ")
    found = json.loads(scan(path, "--json").stdout)["motifs"]
    assert ("isolated-pawn", "white", "black") in {
        (each["motif"], each["side"], each["against"]) for each in found
    }


def test_a_game_counts_by_the_result_it_was_read_with(tmp_path: Path) -> None:
    """The tag may be missing or unknown to the standard where the movetext tells the result."""
    path = tmp_path / "games.pgn"
    moves = PINNING.format(result="1/2-1/2")
    path.write_text(f'[White "Wren, Anna"]\n\n{moves}[White "Reed, Tom"]\n[Result "1/2"]\n\n{moves}')
    assert counts(scan(path, "--json"))["pin-on-diagonal", "white"] == (2, 2, 0.5)


def test_a_player_without_games_gets_a_message(games: Path) -> None:
    last = scan(games, "--player", "Plover").stdout.splitlines()[-1]
    assert last == "Plover does not play in any of these games"


def test_workers_change_nothing_but_the_time(games: Path, tmp_path: Path) -> None:
    alone = scan(games, "--json")
    together = scan(games, "--json", "--workers", "2", "--scorebook", tmp_path / "other.sqlite")
    assert (together.exit_code, together.stdout) == (0, alone.stdout)


def test_a_killed_worker_is_one_clear_line(games: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def killing_workers(workers: int) -> Executor:
        pool = ProcessPoolExecutor(workers)
        pool.submit(os._exit, 9)
        return pool

    monkeypatch.setattr("decks.commands.scan.worker_processes", killing_workers)
    result = scan(games, "--workers", "2")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr.splitlines()[-1] == "Error: a worker process was killed, 0 games kept: scan again"


def test_findings_are_streamed_and_say_what_explain_says(games: Path, own_scorebook: Path) -> None:
    result = scan(games, "--findings")
    assert result.exit_code == 0
    lines = [json.loads(line) for line in result.stdout.splitlines()]
    assert lines
    for line in lines:
        assert line["file"] == str(games)
        motifs = json.loads(json.dumps(explain(chess.Board(line["fen"])).as_dict()))["motifs"]
        assert {
            key: value for key, value in line.items() if key not in ("file", "game", "ply", "fen")
        } in motifs
    assert {line["game"] for line in lines} == {1, 2}
    with Scorebook.open(own_scorebook) as book:
        assert len(book.findings(1)) == sum(line["game"] == 1 for line in lines)


def test_what_cannot_be_read_is_named_and_the_rest_is_stored(games: Path, tmp_path: Path) -> None:
    games.write_text(GAMES[0] + game(2, BROKEN, white="Tern\x1b[2J, Bo") + GAMES[2])
    result = scan(games, tmp_path / "missing\x1b[2J.pgn", "--json")
    assert result.exit_code == 1
    found = json.loads(result.stdout)
    assert found["games"] == 2
    assert [(each["file"], each["game"], each["line"]) for each in found["left_out"]] == [
        (str(games), 2, 11),
        (str(tmp_path / "missing\x1b[2J.pgn"), None, None),
    ]
    bad_game, bad_file, count = result.stderr.splitlines()
    assert bad_game.startswith(f"{games}: game 2 (")
    assert "Ke5" in bad_game
    assert "\x1b" not in result.stderr
    assert bad_file == f"{tmp_path}/missing\ufffd[2J.pgn: No such file or directory"
    assert count.startswith("2 ")


def test_a_file_whose_name_is_not_utf8_is_scanned(games: Path) -> None:
    old = os.fsdecode(bytes(games.parent) + b"/f\xfcnf.pgn")
    games.rename(old)
    assert "3 games" in scan(old).output


def test_a_file_that_is_not_text_is_not_read_to_its_end() -> None:
    result = scan("/dev/zero")
    assert result.exit_code == 1
    assert "/dev/zero: not a text file" in result.stderr


def test_wrong_usage_is_status_2(games: Path) -> None:
    for arguments in ([], [str(games), "--workers", "0"], [str(games), "--findings", "--json"]):
        assert scan(*arguments).exit_code == 2


def test_an_interrupted_scan_says_130_and_keeps_what_was_stored(tmp_path: Path, own_scorebook: Path) -> None:
    many = tmp_path / "many.pgn"
    with many.open("w") as file:
        for number in range(6000):
            file.write(game(1 + number % 28, PINNING, white=f"Guest {number}"))
    small_batches = "import patterns.scan as it; it.BATCH = 512; from decks.start import main; main()"
    with subprocess.Popen(
        [sys.executable, "-c", small_batches, "scan", str(many), "--workers", "2"],
        cwd=ROOT,
        env={**os.environ, "RONDEAU_SCOREBOOK": str(own_scorebook)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    ) as running:
        stored = 0
        while stored == 0 and running.poll() is None:
            time.sleep(0.05)
            if own_scorebook.exists():
                with Scorebook.open(own_scorebook) as book:
                    stored = len(book.motif_counts())
        os.killpg(running.pid, signal.SIGINT)  # as the terminal does: to the workers too
        out, errors = running.communicate(timeout=30)
    assert (running.returncode, out, errors.strip()) == (130, "", "interrupted")
    with Scorebook.open(own_scorebook) as book:
        assert 0 < book.motif_counts()[0].games < 6000
