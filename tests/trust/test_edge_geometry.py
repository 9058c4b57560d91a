"""Geometry at the edge of what is possible, through the whole program: cut right, or refused and named."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path as FilePath

import numpy as np
import pytest

from nestkit.build import load_build
from nestkit.build.model import Build, Cutter, Part, Sheet, Turns
from nestkit.checking import check_folder
from nestkit.errors import InputError
from nestkit.geometry import Outline, Path, Shape
from nestkit.output import write_plan
from nestkit.planning import Effort, make_plan
from tests.zoo import EDGE_CASES, L_SHAPE, frame, rectangle

#: Kerf, gap, margin: as usual, all of them nothing, and a gap that is wider than most parts.
LAYOUTS = {"usual": (0.2, 2.0, 5.0), "nothing": (0.0, 0.0, 0.0), "wide": (0.3, 60.0, 0.0)}

#: What the check may say of a right plan: a detail that the kerf swallows, which `plan` tells as well.
KERF_ONLY = {"detail-lost", "kerf-hole"}


def planned_folder(build: Build, out: FilePath, rounds: int = 8):
    """The plan of a build and what the check says of its files."""
    planned = make_plan(build, Effort(rounds=rounds))
    if planned.plan.sheets:
        write_plan(build, planned.plan, planned.jobs, out)
        return planned.plan, check_folder(out)
    return planned.plan, None


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("name", EDGE_CASES)
def test_an_odd_outline_is_cut_right_or_refused_and_named(tmp_path, name, layout):
    data, can_be_cut = EDGE_CASES[name]
    kerf, gap, margin = LAYOUTS[layout]
    (tmp_path / "odd.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="100mm" viewBox="0 0 100 100">'
        f'<path id="odd" d="{data}"/></svg>'
    )
    (tmp_path / "build.toml").write_text(
        f'[build]\nname = "Edge"\n[layout]\ngap = {gap}\nmargin = {margin}\n'
        f'[cutter]\nkind = "laser"\nbed = [300, 200]\nkerf = {kerf}\n'
        "[[sheet]]\nthickness = 4\nsize = [300, 200]\n"
        '[[part]]\nname = "odd"\nfrom = "odd.svg#odd"\nthickness = 4\nquantity = 3\n'
    )
    if not can_be_cut:
        with pytest.raises(InputError) as refused:
            load_build(tmp_path / "build.toml")
        assert "part[1] 'odd'" in str(refused.value)
        return
    build = load_build(tmp_path / "build.toml")
    plan, verdict = planned_folder(build, tmp_path / "out", rounds=4)
    assert plan.unplaced == ()
    assert verdict.codes <= KERF_ONLY, str(verdict)
    if kerf == 0.0:
        assert verdict.ok


def build_of(*parts: Part, sheet=(300.0, 200.0), gap=0.0, margin=0.0, kerf=0.0) -> Build:
    sheets = (Sheet("eva 6 mm", "eva", 6.0, sheet, 4.0),)
    cutter = Cutter(bed=(1300.0, 1300.0), kerf=kerf)
    return Build("edge", FilePath("build.toml"), "mm", 1.0, gap, margin, cutter, sheets, (), parts)


def part(name: str, outline: Outline, copies: int = 1, turns: Turns | None = None) -> Part:
    return Part(name, Shape(outline).at_origin(), "eva", 6.0, copies, turns=turns or Turns((0.0,)))


def triangle(*corners: tuple[float, float]) -> Outline:
    return Outline(Path.polyline(corners, True))


#: Sets of parts that fill a sheet of 300 x 200 mm to the last corner.
JIGSAWS = {
    "squares": [part("square", rectangle(100, 100), 6)],
    "strips": [part("strip", rectangle(300, 20), 10)],
    "halves": [
        part("lower", triangle((0, 0), (300, 0), (300, 200))),
        part("upper", triangle((0, 0), (300, 200), (0, 200))),
    ],
    "bricks": [part("long", rectangle(200, 50), 4), part("short", rectangle(100, 50), 4)],
}


@pytest.mark.parametrize("name", JIGSAWS)
def test_what_fits_exactly_is_right_and_no_part_is_lost(tmp_path, name):
    plan, verdict = planned_folder(build_of(*JIGSAWS[name]), tmp_path / "out")
    assert verdict.ok, str(verdict)
    assert plan.unplaced == ()
    (group,) = plan.groups
    assert group.sheets_used >= group.sheets_at_least == 1
    if name in ("squares", "strips"):
        assert group.sheets_used == 1


@pytest.mark.parametrize("kerf", [0.0, 0.2])
@pytest.mark.parametrize("margin", [0.0, 7.3, 12.5])
def test_a_part_as_large_as_the_sheet_leaves(tmp_path, margin, kerf):
    """It fits to the last digit; with a hundredth of a millimetre more it does not, and is named."""
    rim = 2.0 * max(margin, kerf / 2.0)
    plate = rectangle(300.0 - rim, 200.0 - rim)
    plan, verdict = planned_folder(build_of(part("plate", plate), margin=margin, kerf=kerf), tmp_path / "out")
    assert plan.unplaced == ()
    assert verdict.ok, str(verdict)
    larger = rectangle(300.0 - rim + 0.01, 200.0 - rim)
    plan, _ = planned_folder(build_of(part("plate", larger), margin=margin, kerf=kerf), tmp_path / "larger")
    assert [copy.part.name for copy in plan.unplaced] == ["plate"]


@pytest.mark.parametrize("gap", [0.0, 0.5, 2.0])
def test_a_slot_that_fits_exactly_takes_its_tongue(tmp_path, gap):
    """A window that is larger than a part by the gap on each side: the part may lie in it, or beside it."""
    window = frame(160.0, 20.0)
    tongue = rectangle(120.0 - 2.0 * gap, 120.0 - 2.0 * gap)
    build = build_of(part("window", window), part("tongue", tongue), sheet=(160.0, 160.0), gap=gap)
    plan, verdict = planned_folder(build, tmp_path / "out")
    assert verdict.ok, str(verdict)
    assert plan.unplaced == ()
    assert plan.groups[0].sheets_used == 1


def test_a_gap_that_is_wider_than_the_parts(tmp_path):
    build = build_of(part("dot", rectangle(4, 4), 6), sheet=(104.0, 104.0), gap=50.0)
    plan, verdict = planned_folder(build, tmp_path / "out")
    assert verdict.ok, str(verdict)
    assert sum(len(sheet.placed) for sheet in plan.sheets) + len(plan.unplaced) == 6
    for sheet in plan.sheets:
        spots = np.array([placed.shape.outline.bounds[:2] for placed in sheet.placed])
        apart = np.abs(spots[:, None] - spots[None]).max(axis=2) + 1e9 * np.eye(len(spots))
        assert apart.min() >= 54.0 - 0.02


def test_concave_parts_that_touch_all_round(tmp_path):
    ells = [part("ell", Outline(L_SHAPE), 8, Turns((0.0, np.pi / 2, np.pi, 3 * np.pi / 2)))]
    build = replace(build_of(*ells, sheet=(240.0, 140.0)), unit="in")
    plan, verdict = planned_folder(build, tmp_path / "out")
    assert verdict.ok, str(verdict)
    assert plan.unplaced == ()
