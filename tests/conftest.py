"""What every test can use: a deterministic hypothesis, a scorebook of its own, outside data.

Outside data (a chess engine, the source archive of python-chess) may be missing on a developer's machine.
There the tests that need it are skipped with the reason. Under CI a missing one is an error.
"""

from __future__ import annotations

import fcntl
import os
import shutil
import signal
import subprocess
import sys
import tarfile
from collections.abc import Callable
from pathlib import Path
from typing import NoReturn

import pytest
from hypothesis import HealthCheck, settings

ROOT = Path(__file__).resolve().parent.parent
CACHE = ROOT / ".cache"
CHESS_ARCHIVE = "chess-1.11.2"

# A shell starts a background job with Ctrl-C ignored, which the programs that tests start would inherit.
signal.signal(signal.SIGINT, signal.default_int_handler)

# Otherwise each of the hundreds of programs that tests start compiles all its modules anew.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

settings.register_profile(
    "deterministic", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("deterministic")


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """A worker for each core and one more share the whole run; tests that are named run in this process.

    One more, since tests that wait for other programs leave a core idle.
    """
    return 0 if config.args_source is pytest.Config.ArgsSource.ARGS else (os.cpu_count() or 1) + 1


@pytest.fixture(autouse=True)
def own_scorebook(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A scorebook for this test only: no test may touch the user's."""
    path = tmp_path / "scorebook.sqlite"
    monkeypatch.setenv("RONDEAU_SCOREBOOK", str(path))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.delenv("RONDEAU_ENGINE", raising=False)
    return path


@pytest.fixture(scope="session")
def project_root() -> Path:
    """The top folder of the checkout."""
    return ROOT


@pytest.fixture(scope="session")
def stockfish() -> str:
    """The path of a Stockfish. Debian puts games outside root's PATH."""
    found = shutil.which("stockfish", path=os.pathsep.join([os.environ.get("PATH", ""), "/usr/games"]))
    return found or missing("no stockfish on PATH or in /usr/games (Debian: apt-get install stockfish)")


@pytest.fixture(scope="session")
def chess_archive() -> Path:
    """The unpacked source archive of python-chess 1.11.2: its published test positions and games."""
    folder = CACHE / CHESS_ARCHIVE
    CACHE.mkdir(exist_ok=True)
    with (CACHE / "lock").open("w") as lock:  # one worker fetches it, the others wait
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not (folder / "test.py").is_file():
            fetch_chess_archive(missing)
    return folder


def fetch_chess_archive(give_up: Callable[[str], NoReturn]) -> None:
    """Download the archive from PyPI with pip and unpack it into the cache folder."""
    CACHE.mkdir(exist_ok=True)
    command = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--no-binary", ":all:"]
    version = CHESS_ARCHIVE.replace("-", "==")
    fetched = subprocess.run(
        [*command, "--dest", str(CACHE), version], capture_output=True, text=True, check=False
    )
    archive = CACHE / f"{CHESS_ARCHIVE}.tar.gz"
    if not archive.is_file():
        give_up(f"pip could not fetch {version}: {fetched.stderr.strip()[-300:]}")
    with tarfile.open(archive) as packed:
        packed.extractall(CACHE, filter="data")


def missing(reason: str) -> NoReturn:
    """Report missing outside data: an error under CI, otherwise a skip."""
    if os.environ.get("CI"):
        pytest.fail(f"under CI this must be there: {reason}", pytrace=False)
    pytest.skip(reason)
