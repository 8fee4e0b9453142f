"""README.md and DEVELOPERS.md are true: commands print what is shown, and tables match the code."""

from __future__ import annotations

import doctest
import importlib
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import click
import doc_parts
import pytest

from decks.commands import SUMMARIES, module_of
from patterns.catalogue import MOTIFS

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")

SHOWN = doctest.OutputChecker()
LOOSELY = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE


def examples(text: str) -> list[tuple[str, str]]:
    """Every `$ command` in the console blocks, with the output shown below it."""
    found = []
    for block in re.findall(r"^```console\n(.*?)^```", text, re.DOTALL | re.MULTILINE):
        for example in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            command, _, output = example.partition("\n")
            found.append((command, output))
    return found


def scripts(text: str) -> list[tuple[str, str]]:
    """Every Python block, with the output shown in the block below it."""
    blocks = r"^```python\n(.*?)^```\n(?:\n```text\n(.*?)^```)?"
    return re.findall(blocks, text, re.DOTALL | re.MULTILINE)


@pytest.fixture
def club(tmp_path: Path) -> Path:
    """A folder that contains the demo deck, with `rondeau` on the PATH."""
    folder = tmp_path / "club"
    folder.mkdir()
    shutil.copytree(ROOT / "demo_deck", folder / "demo_deck")
    command = tmp_path / "bin" / "rondeau"
    command.parent.mkdir()
    command.write_text(f'#!/bin/sh\nPYTHONPATH="{ROOT}" exec "{sys.executable}" -m decks.start "$@"\n')
    command.chmod(0o755)
    return folder


@pytest.mark.parametrize(("command", "output"), examples(README))
def test_what_the_readme_shows_happens(command: str, output: str, club: Path) -> None:
    path = os.pathsep.join([str(club.parent / "bin"), os.environ["PATH"], "/usr/games"])
    shown = subprocess.run(
        ["bash", "-c", command],
        cwd=club,
        env={**os.environ, "PATH": path, "PYTHONIOENCODING": "utf-8"},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert shown.returncode == 0, shown.stderr
    assert SHOWN.check_output(output, shown.stdout, LOOSELY), shown.stdout


@pytest.mark.parametrize(("script", "output"), scripts(README))
def test_python_in_the_readme_prints_what_is_shown(script: str, output: str, club: Path) -> None:
    shown = subprocess.run(
        [sys.executable, "-W", "error", "-c", script],
        cwd=club,
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8"},
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert shown.returncode == 0, shown.stderr
    assert output, "an example shows what it prints"
    assert SHOWN.check_output(output, shown.stdout, LOOSELY), shown.stdout


def test_five_lines_tag_a_file_of_games() -> None:
    script, _ = scripts(README)[0]
    assert "patterns.tag(" in script and len([line for line in script.splitlines() if line]) == 5


def test_the_readme_shows_examples_and_opens_with_its_two_commands() -> None:
    assert len(examples(README)) >= 4
    assert re.findall(r"<!-- command: (\w+) -->\n\n?```sh\n[^\n]+\n```", README) == ["review", "tests"]


@pytest.mark.parametrize(("file", "name"), doc_parts.PARTS)
def test_generated_parts_are_up_to_date(file: str, name: str) -> None:
    assert doc_parts.part(file, name) == doc_parts.PARTS[file, name](), "run python tests/doc_parts.py"


def test_every_command_option_and_motif_is_in_the_readme() -> None:
    commands = doc_parts.part("README.md", "commands")
    options = 0
    for name in SUMMARIES:
        assert f"**`rondeau {name}" in commands
        for parameter in importlib.import_module(module_of(name)).command.params:
            if isinstance(parameter, click.Option):
                options += 1
                assert f"`{parameter.opts[0]}" in commands
    assert options >= len(SUMMARIES)
    assert all(f"`{motif}`" in doc_parts.part("README.md", "motifs") for motif in MOTIFS)


def test_the_map_of_modules_lists_every_module() -> None:
    rooms = doc_parts.part("DEVELOPERS.md", "patterns") + doc_parts.part("DEVELOPERS.md", "decks")
    modules = [path for room in ("patterns", "decks") for path in (ROOT / room).rglob("*.py")]
    named = re.findall(r"^\| `([\w/]+\.py)` \| .{20,} \|$", rooms, re.MULTILINE)
    assert {ROOT / name for name in named} == {path for path in modules if path.name != "__init__.py"}


def test_the_developers_page_gives_a_reason_for_every_dependency() -> None:
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    wanted = [*project["dependencies"], *extras["mutants"], *extras["test"]]
    names = {re.split("[<>=]", requirement)[0] for requirement in wanted}
    listed = re.findall(r"^\| `([\w-]+)` \| [^|]+ \| [^|]+ \|$", DEVELOPERS, re.MULTILINE)
    assert names <= set(listed)
    assert len(names) > 10


def test_links_to_files_of_the_project_lead_somewhere() -> None:
    for text in (README, DEVELOPERS):
        prose = re.sub(r"^```.*?^```", "", text, flags=re.DOTALL | re.MULTILINE)
        for target in re.findall(r"\]\((?!https?:)([^)#]+)\)", prose):
            assert (ROOT / target).exists(), target
