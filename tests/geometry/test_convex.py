"""Convex pieces add up to the polygon; sums of convex rings are what the naive twin says."""

from __future__ import annotations

import itertools
from inspect import unwrap

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon

from nestkit.geometry.convex import convex_pieces, convex_sums, is_left_out
from tests import naive
from tests.strategies import grid_rings, outlines, star_points


@given(outlines())
def test_convex_pieces_are_convex_and_add_up(outline):
    polygon = outline.polygon(0.05)
    pieces = [Polygon(piece) for piece in convex_pieces(polygon)]
    assert sum(piece.area for piece in pieces) == pytest.approx(polygon.area)
    assert shapely.union_all(pieces).symmetric_difference(polygon).area < 1e-6 * polygon.area
    for piece in pieces:
        assert piece.exterior.is_ccw
        assert piece.convex_hull.area - piece.area < 1e-6 * piece.area


@given(star_points())
def test_merged_pieces_are_fewer_than_triangles(points):
    assert len(convex_pieces(Polygon(points))) <= max(1, len(points) - 2)


def flat(rings) -> tuple[np.ndarray, np.ndarray]:
    """Rings as the kernels take them: all corners, and where each ring begins."""
    sizes = [0, *(len(ring) for ring in rings)]
    return np.array([spot for ring in rings for spot in ring], dtype=np.int64), np.cumsum(sizes)


SOME_RINGS = st.lists(grid_rings(), min_size=1, max_size=3)


@pytest.mark.parametrize("way", [convex_sums, unwrap(convex_sums)], ids=["compiled", "plain"])
@given(ones=SOME_RINGS, others=SOME_RINGS)
def test_the_sums_of_convex_rings(way, ones, others):
    points, at = way(*flat(ones), *flat(others))
    sums = np.split(points, at[1:-1])
    for ring, (one, other) in zip(sums, itertools.product(ones, others), strict=True):
        found = Polygon(ring)
        assert found.is_valid
        assert found.exterior.is_ccw
        assert found.symmetric_difference(naive.convex_sum(one, other)).area == 0.0
        assert (ring[0, 1], ring[0, 0]) == min((y, x) for x, y in ring)


@pytest.mark.parametrize("way", [is_left_out, unwrap(is_left_out)], ids=["compiled", "plain"])
@given(rings=SOME_RINGS, spots=st.lists(st.tuples(st.integers(-45, 45), st.integers(-45, 45)), max_size=6))
def test_a_spot_outside_all_rings_is_told(way, rings, spots):
    inside = shapely.union_all([Polygon(ring) for ring in rings])
    left_out = any(not inside.covers(Point(spot)) for spot in spots)
    assert way(np.array(spots, dtype=np.int64).reshape(-1, 2), *flat(rings)) == left_out
