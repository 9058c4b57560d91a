"""Prints pip constraints that hold every package at the lowest version that pyproject.toml allows.

usage: lowest_versions.py > constraints.txt

CI runs a part of the checks with these, so that the lower bounds are true.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

PROJECT = Path(__file__).parent.parent / "pyproject.toml"


def required(extra: str = "") -> dict[str, str]:
    """The lowest allowed version of each package that nestkit needs, or one of its extras, by its name."""
    project = tomllib.loads(PROJECT.read_text())["project"]
    found = {}
    for each in project["optional-dependencies"][extra] if extra else project["dependencies"]:
        match = re.fullmatch(r"([\w.-]+)(?:\[[^\]]*\])?>=([\w.]+)", each.partition(";")[0].strip())
        assert match is not None, f"no lowest version: {each}"
        found[match[1]] = match[2]
    return found


if __name__ == "__main__":
    for name, lowest in {**required("test"), **required()}.items():
        print(f"{name}=={lowest}")
