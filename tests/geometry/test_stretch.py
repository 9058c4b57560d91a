"""Places along a path: what two stretches leave out is nothing, and arcs stay arcs."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import LineString

from nestkit.geometry import Path
from nestkit.geometry.stretch import piece_lengths, points_on, starting_along, stretch
from tests.zoo import SLOT, rounded

RINGS = [SLOT, rounded(60, 40, 10), rounded(60, 40, 10).reversed(), Path.circle(5, 5, 20)]


def test_a_quarter_of_a_circle_and_its_middle():
    """A circle of radius 10: an eighth of the way round is at 45 degrees (plain trigonometry)."""
    ring = Path.circle(0, 0, 10)
    quarter = stretch(ring, 0, 5 * math.pi)
    assert quarter.length == pytest.approx(5 * math.pi)
    assert quarter.end == pytest.approx((0, 10))
    assert quarter.vertices[0, 2] == pytest.approx(math.tan(math.pi / 8))
    eighth = points_on(quarter.pieces(), np.array([0.5]))[0]
    assert eighth == pytest.approx((10 / math.sqrt(2), 10 / math.sqrt(2)))


@pytest.mark.parametrize("ring", RINGS)
def test_lengths_of_pieces_add_up_to_the_paths(ring):
    assert piece_lengths(ring.pieces()).sum() == pytest.approx(ring.length)


@given(st.sampled_from(RINGS), st.floats(-1.5, 2.5), st.floats(0.001, 0.999))
def test_two_stretches_make_the_whole_ring(ring, begin, share):
    total = ring.length
    first = stretch(ring, begin * total, (begin + share) * total)
    second = stretch(ring, (begin + share) * total, (begin + 1) * total)
    assert first.length + second.length == pytest.approx(total)
    assert first.length == pytest.approx(share * total, abs=1e-5)
    assert first.end == pytest.approx(second.start, abs=1e-5)
    assert second.end == pytest.approx(first.start, abs=1e-5)
    whole = LineString(np.vstack((ring.flatten(0.001), ring.flatten(0.001)[:1])))
    for part in (first, second):
        assert LineString(part.flatten(0.001)).hausdorff_distance(whole) <= total
        assert whole.buffer(0.01).covers(LineString(part.flatten(0.001)))


@given(st.sampled_from(RINGS), st.floats(-1.5, 2.5))
def test_a_ring_begun_elsewhere_is_the_same_ring(ring, begin):
    moved = starting_along(ring, begin * ring.length)
    assert moved.closed
    assert moved.length == pytest.approx(ring.length)
    assert moved.signed_area == pytest.approx(ring.signed_area)
    assert len(ring.vertices) <= len(moved.vertices) <= len(ring.vertices) + 1


def test_near_a_vertex_the_vertex_is_taken():
    ring = rounded(60, 40, 10)
    assert starting_along(ring, 40.1, near=0.2).start == tuple(ring.points[1])
    assert len(starting_along(ring, 40.1, near=0.2).vertices) == len(ring.vertices)
    assert len(starting_along(ring, 40.3, near=0.2).vertices) == len(ring.vertices) + 1


@pytest.mark.parametrize(("begin", "end"), [(5, 5), (0, 41), (-1, 10), (10, 5)])
def test_what_is_no_stretch_is_refused(begin, end):
    with pytest.raises(ValueError, match="stretch"):
        stretch(Path.polyline([(0, 0), (40, 0)], False), begin, end)


def test_only_a_closed_path_starts_anywhere():
    with pytest.raises(ValueError, match="closed"):
        starting_along(Path.polyline([(0, 0), (40, 0)], False), 10)
