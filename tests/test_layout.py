"""The shape of the code: what stands where, and which way it depends."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = ("patterns", "decks")
MODULES = sorted(path for package in PACKAGES for path in (ROOT / package).rglob("*.py"))
SOURCES = sorted([*MODULES, *(ROOT / "tests").rglob("*.py"), *(ROOT / "demo_deck").rglob("*.py")])
LINES = 400


def relative(path: Path) -> str:
    return str(path.relative_to(ROOT))


def imported(tree: ast.AST) -> set[str]:
    """The top-level packages that a module imports, anywhere in it."""
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
    return {name.partition(".")[0] for name in names}


def test_the_top_level_holds_these_and_nothing_else() -> None:
    assert {path.name for path in ROOT.iterdir() if not path.name.startswith(".")} == {
        "README.md",
        "DEVELOPERS.md",
        "LICENSE",
        "pyproject.toml",
        "patterns",
        "decks",
        "tests",
        "demo_deck",
    }


def test_the_detector_knows_nothing_of_the_decks() -> None:
    modules = [path for path in MODULES if path.is_relative_to(ROOT / "patterns")]
    assert len(modules) > 10
    assert [relative(path) for path in modules if "decks" in imported(ast.parse(path.read_text()))] == []


def test_only_the_screen_and_the_command_line_know_the_terminal() -> None:
    terminal = {"prompt_toolkit": "decks/screen", "click": "decks/c"}  # decks/cli.py, decks/commands/
    strays = [
        (relative(path), library)
        for path in MODULES
        for library in imported(ast.parse(path.read_text())) & set(terminal)
        if not relative(path).startswith(terminal[library])
    ]
    assert strays == []


@pytest.mark.parametrize("path", SOURCES, ids=relative)
def test_a_module_says_what_it_is_for(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert ast.get_docstring(ast.parse(text)), "no docstring"
    if path.name != "__init__.py":
        assert "\nfrom __future__ import annotations\n" in text


@pytest.mark.parametrize("path", MODULES, ids=relative)
def test_a_module_is_small(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= LINES
