"""What share of small faults in the rules the tests notice: mutants, drawn by seed, against the tests.

Run by hand: `pip install -e '.[test,mutants]'`, then from the checkout

    PYTHONPATH=.:tests python tests/benchmarks/mutants.py --count 400 --seed 7

Add the paths of modules to test only these. A mutant is one module with one small fault: another operator,
constant, bound or truth value (the operators of the `cosmic-ray` library), or one clause left out: an operand
of `&`, `|`, `and`, `or`, or a whole `x &= ...` (our own operators). Each mutant runs, in a copy of the tree,
the tests that concern its module, up to the first failure. The recorded findings of the corpus are left out,
because they notice every change but do not judge it. Survivors are printed as diffs. Those listed in
`equal_mutants.csv`, with the reason why each is not a fault, do not count.
"""

from __future__ import annotations

import argparse
import ast
import csv
import difflib
import os
import shutil
import signal
import site
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from itertools import islice
from multiprocessing import get_context
from pathlib import Path
from random import Random

import pytest
from conftest import CACHE, ROOT
from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code
from cosmic_ray.plugins import get_operator

from patterns.catalogue import MOTIFS

EQUAL = Path(__file__).parent / "equal_mutants.csv"
LIMIT = 120.0
"""Seconds for the tests of one mutant. A mutant that takes longer is caught: it runs for ever."""

LIBRARY = (
    *("ReplaceBinaryOperator_" + pair for pair in (
        "BitAnd_BitOr", "BitOr_BitAnd", "Add_Sub", "Sub_Add", "LShift_RShift", "RShift_LShift", "Mul_Add",
    )),
    *("ReplaceComparisonOperator_" + pair for pair in (
        "Lt_LtE", "LtE_Lt", "Gt_GtE", "GtE_Gt", "Eq_NotEq", "NotEq_Eq", "Is_IsNot", "IsNot_Is",
    )),
    *("ReplaceUnaryOperator_Delete_" + name for name in ("Invert", "Not", "USub")),
    "ReplaceTrueWithFalse", "ReplaceFalseWithTrue", "ReplaceAndWithOr", "ReplaceOrWithAnd",
    "ReplaceBreakWithContinue", "ReplaceContinueWithBreak", "NumberReplacer", "ZeroIterationForLoop",
)  # fmt: skip
"""Operators of the library whose mutants still run on arrays of bitboards."""

JUDGED = (
    "test_gold.py::test_a_motif_is_found_where_it_is_and_nowhere_else",
    "test_evidence.py::test_every_finding_is_right",
)
_OTHER_TESTS = {
    "patterns/boards/attacks.py": ("test_pressure", "test_exchange", "test_attacks"),
    "patterns/boards/exchange.py": ("test_exchange", "test_square_count"),
    "patterns/boards/moves.py": ("test_moves", "test_pressure", "test_gold"),
    "patterns/boards/pressure.py": ("test_pressure", "test_gold"),
    "patterns/engines/scores.py": ("test_scores", "test_grading"),
    "patterns/square_count.py": ("test_square_count",),
    "patterns/words/outcome.py": ("test_outcome",),
    "decks/memory/model.py": ("test_model",),
    "decks/memory/queue.py": ("test_queue",),
    "decks/review/grading.py": ("test_grading",),
    "decks/asks/assess.py": ("test_grading", "test_session", "test_plain"),
    "decks/asks/play.py": ("test_grading", "test_session", "test_plain"),
    "decks/asks/root.py": ("test_grading", "test_session", "test_plain"),
    "decks/asks/spot.py": ("test_grading", "test_session", "test_plain"),
    "decks/tasks/ballot.py": ("test_grading",),
    "decks/tasks/scoring.py": ("test_grading",),
    "patterns/reading/fen.py": ("test_fen",),
    "patterns/reading/pgn.py": ("test_pgn",),
    "patterns/reading/tokens.py": ("test_tokens", "test_pgn", "test_cards_file"),
    "patterns/reading/written_move.py": ("test_written_move", "test_entry"),
    "decks/cards/movetext.py": ("test_cards_file",),
    "decks/cards/pgn_spans.py": ("test_cards_file",),
}
"""The tests that concern a module, the fastest first. Its doctests, and the judged rows of motifs, are added
automatically."""
_POSITIONAL = (
    "battery", "besieged_pawn", "bishops", "kings", "knights", "minority_attack", "more_space", "open_file",
    "opposite_bishops", "passed_pawn", "pawn_storm", "pawn_weaknesses", "unopposed_bishop", "weak_square",
)  # fmt: skip
HELD_TO_IT = (*_OTHER_TESTS, *(f"patterns/motifs/{name}.py" for name in _POSITIONAL))
"""The modules that must have a row for every clause."""


@dataclass(frozen=True)
class Mutant:
    """One module with one fault in it. `module`: its path from the top of the checkout."""

    module: str
    source: str
    mutated: str

    @property
    def change(self) -> tuple[str, str]:
        """The changed lines, before and after, without their indents."""
        lines = list(self._compared(0))[2:]
        before, after = ([line[1:].strip() for line in lines if line[0] == sign] for sign in "-+")
        return " ".join(before), " ".join(after)

    def diff(self) -> str:
        """The fault as a diff with one line of context."""
        return "\n".join(self._compared(1))

    def _compared(self, around: int) -> Iterator[str]:
        before, after = self.source.splitlines(), self.mutated.splitlines()
        return difflib.unified_diff(before, after, self.module, self.module, n=around, lineterm="")


Recipe = tuple[str, Callable[[], str | None]]
"""A module, and the function that makes its source with one fault."""


def recipes(module: str) -> list[Recipe]:
    """A recipe for every place in a module where a fault can be put."""
    source = (ROOT / module).read_text(encoding="utf-8")
    nodes, makers = list(ast_nodes(get_ast(source))), list[Callable[[], str | None]]()
    for name in LIBRARY:
        operator = get_operator(f"core/{name}")()
        places = sum(len(list(operator.mutation_positions(node))) for node in nodes)
        makers += [partial(mutate_code, source, operator, place) for place in range(places)]
    makers += [partial(str, mutated) for mutated in _with_a_clause_left_out(source)]
    return [(module, maker) for maker in makers]


def made(recipes: Iterable[Recipe]) -> Iterator[Mutant]:
    """The mutants of these recipes. No two are equal, and all are valid Python with another meaning."""
    seen = set[tuple[str, str]]()
    for module, make in recipes:
        source, mutated = (ROOT / module).read_text(encoding="utf-8"), make()
        if mutated is None or (module, mutated) in seen:
            continue
        seen.add((module, mutated))
        with suppress(SyntaxError):  # the library mistakes the * of keyword-only parameters for a product
            if _meaning(mutated) != _meaning(source):
                yield Mutant(module, source, mutated)


def _with_a_clause_left_out(source: str) -> Iterator[str]:
    """The source without one operand of `&`, `|`, `and` or `or`, or without one `&=` or `|=`."""
    text = source.encode()
    starts = [0]
    for line in text.splitlines(keepends=True):
        starts.append(starts[-1] + len(line))

    def span(node: ast.expr | ast.stmt) -> tuple[int, int]:
        assert node.end_lineno is not None and node.end_col_offset is not None
        return (
            starts[node.lineno - 1] + node.col_offset,
            starts[node.end_lineno - 1] + node.end_col_offset,
        )

    def replaced(node: ast.expr | ast.stmt, by: bytes) -> str:
        first, last = span(node)
        return (text[:first] + by + text[last:]).decode()

    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.BinOp) and isinstance(node.op, ast.BitAnd | ast.BitOr):
            for kept in (node.left, node.right):
                yield replaced(node, b"(" + text[slice(*span(kept))] + b")")
        elif isinstance(node, ast.BoolOp):
            word = b" and " if isinstance(node.op, ast.And) else b" or "
            for left_out in node.values:
                rest = [text[slice(*span(value))] for value in node.values if value is not left_out]
                yield replaced(node, b"(" + word.join(b"(" + each + b")" for each in rest) + b")")
        elif isinstance(node, ast.AugAssign) and isinstance(node.op, ast.BitAnd | ast.BitOr):
            yield replaced(node, b"pass")


def _meaning(source: str) -> str:
    """The source as a tree, without annotations and without guards that only catch misuse."""
    tree = ast.parse(source)
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            node.returns = None
        elif isinstance(node, ast.arg):
            node.annotation = None
        elif isinstance(node, ast.AnnAssign):
            node.annotation = ast.Constant(None)
        elif isinstance(node, ast.Call):
            node.keywords = [word for word in node.keywords if word.arg not in ("strict", "frozen")]
    return ast.dump(tree)


def tests_of(module: str) -> list[str]:
    """The arguments of pytest for a module, the fastest tests first."""
    doctests = [module] if ">>>" in (ROOT / module).read_text(encoding="utf-8") else []
    ids = [id for id, motif in MOTIFS.items() if motif.find.__module__ == module[:-3].replace("/", ".")]
    judged = [f"tests/{test}[{id}]" for test in JUDGED for id in ids]
    return [*doctests, *judged, *(f"tests/{name}.py" for name in _OTHER_TESTS.get(module, ()))]


def copied(folder: Path) -> Path:
    """A copy of the working tree, compiled so that no change is missed because of its time stamp."""
    listed = subprocess.run(
        ["git", "-C", str(ROOT), "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        stdout=subprocess.PIPE, check=True,
    ).stdout.decode()  # fmt: skip
    for name in listed.split("\0"):
        if name and (ROOT / name).is_file():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, folder / name)
    (folder / ".cache").symlink_to(CACHE)
    compile_all = ["-m", "compileall", "-q", "--invalidation-mode", "checked-hash", "patterns", "decks"]
    subprocess.run([sys.executable, *compile_all], cwd=folder, check=True)
    return folder


def passes(tree: Path, module: str, source: str, limit: float) -> bool:
    """Whether the tests of a module pass in `tree` with this source. Being too slow is a failure."""
    path, asked = tree / module, tests_of(module)
    original = path.read_text(encoding="utf-8")
    path.write_text(source, encoding="utf-8")
    # A fork has loaded the libraries already. This is most of the time of a small test.
    running = get_context("fork").Process(target=_run_tests, args=(tree, asked))
    running.start()
    running.join(limit)
    if running.exitcode is None and running.pid is not None:
        os.killpg(running.pid, signal.SIGKILL)
        running.join()
    path.write_text(original, encoding="utf-8")
    return running.exitcode == 0


def _run_tests(tree: Path, asked: list[str]) -> None:
    """In a separate process: forget the project's modules, so that those of `tree` are loaded."""
    os.setsid()
    os.chdir(tree)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.dup2(nowhere, 2)
    sys.dont_write_bytecode = True
    sys.path[:] = [str(tree), *(path for path in sys.path if ROOT not in (Path(path), *Path(path).parents))]
    sys.path += [path for path in site.getsitepackages() if path not in sys.path]
    for name, loaded in list(sys.modules.items()):
        file = getattr(loaded, "__file__", None)
        if file and ROOT in Path(file).parents and "site-packages" not in file and name != "__main__":
            del sys.modules[name]
    loaded_already = "ignore::pytest.PytestAssertRewriteWarning"
    options = ["-qx", "-n", "0", "--no-header", "--tb=no", "-p", "no:cacheprovider", "-W", loaded_already]
    sys.exit(pytest.main([*options, *asked]))


def known_equal() -> dict[tuple[str, str, str], str]:
    """Why each judged mutant is not a fault: by module and the changed lines, before and after."""
    with EQUAL.open(encoding="utf-8", newline="") as lines:
        rows = csv.DictReader(lines, strict=True)
        return {(row["module"], row["before"], row["after"]): row["reason"] for row in rows}


def run(mutants: Iterable[Mutant], limit: float) -> None:
    """Test the mutants one after the other and print the results."""
    caught, drawn = Counter[str](), list(mutants)
    with tempfile.TemporaryDirectory() as folder:
        tree = copied(Path(folder))
        for module in sorted({mutant.module for mutant in drawn}):
            source = (ROOT / module).read_text(encoding="utf-8")
            if not passes(tree, module, source, 10 * limit):
                sys.exit(f"the tests of {module} fail before anything is changed")
            if passes(tree, module, "raise RuntimeError\n", limit):
                sys.exit(f"the tests of {module} do not import it")
        start = time.monotonic()
        for number, mutant in enumerate(drawn, 1):
            if passes(tree, mutant.module, mutant.mutated, limit):
                print(f"\n{mutant.diff()}")
            else:
                caught[mutant.module] += 1
            seconds = time.monotonic() - start
            print(
                f"{number} of {len(drawn)}, {caught.total()} caught, {seconds / number:.1f} s each", end="\r"
            )
    print("\n")
    for module, count in sorted(Counter(mutant.module for mutant in drawn).items()):
        print(f"{module:44}{caught[module]:4} of {count:4}")
    print(f"{'all':44}{caught.total():4} of {len(drawn):4} {caught.total() / len(drawn):.0%}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("modules", nargs="*", help="paths from the top; all that this script knows if none")
    parser.add_argument("--count", type=int, default=60, help="how many mutants are drawn (0: all)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--limit", type=float, default=LIMIT, help="seconds for the tests of one mutant")
    asked = parser.parse_args()
    equal = known_equal()
    places = [each for module in asked.modules or HELD_TO_IT for each in recipes(module)]
    Random(asked.seed).shuffle(places)
    counted = (one for one in made(places) if (one.module, *one.change) not in equal)
    print(f"{len(places)} places for a fault; {len(equal)} faults are listed as equal")
    run(islice(counted, asked.count or None), asked.limit)


if __name__ == "__main__":
    main()
