"""How far chords are from the arcs beside them: the kernel against its twin, whose circles are ezdxf's."""

from __future__ import annotations

import math

import numpy as np
import pytest
from ezdxf.math import bulge_center
from hypothesis import assume, given
from hypothesis import strategies as st

from nestkit.geometry.biarcs import WIDEST, biarc, single
from tests import naive

angles = st.floats(-1.2, 1.2)
places = st.floats(-50.0, 50.0)


@given(
    st.lists(st.tuples(places, places), min_size=2, max_size=12),
    st.tuples(places, places),
    st.floats(0.5, 80.0),
    st.floats(-math.pi, math.pi),
    st.one_of(st.tuples(angles, angles), st.just((0.0, 0.0))),
)
def test_the_farthest_point_is_that_of_the_twin(points, start, far, heading, leans):
    end = (start[0] + far * math.cos(heading), start[1] + far * math.sin(heading))
    along, onward = ((math.cos(heading + lean), math.sin(heading + lean)) for lean in leans)
    one, two = single(start, along, end, onward), biarc(start, along, end, onward)
    for found in [one[0] if one is not None else None, two]:
        if found is None:
            continue
        spots = (found.start, found.middle, found.end)
        # Points before and after those asked for play no part.
        padded = np.array([(1e6, 1e6), *points, (1e6, 1e6)])
        away = found.farthest(padded, 1, len(points))
        twin = naive.far_from_arcs(points, spots, found.along, (found.first, found.second))
        assert away == pytest.approx(twin, rel=1e-9, abs=1e-9)


@given(places, places, st.floats(0.5, 80.0), st.floats(-math.pi, math.pi), st.tuples(angles, angles))
def test_both_arcs_are_tangent_and_turn_no_more_than_they_may(x, y, far, heading, leans):
    """By the circles themselves: a radius stands upright on what runs along its circle."""
    end = (x + far * math.cos(heading), y + far * math.sin(heading))
    along, onward = ((math.cos(heading + lean), math.sin(heading + lean)) for lean in leans)
    found = biarc((x, y), along, end, onward)
    assume(found is not None)
    for bulge, ends, ways in (
        (found.first, (found.start, found.middle), (along, found.along)),
        (found.second, (found.middle, found.end), (found.along, onward)),
    ):
        assert abs(4.0 * math.atan(bulge)) <= WIDEST + 1e-9
        if bulge == 0.0:
            continue
        cx, cy = bulge_center(*ends, bulge)
        for (px, py), (dx, dy) in zip(ends, ways, strict=True):
            radius = math.hypot(px - cx, py - cy)
            assert ((px - cx) * dx + (py - cy) * dy) / radius == pytest.approx(0.0, abs=1e-5)


@pytest.mark.parametrize(("lean", "there"), [(0.49, True), (0.51, False)])
def test_there_is_none_that_turns_farther(lean, there):
    """An S, the same at both its ends: each of its arcs turns by twice as much as it leans."""
    way = (math.cos(lean * WIDEST), math.sin(lean * WIDEST))
    assert (biarc((0.0, 0.0), way, (10.0, 0.0), way) is not None) == there


def test_a_chord_of_a_circle_is_as_far_from_its_arc_as_it_rises():
    """Half a right angle of radius 10: 10 (1 - cos 22.5 degrees), by hand."""
    end = (10.0 * math.cos(math.pi / 4.0), 10.0 * math.sin(math.pi / 4.0))
    found = single((10.0, 0.0), (0.0, 1.0), end, (-math.sin(math.pi / 4.0), math.cos(math.pi / 4.0)))
    assert found is not None
    rise = found[0].farthest(np.array([(10.0, 0.0), end]), 0, 1)
    assert rise == pytest.approx(10.0 * (1.0 - math.cos(math.pi / 8.0)), rel=1e-12)
