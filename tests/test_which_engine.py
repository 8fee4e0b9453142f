"""Which engine is used, and which engine's judgement counts as verified."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from patterns.engines.judging import EngineError, find_engine
from patterns.engines.strength import UNVERIFIED_BELOW, strong_enough


@pytest.fixture
def program(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], str]:
    """Makes an executable with the given name in a folder that is the whole PATH. No engine is configured."""
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.delenv("RONDEAU_ENGINE", raising=False)

    def make(name: str) -> str:
        path = tmp_path / name
        path.write_text("#!/bin/sh\n")
        path.chmod(0o755)
        return str(path)

    return make


def test_the_engine_asked_for_comes_first(
    program: Callable[[str], str], monkeypatch: pytest.MonkeyPatch
) -> None:
    stockfish, mine, other = program("stockfish"), program("mine"), program("other")
    assert find_engine().argv == (stockfish,)
    monkeypatch.setenv("RONDEAU_ENGINE", other)
    assert find_engine().argv == (other,)
    assert find_engine("mine").argv == find_engine(mine).argv == (mine,)


def test_an_engine_installed_beside_python_is_found_by_name(
    program: Callable[[str], str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    embedded = program("sunfish-uci")
    monkeypatch.setenv("PATH", "")
    monkeypatch.setattr("sys.executable", str(tmp_path / "python"))
    assert find_engine("sunfish-uci").argv == (embedded,)


def test_an_engine_named_and_missing_is_an_error_not_a_reason_to_take_another(
    program: Callable[[str], str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    program("stockfish")
    with pytest.raises(EngineError, match=r"^engine gone\ufffd: not found$"):
        find_engine("gone\x1b")
    (tmp_path / "notes.txt").write_text("")
    with pytest.raises(EngineError, match=r"notes.txt: not a program$"):
        find_engine(str(tmp_path / "notes.txt"))
    monkeypatch.setenv("RONDEAU_ENGINE", "gone")
    with pytest.raises(EngineError, match=r"^engine gone \(named by RONDEAU_ENGINE\): not found$"):
        find_engine()


def test_no_engine_at_all(program: Callable[[str], str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("shutil.which", lambda *_, **__: None)
    monkeypatch.setattr("importlib.util.find_spec", lambda _: None)
    with pytest.raises(EngineError, match="no chess engine found"):
        find_engine()


@pytest.mark.parametrize(
    ("engine", "depth", "strong"),
    [
        ("Stockfish 15.1", UNVERIFIED_BELOW, True),
        ("stockfish", 30, True),
        ("Stockfish 15.1", UNVERIFIED_BELOW - 1, False),
        ("sunfish 2026", 30, False),
        ("Not Stockfish", 30, False),
        ("", 30, False),
    ],
)
def test_what_counts_as_verified(engine: str, depth: int, strong: bool) -> None:
    assert strong_enough(engine, depth) is strong
