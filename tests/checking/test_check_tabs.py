"""Holding tabs as written: right ones pass, in both versions of DXF; what is planted is found."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pyogrio
import pytest
import shapely

from nestkit.checking import check_folder
from nestkit.cutting.jobs import make_jobs
from nestkit.geometry import Outline, Placement, Shape
from nestkit.geometry import Path as Line
from nestkit.nesting.model import Group, Plan
from nestkit.output import write_plan
from tests.folds_bench import bevel, build_with, fold, job_with, plate
from tests.zoo import rounded

HOLE = Line.circle(25, 20, 5)
SHAPES = {
    "plate": plate(50.0, 40.0),
    "folded": plate(50.0, 40.0, fold(90, (0, 20), (50, 20)), bevel(45, (0, 0), (50, 0))),
    "rounded": Shape(Outline(rounded(50, 40, 12), (HOLE,))),
    "rivet": Shape(Outline(Line.circle(3, 3, 3))),
    "coin": Shape(Outline(Line.circle(7, 7, 7))),
}
#: Room for two of four tabs of 1.2 mm: its short sides are too near their corners.
SLIM = {"slim": plate(8.0, 5.0)}


def folder_of(
    folder: Path, shape: str = "plate", tabs: int = 3, how: str = "laser", **changes: object
) -> Path:
    build = build_with({**SHAPES, **SLIM}[shape], 6.0, tabs=tabs, tab_length=1.2, kind=how, **changes)
    part = replace(build.parts[0], mirrored_pairs=True, copies=2, tabs=tabs)
    build = replace(build, parts=(part,))
    first = job_with(build, Placement(300.0, 200.0, 0.6))
    second = replace(first.sheet.placed[0], copy=2, placement=Placement(500.0, 200.0, 2.1, True))
    sheet = replace(first.sheet, placed=(*first.sheet.placed, second), how=how)
    jobs = make_jobs(build, [sheet])
    group = Group("eva", 6.0, 2, 1, 1, True, 1.0 - sheet.fill, 0.0, (("eva", 1),))
    write_plan(build, Plan("b", 1.0, 1, (group,), (sheet,), ()), jobs, folder)
    return folder


@pytest.mark.parametrize("shape", list(SHAPES))
@pytest.mark.parametrize(
    "changes",
    [{}, {"tabs": 1}, {"tabs": 2, "kerf": 0.6}, {"dxf": "R12"}, {"how": "knife", "kerf": 0.0}],
    ids=["three", "one", "two, wide kerf", "R12", "knife"],
)
def test_what_was_written_is_right(tmp_path: Path, shape: str, changes: dict[str, Any]) -> None:
    verdict = check_folder(folder_of(tmp_path / "out", shape, **changes))
    assert verdict.ok, str(verdict)
    assert verdict.cuts == (4 if shape == "rounded" else 2)


def test_fewer_tabs_than_asked_are_right_too(tmp_path: Path) -> None:
    out = folder_of(tmp_path / "out", "slim", tabs=4)
    verdict = check_folder(out)
    assert verdict.ok, str(verdict)
    (listed,) = json.loads((out / "plan.json").read_text("utf-8"))["parts"]
    assert listed["tabs"] == {"count": 2, "length_mm": 1.2}


@pytest.mark.parametrize("shape", list(SHAPES))
def test_gdal_reads_the_outline_without_its_tabs(tmp_path: Path, shape: str) -> None:
    """Open lines as long as the outline less three tabs, which are the kerf wider than asked."""
    (file,) = (folder_of(tmp_path / "out", shape) / "jobs").glob("*.dxf")
    pyogrio.set_gdal_config_options({"OGR_ARC_STEPSIZE": "0.5"})
    meta, _, lines, fields = pyogrio.raw.read(file)
    pyogrio.set_gdal_config_options({"OGR_ARC_STEPSIZE": None})
    layers = fields[list(meta["fields"]).index("Layer")]
    runs = shapely.from_wkb(lines[layers == "CUT_OUTSIDE"])
    assert len(runs) == 6
    assert not shapely.is_ring(runs).any()
    # The cut path runs round the outline at half the kerf, with round corners: pi times the kerf longer.
    outline = SHAPES[shape].outline.exterior.length + np.pi * 0.2
    assert shapely.length(runs).sum() == pytest.approx(2 * (outline - 3 * (1.2 + 0.2)), abs=0.02)


Entities = list[Any]


def outline(document: Any, copy: int = 1) -> Entities:
    found = document.modelspace().query('LWPOLYLINE[layer=="CUT_OUTSIDE"]')
    return [one for one in found if one.get_xdata("NESTKIT")[1].value == copy]


def ends(entity: Any) -> np.ndarray:
    return np.array(entity.get_points("xy"))


def without_a_run(document: Any) -> None:
    document.modelspace().delete_entity(outline(document)[1])


def shorter(document: Any) -> None:
    run = outline(document)[0]
    points = ends(run)
    step = points[0] - points[1]
    points[0] -= 2.0 * step / np.hypot(*step)
    run.set_points(points, "xy")


def longer(document: Any) -> None:
    """Over the tab and into the next run, so that the distance of the two ends stays as it was."""
    run = outline(document)[0]
    points = ends(run)
    step = points[0] - points[1]
    points[0] += 2.0 * 1.4 * step / np.hypot(*step)
    run.set_points(points, "xy")


def joined(document: Any) -> None:
    """Two runs become one: the tab between them is cut through."""
    first, second = outline(document)[:2]
    first.set_points(np.vstack((ends(first), ends(second))), "xy")
    document.modelspace().delete_entity(second)


def cut_all_round(document: Any) -> None:
    first, *others = outline(document)
    first.set_points(np.vstack([ends(run) for run in (first, *others)]), "xy")
    first.close(True)
    for run in others:
        document.modelspace().delete_entity(run)


def parted(document: Any) -> None:
    """Another tab, of the right length, in the middle of a run."""
    run = max(outline(document), key=lambda one: len(ends(one)))
    points = ends(run)
    k = int(np.hypot(*np.diff(points, axis=0).T).argmax())
    middle, step = (points[k] + points[k + 1]) / 2.0, points[k + 1] - points[k]
    half = 0.7 * step / np.hypot(*step)
    new = run.copy()
    run.set_points(np.vstack((points[: k + 1], middle - half)), "xy")
    new.set_points(np.vstack((middle + half, points[k + 1 :])), "xy")
    document.modelspace().add_entity(new)


def mixed(document: Any) -> None:
    """Half of one copy, then half of the other: each hangs loose for a while."""
    space = document.modelspace()
    space.set_redraw_order([])
    order = list(space)
    runs = {id(one) for one in (*outline(document, 1), *outline(document, 2))}
    one, two = outline(document, 1), outline(document, 2)
    kept = [entity for entity in order if id(entity) not in runs]
    for entity in order:
        space.unlink_entity(entity)
    for entity in (*kept, *one[:1], *two, *one[1:]):
        space.add_entity(entity)


def moved_tab(document: Any) -> None:
    """A tab pushed along the outline until it lies on a corner."""
    before, after = outline(document)[:2]
    first, second = ends(before), ends(after)
    corner = second[1]
    ahead, behind = second[2] - corner, second[0] - corner
    before.set_points(np.vstack((first, corner + 0.6 * behind / np.hypot(*behind))), "xy")
    after.set_points(np.vstack((corner + 0.6 * ahead / np.hypot(*ahead), second[2:])), "xy")


@pytest.mark.parametrize(
    ("change", "codes"),
    [
        (without_a_run, {"tabs"}),
        (shorter, {"tabs"}),
        (longer, {"tabs", "crossing"}),
        (joined, {"tabs"}),
        (cut_all_round, {"tabs"}),
        (parted, {"tabs"}),
        (mixed, {"tabs"}),
        (moved_tab, {"tabs"}),
    ],
)
def test_what_is_planted_is_found(tmp_path: Path, change: Callable[[Any], None], codes: set[str]) -> None:
    folder = folder_of(tmp_path / "out", kerf=0.0)
    (file,) = (folder / "jobs").glob("*.dxf")
    document = ezdxf.readfile(file)
    change(document)
    document.saveas(file)
    found = check_folder(folder)
    assert found.codes & codes, str(found)
    assert all(fault.file == f"jobs/{file.name}" for fault in found.faults)
    if change is moved_tab:
        assert [fault.text for fault in found.faults] == ["a tab lies on a corner"]


def test_an_open_outline_of_a_part_without_tabs_is_open(tmp_path: Path) -> None:
    folder = folder_of(tmp_path / "out")
    plan = (folder / "plan.json").read_text("utf-8")
    start = plan.index('"tabs": {')
    end = plan.index("}", start)
    head = plan[:start].rstrip().rstrip(",")
    (folder / "plan.json").write_text(head + plan[end + 1 :], "utf-8")
    assert "open" in check_folder(folder).codes


def test_a_tab_over_a_fold_is_found(tmp_path: Path) -> None:
    """The fold of the plan is moved to where a tab lies."""
    folder = folder_of(tmp_path / "out", "folded")
    plan = json.loads((folder / "plan.json").read_text("utf-8"))
    at = ends(outline(ezdxf.readfile(next((folder / "jobs").glob("*.dxf"))))[0])[0]
    placed = next(one for one in plan["sheets"][0]["parts"] if one["copy"] == 1)
    turn = -np.radians(placed["turn_deg"])
    x, y = at - (placed["x_mm"], placed["y_mm"])
    spot = [float(np.cos(turn) * x - np.sin(turn) * y), float(np.sin(turn) * x + np.cos(turn) * y)]
    plan["parts"][0]["folds"][0]["path_mm"] = [spot, [25.0, 20.0]]
    (folder / "plan.json").write_text(json.dumps(plan), "utf-8")
    assert any("over a fold" in fault.text for fault in check_folder(folder).faults)
