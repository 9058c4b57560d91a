"""Open benchmark data: strip-packing instances of the ESICUP working group (EURO), released as CC0-1.0.

They are read from the folder that NESTKIT_DATA names, else from one beside the checkout, and are not part
of this repository.
"""

from __future__ import annotations

import json
import math
import os
from pathlib import Path as FilePath

import pytest

from nestkit.build.model import Turns
from nestkit.geometry import Outline, Path
from nestkit.nesting.problem import Item

ROOT = FilePath(__file__).parent.parent


def folder() -> FilePath:
    """The data's folder; without it the test is skipped, or fails in continuous integration."""
    found = FilePath(os.environ.get("NESTKIT_DATA", ROOT.parent / "shared" / "datasets"))
    if not (found / "strips").is_dir():
        reason = "no open benchmark data: set NESTKIT_DATA to its folder"
        if os.environ.get("NESTKIT_CI"):
            pytest.fail(reason)
        pytest.skip(reason)
    return found


def strip(name: str) -> tuple[list[Item], float]:
    """Items of a strip-packing instance, and the strip's width, in the instance's own unit."""
    data = json.loads((folder() / "strips" / f"{name}.json").read_text())
    items = [
        Item(
            Outline(Path.polyline(part["outline"], True)),
            Turns(tuple(math.radians(turn) for turn in part["turns_deg"])),
            kind=kind,
        )
        for kind, part in enumerate(data["parts"])
        for _ in range(part["quantity"])
    ]
    return items, float(data["strip_width"])
