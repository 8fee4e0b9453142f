"""The command line: what each command prints, where, and with which exit status."""

from __future__ import annotations

import importlib
import json
import os
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path

import chess
import click
import pytest
from click.testing import CliRunner, Result

from decks import __version__
from decks.cli import STATUSES, Commands, cli, status_of
from decks.commands import SUMMARIES, module_of
from decks.memory.answers import Answer
from decks.scorebook.book import Scorebook

ROOT = Path(__file__).resolve().parent.parent
RONDEAU = [sys.executable, "-m", "decks.start"]


def run(*arguments: str | Path, stdin: str | bytes | None = None) -> Result:
    return CliRunner().invoke(cli, [str(argument) for argument in arguments], input=stdin)


def one_line(text: str) -> str:
    """The text, after a check that it is one line."""
    assert text.endswith("\n")
    assert text.count("\n") == 1
    return text.rstrip("\n")


def test_help_lists_every_command_with_its_summary() -> None:
    result = run("--help")
    assert result.exit_code == 0
    for name, summary in SUMMARIES.items():
        assert re.search(rf"^  {name} +{re.escape(summary[:30])}", result.output, re.MULTILINE)


@pytest.mark.parametrize("name", SUMMARIES)
def test_every_listed_command_exists_and_helps(name: str) -> None:
    command = importlib.import_module(module_of(name)).command
    assert command.name == name
    result = run(name, "--help")
    assert result.exit_code == 0
    assert SUMMARIES[name].split()[0] in result.output
    for parameter in command.params:
        if isinstance(parameter, click.Option):
            assert parameter.help, f"{parameter.name} says nothing"


def test_help_imports_none_of_the_heavy_libraries() -> None:
    heavy = ("chess", "numpy", "prompt_toolkit", "sqlite_utils", "sqlite3", "fsrs", "jinja2", "platformdirs")
    code = (
        "import sys; from decks.cli import cli\n"
        "try: cli.main(['--help'], prog_name='rondeau')\n"
        f"finally: print([name for name in {heavy} if name in sys.modules])"
    )
    shown = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert shown.stdout.splitlines()[-1] == "[]"


def test_says_its_version() -> None:
    assert run("--version").output == f"rondeau, version {__version__}\n"


# Exit statuses


@pytest.mark.parametrize("arguments", [["nothing-of-ours"], ["explain"], ["motifs", "--nothing"], ["backup"]])
def test_wrong_usage_is_status_2(arguments: list[str]) -> None:
    result = run(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "Usage: " in result.stderr


@pytest.mark.parametrize("name", STATUSES)
def test_every_exception_with_a_status_exists(name: str) -> None:
    module, _, kind = name.rpartition(".")
    exception = getattr(importlib.import_module(module), kind)
    assert issubclass(exception, Exception)
    arguments: dict[str, tuple[object, ...]] = {
        "DeckError": ([],),
        "HandInError": (Path("log.jsonl"), 3, "some text"),
    }
    assert status_of(exception(*arguments.get(kind, ("some text",)))) == STATUSES[name]


def test_a_fault_of_the_program_is_not_reported_as_one_of_the_input() -> None:
    assert status_of(ZeroDivisionError()) is None


def failing(error: BaseException) -> Commands:
    group = Commands("rondeau")

    @group.command("fail")
    def fail() -> None:
        raise error

    group.get_command = lambda ctx, cmd_name: fail  # type: ignore[method-assign]
    return group


def test_ctrl_c_is_status_130() -> None:
    assert CliRunner().invoke(failing(KeyboardInterrupt()), ["fail"]).exit_code == 130


def test_a_file_that_cannot_be_read_is_named_in_one_line() -> None:
    result = CliRunner().invoke(failing(PermissionError(13, "Permission denied", "g\x1b[2J.pgn")), ["fail"])
    assert (result.exit_code, result.stdout) == (1, "")
    assert one_line(result.stderr) == "Error: g\ufffd[2J.pgn: Permission denied"


def test_a_reader_that_closes_causes_no_message() -> None:
    command = f"{sys.executable} -m decks.start motifs | true; echo ${{PIPESTATUS[0]}}"
    shown = subprocess.run(["bash", "-c", command], cwd=ROOT, capture_output=True, text=True, check=True)
    assert shown.stderr == ""
    assert shown.stdout.strip() in ("0", "141")  # 0 if it had written everything before the reader left


@pytest.mark.parametrize(
    ("command", "status"),
    [
        ("motifs >&-", 0),
        ("motifs 2>&-", 0),
        ("explain - <&-", 0),
        ("today --plain <&-", 0),
        ("nothing-of-ours >&- 2>&-", 2),
        ("students --add Tom <&- >&- 2>&-", 0),
    ],
)
def test_a_closed_stream_makes_no_traceback(command: str, status: int, own_scorebook: Path) -> None:
    shown = subprocess.run(
        ["bash", "-c", f"{' '.join(RONDEAU)} {command}"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (shown.returncode, "Traceback" in shown.stderr) == (status, False), shown.stderr
    if own_scorebook.exists():
        with Scorebook.open(own_scorebook):  # nothing was printed into it
            pass


def test_ctrl_c_while_libraries_are_imported_is_status_130_without_a_traceback(tmp_path: Path) -> None:
    (tmp_path / "click.py").write_text("raise KeyboardInterrupt")
    shown = subprocess.run(
        RONDEAU, cwd=ROOT, env={**os.environ, "PYTHONPATH": str(tmp_path)}, capture_output=True, check=False
    )
    assert (shown.returncode, shown.stdout, shown.stderr) == (130, b"", b"")


SIGNAL_AT_THE_END_OF_A_BLOCK = """
import contextlib, os, signal, sys
import decks.start
from decks.scorebook.book import Scorebook

block, number, *sys.argv[1:] = sys.argv[1:]
leave = contextlib._GeneratorContextManager.__exit__

def signalled(self, *error):
    if self.gen.gi_code.co_name == block:
        os.kill(os.getpid(), int(number))
    return leave(self, *error)

contextlib._GeneratorContextManager.__exit__ = signalled
decks.start.main()
"""


@pytest.mark.skipif(sys.platform == "win32", reason="signals are POSIX")
@pytest.mark.parametrize(
    ("number", "status", "said"),
    [(signal.SIGTERM, 143, ""), (signal.SIGHUP, 129, ""), (signal.SIGINT, 130, "\ninterrupted\n")],
)
@pytest.mark.parametrize(
    ("block", "arguments"),
    [
        ("writing", ["students", "--add", "Tom"]),
        ("atomic", ["students", "--add", "Tom"]),
    ],
)
def test_a_signal_at_the_end_of_a_block_makes_no_traceback(
    block: str,
    arguments: list[str],
    number: signal.Signals,
    status: int,
    said: str,
    own_scorebook: Path,
    tmp_path: Path,
) -> None:
    """Python ends the block then only when the scorebook is closed, and fails."""
    with Scorebook.open(own_scorebook):
        pass
    command = [sys.executable, "-c", SIGNAL_AT_THE_END_OF_A_BLOCK, block, str(int(number)), *arguments]
    shown = subprocess.run(
        command,
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (shown.returncode, shown.stderr) == (status, said)
    with Scorebook.open(own_scorebook) as book:
        assert book.students() == {}
    assert [path.name for path in tmp_path.iterdir()] == [own_scorebook.name]


def test_without_a_home_folder_the_message_says_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    def nowhere(*_: object, **__: object) -> Path:
        raise RuntimeError("could not determine the home directory")

    monkeypatch.delenv("RONDEAU_SCOREBOOK")
    monkeypatch.setattr("platformdirs.user_data_path", nowhere)
    result = run("students")
    assert result.exit_code == 1
    assert "--scorebook or RONDEAU_SCOREBOOK" in one_line(result.stderr)


def test_mistyped_input_cannot_control_the_terminal() -> None:
    shown = run("motifs", "a\x9b31m\u202e\x07b")
    assert shown.exit_code == 2
    assert "(a\ufffd31m\ufffdb)" in shown.stderr


# The scorebook


def test_students_are_added_once_and_listed(own_scorebook: Path) -> None:
    assert run("students").output == "no students yet\n"
    run("students", "--add", "Wren Saltmarsh", "--add", "Tom Reed")
    plain = {"retired": False, "recall": "usual", "aliases": [], "decks": []}
    result = run("students", "--add", "wren  saltmarsh", "--json")
    assert json.loads(one_line(result.stdout)) == {
        "students": [
            {**plain, "student": 1, "name": "Wren Saltmarsh"},
            {**plain, "student": 2, "name": "Tom Reed"},
        ]
    }
    assert own_scorebook.exists()


def test_names_from_the_scorebook_cannot_control_the_terminal() -> None:
    result = run("students", "--add", "Tom\x1b[2J\u202eReed")
    assert "\x1b" not in result.output
    assert "\u202e" not in result.output


def test_a_name_that_is_not_utf8_is_refused_in_one_line() -> None:
    shown = subprocess.run([*RONDEAU, "students", "--add", b"J\xfcrgen"], cwd=ROOT, capture_output=True)
    assert (shown.returncode, shown.stdout) == (1, b"")
    assert one_line(shown.stderr.decode()).endswith(r"can't keep 'J\udcfcrgen', which is not UTF-8")


def test_a_backup_can_be_restored(own_scorebook: Path, tmp_path: Path) -> None:
    run("students", "--add", "Wren Saltmarsh")
    assert run("backup", tmp_path / "copy").exit_code == 0
    run("students", "--add", "Tom Reed")
    result = run("restore", tmp_path / "copy")
    assert result.exit_code == 0
    with Scorebook.open(own_scorebook) as book:
        assert list(book.students().values()) == ["Wren Saltmarsh"]
    kept = result.output.split()[-1]
    with Scorebook.open(Path(kept)) as book:
        assert list(book.students().values()) == ["Wren Saltmarsh", "Tom Reed"]


def test_a_scorebook_elsewhere_can_be_named(own_scorebook: Path, tmp_path: Path) -> None:
    elsewhere = tmp_path / "club.sqlite"
    run("students", "--add", "Tom Reed", "--scorebook", elsewhere)
    assert "Tom Reed" in run("students", "--scorebook", elsewhere).output
    assert not own_scorebook.exists()


@pytest.mark.parametrize(
    "arguments", [["backup", "copy"], ["restore", "nothing-there"], ["replay", "--scorebook", "LICENSE"]]
)
def test_a_faulty_scorebook_gives_one_line_and_status_1(
    arguments: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copy(ROOT / "LICENSE", tmp_path)
    monkeypatch.chdir(tmp_path)
    result = run(*arguments)
    assert (result.exit_code, result.stdout) == (1, "")
    assert one_line(result.stderr).startswith("Error: ")


def test_replay_checks_a_scorebook_and_repairs_one_that_was_tampered_with(own_scorebook: Path) -> None:
    keep_an_answer(own_scorebook)
    result = run("replay", "--json")
    assert result.exit_code == 0
    assert json.loads(one_line(result.stdout)) == {
        "differences": [],
        "mended": False,
        "voided": [],
        "damaged": [],
    }

    with closing(sqlite3.connect(own_scorebook)) as database, database:
        assert database.execute("UPDATE memory SET stability = stability + 1").rowcount == 1
    result = run("replay")
    assert result.exit_code == 1
    assert one_line(result.stderr) == "student 1, card:saltmarsh/a1/spot: stored and replayed memory differ"
    assert run("replay", "--mend").exit_code == 0
    assert run("replay").output == "every stored memory follows from the log\n"


def test_replay_goes_on_without_a_damaged_row_and_names_it(own_scorebook: Path) -> None:
    keep_an_answer(own_scorebook)
    with closing(sqlite3.connect(own_scorebook)) as database, database:
        database.execute("DROP TRIGGER reviews_change_no_row")
        database.execute("UPDATE reviews SET study_day = 'yest\x1b[2Jerday'")
    named = f"answer {ANSWER_ID} is damaged and takes no part: study_day 'yest\ufffd[2Jerday' is not a date"
    for mend, status in (("--mend", 1), ("--json", 1)):
        result = run("replay", mend)
        assert result.exit_code == status
        assert "Traceback" not in result.output
    damage = {"kind": "answer", "id": ANSWER_ID, "wrong": "study_day 'yest\x1b[2Jerday' is not a date"}
    assert json.loads(result.stdout)["damaged"] == [damage]
    result = run("replay")
    assert (result.exit_code, one_line(result.stderr)) == (1, named)
    assert result.stdout == "every stored memory follows from the log\n"


def test_replay_voids_an_answer_or_a_day_lists_what_is_voided_and_takes_it_back(own_scorebook: Path) -> None:
    keep_an_answer(own_scorebook)
    entry = f"{ANSWER_ID}  student 1, 2031-03-01, card:saltmarsh/a1/spot, found"
    assert run("replay", "--day", "2031-03-01").stdout == f"{entry}\n"
    assert run("replay", "--day", "2031-03-02").stdout == "no answer of this day\n"
    for named in (ANSWER_ID, "2031-03-01"):
        result = run("replay", "--void", named)
        assert result.exit_code == 0
        assert result.stdout.splitlines() == [
            "1 answer voided",
            f"{entry} (voided: voided by hand)",
            "every stored memory follows from the log",
        ]
        with Scorebook.open(own_scorebook) as book:
            assert book.memory_of(1) == {}
        kept = {"answer_id": ANSWER_ID, "student": 1, "item": "card:saltmarsh/a1/spot"}
        kept |= {"study_day": "2031-03-01", "grade": "found", "voided": "voided by hand"}
        assert json.loads(one_line(run("replay", "--json").stdout))["voided"] == [kept]
        assert json.loads(one_line(run("replay", "--day", "2031-03-01", "--json").stdout)) == {
            "answers": [kept]
        }
        back = run("replay", "--unvoid", named)
        assert back.stdout.splitlines() == [
            "1 answer counted again",
            "every stored memory follows from the log",
        ]
        with Scorebook.open(own_scorebook) as book:
            assert len(book.memory_of(1)) == 1


@pytest.mark.parametrize("named", ["2031-03-02", "0b9d2d7e", "31-03-01"])
def test_replay_voids_nothing_if_there_is_no_such_answer(named: str, own_scorebook: Path) -> None:
    keep_an_answer(own_scorebook)
    result = run("replay", "--void", ANSWER_ID, "--void", named)
    assert (result.exit_code, result.stdout) == (1, "")
    assert f"there is no answer {'of ' if named[:4] == '2031' else ''}{named}" in one_line(result.stderr)
    assert json.loads(run("replay", "--json").stdout)["voided"] == []


ANSWER_ID = "0b9d2d7e-6c57-4d0c-9a55-3a8f3c0f9a01"


def keep_an_answer(scorebook: Path) -> None:
    with Scorebook.open(scorebook) as book:
        answer = Answer(
            answer_id=ANSWER_ID,
            student=book.student("Wren Saltmarsh"),
            deck=None,
            item="card:saltmarsh/a1/spot",
            card_id="a1",
            ask="spot",
            fen=chess.STARTING_FEN,
            key_version="1",
            raw="{}",
            score=1.0,
            grade="found",
            seconds=12.0,
            hints=0,
            study_day=date(2031, 3, 1),
            time=datetime(2031, 3, 1, 18, 0, tzinfo=UTC),
        )
        book.save_answer(answer)
