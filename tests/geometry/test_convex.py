"""Convex pieces add up to the polygon; sums of convex rings are what the naive twin says."""

from __future__ import annotations

import pytest
import shapely
from hypothesis import given
from shapely.geometry import Polygon

from nestkit.geometry.convex import convex_pieces, convex_sum
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


@given(grid_rings(), grid_rings())
def test_the_sum_of_convex_rings(one, other):
    found = Polygon(convex_sum(one, other))
    assert found.is_valid
    assert found.exterior.is_ccw
    assert found.symmetric_difference(naive.convex_sum(one, other)).area == 0.0
