"""Holding tabs: runs and tabs make the outline, and no tab lies at a corner, a fold or too near the next."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Point

from nestkit.cutting.jobs import make_jobs
from nestkit.cutting.kerf import cut_paths
from nestkit.cutting.tabs import CLEARANCE, Tabs, outline_runs, runs_between_tabs, tab_findings, tabs_of
from nestkit.geometry import Line, LineKind, Outline, Path
from nestkit.preparing import with_cutting_findings
from tests.cutting.test_order import at, build, part, sheet
from tests.strategies import outlines
from tests.zoo import disc, rectangle, rounded

KERF = 0.2
ASKED = {"tabs": 3, "tab_length": 0.8, "tabs_up_to": 60.0}


def ring_of(path: Path) -> LineString:
    points = path.flatten(0.002)
    return LineString(np.vstack((points, points[:1])))


def gaps(runs) -> list[float]:
    return [math.dist(a.end, b.start) for a, b in zip(runs, [*runs[1:], runs[0]], strict=True)]


def tab_lines(path: Path, runs) -> list[LineString]:
    """What shapely finds of the path beside the runs; where arcs are flattened, not quite all of it."""
    cut = shapely.union_all([LineString(run.flatten(0.002)).buffer(0.01, cap_style="flat") for run in runs])
    left = ring_of(path).difference(cut)
    merged = left if left.geom_type == "LineString" else shapely.line_merge(left)
    return [line for line in shapely.get_parts(merged) if line.length > 0.05]


@settings(max_examples=30, deadline=None)
@given(outlines(holes=False), st.integers(1, 5), st.floats(0.3, 3.0), st.sampled_from([0.0, 0.2, 1.0]))
def test_runs_and_tabs_make_the_outline_and_keep_clear_of_corners(outline, count, length, kerf):
    path = cut_paths(outline, kerf).outside
    runs = runs_between_tabs(path, Tabs(count, length), kerf)
    assume(runs)
    assert len(runs) == count
    assert not any(run.closed for run in runs)
    assert sum(run.length for run in runs) + count * (length + kerf) == pytest.approx(path.length, abs=1e-4)
    tabs = tab_lines(path, runs)
    assert [tab.length for tab in tabs] == pytest.approx([length + kerf] * count, abs=0.02)
    # Corners of the drawing, from the drawing itself: the cut path rounds them by half the kerf.
    points = outline.exterior.points
    sides = np.roll(points, -1, axis=0) - points
    heads = np.arctan2(sides[:, 1], sides[:, 0])
    turns = np.abs(np.angle(np.exp(1j * (heads - np.roll(heads, 1)))))
    for corner in points[turns > math.radians(25.0)]:
        for tab in tabs:
            assert tab.distance(Point(corner)) > min(CLEARANCE, 1.0) - 0.01
    even = path.length / count
    starts = np.cumsum([run.length + length + kerf for run in runs])
    assert np.diff([0.0, *starts]).min() >= 0.5 * even - 1e-6


@pytest.mark.parametrize("outline", [rectangle(20, 12), rectangle(30, 6), disc(7)])
def test_tabs_never_crowd(outline):
    """However many are asked for, each is as far from the next as it must be from folds, on either side."""
    path = cut_paths(outline, KERF).outside
    made = [runs_between_tabs(path, Tabs(count, 0.8), KERF) for count in range(1, 16)]
    assert min(run.length for runs in made for run in runs) >= 2.0 * CLEARANCE - 1e-6
    # More than these have no room: each takes a tab, a kerf and that clearance of the way round.
    assert all(len(runs) * (0.8 + KERF + 2.0 * CLEARANCE) <= path.length + 1e-6 for runs in made)
    assert not made[-1]


@given(st.floats(0.0, 40.0), st.integers(1, 4), st.sampled_from([0.0, 0.3]))
def test_no_tab_lies_over_a_fold(x, count, kerf):
    fold = Line(LineKind.FOLD, Path.polyline([(5 + x, 0), (50 - x, 40)], False), math.pi / 2)
    flap = part("flap", rectangle(55, 40), lines=[fold])
    made = build([flap], kerf=kerf, **{**ASKED, "tabs": count})
    runs = outline_runs(made, flap)
    assert len(runs) == count
    groove = LineString(fold.path.points)
    # Half the mouth of a square fold is its depth (tan 45): 6 mm less the skin of 0.6.
    for tab in tab_lines(cut_paths(flap.shape.outline, kerf).outside, runs):
        assert tab.distance(groove) >= 5.4 + CLEARANCE - 0.15


def test_an_edge_that_is_bevelled_all_along_has_none():
    bevel = Line(LineKind.BEVEL, Path.polyline([(0, 0), (50, 0)], False), math.pi / 4)
    tile = part("tile", rectangle(50, 40), lines=[bevel])
    made = build([tile], **ASKED)
    for tab in tab_lines(cut_paths(tile.shape.outline, KERF).outside, outline_runs(made, tile)):
        assert tab.bounds[1] > 1.0


def test_a_rounded_plate_by_hand():
    """60 x 40 with corners of 10: sides of 40 and 20 are left straight, so four tabs have one each."""
    path = rounded(60, 40, 10)
    runs = runs_between_tabs(path, Tabs(4, 2.5), 0.0)
    assert gaps(runs) == pytest.approx([2.5] * 4)
    sides = set()
    for before, after in zip(runs, [*runs[1:], runs[0]], strict=True):
        x, y = (before.end[0] + after.start[0]) / 2, (before.end[1] + after.start[1]) / 2
        sides.add(min((abs(x), "left"), (abs(60 - x), "right"), (abs(y), "lower"), (abs(40 - y), "upper")))
    assert [side for _, side in sorted(sides, key=lambda each: each[1])] == [
        "left",
        "lower",
        "right",
        "upper",
    ]
    assert max(away for away, _ in sides) < 1e-9


def test_a_small_disc_takes_them_on_its_curve_and_a_crumb_refuses():
    coin = part("coin", disc(4.0))
    crumb = part("crumb", disc(1.0))
    made = build([coin, crumb], **ASKED)
    assert len(outline_runs(made, coin)) == 3
    assert outline_runs(made, crumb) == ()
    assert list(tab_findings(made)) == ["crumb"]
    (finding,) = with_cutting_findings(made).parts[1].findings
    assert finding.code == "no-room-for-tabs"
    assert "3 holding tabs of 0.8 mm" in finding.text
    assert tabs_of(made, crumb) is None


def test_an_outline_with_less_room_gets_as_many_as_fit_and_says_so():
    """12 x 6: 2 mm off the corners long sides leave 8 for tabs of 3 mm, and short ones 2."""
    plate = part("plate", rectangle(12.0, 6.0))
    made = build([plate], kerf=0.0, tabs=4, tab_length=3.0)
    assert tabs_of(made, plate) == Tabs(2, 3.0)
    (job,) = make_jobs(made, [sheet(at(plate, 1, 50, 50))])
    assert job.tabs == {("plate", 1): 2}
    # Where the tabs lie: one on each long side.
    runs = [stroke.path for stroke in job.strokes]
    middles = sorted((a.end[1] + b.start[1]) / 2.0 for a, b in zip(runs, runs[::-1], strict=True))
    assert middles == pytest.approx([50.0, 56.0], abs=1e-6)
    (finding,) = tab_findings(made)["plate"]
    assert finding.text == (
        "its outline has no room for 4 holding tabs of 3 mm clear of corners and folds, and gets 2"
    )
    assert tab_findings(build([plate], kerf=0.0, tabs=2, tab_length=3.0)) == {}


@pytest.mark.parametrize(("radius", "count"), [(0.95, 2), (1.05, 4)])
def test_a_corner_rounded_by_less_than_a_millimetre_as_drawn_is_a_corner(radius, count):
    """The cut's own radius is larger by half the kerf. Short sides have room if they need not keep clear."""
    plate = part("plate", Outline(rounded(12.0, 6.0, radius)))
    assert tabs_of(build([plate], kerf=0.3, tabs=4, tab_length=2.5), plate) == Tabs(count, 2.5)


def test_who_gets_tabs():
    small, large = part("small", rectangle(30, 20)), part("large", rectangle(200, 20))
    none, some = replace(small, tabs=0), replace(large, tabs=2, tab_length=1.5)
    by_hand = replace(small, by_hand=True)
    made = build([small, large, none, some, by_hand], **ASKED)
    assert tabs_of(made, small) == Tabs(3, 0.8)
    assert tabs_of(made, large) is None
    assert tabs_of(made, none) is None
    assert tabs_of(made, some) == Tabs(2, 1.5)
    assert tabs_of(made, by_hand) is None
    assert tabs_of(build([small]), small) is None
    assert tabs_of(build([small], kind="hand", **ASKED), small) is None


@pytest.mark.parametrize("changes", [{"kind": "hand"}, {}])
def test_tabs_of_what_is_cut_by_hand_are_told(changes):
    plate = replace(part("plate", rectangle(30, 20)), tabs=2, by_hand=not changes)
    silent = replace(plate, name="silent", tabs=None)
    made = with_cutting_findings(build([plate, silent], **ASKED, **changes))
    assert [f.code for f in made.parts[0].findings] == ["tabs-by-hand"]
    assert made.parts[1].findings == ()


def test_runs_of_one_outline_follow_each_other_round_it_and_time_counts_them():
    plate = part("plate", Outline(rounded(60, 40, 10), (Path.circle(30, 20, 5),)))
    made = build([plate], **ASKED)
    whole = make_jobs(build([plate]), [sheet(at(plate, 1, 50, 50), at(plate, 2, 200, 90, 1.0))])[0]
    (job,) = make_jobs(made, [sheet(at(plate, 1, 50, 50), at(plate, 2, 200, 90, 1.0))])
    assert job.tabs == {("plate", 1): 3, ("plate", 2): 3}
    assert whole.tabs == {}
    layers = [(s.layer, s.copy) for s in job.strokes]
    assert len(list(itertools.groupby(layers))) == 4
    for copy in (1, 2):
        runs = [s.path for s in job.strokes if s.is_run and s.copy == copy]
        assert sorted(gaps(runs)) == pytest.approx([0.8 + KERF] * 3, abs=1e-3)
    assert job.cut_length == pytest.approx(whole.cut_length - 6 * (0.8 + KERF))
    assert job.least <= job.travel <= job.nearest
    # Each outline takes two hops over tabs; the third is left beside the last.
    assert job.travel >= 4 * (0.8 + KERF)
    assert job.times.cutting == pytest.approx(job.cut_length / made.cutter.cut_speed)


def test_sheets_for_the_hand_have_none():
    plate = part("plate", rectangle(30, 20))
    (job,) = make_jobs(build([plate], **ASKED), [sheet(at(plate, 1, 50, 50), how="hand")])
    assert job.tabs == {}
