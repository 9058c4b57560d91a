"""Grown and shrunk paths.

Outside source: the Steiner formula for convex sets, area A + P d + pi d^2 and perimeter P + 2 pi d
(Schneider, "Convex Bodies: The Brunn-Minkowski Theory", from memory; recomputed), and shapely's buffer
(GEOS, another code base than the one that moves the paths here).
"""

from __future__ import annotations

import math
from inspect import unwrap

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Polygon

from nestkit.geometry import Path
from nestkit.geometry.offset import circle_of_pieces, offset
from tests import naive
from tests.strategies import rounded_rectangles, star_points
from tests.zoo import HEXAGON_50, L_SHAPE, SLOT, TRIANGLE_345, rectangle, rounded

RECTANGLE = rectangle(100, 60).exterior


@pytest.mark.parametrize(
    ("path", "distance", "area", "perimeter"),
    [
        (RECTANGLE, 0.10, 6032.031415926536, 320.628318530718),
        (RECTANGLE, 0.15, 6048.070685834706, 320.942477796077),
        (RECTANGLE, 5, 7678.539816339745, 351.415926535898),
        (TRIANGLE_345, 1, 21.141592653589793, 18.283185307179586),
        (HEXAGON_50, 2, 7107.756898997650, 312.566370614359),
    ],
)
def test_steiner(path, distance, area, perimeter):
    (grown,) = offset(path, distance)
    assert grown.signed_area == pytest.approx(area, rel=2e-6)
    assert grown.length == pytest.approx(perimeter, rel=1e-5)


def test_a_concave_corner_stays_sharp_outside_and_is_round_inside():
    (grown,) = offset(L_SHAPE, 2)
    assert grown.signed_area == pytest.approx(8091.707963267949, rel=1e-6)
    (shrunk,) = offset(L_SHAPE, -2)
    assert shrunk.signed_area == pytest.approx(6336.858407346410, rel=1e-6)


@given(rounded_rectangles(), st.floats(0.05, 3.0))
def test_arcs_stay_arcs(sizes, distance):
    path = rounded(*sizes)
    (grown,) = offset(path, distance)
    assert len(grown.vertices) == 8
    assert np.count_nonzero(grown.vertices[:, 2]) == 4
    want = path.signed_area + path.length * distance + math.pi * distance**2
    assert grown.signed_area == pytest.approx(want, rel=1e-4)


def test_a_circle_stays_a_circle():
    for distance, radius in ((0.1, 10.1), (-0.1, 9.9), (-9.0, 1.0)):
        (moved,) = offset(Path.circle(5, 5, 10), distance)
        assert moved.signed_area == pytest.approx(math.pi * radius**2, rel=1e-9)
        assert len(moved.vertices) == 2


def test_nothing_is_left_of_a_triangle_at_its_inradius():
    assert offset(TRIANGLE_345, -1.001) == []
    assert sum(p.signed_area for p in offset(TRIANGLE_345, -1)) == pytest.approx(0.0, abs=1e-6)


def test_a_neck_parts_and_a_mouth_closes():
    half = [(0, 0), (20, 0), (20, 9), (40, 9), (40, 0), (60, 0)]
    dumb_bell = Path.polyline(half + [(x, 20 - y) for x, y in reversed(half)], True)
    assert len(offset(dumb_bell, -1.5)) == 2
    half = [(0, 0), (0, 40), (19, 40), (19, 30), (10, 30), (10, 10)]
    keyhole = Path.polyline([(40 - x, y) for x, y in half] + half[::-1], True)
    outer, inner = offset(keyhole, 1.2)
    assert outer.signed_area > 0 > inner.signed_area


@given(star_points(), st.floats(-4.0, 4.0).filter(lambda d: abs(d) > 0.05))
def test_against_shapelys_buffer(points, distance):
    want = Polygon(points).buffer(distance, quad_segs=64)
    found = sum(path.signed_area for path in offset(Path.polyline(points, True), distance))
    assert found == pytest.approx(want.area, abs=0.005 * (want.length + 1.0))


@given(star_points(), st.floats(0.1, 3.0))
def test_out_and_in_again_never_loses_foam(points, distance):
    path = Path.polyline(points, True)
    back = [ring for grown in offset(path, distance)[:1] for ring in offset(grown, -distance)]
    area = sum(ring.signed_area for ring in back)
    assert area >= path.signed_area - 0.01 * path.length


def test_direction_does_not_matter_and_open_paths_are_refused():
    assert offset(SLOT.reversed(), 1)[0].signed_area == pytest.approx(offset(SLOT, 1)[0].signed_area)
    with pytest.raises(ValueError, match="closed"):
        offset(Path.polyline([(0, 0), (1, 0)], False), 1)


SPOTS = st.tuples(st.integers(-9, 9), st.integers(-9, 9))


@pytest.mark.parametrize("way", [circle_of_pieces, unwrap(circle_of_pieces)], ids=["compiled", "plain"])
@given(
    ring=st.lists(SPOTS, min_size=3, max_size=8),
    circles=st.lists(st.tuples(st.integers(-3, 3), st.integers(-3, 3), st.integers(1, 9)), max_size=4),
)
def test_circles_of_pieces_as_the_naive_twin_finds_them(way, ring, circles):
    found = way(np.array(ring, dtype=float), np.array(circles, dtype=float).reshape(-1, 3), 0.3)
    for k, (start, end) in enumerate(zip(ring, [*ring[1:], ring[0]], strict=True)):
        number = naive.circle_of_piece(start, end, circles, 0.3)
        assert (found[k] // 2 if found[k] >= 0 else None) == number
        if number is not None:
            x, y, _ = circles[number]
            turn = (start[0] - x) * (end[1] - y) - (start[1] - y) * (end[0] - x)
            assert found[k] % 2 == (turn < 0)
