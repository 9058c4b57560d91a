"""Seams' numbers run along their edges, as near to the middle as there is room."""

from __future__ import annotations

import math

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from nestkit.cutting.label_places import CLEAR, places
from nestkit.geometry import Outline, Path, Shape
from tests.zoo import rectangle


@given(st.floats(-1.5, 1.5), st.floats(40.0, 200.0))
def test_a_seams_number_runs_along_its_edge(turn, length):
    """A plate turned about the origin, whose seam is its lower side: the number lies on its inner side."""
    cos, sin = math.cos(turn), math.sin(turn)
    ring = [(cos * x - sin * y, sin * x + cos * y) for x, y in [(0, 0), (length, 0), (length, 30), (0, 30)]]
    shape = Shape(Outline(Path.polyline(ring, True)), ())
    number, seam = places(shape, None, "", (("(7)", tuple(ring[:2])),), 8.0)
    assert number is None
    assert seam.turn == pytest.approx(turn)
    # At the middle of the edge, since nothing is in its way, however the plate is turned.
    assert cos * seam.x + sin * seam.y == pytest.approx(length / 2.0)
    box = seam.box()
    assert shapely.Polygon(ring).contains(box)
    assert box.distance(shapely.LineString(ring[:2])) == pytest.approx(CLEAR, abs=0.2)


@pytest.mark.parametrize(("size", "text"), [(56.0, "8"), (60.0, "88"), (57.0, "888")])
def test_a_number_keeps_clear_of_a_round_hole(size, text):
    """A square plate about a hole of 50 mm: only its corners have room, and not for all the height asked."""
    hole = Path.circle(size / 2.0, size / 2.0, 25.0)
    shape = Shape(Outline(rectangle(size, size).exterior, (hole,)), ())
    (number,) = places(shape, None, text, (), 10.0)
    box = number.box()
    assert box.distance(shapely.Point(size / 2.0, size / 2.0)) >= 25.0 + CLEAR
    assert box.distance(shapely.box(0.0, 0.0, size, size).exterior) >= CLEAR
