"""Bezier curves and ellipses stay within their tolerance, measured on dense samples."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import LineString, MultiPoint
from svgpathtools import CubicBezier

from nestkit.geometry.curves import flatten_cubic, flatten_ellipse
from tests import naive

spots = st.tuples(*[st.floats(-200, 200).map(lambda v: round(v, 3))] * 2)


@given(st.tuples(spots, spots, spots, spots), st.sampled_from([0.5, 0.05, 0.01]))
def test_a_cubic_curve_stays_within_its_tolerance(control, tolerance):
    """The curve itself is svgpathtools' (an independent library)."""
    flat = np.vstack((control[0], flatten_cubic(control, tolerance)[:, :2]))
    curve = CubicBezier(*(complex(*p) for p in control))
    dense = [curve.point(t) for t in np.linspace(0, 1, 400)]
    chords = LineString(flat) if len({tuple(p) for p in flat}) > 1 else MultiPoint(flat)
    assert max(chords.distance(MultiPoint([(z.real, z.imag)])) for z in dense) <= tolerance + 1e-9
    assert flat == pytest.approx(np.array(naive.flatten_cubic(control, len(flat) - 1)), abs=1e-9)
    assert tuple(flat[-1]) == control[3]


def test_a_parabola_has_no_more_chords_than_it_needs():
    """Its second differences are alike everywhere, so that the bound is what is needed: ten chords here.

    Of nine the middle one would lie 6 * 40 / 8 / 9**2 = 0.37 mm from it.
    """
    control = ((0.0, 0.0), (40.0, 40.0), (80.0, 40.0), (120.0, 0.0))
    assert len(flatten_cubic(control, 0.31)) == 10
    (_, low), (_, high) = naive.flatten_cubic(control, 9)[4:6]
    assert low == pytest.approx(high)
    assert 30.0 - low == pytest.approx(240.0 / 8.0 / 81.0)


@given(st.floats(1, 300), st.floats(1, 300), st.floats(0, 6.28), st.floats(-6.28, 6.28))
def test_an_ellipse_stays_within_its_tolerance(a, b, lean, sweep):
    first = (a * math.cos(lean), a * math.sin(lean))
    second = (-b * math.sin(lean), b * math.cos(lean))
    flat = flatten_ellipse((3, 4), first, second, 0.3, sweep, 0.05)
    t = 0.3 + sweep * np.linspace(0, 1, 300)
    dense = np.column_stack(
        (3 + first[0] * np.cos(t) + second[0] * np.sin(t), 4 + first[1] * np.cos(t) + second[1] * np.sin(t))
    )
    line = LineString(flat)
    assert max(line.distance(MultiPoint([p])) for p in dense) <= 0.05 + 1e-9
