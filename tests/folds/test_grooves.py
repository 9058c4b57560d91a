"""Areas of grooves: clean at edges, merged where they meet, and what can't be etched named."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, MultiPolygon, Polygon

from nestkit.folds import FoldSettings, part_grooves, steps_for
from nestkit.folds.grooves import rings_of
from nestkit.folds.hatch import hatch, line_counts
from nestkit.geometry import Line, LineKind, Outline, Path, Shape
from tests.folds_bench import bevel, fold, plate
from tests.naive import painted

STEPS = steps_for(10.0, FoldSettings(pass_depth=2.0, skin=2.0))  # widths 14, 10, 6, 2 at 90 degrees
KERF = 0.2
RING = [(0, 0), (100, 0), (100, 60), (0, 60)]


def shape_of(points, *lines: Line, holes=()) -> Shape:
    return Shape(Outline(Path.polyline(points, True), tuple(holes)), lines)


def volume(grooves, part: Polygon) -> float:
    pairs = zip(grooves.areas, grooves.steps.rises, strict=True)
    return sum(area.intersection(part).area * rise for area, rise in pairs)


def test_runs_past_the_edge_by_the_kerf() -> None:
    grooves = part_grooves(plate(100, 60, fold(90, (50, 0), (50, 60))), STEPS, KERF)
    for area, half in zip(grooves.areas, (7, 5, 3, 1), strict=True):
        assert area.bounds == pytest.approx((50 - half, -KERF, 50 + half, 60 + KERF), abs=1e-4)
        assert len(area.geoms) == 1


@pytest.mark.parametrize("left", [0.5, 0.8, 5.0])
def test_a_narrow_rib_beside_a_window_is_etched_too(left: float) -> None:
    """A window wider than the groove leaves so much foam between itself and the upper edge."""
    window = Path.rectangle(30, 20, 35, 60 - left - 20)
    grooves = part_grooves(shape_of(RING, fold(90, (50, 0), (50, 60)), holes=[window]), STEPS, KERF)
    for area, half in zip(grooves.areas, (7, 5, 3, 1), strict=True):
        assert area.intersection(shapely.box(0, 60 - left, 100, 60)).area == pytest.approx(
            2 * half * left, rel=1e-3
        )


@given(st.floats(25.0, 155.0), st.floats(30.0, 120.0))
def test_an_oblique_fold_takes_away_its_v(direction: float, degrees: float) -> None:
    lean = 100.0 / math.tan(math.radians(direction))
    shape = plate(800, 100, fold(degrees, (400 - lean / 2, 0), (400 + lean / 2, 100)))
    grooves = part_grooves(shape, STEPS, KERF)
    v = math.hypot(100.0, lean) * 8.0**2 * math.tan(math.radians(degrees) / 2.0)
    assert not grooves.flaws
    assert volume(grooves, shape.outline.polygon()) == pytest.approx(v, rel=1e-3)


@given(st.floats(20.0, 80.0), st.floats(30.0, 100.0))
def test_a_curved_fold_takes_away_its_v(radius: float, degrees: float) -> None:
    circle = Line(LineKind.FOLD, Path.circle(150, 150, radius), math.radians(degrees))
    shape = plate(300, 300, circle)
    grooves = part_grooves(shape, STEPS, KERF)
    v = math.tau * radius * 8.0**2 * math.tan(math.radians(degrees) / 2.0)
    assert volume(grooves, shape.outline.polygon()) == pytest.approx(v, rel=1e-3)
    assert all(len(ring.interiors) == 1 for area in grooves.areas for ring in area.geoms)


def test_a_box_has_one_frame_of_grooves_that_stops_at_its_corners() -> None:
    # A cross of five squares: its folds begin and end in corners that point inward.
    cross = [(0, 0), (0, -80), (80, -80), (80, 0), (160, 0), (160, 80)]
    cross += [(80, 80), (80, 160), (0, 160), (0, 80), (-80, 80), (-80, 0)]
    corners = [(0, 0), (80, 0), (80, 80), (0, 80)]
    lines = [fold(90, corners[k - 1], corners[k]) for k in range(4)]
    grooves = part_grooves(shape_of(cross, *lines), STEPS, KERF)
    assert not grooves.flaws
    assert not grooves.findings
    for area, half in zip(grooves.areas, (7, 5, 3, 1), strict=True):
        (ring,) = area.geoms
        assert len(ring.interiors) == 1
        inside = area.intersection(Polygon(cross)).area
        # Four bands of 80 mm, the outer halves over the whole length, the inner halves mitred.
        assert inside == pytest.approx(4 * 80 * half + 4 * (80 * half - half * half), rel=1e-4)


def test_folds_that_meet_inside_leave_no_ridge() -> None:
    spokes = [
        fold(60, (100, 100), (100 + 100 * math.cos(a), 100 + 100 * math.sin(a))) for a in (1.57, 3.3, 5.4)
    ]
    grooves = part_grooves(plate(200, 200, *spokes), STEPS, KERF)
    half = STEPS.widths(LineKind.FOLD, math.radians(60))[0] / 2
    assert grooves.areas[0].buffer(1e-3).contains(shapely.Point(100, 100).buffer(half - 0.01))


@settings(max_examples=25)
@given(st.lists(st.tuples(st.floats(0, 180), st.floats(20, 100)), min_size=2, max_size=4))
def test_merged_passes_are_the_union_of_each_fold_alone(folds: list[tuple[float, float]]) -> None:
    lines = []
    for direction, degrees in folds:
        dx, dy = math.cos(math.radians(direction)), math.sin(math.radians(direction))
        reach = 60.0 / max(abs(dx), abs(dy))
        lines.append(fold(degrees, (60 - reach * dx, 60 - reach * dy), (60 + reach * dx, 60 + reach * dy)))
    together = part_grooves(plate(120, 120, *lines), STEPS, KERF)
    alone = [part_grooves(plate(120, 120, line), STEPS, KERF) for line in lines]
    for k, area in enumerate(together.areas):
        union = shapely.union_all([one.areas[k] for one in alone])
        assert area.symmetric_difference(union).area < 0.01
        # Shapely's polygons don't overlap: nowhere is etched twice.
        assert area.is_valid
        if k:
            assert area.difference(together.areas[k - 1].buffer(1e-4)).area < 1e-6
            assert area.area < together.areas[k - 1].area


def test_merged_passes_against_painted_squares() -> None:
    """The naive twin paints every square within half a width of a line, for folds at right angles."""
    lines = [fold(90, (50, 0), (50, 100)), fold(90, (0, 30), (100, 30)), fold(45, (0, 70), (100, 70))]
    grooves = part_grooves(plate(100, 100, *lines), STEPS, 0.0)
    step = 0.5
    for k, area in enumerate(grooves.areas):
        halves = [STEPS.widths(LineKind.FOLD, line.angle)[k] / 2 for line in lines]
        segments = [(line.path.start, line.path.end) for line in lines]
        squares = painted(segments, halves, 100.0, step)
        centres = shapely.points(*np.meshgrid(np.arange(step / 2, 100, step), np.arange(step / 2, 100, step)))
        assert (shapely.contains(area, centres) != squares).mean() < 0.002


def test_bevels_reach_the_neighbouring_edges_and_past_their_own() -> None:
    hexagon = [(50 * math.cos(k * math.pi / 3), 50 * math.sin(k * math.pi / 3)) for k in range(6)]
    grooves = part_grooves(shape_of(hexagon, bevel(45, hexagon[0], hexagon[1])), STEPS, KERF)
    part = Polygon(hexagon)
    edge = LineString(hexagon[:2])
    for area, width in zip(grooves.areas, STEPS.widths(LineKind.BEVEL, math.pi / 4), strict=True):
        wanted = part.intersection(edge.buffer(60, cap_style="square")).difference(
            part.difference(LineString(edge).buffer(width, cap_style="flat").union(_half_plane(edge, width)))
        )
        assert area.intersection(part).symmetric_difference(wanted).area < 0.01
        assert area.buffer(1e-3).contains(edge.buffer(KERF - 1e-3, cap_style="flat").difference(part))
    assert {grooves.kind_of(ring) for area in grooves.areas for ring in area.geoms} == {LineKind.BEVEL}


def _half_plane(edge: LineString, width: float) -> Polygon:
    """Everything on the inner side of an edge and no farther from its line than the width."""
    (x0, y0), (x1, y1) = edge.coords
    dx, dy = (x1 - x0) / edge.length, (y1 - y0) / edge.length
    far = 200.0
    a, b = (x0 - far * dx, y0 - far * dy), (x1 + far * dx, y1 + far * dy)
    return Polygon([a, b, (b[0] - width * dy, b[1] + width * dx), (a[0] - width * dy, a[1] + width * dx)])


def test_a_groove_does_not_jump_over_a_slot() -> None:
    comb = [(0, 0), (100, 0), (100, 60), (54, 60), (54, 1), (53, 1), (53, 60), (0, 60)]
    grooves = part_grooves(shape_of(comb, fold(90, (49, 1), (49, 60))), STEPS, KERF)
    assert not grooves.areas[0].intersects(shapely.box(55, 5, 100, 60))


FLAWED = [
    (fold(90, (96, 0), (96, 60)), "reaches out of the part at the side"),
    (fold(90, (300, 0), (300, 60)), "lies outside of the part"),
    (bevel(45, (50, 0), (50, 60)), "does not run along an edge"),
    (bevel(88, (0, 0), (100, 0)), "reaches out of the part at the side"),
]


@pytest.mark.parametrize(("line", "what"), FLAWED)
def test_what_cant_be_etched_is_named(line: Line, what: str) -> None:
    grooves = part_grooves(plate(100, 60, fold(90, (40, 0), (40, 60)), line), STEPS, KERF)
    (flaw,) = grooves.flaws
    assert what in flaw.what
    assert flaw.groove.startswith(f"{line.kind} {math.degrees(line.angle):g} from (")
    assert [groove.number for groove in grooves.grooves] == [1]


@pytest.mark.parametrize("degrees", [8.0, 15.0, 40.0])
def test_a_groove_runs_into_a_sharp_tip(degrees: float) -> None:
    half = 40.0 * math.tan(math.radians(degrees))
    kite = [(0, 0), (40, -half), (90, 0), (40, half)]
    grooves = part_grooves(shape_of(kite, fold(30, (0, 0), (90, 0))), STEPS, KERF)
    assert not grooves.flaws
    part = Polygon(kite)
    for area, width in zip(grooves.areas, STEPS.widths(LineKind.FOLD, math.pi / 6), strict=True):
        wanted = part.intersection(LineString([(0, 0), (90, 0)]).buffer(width / 2.0, cap_style="flat"))
        assert area.intersection(part).symmetric_difference(wanted).area < 0.01
        assert part.buffer(KERF + 1e-4).covers(area)
        assert area.bounds[2] > 90.0 + 0.9 * KERF


def test_a_strip_narrower_than_its_groove_is_no_tip() -> None:
    grooves = part_grooves(plate(100, 12, fold(90, (0, 6), (100, 6))), STEPS, KERF)
    assert "reaches out of the part at the side" in grooves.flaws[0].what


def test_grooves_that_swallow_the_foam_between_them_are_noticed() -> None:
    lines = [fold(90, (0, 25), (100, 25)), fold(60, (0, 33), (100, 33))]
    (finding,) = part_grooves(plate(100, 60, *lines), STEPS, KERF).findings
    assert finding.code == "grooves-overlap"
    tight = Line(LineKind.FOLD, Path.circle(50, 30, 6), math.pi / 2)
    assert [f.code for f in part_grooves(plate(100, 60, tight), STEPS, KERF).findings] == ["fold-tight"]


def test_lips_are_the_edges_of_the_v() -> None:
    grooves = part_grooves(plate(100, 60, fold(90, (50, 0), (50, 60))), STEPS, KERF)
    assert sorted(lip.start[0] for lip in grooves.lips) == pytest.approx([42, 58])
    half = part_grooves(plate(100, 60, bevel(45, (0, 0), (100, 0))), STEPS, KERF)
    (lip,) = half.lips
    assert lip.points[:, 1] == pytest.approx([8, 8])


def test_a_fold_of_no_angle_has_no_groove() -> None:
    grooves = part_grooves(plate(100, 60, fold(0, (50, 0), (50, 60))), STEPS, KERF)
    assert grooves.grooves == ()
    assert all(area.is_empty for area in grooves.areas)


def test_rings_give_back_the_areas() -> None:
    circle = Line(LineKind.FOLD, Path.circle(50, 50, 20), math.pi / 2)
    grooves = part_grooves(plate(100, 100, circle), STEPS, KERF)
    ((area, rings),) = rings_of(grooves.areas[0])
    assert sum(ring.signed_area for ring in rings) == pytest.approx(area.area)
    assert [ring.signed_area > 0 for ring in rings] == [True, False]


@given(st.floats(-math.pi, math.pi), st.floats(0.05, 0.5))
def test_hatch_lines_fill_the_area_at_their_pitch(angle: float, pitch: float) -> None:
    area = MultiPolygon([shapely.box(0, 0, 30, 4), shapely.Point(40, 10).buffer(5)])
    lines = [LineString(path.points) for path in hatch(area, pitch, angle)]
    assert sum(line.length for line in lines) * pitch == pytest.approx(area.area, rel=0.15)
    assert area.buffer(1e-6).covers(MultiPolygon() if not lines else shapely.MultiLineString(lines))
    dx, dy = math.cos(angle), math.sin(angle)
    for line in lines:
        (x0, y0), (x1, y1) = line.coords
        assert abs((x1 - x0) * dy - (y1 - y0) * dx) < 1e-6


@pytest.mark.parametrize("pitch", [0.1, 0.2])
@pytest.mark.parametrize("degrees", [10, 20, 40, 90])
@pytest.mark.parametrize("direction", [0.0, 0.004, 0.2, math.pi / 2])
def test_every_groove_gets_its_lines_where_grooves_cross(
    degrees: float, direction: float, pitch: float
) -> None:
    lean = 50.0 * math.tan(0.003)
    lines = (fold(degrees, (0, 50 - lean), (100, 50 + lean)), fold(degrees, (50, 0), (50, 100)))
    steps = steps_for(4.0, FoldSettings(pass_depth=0.8, skin=0.6))
    grooves = part_grooves(plate(100, 100, *lines), steps, KERF)
    for band in grooves.bands:
        away = wanted = 0.0
        for number, (area, rise) in enumerate(zip(band.areas, steps.rises, strict=True), start=1):
            pieces = band.lines(number, steps.rises, pitch, direction)
            drawn = [LineString(path.points) for paths in pieces for path in paths]
            # Along the whole of the groove no place is without a line near it.
            holes = area.difference(shapely.union_all([line.buffer(pitch + 0.01) for line in drawn]))
            assert holes.area < 1e-3
            away += rise * pitch * sum(line.length for line in drawn)
            wanted += rise * area.area
        along = band.surplus(steps.rises, pitch, direction)
        assert away / wanted - 1.0 == pytest.approx(along, abs=0.01)
        assert abs(along) < 0.07


def test_a_curved_narrow_groove_gets_one_line_along_it() -> None:
    circle = Line(LineKind.FOLD, Path.circle(50, 50, 30), math.radians(8))
    steps = steps_for(4.0, FoldSettings())
    (band,) = part_grooves(plate(100, 100, circle), steps, KERF).bands
    ((path,),) = band.lines(steps.count, steps.rises, 0.2, 0.3)
    assert path.length == pytest.approx(math.tau * 30, rel=1e-3)


@given(st.lists(st.floats(0.02, 5.0), min_size=1, max_size=8), st.floats(0.05, 1.0))
def test_what_whole_lines_miss_is_made_up_by_other_passes(widths: list[float], pitch: float) -> None:
    widths = sorted(widths, reverse=True)
    counts = line_counts(widths, [0.8] * len(widths), pitch)
    assert min(counts) >= 1
    if max(counts) > 1:
        missing = sum(count * pitch - width for count, width in zip(counts, widths, strict=True))
        assert missing <= len(widths) * pitch
    if widths[0] - sum(max(pitch - width, 0.0) for width in widths) > pitch:
        assert abs(sum(counts) * pitch - sum(widths)) <= pitch / 2 + 1e-9
