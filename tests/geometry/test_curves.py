"""Bezier curves and ellipses stay within their tolerance, measured on dense samples."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import LineString, MultiPoint
from svgpathtools import CubicBezier, QuadraticBezier

from nestkit.geometry.curves import flatten_bezier, flatten_ellipse

spots = st.tuples(*[st.floats(-200, 200).map(lambda v: round(v, 3))] * 2)


@given(st.lists(spots, min_size=3, max_size=4), st.sampled_from([0.5, 0.05, 0.01]))
def test_a_bezier_curve_stays_within_its_tolerance(control, tolerance):
    """The curve itself is svgpathtools' (an independent library)."""
    flat = flatten_bezier(np.array(control), tolerance)
    curve = (QuadraticBezier if len(control) == 3 else CubicBezier)(*(complex(*p) for p in control))
    dense = [curve.point(t) for t in np.linspace(0, 1, 400)]
    chords = LineString(flat) if len({tuple(p) for p in flat}) > 1 else MultiPoint(flat)
    assert max(chords.distance(MultiPoint([(z.real, z.imag)])) for z in dense) <= tolerance + 1e-9
    assert tuple(flat[0]) == control[0]
    assert tuple(flat[-1]) == control[-1]


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


def test_other_degrees_are_refused():
    with pytest.raises(ValueError, match="control points"):
        flatten_bezier(np.zeros((2, 2)), 0.1)
