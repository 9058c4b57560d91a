"""Changes one thing at a time in the code and counts how many of the changes the tests notice.

    python benchmarks/mutants.py nestkit/folds/steps.py tests/folds/test_steps.py --most 20 --seed 1

A change is a mutant: another operator, comparison, number or condition. A test run that fails
has noticed it. The code is changed in a copy, never in place.
"""

from __future__ import annotations

import argparse
import ast
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from random import Random

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
    elif isinstance(node, ast.Constant):
        node.value = node.value + 1 if node.value != 1 else 2
    return f"line {getattr(node, 'lineno', 0)}: {before} -> {ast.unparse(node)}"


def survives(home: Path, tests: list[str]) -> bool:
    """Whether the tests pass in a copy of the project."""
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-n", "0", "-p", "no:cacheprovider", *tests]
    environment = {**os.environ, "PYTHONPATH": str(home), "NESTKIT_CI": "1", "PYTHONDONTWRITEBYTECODE": "1"}
    try:
        done = subprocess.run(
            command, cwd=home, env=environment, capture_output=True, timeout=120, check=False
        )
    except subprocess.TimeoutExpired:
        return False
    return done.returncode == 0


def main() -> None:
    """The command line."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("module", help="the file to change, for example nestkit/folds/steps.py")
    parser.add_argument("tests", nargs="+")
    parser.add_argument("--most", type=int, default=20, help="how many changes, drawn by chance")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    source = (ROOT / asked.module).read_text()
    count = len(list(places(ast.parse(source))))
    drawn = sorted(Random(asked.seed).sample(range(count), min(asked.most, count)))
    alive = []
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder) / "home"
        for each in ("nestkit", "tests", "samples", "benchmarks"):
            shutil.copytree(ROOT / each, home / each, ignore=shutil.ignore_patterns("__pycache__"))
        shutil.copy(ROOT / "pyproject.toml", home)
        assert survives(home, asked.tests), "the tests fail without any change"
        for number in drawn:
            tree = ast.parse(source)
            told = change(list(places(tree))[number])
            (home / asked.module).write_text(ast.unparse(tree))
            if survives(home, asked.tests):
                alive.append(told)
                print(f"  alive: {told}", flush=True)
    print(f"{asked.module}: {len(drawn) - len(alive)} of {len(drawn)} noticed ({count} possible)")


if __name__ == "__main__":
    main()
