"""Stretches of a path in a rectangle, held against points along the path."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import assume, given
from hypothesis import strategies as st
from shapely.geometry import LineString, Point

from nestkit.geometry import Path
from nestkit.geometry.clip import clip_path

FINE = 1e-4


@st.composite
def paths(draw: st.DrawFn) -> Path:
    """Open or closed, of lines and arcs; it may cross itself."""
    count = draw(st.integers(3, 8))
    rows = [
        (
            draw(st.floats(-50, 50)),
            draw(st.floats(-50, 50)),
            draw(st.sampled_from([0.0, 0.0, 0.3, -1.0, 2.5])),
        )
        for _ in range(count)
    ]
    steps = np.diff(np.array([*rows, rows[0]])[:, :2], axis=0)
    assume((np.hypot(*steps.T) > 0.01).all())
    return Path(np.array(rows), draw(st.booleans()))


def line_of(path: Path) -> LineString:
    points = path.flatten(FINE)
    return LineString(np.vstack((points, points[:1])) if path.closed else points)


@given(paths(), st.floats(-60, 40), st.floats(-60, 40), st.floats(1, 90), st.floats(1, 90))
def test_runs_are_what_lies_in_the_box(path: Path, x: float, y: float, width: float, height: float) -> None:
    box = (x, y, x + width, y + height)
    runs = clip_path(path, box)
    whole = line_of(path)
    flat = [line_of(run.path) for run in runs]
    # Nothing but the path, and nothing outside of the box.
    for run, line in zip(runs, flat, strict=True):
        points = shapely.points(line.coords)
        assert shapely.distance(points, whole).max() < 2 * FINE
        assert shapely.distance(points, shapely.box(*box)).max() < 1e-6
        begins = whole.interpolate(min(run.start, whole.length))
        assert begins.distance(Point(run.path.start)) < 0.01
    # All of it: points that lie clearly inside are on a run.
    points = shapely.line_interpolate_point(whole, np.linspace(0.0, whole.length, 400))
    inside = shapely.box(*box).buffer(-1e-3)
    for point in points[shapely.contains(inside, points)] if not inside.is_empty else []:
        assert min(line.distance(point) for line in flat) < 2 * FINE


def test_a_circle_through_a_box_keeps_its_arcs_and_its_middle_run() -> None:
    circle = Path.circle(0.0, 0.0, 10.0)
    (run,) = clip_path(circle, (6.0, -20.0, 20.0, 20.0))
    # It begins inside, at (10, 0): one stretch across the first point, from below.
    assert run.path.start == pytest.approx((6.0, -8.0))
    assert run.path.end == pytest.approx((6.0, 8.0))
    assert run.path.length == pytest.approx(2.0 * 10.0 * math.acos(0.6))
    assert run.start == pytest.approx(10.0 * (math.tau - math.acos(0.6)))
    assert run.path.has_arcs


@pytest.mark.parametrize("bulge", [1.0, -1.0])
def test_half_a_circle_over_the_axis_is_no_line(bulge: float) -> None:
    """Its ends lie opposite each other about the origin; beyond 4 of 5 mm it runs acos(0.8) to each side."""
    half = Path(np.array([(0.0, -5.0, bulge), (0.0, 5.0, 0.0)]), False)
    side = math.copysign(1.0, bulge)
    (run,) = clip_path(half, (4.0, -9.0, 9.0, 9.0) if side > 0.0 else (-9.0, -9.0, -4.0, 9.0))
    assert run.path.length == pytest.approx(2.0 * 5.0 * math.acos(0.8))
    assert run.path.start == pytest.approx((4.0 * side, -3.0))
    assert run.path.end == pytest.approx((4.0 * side, 3.0))


def test_what_lies_wholly_inside_stays_as_it_is() -> None:
    circle = Path.circle(0.0, 0.0, 10.0)
    (run,) = clip_path(circle, (-10.0, -10.0, 10.0, 10.0))
    assert run.path is circle
    assert run.start == 0.0


def test_a_line_along_the_edge_of_two_boxes_is_in_both() -> None:
    line = Path.polyline([(5.0, -5.0), (5.0, 25.0)], False)
    for box in ((0.0, 0.0, 5.0, 20.0), (5.0, 0.0, 9.0, 20.0)):
        (run,) = clip_path(line, box)
        assert run.path.points.tolist() == [[5.0, 0.0], [5.0, 20.0]]
        assert run.start == 5.0


def test_what_only_touches_a_corner_is_not_in_the_box() -> None:
    assert clip_path(Path.polyline([(0.0, 2.0), (2.0, 0.0)], False), (1.0, 1.0, 5.0, 5.0)) == []
