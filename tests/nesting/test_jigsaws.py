"""Jigsaws from a build file to a plan: on one sheet, where a full sheet is known to be the optimum."""

from __future__ import annotations

import json
from pathlib import Path as FilePath

import pytest

from nestkit.build import load_build
from nestkit.planning import Effort, make_plan
from tests.open_data import folder


def written(name: str, to: FilePath) -> FilePath:
    """A build file, and a drawing with a path for each piece of the instance, in mm."""
    data = json.loads((folder() / "strips" / f"{name}.json").read_text())
    lines = [
        "[build]",
        f'name = "{name}"',
        "[layout]",
        "gap = 0.0",
        "margin = 0.0",
        '[cutter]\nkind = "hand"',
    ]
    lines += ['[[sheet]]\nmaterial = "eva"\nthickness = 6\nsize = [100, 100]\nprice = 3.0\nbuy = true']
    drawn = []
    for number, part in enumerate(data["parts"], start=1):
        assert part["turns_deg"] == [0]
        ring = " ".join(f"{x},{100 - y}" for x, y in part["outline"])
        drawn.append(f'<polygon id="p{number}" points="{ring}"/>')
        lines += [f'[[part]]\nname = "p{number}"\nfrom = "pieces.svg#p{number}"\nmaterial = "eva"']
        lines += [f'thickness = 6\nquantity = {part["quantity"]}\nturns = "none"']
    page = '<svg xmlns="http://www.w3.org/2000/svg" width="300mm" height="300mm" viewBox="0 0 300 300">'
    (to / "pieces.svg").write_text(f"{page}{''.join(drawn)}</svg>")
    (to / "build.toml").write_text("\n".join(lines) + "\n")
    return to / "build.toml"


@pytest.mark.slow
@pytest.mark.parametrize(("name", "pieces"), [("dighe1", 16), ("dighe2", 10)])
def test_a_jigsaw_on_one_sheet(name, pieces, tmp_path):
    """Dighe and Jakiela 1996: the pieces fill a square of 100 (ESICUP, see tests/open_data.py)."""
    build = load_build(written(name, tmp_path))
    plan = make_plan(build, Effort(rounds=2000)).plan
    assert plan.unplaced == ()
    assert sum(len(sheet.placed) for sheet in plan.sheets) == pieces
    assert (plan.groups[0].sheets_used, plan.groups[0].sheets_at_least, plan.groups[0].proven) == (1, 1, True)
    assert plan.groups[0].waste == pytest.approx(0.0, abs=1e-3)
