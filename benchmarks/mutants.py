"""Changes one thing at a time in the code and counts how many of the changes the tests notice.

    python benchmarks/mutants.py folds patterns --most 20 --seed 1

A change is a mutant: another operator, comparison, number or condition, drawn by chance among all that are
possible in a package. Only the package's own tests are asked; a run that fails has noticed the change, and so
has one that takes four times the processor time of the code as it is. The code is changed in a copy, never in
place.
"""

from __future__ import annotations

import argparse
import ast
import os
import re
import resource
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from random import Random
from typing import NamedTuple

ROOT = Path(__file__).parents[1]

_OPERATORS = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult}
_COMPARISONS = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq}


def places(tree: ast.AST) -> Iterator[ast.AST]:
    """The nodes that can be changed, in the order of the file; what stands in annotations is left out."""
    for node in ast.walk(tree):
        known = (
            (isinstance(node, ast.BinOp) and type(node.op) in _OPERATORS)
            or (isinstance(node, ast.Compare) and type(node.ops[0]) in _COMPARISONS)
            or isinstance(node, ast.BoolOp)
            or (isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.Not))
            or (isinstance(node, ast.Constant) and type(node.value) in (int, float))
        )
        if known:
            yield node


def change(node: ast.AST) -> str:
    """Change a node; says what was changed."""
    before = ast.unparse(node)
    if isinstance(node, ast.BinOp):
        node.op = _OPERATORS[type(node.op)]()
    elif isinstance(node, ast.Compare):
        node.ops[0] = _COMPARISONS[type(node.ops[0])]()
    elif isinstance(node, ast.BoolOp):
        node.op = ast.And() if isinstance(node.op, ast.Or) else ast.Or()
    elif isinstance(node, ast.UnaryOp):
        node.op = ast.UAdd() if isinstance(node.op, ast.USub) else ast.Not()
        if isinstance(node.op, ast.Not):
            node.operand = ast.UnaryOp(ast.Not(), node.operand)
    elif isinstance(node, ast.Constant) and isinstance(node.value, (int, float)):
        node.value = node.value + 1 if node.value != 1 else 2
    return f"line {getattr(node, 'lineno', 0)}: {before} -> {ast.unparse(node)}"


class Place(NamedTuple):
    """Where something can be changed: a file of the project, and which of its nodes."""

    file: Path
    number: int


def all_places(package: str) -> list[Place]:
    """All that can be changed in a package."""
    files = sorted((ROOT / "nestkit" / package).rglob("*.py"))
    return [
        Place(file.relative_to(ROOT), number)
        for file in files
        for number, _ in enumerate(places(ast.parse(file.read_text())))
    ]


def tests_for(package: str, file: Path) -> list[str]:
    """The package's test files, those that name the changed file first: the run ends at the first failure."""
    name = re.compile(rf"\b{file.stem}\b")
    tests = sorted((ROOT / "tests" / package).rglob("test_*.py"))
    tests.sort(key=lambda test: (-len(name.findall(test.read_text())), test.name))
    return [str(test.relative_to(ROOT)) for test in tests]


def copied(home: Path) -> None:
    """A copy of the project, to be changed."""
    for each in ("nestkit", "tests", "samples", "benchmarks"):
        shutil.copytree(ROOT / each, home / each, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", home)


def passes(home: Path, tests: list[str], most: float | None = None) -> bool:
    """Whether the tests pass in a copy of the project, within so many seconds of processor time."""
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-n", "0", "-p", "no:cacheprovider", *tests]
    environment = {
        **os.environ,
        "PYTHONPATH": str(home),
        "NESTKIT_CI": "1",
        "PYTHONDONTWRITEBYTECODE": "1",
        "NUMBA_CACHE_DIR": str(home / "compiled"),
    }

    def limit() -> None:
        if most is not None:
            resource.setrlimit(resource.RLIMIT_CPU, (int(most), int(most) + 1))

    done = subprocess.run(
        command, cwd=home, env=environment, capture_output=True, check=False, preexec_fn=limit
    )
    return done.returncode == 0


def survives(home: Path, place: Place, tests: list[str], most: float) -> str:
    """What was changed, when the tests don't notice; else nothing."""
    file, source = home / place.file, (ROOT / place.file).read_text()
    tree = ast.parse(source)
    told = change(list(places(tree))[place.number])
    if "nestkit.jit" in source:
        # What is compiled into kernels of other files is not known to be old.
        shutil.rmtree(home / "compiled", ignore_errors=True)
    file.write_text(ast.unparse(tree))
    try:
        return f"{place.file} {told}" if passes(home, tests, most) else ""
    finally:
        file.write_text(source)


def spent() -> float:
    """Seconds of processor time of what was run so far."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def score(package: str, most: int, seed: int) -> tuple[int, int, int]:
    """How many changes are possible, how many were made, and how many of them were noticed."""
    possible = all_places(package)
    drawn = sorted(Random(seed).sample(possible, min(most, len(possible))))
    alive = 0
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder) / "home"
        copied(home)
        start = spent()
        assert passes(home, [f"tests/{package}"]), "the tests fail without any change"
        allowed = 4.0 * (spent() - start)
        for place in drawn:
            told = survives(home, place, tests_for(package, place.file), allowed)
            if told:
                alive += 1
                print(f"  alive: {told}", file=sys.stderr, flush=True)
    return len(possible), len(drawn), len(drawn) - alive


def main() -> None:
    """The command line."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("packages", nargs="+", help="packages with tests of the same name, for example folds")
    parser.add_argument("--most", type=int, default=20, help="how many changes in each, drawn by chance")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    print("| package | possible | made | noticed |\n|---|---|---|---|")
    for package in asked.packages:
        print(f"| {package} | {' | '.join(map(str, score(package, asked.most, asked.seed)))} |", flush=True)


if __name__ == "__main__":
    main()
