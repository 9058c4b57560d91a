"""Outlines as the engine sees them: fewer corners, never less than the truth."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Polygon

from nestkit.nesting.overlap.outward import fewer, simplified
from tests import naive
from tests.strategies import star_points


@pytest.mark.parametrize("way", [fewer, fewer.py_func], ids=["compiled", "plain"])
@given(star_points(), st.floats(0.1, 20.0))
def test_corners_go_as_the_naive_twin_lets_them_go(way, points, tolerance):
    ring = np.array(points, dtype=float)
    found, twin = way(ring, tolerance), naive.fewer(ring, tolerance)
    assert found.shape == twin.shape
    assert found == pytest.approx(twin, abs=1e-6)


@given(star_points(), st.floats(0.1, 5.0))
def test_nothing_of_the_truth_sticks_out_of_a_simplified_outline(points, tolerance):
    truth = Polygon(points)
    loose = simplified(truth, tolerance)
    assert len(loose.exterior.coords) <= len(truth.exterior.coords)
    assert truth.difference(loose).area < 1e-9 * truth.area
