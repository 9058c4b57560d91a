"""Closed paths nested into outlines with holes."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from nestkit.drawings import DrawnPath, nest_loops
from nestkit.geometry import Path
from tests.drawings.dxf_made import box, codes, drawn
from tests.strategies import star_points


def ring(points, **rest) -> DrawnPath:
    return drawn(points, closed=True, **rest)


def circle(x: float, y: float, radius: float) -> DrawnPath:
    return DrawnPath(Path.circle(x, y, radius), "cut")


def found(*paths: DrawnPath):
    nested = nest_loops(paths)
    return [outline for _, outline in nested.outlines], nested.findings


@given(st.permutations(range(6)))
def test_rings_within_rings_alternate(order):
    rings = [circle(0, 0, 10 * (k + 1)) for k in range(6)]
    outlines, findings = found(*(rings[k] for k in order))
    assert not findings
    assert sorted(len(outline.holes) for outline in outlines) == [1, 1, 1]
    # 60 less 50, 40 less 30, 20 less 10.
    assert sorted(outline.area for outline in outlines) == pytest.approx(
        [math.pi * 100 * (a * a - b * b) for a, b in ((2, 1), (4, 3), (6, 5))]
    )


@given(star_points(low=20.0), st.lists(st.tuples(st.floats(-200, 200), st.floats(0.3, 4)), max_size=6))
def test_areas_agree_with_shapely_by_the_even_odd_rule(points, discs):
    paths = [ring(points), *(circle(x, 7 * k, r) for k, (x, r) in enumerate(discs))]
    nested = nest_loops(paths)
    if not codes(nested.findings):
        even_odd = shapely.Polygon()
        for path in paths:
            even_odd = even_odd.symmetric_difference(shapely.Polygon(path.path.flatten(1e-4)))
        assert sum(outline.area for _, outline in nested.outlines) == pytest.approx(even_odd.area, rel=1e-3)
    for _, outline in nested.outlines:
        assert outline.polygon().is_valid


def test_the_shoelace_agrees_with_shapely_on_published_polygons():
    for points, area in (
        ([(3, 4), (5, 11), (12, 8), (9, 5), (5, 6)], 30),  # Rosetta Code, "Shoelace formula"
        ([(1, 6), (3, 1), (7, 2), (4, 4), (8, 5)], 16.5),  # Wikipedia, "Shoelace formula" (from memory)
        ([(0, 0), (120, 0), (120, 40), (40, 40), (40, 100), (0, 100)], 7200),
    ):
        (outline,), findings = found(ring(points))
        assert not findings
        assert outline.area == pytest.approx(area) == pytest.approx(shapely.Polygon(points).area)


@pytest.mark.parametrize(("dx", "dy"), [(10, 0), (0, 10), (10, 10), (10, 3), (10.003, 2), (9.997, 2)])
def test_outlines_that_only_touch_are_kept(dx, dy):
    outlines, findings = found(ring(box(0, 0, 10)), ring(box(dx, dy, 10)))
    assert len(outlines) == 2
    assert not findings


def test_crossing_outlines_are_told_with_a_point_on_both_and_left_out():
    outlines, findings = found(
        ring(box(0, 0, 10), layer="a"), ring(box(7, 4, 10), layer="b"), ring(box(50, 0, 5))
    )
    assert len(outlines) == 1
    (finding,) = findings
    assert (finding.code, finding.layer, finding.mended) == ("crossing-outline", "a", False)
    assert "layer 'b'" in finding.text
    assert finding.at in ((10, 4), (7, 10))


def test_a_figure_of_eight_crosses_itself():
    outlines, findings = found(ring([(0, 0), (20, 20), (20, 0), (0, 20)], layer="a"))
    assert not outlines
    assert [(f.code, f.at) for f in findings] == [("crossing-outline", (10, 10))]


def test_an_outline_that_crosses_itself_in_a_corner_is_told():
    bow = ring([(0, 0), (10, 10), (20, 20), (20, 0), (10, 10), (0, 20)])
    outlines, findings = found(bow)
    assert not outlines
    assert codes(findings) == ["crossing-outline"]


def test_a_hole_of_an_outline_that_crosses_is_no_part_by_itself():
    outlines, findings = found(ring([(0, 0), (60, 60), (60, 0), (0, 60)]), circle(50, 30, 3))
    assert not outlines
    assert codes(findings) == ["crossing-outline"]


def test_a_star_of_a_hundred_points_is_judged_at_once():
    turn = math.tau * np.arange(99) * 47 / 99
    _, findings = found(ring(np.column_stack((50 * np.cos(turn), 50 * np.sin(turn)))))
    assert codes(findings) == ["crossing-outline"]


def test_an_outline_that_touches_itself_is_taken_apart():
    # Two squares as one line that passes twice through (10, 10).
    pinched = ring([(0, 0), (10, 0), (10, 10), (20, 10), (20, 20), (10, 20), (10, 10), (0, 10)])
    outlines, findings = found(pinched)
    assert sorted(outline.area for outline in outlines) == pytest.approx([100, 100])
    assert [(f.code, f.mended) for f in findings] == [("touching-outline", True)]


def test_an_outline_that_touches_itself_from_inside_has_a_hole():
    horseshoe = ring([(0, 0), (30, 0), (30, 30), (15, 30), (20, 20), (10, 20), (15, 30), (0, 30)])
    (outline,), findings = found(horseshoe)
    assert outline.area == pytest.approx(900 - 50)
    assert outline.polygon().is_valid
    assert codes(findings) == ["touching-outline"]


def test_a_hole_along_an_edge_becomes_a_notch():
    (outline,), findings = found(ring(box(0, 0, 40, 20)), ring(box(10, 0, 10, 5)))
    assert outline.area == pytest.approx(800 - 50)
    assert not outline.holes
    assert outline.polygon().is_valid
    assert [(f.code, f.mended) for f in findings] == [("touching-outline", True)]


def test_a_hole_across_the_whole_part_leaves_two():
    outlines, _ = found(ring(box(0, 0, 40, 20)), ring(box(10, 0, 10, 20)))
    assert sorted(outline.area for outline in outlines) == pytest.approx([200, 400])


@pytest.mark.parametrize(
    "points",
    [box(5, 5, 0.5), box(5, 5, 30, 0.05), [(5, 5), (30, 5), (17, 5)], [(0, 0), (9, 9), (0, 0), (9, 9)]],
)
def test_slivers_are_dropped_and_told(points):
    outlines, findings = found(ring(box(0, 0, 40)), ring(points))
    assert [len(outline.holes) for outline in outlines] == [0]
    assert [(f.code, f.mended) for f in findings] == [("tiny-sliver", True)]


def test_small_parts_are_no_slivers():
    outlines, findings = found(ring(box(0, 0, 0.8)), ring(box(5, 0, 30, 0.2)))
    assert len(outlines) == 2
    assert not findings


def test_a_loop_drawn_twice_is_cut_once_wherever_it_starts():
    shape = [(0, 0), (30, 0), (30, 10), (15, 25), (0, 10)]
    turned = [*shape[2:], *shape[:2]][::-1]
    halved = [
        point for a, b in zip(shape, [*shape[1:], shape[0]], strict=True) for point in (a, np.add(a, b) / 2)
    ]
    outlines, findings = found(ring(shape), ring(turned), ring(halved))
    assert len(outlines) == 1
    assert codes(findings) == ["doubled-line", "doubled-line"]


def test_concentric_doubles_are_a_ring_only_when_they_differ():
    assert len(found(circle(0, 0, 10), circle(0, 0, 10))[0][0].holes) == 0
    assert len(found(circle(0, 0, 10), circle(0, 0, 9.8))[0][0].holes) == 1


def test_many_loops_far_from_the_origin():
    shuffle = random.Random(2)
    paths = [ring(box(4e6 + 12 * k, 5e6, 10)) for k in range(50)]
    paths += [circle(4e6 + 12 * k + 5, 5e6 + 5, 3) for k in range(50)]
    shuffle.shuffle(paths)
    outlines, findings = found(*paths)
    assert not findings
    assert [len(outline.holes) for outline in outlines] == [1] * 50
