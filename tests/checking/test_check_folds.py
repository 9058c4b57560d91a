"""Faults of folds that are planted in a folder which nestkit wrote are found, and nothing else is told."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import ezdxf
import pytest

from nestkit.checking import check_folder
from nestkit.cutting.jobs import make_jobs
from nestkit.errors import InputError
from nestkit.geometry import Outline, Placement, Shape
from nestkit.geometry import Path as Line
from nestkit.nesting.model import Group, Plan
from nestkit.output import write_plan
from tests.folds_bench import bevel, build_with, fold, job_with, plate

SHAPE = plate(
    200.0,
    60.0,
    fold(90, (60, 0), (90, 60)),
    fold(60, (150, 0), (150, 60)),
    fold(45, (75, 30), (200, 30)),
    bevel(45, (0, 0), (0, 60)),
)
HOLED = type(SHAPE)(Outline(SHAPE.outline.exterior, (Line.circle(150, 45, 4),)), SHAPE.lines)


def folder_of(folder: Path, **changes: object) -> Path:
    how = changes.pop("how", "laser")
    build = build_with(changes.pop("shape", HOLED), 6.0, **changes)
    job = job_with(build, Placement(500.0, 200.0, 0.6, True), how)
    waste = 1.0 - job.sheet.fill
    group = Group("eva", 6.0, 1, 1, 1, True, waste, 0.0, (("eva", 1),))
    write_plan(build, Plan("b", 1.0, 1, (group,), (job.sheet,), ()), (job,), folder)
    return folder


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return folder_of(tmp_path_factory.mktemp("plate") / "out")


@pytest.fixture
def folder(written: Path, tmp_path: Path) -> Path:
    """A copy of a plan without changes, which may be damaged."""
    return Path(shutil.copytree(written, tmp_path / "out"))


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"spot": 0.15, "falloff": 0.02, "width_factor": 1.1},
        # Finer lines have tests of their own below, on grooves that are shorter.
        {"area_mode": False, "pitch": 0.4},
        {"area_mode": False, "pitch": 0.3, "hatch_angle": 0.4},
        {"kind": "knife", "how": "knife", "kerf": 0.0},
        {"how": "hand"},
    ],
)
def test_what_was_written_is_right(tmp_path: Path, changes: dict[str, object]) -> None:
    verdict = check_folder(folder_of(tmp_path / "out", **changes))
    # The mirrored copy is no pair's: that alone is told.
    assert verdict.codes == {"mirrored"}, str(verdict)


@pytest.mark.parametrize("ends", [((40.0, 0.0), (160.0, 60.0)), ((160.0, 60.0), (40.0, 0.0))])
def test_a_fold_that_meets_the_edge_at_a_slant_may_be_etched_into_its_corners(
    tmp_path: Path, ends: tuple[tuple[float, float], tuple[float, float]]
) -> None:
    """At 27 degrees the groove runs on along the edge, at either end, by twice half its width."""
    verdict = check_folder(folder_of(tmp_path / "out", shape=plate(200.0, 60.0, fold(90, *ends))))
    assert verdict.codes == {"mirrored"}, str(verdict)


@pytest.mark.parametrize("pitch", [0.1, 0.2, 0.5])
def test_lines_of_narrow_bevels_that_meet_are_right(tmp_path: Path, pitch: float) -> None:
    ring = [(0, 0), (42, 0), (42, 60), (21, 98), (0, 60), (0, 0)]
    shape = Shape(
        Outline(Line.polyline(ring[:-1], True)),
        tuple(bevel(angle, a, b) for angle, (a, b) in zip((9, 28, 12, 9, 30), pairwise(ring), strict=True)),
    )
    build = build_with(shape, 4.0, area_mode=False, pitch=pitch)
    job = job_with(build, Placement(200.0, 200.0, 0.3))
    group = Group("eva", 4.0, 1, 1, 1, True, 1.0 - job.sheet.fill, 0.0, (("eva", 1),))
    write_plan(build, Plan("b", 1.0, 1, (group,), (job.sheet,), ()), (job,), tmp_path / "out")
    verdict = check_folder(tmp_path / "out")
    assert verdict.ok, str(verdict)


CROSSED = plate(120.0, 120.0, fold(10, (0, 60), (120, 60)), fold(14, (60, 0), (60, 120)))


def lines_folder(folder: Path, turn: float, pitch: float) -> Path:
    build = build_with(CROSSED, 4.0, area_mode=False, pitch=pitch)
    job = job_with(build, Placement(300.0, 200.0, turn))
    group = Group("eva", 4.0, 1, 1, 1, True, 1.0 - job.sheet.fill, 0.0, (("eva", 1),))
    write_plan(build, Plan("b", 1.0, 1, (group,), (job.sheet,), ()), (job,), folder)
    return folder


@pytest.mark.parametrize("turn", [0.0, 0.004, 0.5])
@pytest.mark.parametrize("pitch", [0.1, 0.2, 0.3])
def test_narrow_folds_that_cross_have_all_their_lines(tmp_path: Path, turn: float, pitch: float) -> None:
    verdict = check_folder(lines_folder(tmp_path / "out", turn, pitch))
    assert verdict.ok, str(verdict)


@pytest.mark.parametrize("more", [True, False])
def test_lines_too_many_or_too_few_are_found(tmp_path: Path, more: bool) -> None:
    folder = lines_folder(tmp_path / "out", 0.0, 0.1)
    (name,) = (folder / "jobs").glob("*.dxf")
    document = ezdxf.readfile(name)
    space = document.modelspace()
    for number in (1, 2, 3):
        along = [e for e in pockets(document, f"POCKET_{number:02d}") if abs(e[0][1] - e[-1][1]) < 1e-6]
        for entity in along[::2]:
            if more:
                copy = entity.copy()
                copy.translate(0.0, 0.07, 0.0)
                space.add_entity(copy)
            else:
                space.delete_entity(entity)
    document.saveas(name)
    assert "groove" in check_folder(folder).codes


def test_the_table_of_folds_belongs_to_the_folder(folder: Path) -> None:
    (folder / "folds.csv").unlink()
    assert check_folder(folder).codes == {"mirrored", "missing-file"}


def test_bevels_all_round_a_part_share_their_outer_edge(tmp_path: Path) -> None:
    corners = [(0, 0), (80, 0), (80, 50), (0, 50), (0, 0)]
    shape = plate(80.0, 50.0, *(bevel(30, a, b) for a, b in pairwise(corners)))
    for kerf in (0.0, 0.3):
        build = build_with(shape, 4.0, kerf=kerf)
        job = job_with(build)
        group = Group("eva", 4.0, 1, 1, 1, True, 1.0 - job.sheet.fill, 0.0, (("eva", 1),))
        out = tmp_path / f"{kerf}"
        write_plan(build, Plan("b", 1.0, 1, (group,), (job.sheet,), ()), (job,), out)
        verdict = check_folder(out)
        assert verdict.ok, str(verdict)


def neighbours(folder: Path, apart: float) -> Path:
    """Two copies of a plate, the one's fold straight on from the other's, that burn the foam between them."""
    shape = plate(30.0, 20.0, fold(60, (15, 0), (15, 20)))
    build = build_with(shape, 4.0, area_mode=False, pitch=0.2, kerf=0.4)
    build = replace(build, gap=0.0, parts=(replace(build.parts[0], copies=2),))
    one = job_with(build, Placement(100.0, 100.0)).sheet
    other = replace(one.placed[0], copy=2, placement=Placement(100.0, 120.0 + apart))
    sheet = replace(one, placed=(*one.placed, other))
    (job,) = make_jobs(build, [sheet])
    group = Group("eva", 4.0, 2, 1, 1, True, 1.0 - sheet.fill, 0.0, (("eva", 1),))
    write_plan(build, Plan("b", 1.0, 1, (group,), (sheet,), ()), (job,), folder)
    return folder


@pytest.mark.parametrize("apart", [0.4, 0.396, 0.45])
def test_copies_a_kerf_apart_may_share_the_lines_in_the_foam_they_burn(tmp_path: Path, apart: float) -> None:
    verdict = check_folder(neighbours(tmp_path / "out", apart))
    assert verdict.ok, str(verdict)


def test_a_line_in_a_copys_foam_may_not_be_shared(tmp_path: Path) -> None:
    out = neighbours(tmp_path / "out", 0.4)
    (name,) = (out / "jobs").glob("*.dxf")
    document = ezdxf.readfile(name)
    line = next(one for one in pockets(document) if 105.0 < one[0][1] < 115.0)
    copy = line.copy()
    copy.set_xdata("NESTKIT", [(1000, "strip"), (1071, 2)])
    document.modelspace().add_entity(copy)
    document.saveas(name)
    assert "doubled" in check_folder(out).codes


Change = Callable[[ezdxf.document.Drawing], object]


def pockets(document: ezdxf.document.Drawing, layer: str = "POCKET_03") -> list:
    return list(document.modelspace().query(f'LWPOLYLINE[layer=="{layer}"]'))


def widened(document: ezdxf.document.Drawing) -> None:
    for entity in pockets(document):
        points = entity.get_points("xy")
        x0, y0 = points[0]
        entity.set_points(
            [(x0 + (x - x0) * 1.3, y0 + (y - y0) * 1.3) for x, y in entity.get_points("xy")], "xy"
        )


def moved(document: ezdxf.document.Drawing) -> None:
    for number in range(1, 8):
        for entity in pockets(document, f"POCKET_{number:02d}"):
            entity.translate(3.0, 0.0, 0.0)


def repeated(document: ezdxf.document.Drawing) -> None:
    entity = pockets(document)[0]
    copy = entity.copy()
    copy.set_points([(x + 0.4, y) for x, y in entity.get_points("xy")], "xy")
    document.modelspace().add_entity(copy)


def deeper(document: ezdxf.document.Drawing) -> None:
    document.layers.get("POCKET_07").set_xdata("NESTKIT", [(1000, "depth"), (1040, 5.8)])


def silent(document: ezdxf.document.Drawing) -> None:
    document.layers.get("POCKET_07").discard_xdata("NESTKIT")


def swapped(document: ezdxf.document.Drawing) -> None:
    for one, other in (("POCKET_01", "X"), ("POCKET_02", "POCKET_01"), ("X", "POCKET_02")):
        for entity in pockets(document, one):
            entity.dxf.layer = other


PLANTED: list[tuple[Change, set[str]]] = [
    (widened, {"pocket-nesting", "pocket-wrong"}),
    (moved, {"pocket-missing", "pocket-wrong"}),
    (repeated, {"pocket-twice"}),
    (deeper, {"skin", "pass"}),
    (silent, {"pass"}),
    (swapped, {"pocket-nesting", "order-pocket"}),
    (lambda d: [d.modelspace().delete_entity(e) for e in pockets(d)], {"pass", "pocket-missing"}),
    (lambda d: pockets(d)[0].close(False), {"pocket-open"}),
]


@pytest.mark.parametrize(("change", "codes"), PLANTED)
def test_planted_faults_are_found(folder: Path, change: Change, codes: set[str]) -> None:
    (name,) = (folder / "jobs").glob("*.dxf")
    document = ezdxf.readfile(name)
    change(document)
    document.saveas(name)
    verdict = check_folder(folder)
    found = verdict.codes - {"mirrored"}
    assert codes <= found, str(verdict)
    # One wrong area is wrong in more than one way, but in no other than an area can be.
    assert {code for code in found - codes if not code.startswith("pocket-")} <= {
        "mark-outside",
        "order-mark",
        "order-pocket",
    }


def test_a_lip_that_is_not_marked_is_found(tmp_path: Path) -> None:
    folder = folder_of(tmp_path / "out", how="hand")
    (name,) = (folder / "jobs").glob("*.dxf")
    document = ezdxf.readfile(name)
    document.modelspace().delete_entity(pockets(document, "MARK")[0])
    document.saveas(name)
    found = check_folder(folder).codes - {"mirrored"}
    assert found
    assert found <= {"pocket-missing", "mark-missing"}


@pytest.mark.parametrize(
    ("key", "value", "code"),
    [("mouth_mm", 9.0, "groove"), ("angle_deg", 80.0, "groove"), ("widths_mm", [5.0], "groove")],
)
def test_numbers_in_the_plan_make_the_angle(folder: Path, key: str, value: object, code: str) -> None:
    plan = json.loads((folder / "plan.json").read_text())
    plan["parts"][0]["folds"][0][key] = value
    (folder / "plan.json").write_text(json.dumps(plan))
    assert code in check_folder(folder).codes


@pytest.mark.parametrize(("number", "degrees"), [(0, 180.0), (0, 270.0), (3, 90.0)])
def test_an_angle_that_no_foam_folds_to_is_refused(folder: Path, number: int, degrees: float) -> None:
    """Folded back on itself, or bevelled along the face: the tangent that sizes the groove has no end."""
    plan = json.loads((folder / "plan.json").read_text())
    assert plan["parts"][0]["folds"][3]["kind"] == "bevel"
    plan["parts"][0]["folds"][number]["angle_deg"] = degrees
    (folder / "plan.json").write_text(json.dumps(plan))
    with pytest.raises(InputError, match="no foam folds that far"):
        check_folder(folder)


@pytest.mark.parametrize("pitch", [None, 0.15])
def test_a_pitch_that_is_not_the_plans_is_found(tmp_path: Path, pitch: float | None) -> None:
    folder = lines_folder(tmp_path / "out", 0.0, 0.1)
    (name,) = (folder / "jobs").glob("*.dxf")
    document = ezdxf.readfile(name)
    layer = document.layers.get("SHEET")
    tags = [tuple(tag) for tag in layer.get_xdata("NESTKIT")]
    at = tags.index((1000, "pitch"))
    tags[at : at + 2] = [] if pitch is None else [(1000, "pitch"), (1040, pitch)]
    layer.set_xdata("NESTKIT", tags)
    document.saveas(name)
    assert "pass" in check_folder(folder).codes
