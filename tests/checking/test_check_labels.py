"""The check finds labels that are missing, wrong, mirrored, unplanned or too near something."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import ezdxf
import pytest

from nestkit.build.model import Assembly
from nestkit.checking import check_folder
from nestkit.geometry import Line, LineKind, Shape
from nestkit.geometry import Path as Way
from nestkit.output.write import write_plan
from nestkit.planning import Effort, make_plan
from tests.output.sample_plan import build_of
from tests.zoo import frame, rectangle

JOB = "jobs/job-01-eva-6mm.dxf"


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    """Two plates, of which the second is mirrored, a frame, and a plate with marks that goes without."""
    from nestkit.build.model import Part

    mark = Line(LineKind.MARK, Way.polyline([(8.0, 8.0), (50.0, 8.0)], False))
    parts = [
        Part("frame", Shape(frame(120, 30)), "eva", 6.0),
        Part("plate", Shape(rectangle(90, 60)), "eva", 6.0, copies=2, mirrored_pairs=True),
        Part("face", Shape(rectangle(60, 40), (mark,)), "eva", 6.0),
    ]
    build = build_of(parts, assemblies=(Assembly("body", 1),))
    out = tmp_path_factory.mktemp("labels") / "out"
    planned = make_plan(build, Effort(rounds=2))
    write_plan(build, planned.plan, planned.jobs, out)
    return out


def spoilt(folder: Path, tmp_path: Path, change: Callable[[dict, list], None]) -> set[str]:
    """Codes of the faults once plan.json and the DXF's entities are changed; the SVG is left out of it."""
    plan = json.loads((folder / "plan.json").read_text())
    document = ezdxf.readfile(folder / JOB)
    labels = [one for one in document.modelspace() if one.dxf.layer == "LABEL"]
    change(plan, labels)
    (tmp_path / "jobs").mkdir()
    for file in folder.iterdir():
        if file.is_file():
            (tmp_path / file.name).write_bytes(file.read_bytes())
    (tmp_path / "plan.json").write_text(json.dumps(plan))
    document.saveas(tmp_path / JOB)
    (tmp_path / JOB).with_suffix(".svg").write_bytes((folder / JOB).with_suffix(".svg").read_bytes())
    return {fault.code for fault in check_folder(tmp_path).faults} - {"svg"}


def of(labels: list, part: str, copy: int = 1) -> list:
    return [
        one
        for one in labels
        if [tag.value for tag in one.get_xdata("NESTKIT") if tag.code in (1000, 1071)] == [part, copy]
    ]


def spot(plan: dict, part: str, copy: int = 1) -> dict:
    return next(
        one
        for sheet in plan["sheets"]
        for one in sheet["parts"]
        if (one["part"], one["copy"]) == (part, copy)
    )


def move(strokes: list, dx: float, dy: float) -> None:
    for stroke in strokes:
        stroke.translate(dx, dy, 0.0)


def test_what_was_written_is_right(folder):
    assert check_folder(folder).ok
    plan = json.loads((folder / "plan.json").read_text())
    assert [label["text"] for label in spot(plan, "plate", 2)["labels"]] == ["2"]
    assert spot(plan, "face")["no_number"] == "its marked face shows"


def test_a_stroke_is_missing(folder, tmp_path):
    def change(plan, labels):
        stroke = of(labels, "plate")[0]
        stroke.destroy()

    assert spoilt(folder, tmp_path, change) == {"label-missing"}


def test_a_number_is_missing_without_a_word(folder, tmp_path):
    def change(plan, labels):
        for stroke in of(labels, "plate"):
            stroke.destroy()
        spot(plan, "plate")["labels"] = []

    assert spoilt(folder, tmp_path, change) == {"label-missing"}


def test_a_number_is_mirrored(folder, tmp_path):
    def change(plan, labels):
        for stroke in of(labels, "plate", 2):
            points = [tuple(point) for point in stroke.get_points("xy")]
            middle = (min(x for x, _ in points) + max(x for x, _ in points)) / 2.0
            stroke.set_points([(2.0 * middle - x, y) for x, y in points], format="xy")

    assert spoilt(folder, tmp_path, change) == {"label-missing", "label-wrong"}


def test_a_copy_has_the_number_of_another_part(folder, tmp_path):
    def change(plan, labels):
        spot(plan, "plate")["labels"][0]["text"] = "1"

    assert spoilt(folder, tmp_path, change) == {"label-wrong", "label-missing"}


def test_a_label_lies_too_near_the_edge_in_plan_and_file(folder, tmp_path):
    def change(plan, labels):
        one = spot(plan, "plate")
        strokes = of(labels, "plate")
        left = min(x for x, _ in one["outline_mm"])
        ink = min(point[0] for stroke in strokes for point in stroke.get_points("xy"))
        move(strokes, left + 0.4 - ink, 0.0)
        one["labels"][0]["x_mm"] += left + 0.4 - ink

    assert spoilt(folder, tmp_path, change) == {"label-place"}


def test_a_label_leaves_its_part(folder, tmp_path):
    def change(plan, labels):
        move(of(labels, "plate"), 0.0, 70.0)

    assert "mark-outside" in spoilt(folder, tmp_path, change)


def test_something_is_written_that_the_plan_does_not_have(folder, tmp_path):
    def change(plan, labels):
        space = labels[0].doc.modelspace()
        first = of(labels, "plate")[0]
        x, y = first.get_points("xy")[0]
        extra = space.add_lwpolyline([(x, y + 9.0), (x + 3.0, y + 9.0)], dxfattribs={"layer": "LABEL"})
        extra.set_xdata("NESTKIT", [(1000, "plate"), (1071, 1)])
        # Before the cuts, so that its place is the only thing wrong with it.
        space.unlink_entity(extra)
        space.entity_space.entities.insert(1, extra)
        extra.dxf.owner = space.layout_key

    assert spoilt(folder, tmp_path, change) == {"label-wrong"}


def test_a_plan_from_before_there_were_labels_is_not_judged_by_them(folder, tmp_path):
    def change(plan, labels):
        for sheet in plan["sheets"]:
            for one in sheet["parts"]:
                del one["labels"], one["no_number"]

    assert spoilt(folder, tmp_path, change) == set()


@pytest.fixture(scope="module")
def cone(tmp_path_factory) -> Path:
    """A rolled tube, whose two edges carry the number of their seam."""
    from nestkit.build.model import Part
    from nestkit.build.pattern_info import PatternInfo, SeamInfo

    ends = (((0.0, 0.0), (0.0, 80.0)), ((200.0, 0.0), (200.0, 80.0)))
    seam = SeamInfo("tube", "tube", 1, 80.0, edges=tuple(("tube", end) for end in ends))
    info = PatternInfo("wrap", "tube", (), None, seams=(seam,))
    part = Part("tube", Shape(rectangle(200, 80)), "eva", 6.0, pattern=info)
    build = build_of([part], assemblies=())
    out = tmp_path_factory.mktemp("seams") / "out"
    planned = make_plan(build, Effort(rounds=1))
    write_plan(build, planned.plan, planned.jobs, out)
    return out


def test_seams_are_numbered_at_both_edges_and_right(cone):
    assert check_folder(cone).ok
    plan = json.loads((cone / "plan.json").read_text())
    assert sorted(label["text"] for label in spot(plan, "tube")["labels"]) == ["(1)", "(1)", "1"]


def test_a_seams_number_is_missing_without_a_word(cone, tmp_path):
    def change(plan, labels):
        one = spot(plan, "tube")
        gone = next(label for label in one["labels"] if label["text"] == "(1)")
        one["labels"].remove(gone)

    # Its strokes are still in the file, where the plan does not have them.
    assert spoilt(cone, tmp_path, change) == {"label-missing", "label-wrong"}


def test_a_seam_has_the_number_of_another(cone, tmp_path):
    def change(plan, labels):
        plan["seams"][0]["number"] = 2

    assert spoilt(cone, tmp_path, change) == {"label-missing", "label-wrong"}
