"""Necks and holes that are too slim for the cutter, held against shapes whose widths are known."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nestkit.build.model import Cutter
from nestkit.cutting.smallest import slim_places, smallest_width
from nestkit.geometry import Outline, Path
from nestkit.geometry.affine import compose, rotation, scaling
from tests.strategies import star_points
from tests.zoo import L_SHAPE, disc, frame, rectangle


def dumbbell(neck: float, length: float = 20.0) -> Outline:
    """Two squares of 40 mm that a neck joins."""
    low, high, far = 20.0 - neck / 2.0, 20.0 + neck / 2.0, 40.0 + length
    points = [(0, 0), (40, 0), (40, low), (far, low), (far, 0), (far + 40, 0)]
    points += [(far + 40, 40), (far, 40), (far, high), (40, high), (40, 40), (0, 40)]
    return Outline(Path.polyline(points, True))


@settings(deadline=None, max_examples=40)
@given(st.floats(0.5, 8.0), st.floats(0.5, 8.0), st.floats(0.0, math.tau))
def test_a_neck_is_found_exactly_when_it_is_narrower(neck, smallest, turn):
    found = slim_places(dumbbell(neck).transformed(rotation(turn)), smallest)
    if abs(neck - smallest) < 0.05:
        return
    assert [place.what for place in found] == (["neck"] if neck < smallest else [])
    if found:
        assert found[0].width == pytest.approx(neck, abs=0.05)


@settings(deadline=None, max_examples=40)
@given(st.floats(0.5, 8.0), st.floats(0.5, 8.0))
def test_a_hole_is_found_exactly_when_it_is_narrower(diameter, smallest):
    plate = Outline(rectangle(60, 60).exterior, (Path.circle(30, 30, diameter / 2.0),))
    if abs(diameter - smallest) < 0.05:
        return
    found = slim_places(plate, smallest)
    assert [place.what for place in found] == (["hole"] if diameter < smallest else [])
    if found:
        assert found[0].width == pytest.approx(diameter, abs=0.02)
        assert found[0].at == pytest.approx((30, 30), abs=0.1)


def test_corners_points_and_thick_rims_are_no_slim_places():
    spike = Outline(Path.polyline([(0, 0), (20, 0), (10, 200)], True))
    for outline in (spike, Outline(L_SHAPE), disc(20), frame(100, 10), rectangle(80, 8)):
        assert slim_places(outline, 4.0) == ()


def test_a_rim_that_is_too_thin_has_a_neck_on_each_side():
    # A disc of 3.51 mm goes into a corner: it touches both outer sides and the window's corner.
    places = slim_places(frame(100, 3), 3.3)
    assert [place.what for place in places] == ["neck"] * 4
    assert [place.width for place in places] == pytest.approx([3.0] * 4, abs=0.05)
    (place,) = slim_places(frame(100, 3), 4.0)
    assert (place.what, place.width) == ("part", pytest.approx(6.0 / (1.0 + math.sqrt(0.5)), abs=0.02))


def test_a_part_that_is_slim_all_over_is_told_as_such():
    (place,) = slim_places(rectangle(80, 1.5), 2.0)
    assert (place.what, round(place.width, 2)) == ("part", 1.5)
    assert place.told("mm") == "nowhere wider than 1.5 mm"


@settings(deadline=None, max_examples=30)
@given(star_points(), st.floats(0.3, 3.0), st.floats(0.0, math.tau))
def test_what_is_slim_stays_slim_when_all_is_scaled_and_turned_together(points, factor, turn):
    outline = Outline(Path.polyline(points, True))
    moved = outline.transformed(compose(rotation(turn), scaling(factor)))
    before = [place for place in slim_places(outline, 3.0) if place.width < 2.9]
    after = slim_places(moved, 3.0 * factor)
    assert len(before) <= len(after) or factor < 0.5


def test_the_usual_smallest_width_follows_foam_and_kerf():
    assert smallest_width(Cutter(kerf=0.2), 6.0) == 3.0
    assert smallest_width(Cutter(kerf=1.5), 6.0) == 4.5
    assert smallest_width(Cutter(kind="hand", kerf=1.5), 6.0) == 3.0
    assert smallest_width(Cutter(smallest=1.0), 6.0) == 1.0
    assert slim_places(dumbbell(0.5), 0.0) == ()
