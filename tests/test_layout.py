"""The structure of the code: what is where, and in which direction it depends."""

from __future__ import annotations

import ast
from functools import cache
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = ("patterns", "decks")
MODULES = sorted(path for package in PACKAGES for path in (ROOT / package).rglob("*.py"))
SOURCES = sorted([*MODULES, *(ROOT / "tests").rglob("*.py"), *(ROOT / "demo_deck").rglob("*.py")])
ROOMS = {
    "patterns": (
        ("reading",),
        ("boards",),
        ("words",),
        ("engines",),
        ("proof",),
        ("motifs",),
        ("factors",),
        ("catalogue", "square_count"),
        ("arguments",),
        ("detect",),
        ("lines", "scan", "explanation", "refuted"),
        ("tagging", "root_lines", "explained"),
        ("causes",),
    ),
    "decks": (
        ("locks", "tasks"),
        ("asks",),
        ("cards",),
        ("memory", "build"),
        ("scorebook", "review", "shelf"),
        ("telling",),
        ("material", "engine_at_hand", "plain", "screen"),
        ("preparing",),
        ("course",),
        ("today",),
        ("commands",),
        ("cli",),
        ("start",),
    ),
}
"""The rooms of each package, floor by floor. A room imports only from floors below it."""


@cache
def by_name() -> dict[str, Path]:
    return {
        ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): path
        for path in MODULES
    }


@cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def relative(path: Path) -> str:
    return str(path.relative_to(ROOT))


def room_of(module: str) -> tuple[str, str]:
    """The package and the room of a dotted module name. A package itself has no room."""
    package, _, rest = module.partition(".")
    return package, rest.partition(".")[0]


def own_imports(path: Path) -> set[str]:
    """The modules of this project that a module imports, anywhere in it, type-only imports included."""
    names, names_known = set(), by_name()
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] in PACKAGES:
            names |= {
                f"{node.module}.{alias.name}" if f"{node.module}.{alias.name}" in names_known else node.module
                for alias in node.names
            }
    return names


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
    assert [relative(path) for path in modules if "decks" in imported(tree_of(path))] == []


def test_a_room_imports_only_from_the_floors_below_it() -> None:
    floor = {
        (package, room): number
        for package, floors in ROOMS.items()
        for number, rooms in enumerate(floors)
        for room in rooms
    }
    rooms = {room_of(name) for name in by_name()} - {(package, "") for package in PACKAGES}
    assert rooms == set(floor)
    upwards, seen = [], 0
    for path in MODULES:
        here = room_of(".".join(path.relative_to(ROOT).with_suffix("").parts))
        for name in own_imports(path):
            there = room_of(name)
            seen += 1
            own_package = here[0] == there[0] and here != there and here in floor and there in floor
            if own_package and floor[there] >= floor[here]:
                upwards.append((relative(path), name))
    assert seen > 300
    assert upwards == []


def test_no_modules_import_each_other_in_a_circle() -> None:
    needs = {name: {each for each in own_imports(path) if each != name} for name, path in by_name().items()}
    assert sum(map(len, needs.values())) > 300
    TopologicalSorter(needs).prepare()  # raises CycleError, which names the circle


def test_only_the_screen_and_the_command_line_know_the_terminal() -> None:
    terminal = {"prompt_toolkit": "decks/screen", "click": "decks/c"}  # decks/cli.py, decks/commands/
    strays = [
        (relative(path), library)
        for path in MODULES
        for library in imported(tree_of(path)) & set(terminal)
        if not relative(path).startswith(terminal[library])
    ]
    assert strays == []


@pytest.mark.parametrize("path", SOURCES, ids=relative)
def test_a_module_says_what_it_is_for(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert ast.get_docstring(ast.parse(text)), "no docstring"
    if path.name != "__init__.py":
        assert "\nfrom __future__ import annotations\n" in text
