"""What a package offers: the names in its ``__init__`` and the modules that it calls doors; nothing else."""

from __future__ import annotations

import ast
from collections import defaultdict
from importlib import import_module
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent / "nestkit"
PACKAGES = sorted(path.parent.name for path in ROOT.glob("*/__init__.py"))


def imports() -> dict[str, set[tuple[str, str, str]]]:
    """For each package, what others take from it: the module ("" for the package), the name, and where."""
    found: dict[str, set[tuple[str, str, str]]] = defaultdict(set)
    for file in sorted(ROOT.rglob("*.py")):
        home = file.relative_to(ROOT).parts[0]
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.ImportFrom) or not (node.module or "").startswith("nestkit."):
                continue
            _, package, *inner = (node.module or "").split(".")
            if package in PACKAGES and package != home:
                found[package] |= {
                    (".".join(inner), each.name, f"{file.name}:{node.lineno}") for each in node.names
                }
    return found


@pytest.mark.parametrize("package", PACKAGES)
def test_others_come_in_by_the_doors(package: str) -> None:
    taken = imports()[package]
    home = import_module(f"nestkit.{package}")
    doors = getattr(home, "DOORS", ())
    offered = {*getattr(home, "__all__", ()), *doors}
    if package == "cli":  # the top: only ``__main__`` starts it
        return
    assert taken
    wrong = [
        f"{where}: {module or package}.{name}"
        for module, name, where in taken
        if name.startswith("_") or (module.split(".")[0] not in doors if module else name not in offered)
    ]
    assert wrong == [], f"put it into __all__ or DOORS of nestkit/{package}/__init__.py, or take another way"


@pytest.mark.parametrize("package", PACKAGES)
def test_no_door_that_nobody_uses(package: str) -> None:
    doors = getattr(import_module(f"nestkit.{package}"), "DOORS", ())
    used = {module.split(".")[0] or name for module, name, _ in imports()[package]}
    assert sorted(set(doors) - used) == [], f"take it out of DOORS of nestkit/{package}/__init__.py"
    assert list(doors) == sorted(doors)
