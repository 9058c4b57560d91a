"""Outlines as the engine sees them hold the true ones, and not much more."""

from __future__ import annotations

import math
from inspect import unwrap

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from nestkit.geometry import Outline, Path
from nestkit.nesting.overlap.outward import (
    GAP_SHARE,
    MOST_OF_GAP,
    STAND_OFF,
    STAND_OFF_WITH_GAP,
    engine_polygon,
    fewer,
    room_of,
    simplified,
    without_idle_holes,
)
from tests import naive
from tests.strategies import star_points


def _ring(outer: float, inner: float) -> Outline:
    return Outline(Path.circle(0, 0, outer), (Path.circle(0, 0, inner),))


@pytest.mark.parametrize("way", [fewer, unwrap(fewer)], ids=["compiled", "plain"])
@given(star_points(), st.floats(0.1, 20.0))
def test_corners_go_as_the_naive_twin_lets_them_go(way, points, tolerance):
    ring = np.array(points, dtype=float)
    found, twin = way(ring, tolerance), naive.fewer(ring, tolerance)
    assert found.shape == twin.shape
    assert found == pytest.approx(twin, abs=1e-6)


@given(star_points(most=40), st.floats(1.0, 4.0), st.floats(0.01, 1.0))
@settings(max_examples=60, deadline=None)
def test_a_simplified_polygon_holds_the_old_one(points: np.ndarray, hole: float, tolerance: float) -> None:
    disc = shapely.Point(0, 0).buffer(hole, quad_segs=16)
    polygon = Polygon(points, [disc.exterior.coords])
    assume(polygon.is_valid)
    loose = simplified(polygon, tolerance)
    corners = len(shapely.get_coordinates(polygon))
    assert len(shapely.get_coordinates(loose)) <= corners
    assert shapely.difference(polygon, loose).area <= 1e-9 * polygon.area
    # One edge may be drawn out after another; the sum of such steps stays near the tolerance.
    assert shapely.difference(loose, polygon.buffer(3.0 * tolerance, join_style="mitre")).area <= 1e-6


def test_a_ring_keeps_its_hole_open_with_few_corners() -> None:
    polygon = engine_polygon(_ring(80.0, 50.0), 1.0)
    hole = Polygon(polygon.interiors[0])
    assert len(polygon.exterior.coords) < 60
    assert len(hole.exterior.coords) < 28
    assert shapely.Point(0, 0).buffer(49.0 * 0.94).within(hole)
    assert np.hypot(*shapely.get_coordinates(hole).T).max() <= 49.0 + 1e-6
    assert polygon.covers(shapely.Point(80.999, 0))


@given(st.floats(20.0, 200.0), st.floats(0.0, 4.0))
@settings(max_examples=30, deadline=None)
def test_a_disc_grows_by_half_the_gap_and_little_more(radius: float, gap: float) -> None:
    polygon = engine_polygon(Outline(Path.circle(0, 0, radius)), gap / 2.0)
    away = np.hypot(*shapely.get_coordinates(polygon).T)
    nearest = shapely.distance(shapely.Point(0, 0), polygon.exterior)
    assert nearest >= radius + gap / 2.0 - 0.0061
    size = math.sqrt(math.pi) * (radius + gap / 2.0 + 0.01)
    most = max(STAND_OFF * size, min(STAND_OFF_WITH_GAP * size, MOST_OF_GAP * gap), GAP_SHARE * gap, 0.004)
    assert away.max() <= radius + gap / 2.0 + 2.0 * most


def test_a_hole_stays_only_when_something_can_lie_in_it() -> None:
    ring = engine_polygon(_ring(80.0, 50.0), 0.0)
    small = shapely.box(0, 0, 60, 60)
    strap = shapely.box(0, 0, 120, 10)
    plate = shapely.box(0, 0, 90, 90)
    assert without_idle_holes([ring, small])[0].interiors
    assert not without_idle_holes([ring, strap])[0].interiors
    assert not without_idle_holes([ring, plate])[0].interiors


def test_an_offcuts_obstacles_cover_all_that_is_not_its_usable_room() -> None:
    edge = Path.polyline([(0, 0), (300, 0), (300, 90), (160, 110), (140, 200), (0, 180)], True)
    offcut = Outline(edge, (Path.circle(80.0, 60.0, 25.0),))
    bounds, obstacles = room_of(offcut, 5.0, 1.0, 150.0)
    free = shapely.difference(shapely.box(*bounds), shapely.union_all(obstacles))
    true = offcut.polygon(0.001).buffer(-4.0, join_style="mitre")
    assert shapely.difference(free, true).area <= 0.01 * shapely.length(true.boundary)
    assert free.area >= 0.97 * true.area
    assert free.area == pytest.approx(true.area, rel=0.03)
    assert bounds.tolist() == [4.0, 4.0, 296.0, 196.0]
    assert sum(len(shapely.get_coordinates(part)) for part in obstacles) < 60
    assert math.isclose(shapely.distance(shapely.Point(80, 60), free), 29.0, abs_tol=0.7)
