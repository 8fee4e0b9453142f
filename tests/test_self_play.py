"""The club's self-play games: labelled as such, legal, and identical for the same seed."""

from __future__ import annotations

import io
import random
import subprocess
import sys
import sysconfig
from collections import Counter
from datetime import date
from pathlib import Path

import chess
import chess.pgn
import pytest

from demo_deck import self_play

SCRIPT = Path(self_play.__file__)
ENGINE = Path(sysconfig.get_path("scripts")) / "sunfish-uci"
GAMES = 2
PLIES_AFTER_LONGEST_OPENING = 2
SEED, OTHER_SEED = 13, 26  # Their first games start from the longest openings: few moves to wait for.


def run(out: Path, *arguments: str, engine: Path = ENGINE) -> subprocess.CompletedProcess[str]:
    """Run the script by hand, as its docstring says."""
    command = [sys.executable, str(SCRIPT), "--engine", str(engine), "--out", str(out), *arguments]
    return subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)


def written(out: Path, seed: int) -> bytes:
    limits = ["--games", str(GAMES), "--nodes", "5", "--max-plies", str(16 + PLIES_AFTER_LONGEST_OPENING)]
    done = run(out, *limits, "--seed", str(seed))
    assert (done.returncode, done.stderr) == (0, "")
    return out.read_bytes()


def read(pgn: bytes) -> list[chess.pgn.Game]:
    text = io.StringIO(pgn.decode("ascii"))
    return list(iter(lambda: chess.pgn.read_game(text), None))


@pytest.fixture(scope="module")
def pgn(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return written(tmp_path_factory.mktemp("club") / "games.pgn", SEED)


def test_games_are_legal_and_end_as_they_say(pgn: bytes) -> None:
    games = read(pgn)
    assert len(games) == GAMES
    for game in games:
        assert game.errors == []
        board = game.end().board()
        assert game.headers["PlyCount"] == str(board.ply()) == str(16 + PLIES_AFTER_LONGEST_OPENING)
        assert (game.headers["Result"], game.headers["Termination"]) == ("*", "unterminated")


def test_every_game_says_that_an_engine_played_it(pgn: bytes) -> None:
    players = {player.name for player in self_play.PLAYERS}
    for game in read(pgn):
        tags = game.headers
        assert tags["Event"] == "Saltmarsh club evening (engine self-play)"
        assert tags["Site"] == "Saltmarsh"
        assert tags["WhiteType"] == tags["BlackType"] == "program"
        assert "sunfish" in tags["Annotator"] and "nodes a move" in tags["Annotator"]
        assert max(map(len, tags.values())) <= 255
        assert {tags["White"], tags["Black"]} <= players and tags["White"] != tags["Black"]
        assert tags["Date"].startswith("2026.")


def test_files_are_in_export_format(pgn: bytes) -> None:
    """PGN standard of 1994: 8.2.1 line length, 8.1.1 the roster and its order, 8.2.4 an empty line after."""
    text = pgn.decode("ascii")
    tag_order = [line.split()[0][1:] for line in text.splitlines() if line.startswith("[")]
    roster = ["Event", "Site", "Date", "Round", "White", "Black", "Result"]
    starts = [index for index, tag in enumerate(tag_order) if tag == "Event"]
    assert len(starts) == GAMES
    for start, end in zip(starts, [*starts[1:], len(tag_order)], strict=True):
        assert tag_order[start : start + 7] == roster
        others = tag_order[start + 7 : end]
        assert others == sorted(others)
    movetext = [line for line in text.splitlines() if not line.startswith("[")]
    assert max(map(len, movetext)) < 80
    assert text.endswith("*\n\n")


def test_the_seed_decides_the_games(pgn: bytes, tmp_path: Path) -> None:
    assert written(tmp_path / "again.pgn", SEED) == pgn
    assert written(tmp_path / "other.pgn", OTHER_SEED) != pgn


def test_a_missing_engine_is_one_line_and_status_3(tmp_path: Path) -> None:
    done = run(tmp_path / "games.pgn", engine=tmp_path / "nobody")
    assert done.returncode == 3
    assert done.stderr.count("\n") == 1 and "nobody" in done.stderr


def test_openings_are_legal_and_end_in_different_positions() -> None:
    reached = set()
    for name, moves in self_play.OPENINGS:
        board = chess.Board()
        for san in moves:
            move = board.parse_san(san)
            assert board.san(move) == san, name
            board.push(move)
        assert 6 <= len(moves) <= 16, name
        reached.add(board.epd())
    assert len(reached) == len(self_play.OPENINGS) >= 60
    assert len({name for name, _ in self_play.OPENINGS}) == len(self_play.OPENINGS)


def test_every_opening_comes_once_before_any_comes_again() -> None:
    size = len(self_play.OPENINGS)
    order = [self_play.opening_of(number, seed=5)[0] for number in range(1, 2 * size + 1)]
    assert set(order[:size]) == set(order[size:]) == {name for name, _ in self_play.OPENINGS}
    assert order[:size] != order[size:]


def test_everybody_meets_everybody_with_both_colours_in_2026() -> None:
    players = len(self_play.PLAYERS)
    games = list(self_play.pairings())
    assert [game.number for game in games] == list(range(1, len(games) + 1))
    two_cycles = games[: players * (players - 1)]
    meetings = Counter((game.white.name, game.black.name) for game in two_cycles)
    assert len(meetings) == players * (players - 1) and set(meetings.values()) == {1}
    assert games[0].evening == date(2026, 1, 8) and games[-1].evening == date(2026, 12, 31)


def test_a_loose_player_strays_from_the_best_line_more_often() -> None:
    best, other = chess.Move.from_uci("e2e4"), chess.Move.from_uci("a2a4")
    lines = [(best, 30), (other, -20)]
    strays = {
        looseness: sum(
            self_play.choose(lines, looseness, random.Random(draw)) == other for draw in range(400)
        )
        for looseness in (5, 50)
    }
    assert strays[5] < 10
    assert 400 * 0.20 < strays[50] < 400 * 0.34  # 1 / (e + 1), about 27 percent


@pytest.mark.parametrize(
    ("moves", "ends_as"),
    [
        ("f3 e5 g4 Qh4#", ("0-1", "normal")),
        ("Nf3 Nf6 Ng1 Ng8 Nf3 Nf6 Ng1", None),
        ("Nf3 Nf6 Ng1 Ng8 Nf3 Nf6 Ng1 Ng8", ("1/2-1/2", "normal")),
        ("e4 e5 Nf3 Nc6 Bc4 Bc5 O-O Nf6 d3 d6", ("*", "unterminated")),
    ],
)
def test_games_end_by_the_rules_or_unfinished(moves: str, ends_as: tuple[str, str] | None) -> None:
    board = chess.Board()
    for san in moves.split():
        board.push_san(san)
    assert self_play.ending(board, max_plies=10) == ends_as


def test_fifty_moves_without_progress_are_a_draw() -> None:
    last = chess.Board("8/8/4k3/8/8/4K3/4R3/8 w - - 99 120")
    assert self_play.ending(last, max_plies=1000) is None
    last.push_san("Rd2")
    assert self_play.ending(last, max_plies=1000) == ("1/2-1/2", "normal")
