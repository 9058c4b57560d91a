"""Open paths joined into closed ones."""

from __future__ import annotations

import itertools
import math
import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nestkit.drawings import DrawnPath, join_paths
from nestkit.drawings.join_covered import drop_covered
from nestkit.drawings.join_doubled import drop_doubled
from nestkit.geometry import Path
from tests.drawings.dxf_made import box, codes, drawn, lines
from tests.strategies import rounded_rectangles, star_points


@st.composite
def chopped(draw):
    """A polygon and its sides in runs of one to three, shuffled and reversed."""
    points = draw(star_points(low=10.0))
    count = len(points)
    cuts = sorted(draw(st.sets(st.integers(0, count - 1), min_size=2)))
    runs = []
    for a, b in itertools.pairwise([*cuts, cuts[0] + count]):
        run = points[[k % count for k in range(a, b + 1)]]
        runs.append(drawn(run[::-1] if draw(st.booleans()) else run))
    return points, draw(st.permutations(runs))


@given(chopped())
def test_a_chopped_polygon_comes_back_whole(pieces):
    points, paths = pieces
    joined = join_paths(paths)
    assert not joined.open
    assert not joined.findings
    (whole,) = joined.closed
    assert abs(whole.path.signed_area) == pytest.approx(Path.polyline(points, True).signed_area)
    assert whole.path.length == pytest.approx(Path.polyline(points, True).length)


@given(chopped(), st.integers(0, 2**32 - 1))
def test_small_gaps_are_closed_and_told(pieces, seed):
    points, paths = pieces
    jitter = np.random.default_rng(seed)
    moved = []
    for path in paths:
        rows = path.path.points.copy()
        rows[[0, -1]] += jitter.uniform(-0.03, 0.03, (2, 2))
        moved.append(drawn(rows))
    joined = join_paths(moved)
    (whole,) = joined.closed
    perimeter = Path.polyline(points, True).length
    assert abs(whole.path.signed_area) == pytest.approx(
        Path.polyline(points, True).signed_area, abs=0.05 * perimeter
    )
    assert set(codes(joined.findings)) <= {"gap-closed"}
    assert all(finding.mended for finding in joined.findings)


@given(rounded_rectangles(), st.randoms())
@settings(max_examples=40)
def test_arcs_stay_arcs(size, shuffle):
    width, height, r = size
    q = math.tan(math.pi / 8)
    corners = np.array(
        [
            *((r, 0, 0), (width - r, 0, q), (width, r, 0), (width, height - r, q)),
            *((width - r, height, 0), (r, height, q), (0, height - r, 0), (0, r, q)),
        ]
    )
    sides = []
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        side = Path(np.array([a, [*b[:2], 0]]), False)
        sides.append(drawn((side.reversed() if shuffle.random() < 0.5 else side).vertices))
    shuffle.shuffle(sides)
    (whole,) = join_paths(sides).closed
    # Rectangle less what the corners lose: exact.
    assert abs(whole.path.signed_area) == pytest.approx(width * height - (4 - math.pi) * r * r)
    assert np.count_nonzero(whole.path.vertices[:, 2]) == 4


def test_many_polygons_in_one_heap_come_apart_again():
    shuffle = random.Random(1)
    sides = [side for k in range(100) for side in lines(box(20 * k, 0, 10, 5 + k))]
    shuffle.shuffle(sides)
    joined = join_paths(sides)
    assert sorted(abs(d.path.signed_area) for d in joined.closed) == pytest.approx(
        [10 * (5 + k) for k in range(100)]
    )
    assert not joined.findings


@pytest.mark.parametrize(("gap", "code"), [(0.0005, None), (0.05, "gap-closed"), (0.2, "open-outline")])
def test_a_gap_is_told_with_its_size_and_place(gap, code):
    joined = join_paths([drawn([(0, 0), (50, 0), (50, 30), (0, 30), (0, gap)], layer="roof")])
    assert len(joined.closed) == (code != "open-outline")
    assert codes(joined.findings) == ([code] if code else [])
    for finding in joined.findings:
        assert f"{gap:.2f}" in finding.text
        assert finding.at == pytest.approx((0, 0), abs=0.2)
        assert finding.layer == "roof"
        assert finding.mended is (code == "gap-closed")


def test_every_gap_of_an_outline_is_told():
    joined = join_paths([drawn([(0, 0), (40, 0), (40, 9.7)]), drawn([(40, 10), (0, 10), (0, 0.8)])])
    assert codes(joined.findings) == ["open-outline"] * 2
    assert sorted(finding.text.split(":")[1][:5] for finding in joined.findings) == [" 0.30", " 0.80"]


def test_the_tolerance_can_be_set():
    path = drawn([(0, 0), (50, 0), (50, 30), (0, 30), (0, 0.8)])
    assert join_paths([path]).open
    assert join_paths([path], tolerance=1.0).closed


def test_the_nearest_end_is_taken():
    far, near = drawn([(10, 0.09), (10, -9)]), drawn([(10, 0.02), (10, 9)])
    joined = join_paths([drawn([(0, 0), (10, 0)]), far, near])
    longest = max(joined.open, key=lambda d: d.path.length)
    assert longest.path.end == (10, 9) or longest.path.start == (10, 9)


@pytest.mark.parametrize("copies", [2, 5])
@pytest.mark.parametrize("turned", [False, True])
def test_doubled_sides_are_cut_once(copies, turned):
    sides = lines(box(0, 0, 30, 20))
    again = [drawn(side.path.points[::-1]) if turned else side for side in sides]
    joined = join_paths([*sides, *again * (copies - 1)])
    assert len(joined.closed) == 1
    assert not joined.open
    assert set(codes(joined.findings)) == {"doubled-line"}


def test_doubled_arcs_are_told_from_the_other_half_of_the_circle():
    half, turned = [(0, 0, 1.0), (10, 0, 0)], [(10, 0, -1.0), (0, 0, 0)]
    other = [(10, 0, 1.0), (0, 0, 0)]
    joined = join_paths([drawn(half), drawn(turned), drawn(other)])
    (circle,) = joined.closed
    assert abs(circle.path.signed_area) == pytest.approx(25 * math.pi)
    assert codes(joined.findings) == ["doubled-line"]


def test_a_path_that_loses_a_side_in_its_middle_is_two():
    first = drawn([(10, 0), (20, 0)])
    second = drawn([(0, 5), (10, 0), (20, 0), (30, 5)])
    kept, findings = drop_doubled([first, second])
    assert [path.path.points.tolist() for path in kept] == [
        [[10, 0], [20, 0]],
        [[0, 5], [10, 0]],
        [[20, 0], [30, 5]],
    ]
    assert [(f.code, f.mended, f.at) for f in findings] == [("doubled-line", True, (15, 0))]


def test_a_finely_drawn_curve_is_not_its_own_double():
    turn = np.linspace(0, math.tau, 20_000)
    curve = drawn(np.column_stack((10 * np.cos(turn), 10 * np.sin(turn)))[:-1])
    kept, findings = drop_doubled([curve])
    assert not findings
    assert len(kept[0].path.vertices) == 19_999


@pytest.mark.parametrize("closed", [False, True])
def test_a_line_that_lies_on_others_is_dropped(closed):
    outline = [drawn(box(0, 0, 40, 10), closed=True)] if closed else lines(box(0, 0, 40, 10))
    joined = join_paths([*outline, drawn([(5, 0), (25, 0)]), drawn([(40, 2), (40, 10)])])
    assert len(joined.closed) == 1
    assert not joined.open
    assert codes(joined.findings) == ["doubled-line"] * 2
    assert joined.findings[0].at == pytest.approx((15, 0))


def test_a_part_of_a_curve_drawn_twice_is_dropped_and_a_line_across_is_not():
    circle = DrawnPath(Path.circle(0, 0, 20), "cut")
    turn = np.linspace(0.1, 2.0, 77)
    again = drawn(20 * np.column_stack((np.cos(turn), np.sin(turn))))
    across = drawn([(-20, 0), (20, 0)])
    joined = join_paths([circle, again, across])
    assert [path.path.length for path in joined.open] == [40]
    assert codes(joined.findings) == ["doubled-line", "open-outline"]


def test_of_two_lines_that_cover_each_other_one_stays():
    one, other = drawn([(0, 0), (10, 0), (20, 0)]), drawn([(20, 0.015), (7, 0.01), (0, 0.015)])
    left, findings = drop_covered([one, other], [])
    assert left == [other]
    assert codes(findings) == ["doubled-line"]


def test_lines_that_overlap_at_their_ends_are_joined():
    joined = join_paths([drawn([(0, 10), (0, 0), (12, 0)]), drawn([(8, 0), (30, 0), (30, 10), (0, 10)])])
    (whole,) = joined.closed
    assert abs(whole.path.signed_area) == pytest.approx(300)
    assert [(f.code, f.mended) for f in joined.findings] == [("doubled-line", True)]
    assert "over 4 mm" in joined.findings[0].text


def test_pieces_without_length_leave_no_gap():
    joined = join_paths(
        [drawn([(0, 0), (9, 0), (9, 0), (9, 9)]), drawn([(9, 9), (9, 9)]), drawn([(9, 9), (0, 0)])]
    )
    assert len(joined.closed) == 1
    assert not joined.findings


def test_outlines_that_share_a_corner_stay_two():
    sides = [*lines(box(0, 0, 10)), *lines(box(10, 10, 20))]
    for seed in range(6):
        random.Random(seed).shuffle(sides)
        joined = join_paths(sides)
        assert sorted(abs(d.path.signed_area) for d in joined.closed) == pytest.approx([100, 400])
        assert not joined.findings


def test_outlines_that_share_two_corners_do_not_cross():
    left, right = [(0, 0), (10, 5), (10, 15), (0, 20)], [(20, 0), (10, 5), (12, 10), (10, 15), (20, 20)]
    joined = join_paths([*lines(left), *lines(right)])
    assert not joined.open
    assert sum(abs(d.path.signed_area) for d in joined.closed) == pytest.approx(
        sum(abs(Path.polyline(p, True).signed_area) for p in (left, right))
    )


def test_a_line_across_an_outline_is_told_and_left():
    joined = join_paths(
        [*lines([(0, 0), (20, 0), (40, 0), (40, 10), (20, 10), (0, 10)]), drawn([(20, 0), (20, 10)])]
    )
    (whole,) = joined.closed
    assert abs(whole.path.signed_area) == pytest.approx(400)
    assert [d.path.length for d in joined.open] == [10]
    assert codes(joined.findings) == ["branching-outline", "branching-outline", "open-outline"]
    assert {finding.at for finding in joined.findings[:2]} == {(20, 0), (20, 10)}


def test_a_burst_of_lines_from_one_point_ends():
    rays = [drawn([(0, 0), (math.cos(k) * 9, math.sin(k) * 9)]) for k in range(300)]
    joined = join_paths(rays)
    assert not joined.closed
    assert codes(joined.findings)[0] == "branching-outline"


def test_a_line_shorter_than_the_tolerances_is_dropped():
    joined = join_paths([*lines(box(0, 0, 10)), drawn([(50, 50), (50.1, 50.1)])])
    assert not joined.open
    assert [(f.code, f.mended) for f in joined.findings] == [("tiny-sliver", True)]


def test_nothing_gives_nothing():
    joined = join_paths([])
    assert (joined.closed, joined.open, joined.findings) == ((), (), ())
