"""The SVG files, read by two other libraries."""

from __future__ import annotations

import io
import math
from collections import Counter
from xml.etree import ElementTree

import numpy as np
import pytest
import svgelements
import svgpathtools
from hypothesis import given
from hypothesis import strategies as st

from nestkit.cutting.model import Job
from nestkit.geometry import Path
from nestkit.output.svg import svg_bytes
from nestkit.output.svg_path import path_data
from tests.output.sample_plan import build_of, lantern

NS = {"s": "http://www.w3.org/2000/svg"}
CASE = lantern()


def root_of(job: Job) -> ElementTree.Element:
    return ElementTree.fromstring(svg_bytes(CASE.build, job))


def test_size_is_millimetres() -> None:
    root = root_of(CASE.jobs[1])
    assert (root.get("width"), root.get("height"), root.get("viewBox")) == ("900mm", "600mm", "0 0 900 600")


def test_one_group_for_each_layer() -> None:
    groups = root_of(CASE.jobs[1]).findall("s:g", NS)
    assert [group.get("id") for group in groups] == [
        "SHEET",
        "LABEL",
        "MARK",
        "POCKET_01",
        "CUT_INSIDE",
        "CUT_OUTSIDE",
    ]
    assert all(group.get("aria-label") == group.get("id") for group in groups)


@pytest.mark.parametrize("job", CASE.jobs, ids=lambda job: job.name)
def test_strokes_are_those_of_the_job(job: Job) -> None:
    drawn = {
        int(path.attrib["data-order"]): (group.get("id"), path)
        for group in root_of(job).findall("s:g", NS)
        for path in group
        if "data-order" in path.attrib
    }
    height = job.sheet.outline.size[1]
    assert sorted(drawn) == list(range(1, len(job.strokes) + 1))
    for place, stroke in enumerate(job.strokes, start=1):
        layer, path = drawn[place]
        assert (layer, path.get("data-part"), path.get("data-copy")) == (
            stroke.layer,
            stroke.part,
            str(stroke.copy),
        )
        other = svgpathtools.parse_path(path.attrib["d"])
        assert other.length() == pytest.approx(stroke.path.length, rel=1e-6)
        assert other.isclosed() == stroke.path.closed
        x0, x1, y0, y1 = other.bbox()
        assert (x0, height - y1, x1, height - y0) == pytest.approx(stroke.path.bounds, abs=1e-3)


def test_true_size_in_svgelements() -> None:
    job = CASE.jobs[2]
    svg = svgelements.SVG.parse(io.BytesIO(svg_bytes(CASE.build, job)), reify=True)
    paths = [each for each in svg.elements() if isinstance(each, svgelements.Path)]
    rings = [path for path in paths if path.values.get("data-part") == "foot ring"]
    assert Counter(path.values["data-copy"] for path in rings) == {"1": 3, "2": 2}  # copy 1 carries the label
    boxes = [path.bbox() for path in rings if path.values["data-order"] == "3"]
    # 96 px to the inch (CSS Values 4); svgelements rounds the millimetre, 5e-7 of it.
    assert np.array(boxes[0]) * 25.4 / 96 == pytest.approx([5, 600 - 285, 285, 600 - 5], abs=1e-3)


@given(
    bulge=st.floats(-8, 8).filter(lambda b: abs(b) > 1e-3),
    x=st.floats(-500, 500),
    y=st.floats(-500, 500),
    chord=st.floats(1, 500),
    turn=st.floats(0, 2 * math.pi),
)
def test_arcs_keep_length_and_side(bulge: float, x: float, y: float, chord: float, turn: float) -> None:
    end = (x + chord * math.cos(turn), y + chord * math.sin(turn))
    path = Path(np.array([[x, y, bulge], [*end, 0.0]]), False)
    other = svgpathtools.parse_path(path_data(path, 100.0))
    assert other.length() == pytest.approx(path.length, rel=1e-5)
    x0, x1, y0, y1 = other.bbox()
    assert (x0, 100.0 - y1, x1, 100.0 - y0) == pytest.approx(path.bounds, abs=1e-3)


def test_text_speaks_the_builds_unit() -> None:
    inches = build_of(CASE.build.parts, unit="in")
    assert "35.433 x 23.622 in" in svg_bytes(inches, CASE.jobs[1]).decode()
