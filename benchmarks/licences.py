"""Writes docs/licences.md: what nestkit needs to run, and under which licence each of it comes.

    python benchmarks/licences.py

The names come from pyproject.toml, the licences from what the installed packages say of themselves.
"""

from __future__ import annotations

import sys
from importlib.metadata import metadata
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from tests.lowest_versions import required

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs" / "licences.md"


def licence(name: str) -> str:
    """What a package says of its licence, in a few words."""
    told: Any = metadata(name)  # a mail message, which its protocol does not say
    said = told.get("License-Expression") or ""
    classes = [one.rpartition(" :: ")[2] for one in told.get_all("Classifier") or [] if "License ::" in one]
    short = (told.get("License") or "").strip().splitlines()
    return said or ", ".join(classes) or (short[0] if short else "not said")


def table(extra: str = "") -> list[str]:
    """The rows of what nestkit, or one of its extras, needs."""
    rows = [f"| {name} | {lowest} | {licence(name)} |" for name, lowest in sorted(required(extra).items())]
    return ["| package | lowest version | licence |", "|---|---|---|", *rows]


def page() -> str:
    """The page's text."""
    return "\n".join(
        [
            "# Licences",
            "",
            "nestkit is under the MIT licence (LICENSE). It needs these packages, by authors of their own:",
            "",
            *table(),
            "",
            "Planning sizes on several machines needs one more, from the extra `cluster`:",
            "",
            *table("cluster"),
            "",
            "Written by `python benchmarks/licences.py` from pyproject.toml; a test reads it.",
            "",
        ]
    )


if __name__ == "__main__":
    PAGE.write_text(page())
