"""What docstrings promise against what signatures say: parameters by name and in order, raises by class.

numpydoc's layout (numpydoc.readthedocs.io, "Parameters", "Raises"); read with `ast`, so that compiled
kernels and lazy imports are no obstacle.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import NamedTuple

import pytest

from nestkit.cli import app

PACKAGE = Path(__file__).parent.parent / "nestkit"
#: What a caller must know of.
TOLD = frozenset({"InputError", "DrawingError", "OutputError", "PatternError", "Interrupted", "ValueError"})

Function = ast.FunctionDef | ast.AsyncFunctionDef


class Told(NamedTuple):
    """A public function or class with its docstring."""

    where: str
    node: Function | ast.ClassDef
    doc: str


@cache
def everything() -> tuple[Told, ...]:
    """All public functions, methods and classes of public names, with docstrings or without."""
    return tuple(
        told
        for file in sorted(PACKAGE.rglob("*.py"))
        for told in _within(ast.parse(file.read_text()), f"{file.relative_to(PACKAGE.parent)}")
    )


def _within(tree: ast.Module | ast.ClassDef, where: str) -> Iterator[Told]:
    for node in tree.body:
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)):
            if node.name.startswith("_"):
                continue
            yield Told(f"{where}::{node.name}", node, ast.get_docstring(node) or "")
            if isinstance(node, ast.ClassDef):
                yield from _within(node, f"{where}::{node.name}")


def section(doc: str, title: str) -> list[str] | None:
    """The lines of a section, or None when there is no such section."""
    found = re.search(rf"^{title}\n-+\n(.*?)(?=^\S[^\n]*\n-{{3,}}$|\Z)", doc, re.S | re.M)
    return None if found is None else found.group(1).rstrip().splitlines()


def names_in(lines: list[str]) -> list[str]:
    """Names before the colons at the section's left edge; ``a, b : float`` are two."""
    heads = [line.split(" : ")[0] for line in lines if line and not line.startswith(" ")]
    return [name.strip().lstrip("*") for head in heads for name in head.split(",")]


def parameters(node: Function | ast.ClassDef) -> list[str]:
    """Names that a caller may give, in order; of a dataclass its fields."""
    if isinstance(node, ast.ClassDef):
        own = {each.name: each for each in node.body if isinstance(each, ast.FunctionDef)}
        if "__init__" in own:
            return parameters(own["__init__"])
        fields = [
            each.target.id
            for each in node.body
            if isinstance(each, ast.AnnAssign)
            and isinstance(each.target, ast.Name)
            and "ClassVar" not in ast.unparse(each.annotation)
            and "init=False" not in ast.unparse(each.value or ast.Constant(None)).replace(" ", "")
        ]
        return [name for name in fields if not name.startswith("_")]
    args = node.args
    row = [*args.posonlyargs, *args.args, args.vararg, *args.kwonlyargs, args.kwarg]
    names = [each.arg for each in row if each is not None]
    return names[1:] if names[:1] in (["self"], ["cls"]) else names


@cache
def commands() -> frozenset[str]:
    """The commands' functions; their docstrings are read by makers, as help."""
    apps = [app, *(group.typer_instance for group in app.registered_groups)]
    found = [one.callback for each in apps if each for one in each.registered_commands]
    return frozenset(f"{one.__module__.replace('.', '/')}.py::{one.__name__}" for one in found if one)


def inherits(node: ast.AST) -> bool:
    """Whether fields may come from a class above."""
    return isinstance(node, ast.ClassDef) and any(
        ast.unparse(base) not in ("Protocol", "NamedTuple", "Exception", "Enum", "StrEnum", "ABC")
        for base in node.bases
    )


def raised(node: Function) -> set[str]:
    """Classes that the function itself raises and does not catch."""
    found = set()
    todo: list[ast.AST] = list(node.body)
    while todo:
        one = todo.pop()
        if isinstance(one, (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda, ast.ClassDef)):
            continue
        if isinstance(one, ast.Try) and one.handlers:
            caught = " ".join(ast.unparse(handler.type) if handler.type else "" for handler in one.handlers)
            inner = raised(ast.FunctionDef("try", node.args, one.body, [], None, None))
            found |= {name for name in inner if name not in caught}
            todo += [*one.handlers, *one.orelse, *one.finalbody]
            continue
        if isinstance(one, ast.Raise) and one.exc is not None:
            match = re.match(r"[A-Z]\w*(?=[.(]|$)", ast.unparse(one.exc))
            if match:
                found.add(match.group())
        todo += list(ast.iter_child_nodes(one))
    return found


def test_every_public_name_is_told() -> None:
    assert [told.where for told in everything() if not told.doc] == []
    assert len(everything()) > 1000


def test_commands_are_told_without_sections() -> None:
    """Typer shows a command's docstring as its help."""
    shown = [told for told in everything() if told.where in commands()]
    assert len(shown) == len(commands()) > 10
    assert [told.where for told in shown if "---" in told.doc] == []


def test_parameters_are_those_of_the_signature_in_its_order() -> None:
    wrong, seen = [], 0
    for told in everything():
        lines = section(told.doc, "Parameters")
        if lines is None:
            continue
        seen += 1
        names, real = names_in(lines), parameters(told.node)
        if names != real and not inherits(told.node):
            wrong.append(f"{told.where}: docstring {names}, signature {real}")
    assert seen > 200
    assert not wrong, "\n".join(wrong)


def test_what_is_raised_is_told() -> None:
    wrong, seen = [], 0
    for told in everything():
        if isinstance(told.node, ast.ClassDef) or told.where in commands():
            continue
        lines = section(told.doc, "Raises")
        names = set() if lines is None else set(names_in(lines))
        for name in raised(told.node) & TOLD:
            seen += 1
            if name not in names:
                wrong.append(f"{told.where}: raises {name}")
    assert seen > 60
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize(
    ("doc", "names"),
    [
        (
            "Parameters\n----------\na, b : float, mm\n    Two.\nc\n    One.\n\nReturns\n-------\nint",
            "abc",
        ),
        ("Parameters\n----------\n*a : int", "a"),
    ],
)
def test_sections_are_read(doc: str, names: str) -> None:
    lines = section(doc, "Parameters")
    assert lines is not None
    assert names_in(lines) == list(names)
