"""The generated parts of README.md and DEVELOPERS.md. Run this file to write them again.

Each part is between `<!-- generated: NAME -->` and `<!-- end -->`.
"""

from __future__ import annotations

import ast
import importlib
import re
import sys
from collections.abc import Callable, Mapping
from pathlib import Path

import click

ROOT = Path(__file__).resolve().parent.parent


def commands() -> str:
    """Every command: its call, what it does, its options."""
    from decks.commands import SUMMARIES, module_of

    lines = []
    for name, summary in SUMMARIES.items():
        command = importlib.import_module(module_of(name)).command
        arguments = [each for each in command.params if isinstance(each, click.Argument)]
        options = [each for each in command.params if isinstance(each, click.Option)]
        usage = " ".join(["rondeau", name, *(each.make_metavar(context(command)) for each in arguments)])
        lines += [f"**`{usage}`**: {summary}", ""]
        lines += [f"- `{spelling(command, option)}` {option.help}" for option in options]
        lines += [""] if options else []
    return "\n".join(lines).rstrip("\n")


def context(command: click.Command) -> click.Context:
    return click.Context(command, info_name=command.name)


def spelling(command: click.Command, option: click.Option) -> str:
    """An option as it is typed: `--workers N`."""
    names = "/".join([*option.opts, *option.secondary_opts])
    return names if option.is_flag else f"{names} {option.make_metavar(context(command))}"


def motifs() -> str:
    """Every motif: id and title."""
    from patterns.catalogue import MOTIFS

    rows = [f"| `{motif.id}` | {motif.title} |" for motif in MOTIFS.values()]
    return "\n".join(["| motif | title |", "| --- | --- |", *rows])


def modules(package: str) -> str:
    """Every module of a package with the first sentence of its docstring, room by room."""
    paths = sorted((ROOT / package).rglob("*.py"), key=lambda path: (path.parent, path.name))
    rows = [described(path) for path in paths if path.name != "__init__.py"]
    return "\n".join(["| module | what it is |", "| --- | --- |", *rows])


def tests() -> str:
    """Every test module, and everything that tests share, with the first sentence of its docstring."""
    rows = [described(path) for path in sorted((ROOT / "tests").glob("*.py"))]
    return "\n".join(["| file | what it holds |", "| --- | --- |", *rows])


def described(path: Path) -> str:
    """A row of a table: the file's name and the first sentence of its docstring."""
    sentence = (ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or "").split("\n\n")[0]
    return f"| `{path.relative_to(ROOT)}` | {' '.join(sentence.split())} |"


def first_week() -> str:
    """A student's first week."""
    import told_weeks

    return told_weeks.first_week()


def last_fortnight() -> str:
    """A tournament's last fortnight."""
    import told_weeks

    return told_weeks.last_fortnight()


PARTS: Mapping[tuple[str, str], Callable[[], str]] = {
    ("README.md", "first week"): first_week,
    ("README.md", "last fortnight"): last_fortnight,
    ("README.md", "commands"): commands,
    ("README.md", "motifs"): motifs,
    ("DEVELOPERS.md", "patterns"): lambda: modules("patterns"),
    ("DEVELOPERS.md", "decks"): lambda: modules("decks"),
    ("DEVELOPERS.md", "tests"): tests,
}
"""The function that writes each part, by file and name."""


def part(file: str, name: str) -> str:
    """The text of the generated part `name` in the file now."""
    found = re.search(pattern(name), (ROOT / file).read_text(encoding="utf-8"), re.DOTALL)
    if not found:
        raise ValueError(f"{file} has no part {name}")
    return found[2].strip("\n")


def write_part(file: str, name: str, text: str) -> None:
    """Replace the part by `text`."""
    path = ROOT / file
    old = path.read_text(encoding="utf-8")
    new = re.sub(pattern(name), lambda found: f"{found[1]}\n{text}\n\n{found[3]}", old, flags=re.DOTALL)
    path.write_text(new, encoding="utf-8")


def pattern(name: str) -> str:
    return rf"(<!-- generated: {name} -->\n)(.*?)(<!-- end -->)"


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    for (file, name), generate in PARTS.items():
        write_part(file, name, generate())
