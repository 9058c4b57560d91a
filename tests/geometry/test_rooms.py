"""Places for boxes: in the polygon, at an angle that reads, and found where there is just enough room."""

from __future__ import annotations

import math

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import affinity

from nestkit.geometry.rooms import BoxRoom


def placed(rooms: BoxRoom, width: float, height: float) -> tuple[float, float, float]:
    found = rooms.place(width, height)
    assert found is not None
    return found


@given(
    st.floats(20.0, 200.0),
    st.floats(0.1, 0.9),
    st.floats(-math.pi, math.pi),
    st.floats(0.3, 1.0),
    st.booleans(),
)
def test_a_turned_rectangle_has_room_for_its_like(width, slim, turn, share, widest_first):
    """A box of the rectangle's own shape goes in along its longer side, at its middle; no larger one does."""
    height = slim * width
    level = shapely.box(-width / 2, -height / 2, width / 2, height / 2)
    room = affinity.translate(affinity.rotate(level, turn, origin=(0, 0), use_radians=True), 300.0, 200.0)
    rooms = BoxRoom(room, widest_first)
    x, y, angle = placed(rooms, 0.999 * share * width, 0.999 * share * height)
    assert -math.pi / 2 - 1e-6 < angle <= math.pi / 2 + 1e-6
    box = affinity.scale(level, 0.999 * share, 0.999 * share)
    box = affinity.translate(affinity.rotate(box, angle, origin=(0, 0), use_radians=True), x, y)
    assert room.buffer(0.05).contains(box)
    if share > 0.99:
        assert (x, y) == pytest.approx((300.0, 200.0), abs=0.02 * width)
    assert rooms.place(1.02 * width, 1.02 * height) is None


def test_it_is_found_beside_the_middle_too():
    """The centroid of this L is not in it; its longer arm has room for a box nearly as long."""
    corner = shapely.Polygon([(0, 0), (100, 0), (100, 12), (12, 12), (12, 60), (0, 60)])
    assert not corner.contains(corner.centroid)
    x, y, angle = placed(BoxRoom(corner), 80.0, 8.0)
    assert (angle, y) == pytest.approx((0.0, 6.0), abs=2.0)
    assert corner.contains(shapely.box(x - 40.0, y - 4.0, x + 40.0, y + 4.0))
    assert BoxRoom(corner).place(80.0, 13.0) is None


def test_the_widest_place_comes_first():
    """A disc of 40 mm at the end of a long strip of 10 mm."""
    room = shapely.union_all([shapely.box(0, -5, 300, 5), shapely.Point(0, 0).buffer(20)])
    x, y, _ = placed(BoxRoom(room, widest_first=True), 8.0, 4.0)
    assert math.hypot(x, y) < 2.0
    x, _, _ = placed(BoxRoom(room), 8.0, 4.0)
    assert x > 20.0
