"""Paths of lines and arcs: lengths, areas, bounds, flattening.

Bulges: DXF reference, LWPOLYLINE group 42, bulge = tan(angle / 4), positive counter-clockwise. Areas are
exact mathematics, recomputed. Polygon areas also against shapely.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon

from nestkit.geometry import Outline, Path, Placement
from nestkit.geometry.arcs import arc_centre, bulge_of, bulge_through, chords_needed, split_bulge
from tests.strategies import rounded_rectangles, star_points
from tests.zoo import L_SHAPE, QUARTER, SLOT, rounded


@pytest.mark.parametrize(
    ("degrees", "bulge", "radius", "sagitta", "length"),
    [
        (45, 0.198912367379658, 13.065629648763762, 0.994561836898, 10.261721529770),
        (60, 0.267949192431123, 10, 1.339745962156, 10.471975511966),
        (90, 0.414213562373095, 7.071067811865476, 2.071067811865, 11.107207345396),
        (120, 0.577350269189626, 5.773502691896257, 2.886751345948, 12.091995761561),
        (180, 1, 5, 5, 15.707963267949),
        (270, 2.414213562373095, 7.071067811865476, 12.071067811865, 33.321622036188),
    ],
)
def test_an_arc_over_a_chord_of_ten(degrees, bulge, radius, sagitta, length):
    assert bulge_of(math.radians(degrees)) == pytest.approx(bulge, rel=1e-12)
    arc = Path(np.array([[0, 0, bulge], [10, 0, 0]]), False)
    assert arc_centre(0, 0, 10, 0, bulge)[2] == pytest.approx(radius, rel=1e-9)
    assert arc.length == pytest.approx(length, rel=1e-9)
    assert arc.bounds[1] == pytest.approx(-sagitta, rel=1e-9)


def test_a_positive_bulge_runs_to_the_right_of_travel():
    arc = Path(np.array([[0, 0, 1.0], [10, 0, 0]]), False)
    assert arc.bounds == pytest.approx((0, -5, 10, 0))
    assert arc_centre(0, 0, 10, 0, QUARTER)[:2] == pytest.approx((5, 5))
    assert arc_centre(0, 0, 10, 0, -QUARTER)[:2] == pytest.approx((5, -5))


def test_whole_outlines_with_arcs():
    assert rounded(100, 60, 10).signed_area == pytest.approx(5914.15926535898, rel=1e-12)
    assert rounded(100, 60, 10).length == pytest.approx(302.8318530717959, rel=1e-12)
    disc = Path(np.array([[0, 0, 1.0], [10, 0, 1.0]]), True)
    assert disc.signed_area == pytest.approx(78.53981633974483, rel=1e-12)
    assert SLOT.signed_area == pytest.approx(578.5398163397448, rel=1e-12)
    assert SLOT.length == pytest.approx(131.41592653589794, rel=1e-12)


@pytest.mark.parametrize(
    ("points", "area"),
    [
        ([(3, 4), (5, 11), (12, 8), (9, 5), (5, 6)], -30.0),
        # From memory: the worked example of the shoelace formula in a public encyclopedia.
        ([(1, 6), (3, 1), (7, 2), (4, 4), (8, 5)], 16.5),
    ],
)
def test_shoelace(points, area):
    assert Path.polyline(points, True).signed_area == pytest.approx(area)
    assert Polygon(points).area == pytest.approx(abs(area))


def test_area_keeps_its_digits_far_from_the_origin():
    far = L_SHAPE.transformed(Placement(4e6, -3e6).matrix)
    assert far.signed_area == pytest.approx(7200.0, abs=1e-6)


def test_circle_of_100_within_a_tenth_takes_71_chords():
    assert chords_needed(100.0, math.tau, 0.1) == 71


@given(rounded_rectangles(), st.floats(0.001, 0.5))
def test_flattened_points_and_chords_stay_within_the_tolerance(sizes, tolerance):
    path = rounded(*sizes)
    flat = Polygon(path.flatten(tolerance))
    fine = Polygon(path.flatten(1e-5))
    assert flat.boundary.hausdorff_distance(fine.boundary) <= tolerance + 2e-5
    assert flat.area <= path.signed_area + 1e-9


@given(rounded_rectangles(), st.floats(0, math.tau), st.floats(-500, 500), st.booleans())
def test_a_placement_keeps_length_and_area(sizes, turn, shift, mirrored):
    outline = Outline(rounded(*sizes), (Path.circle(sizes[0] / 2, sizes[1] / 2, 1.0),))
    moved = outline.transformed(Placement(shift, -shift, turn, mirrored).matrix)
    assert moved.area == pytest.approx(outline.area, rel=1e-9)
    assert moved.cut_length == pytest.approx(outline.cut_length, rel=1e-9)
    assert moved.exterior.signed_area > 0 > moved.holes[0].signed_area
    assert moved.exterior.has_arcs


@given(star_points(), st.integers(0, 11))
def test_bounds_area_and_walking_direction(points, start):
    path = Path.polyline(points, True)
    polygon = Polygon(points)
    assert path.bounds == pytest.approx(polygon.bounds)
    assert path.signed_area == pytest.approx(polygon.area, rel=1e-9)
    assert path.reversed().signed_area == pytest.approx(-polygon.area, rel=1e-9)
    assert path.starting_at(start % len(points)).signed_area == pytest.approx(polygon.area, rel=1e-9)


@given(rounded_rectangles(), st.floats(0, math.tau))
def test_bounds_hold_the_arcs_exactly(sizes, turn):
    path = rounded(*sizes).transformed(Placement(turn=turn).matrix)
    x0, y0, x1, y1 = path.bounds
    flat = path.flatten(1e-4)
    assert (x0, y0) == pytest.approx(flat.min(axis=0), abs=2e-4)
    assert (x1, y1) == pytest.approx(flat.max(axis=0), abs=2e-4)


def test_reversing_twice_is_nothing():
    for path in (rounded(30, 20, 3), Path(np.array([[0, 0, 0.3], [5, 1, -0.2], [9, 9, 0]]), False)):
        assert np.array_equal(path.reversed().reversed().vertices, path.vertices)
        assert path.reversed().length == pytest.approx(path.length)


def test_an_uneven_scale_turns_arcs_into_lines_within_the_tolerance():
    oval = Path.circle(0, 0, 10).transformed(np.array([[3.0, 0, 0], [0, 1.0, 0]]), 0.01)
    assert not oval.has_arcs
    assert oval.signed_area == pytest.approx(math.pi * 30 * 10, rel=2e-3)
    assert max(abs(math.hypot(x / 3, y) - 10) for x, y in oval.points) < 1e-9


@given(st.floats(0.05, 6.2), st.integers(1, 7))
def test_pieces_of_an_arc_add_up(angle, parts):
    assert parts * 4 * math.atan(split_bulge(bulge_of(angle), parts)) == pytest.approx(angle)


@given(st.floats(0.1, 6.0), st.floats(0.1, 0.9), st.booleans())
def test_a_bulge_from_three_points(angle, share, clockwise):
    sign = -1 if clockwise else 1
    spots = [(20 * math.cos(sign * t), 20 * math.sin(sign * t)) for t in (0.0, share * angle, angle)]
    assert bulge_through(*spots) == pytest.approx(sign * bulge_of(angle), rel=1e-6)
    assert Point(0, 0).distance(Point(*arc_centre(*spots[0], *spots[2], bulge_through(*spots))[:2])) < 1e-5


@pytest.mark.parametrize(
    ("rows", "closed"),
    [
        ([[0, 0, 0]], False),
        ([[0, 0, 0], [1, 1, 0]], True),
        ([[0, 0, 0], [1, float("nan"), 0]], False),
        ([[0, 0], [1, 1]], False),
    ],
)
def test_what_is_no_path_is_refused(rows, closed):
    with pytest.raises(ValueError, match="path"):
        Path(np.array(rows, dtype=float), closed)


def test_an_outline_is_closed():
    with pytest.raises(ValueError, match="closed"):
        Outline(Path.polyline([(0, 0), (1, 0), (1, 1)], False))
