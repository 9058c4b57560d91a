"""No-fit polygons against the plain question: do the two pieces overlap there?"""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import Point, Polygon

from nestkit.nesting.nofit import UNITS, box_ring, free_places, leaves_room, no_fit, pieces_in_units
from tests.strategies import star_points


def region(contours) -> Polygon:
    """The contours' area under the non-zero rule: outer rings less the clockwise ones."""
    rings = [Polygon(ring / UNITS) for ring in contours]
    outer = shapely.union_all([ring for ring in rings if ring.exterior.is_ccw])
    return outer.difference(shapely.union_all([ring for ring in rings if not ring.exterior.is_ccw]))


#: Shifts with few digits: of edges that lie apart by 1e-23 shapely can find no shared area at all.
_SHIFT = st.floats(-130, 130).map(lambda shift: round(shift, 6))


@given(star_points(), star_points(), _SHIFT, _SHIFT)
def test_inside_means_overlap_and_outside_means_none(fixed, moving, x, y):
    a, b = Polygon(fixed), Polygon(moving)
    blocked = region(no_fit(pieces_in_units(a), pieces_in_units(b).turned_about()))
    shared = a.intersection(affinity.translate(b, x, y)).area
    edge = blocked.boundary.distance(Point(x, y))
    if edge > 1e-3:
        assert blocked.contains(Point(x, y)) == (shared > 0.0)
    # On the contour itself the pieces touch: what they share is a hair.
    spot = blocked.exterior.interpolate(abs(x) * 3) if blocked.geom_type == "Polygon" else None
    if spot is not None:
        touching = a.intersection(affinity.translate(b, spot.x, spot.y)).area
        assert touching <= 2e-3 * (a.length + b.length)


def test_a_bar_that_fits_exactly_into_a_slot_finds_its_place():
    slot = Polygon([(0, 0), (60, 0), (60, 40), (40, 40), (40, 10), (20, 10), (20, 40), (0, 40)])
    bar = Polygon([(0, 0), (20, 0), (20, 30), (0, 30)])
    blocked = no_fit(pieces_in_units(slot), pieces_in_units(bar).turned_about())
    free = free_places([box_ring((0, 0, 60 * UNITS, 60 * UNITS))], blocked)
    rings = [Polygon(np.array(ring) / UNITS) for ring in free if len(ring) > 2]
    assert any(Point(20, 10).distance(ring) < 1e-3 for ring in rings)


def test_a_hole_that_a_part_fits_into_stays_open():
    rim = Polygon([(0, 0), (50, 0), (50, 50), (0, 50)], [[(10, 10), (40, 10), (40, 40), (10, 40)]])
    part = Polygon([(0, 0), (20, 0), (20, 20), (0, 20)])
    contours = no_fit(pieces_in_units(rim), pieces_in_units(part).turned_about())
    assert not region(contours).contains(Point(15, 15))
    assert region(contours).contains(Point(5, 5))
    # 70 x 70 mm of contact less the 10 x 10 mm in which the part's corner may lie.
    assert region(contours).area == pytest.approx(70 * 70 - 10 * 10, rel=1e-4)


@given(star_points(), star_points(), st.tuples(_SHIFT, _SHIFT), st.tuples(st.floats(1, 60), st.floats(1, 60)))
def test_a_look_at_some_spots_tells_the_same_as_the_whole_polygon(fixed, moving, corner, size):
    pieces, about = pieces_in_units(Polygon(fixed)), pieces_in_units(Polygon(moving)).turned_about()
    low = [round(value * UNITS) for value in corner]
    room = (*low, *(at + round(side * UNITS) for at, side in zip(low, size, strict=True)))
    assert leaves_room(room, pieces, about) == bool(free_places([box_ring(room)], no_fit(pieces, about)))
