"""Chords become arcs: near the true curve, tangent, closed, of the same area, and few.

Outside sources: curves are sampled from their own formulas (ellipse, Bezier, Fourier series), fitted paths
are taken apart and flattened by ezdxf and read from a DXF by GDAL, distances are shapely's. The 0.02 mm are
the project's own promise.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path as FilePath

import numpy as np
import pyogrio
import pytest
import shapely
from ezdxf.entities import Arc, Line, LWPolyline
from hypothesis import given, settings
from hypothesis import strategies as st

from nestkit.cutting.model import CUT_OUTSIDE_LAYER, Job, Stroke
from nestkit.geometry import CURVE_FLATNESS, Path
from nestkit.geometry.affine import compose, rotation, translation
from nestkit.geometry.fitting import TOLERANCE, fitted
from nestkit.geometry.offset import offset
from nestkit.output.dxf import dxf_bytes
from tests.output.sample_plan import lantern
from tests.strategies import outlines

PROMISED = 0.02
FINE = 0.0005
Curve = Callable[[np.ndarray], np.ndarray]


def chords(curve: Curve, flatness: float = CURVE_FLATNESS) -> np.ndarray:
    """Points at equal steps, so many that the middle of every chord is within ``flatness`` of the curve."""
    count = 8
    while True:
        t = np.arange(count + 1) / count
        ends, middles = curve(t), curve((t[:-1] + t[1:]) / 2.0)
        if np.hypot(*((ends[:-1] + ends[1:]) / 2.0 - middles).T).max() <= flatness:
            return ends
        count = math.ceil(1.2 * count)


def ring(points: np.ndarray) -> Path:
    """A closed path through points that end where they begin."""
    return Path.polyline(points[:-1], True)


def taken_apart(path: Path) -> list[Line | Arc]:
    """The path's pieces as ezdxf has them."""
    polyline = LWPolyline.new()
    polyline.set_points(path.vertices.tolist(), format="xyb")
    polyline.closed = path.closed
    return list(polyline.virtual_entities())


def by_ezdxf(path: Path) -> np.ndarray:
    """Points of the path as ezdxf takes it apart, arcs within `FINE`; a closed one ends where it begins."""
    points = [np.array([path.start])]
    for piece in taken_apart(path):
        if isinstance(piece, Arc):
            run = np.array([tuple(point)[:2] for point in piece.flattening(FINE)])
        else:
            run = np.array([tuple(piece.dxf.start)[:2], tuple(piece.dxf.end)[:2]])
        near = np.hypot(*(run[[0, -1]] - points[-1][-1]).T)
        points.append(run[1:] if near[0] <= near[1] else run[-2::-1])
    found = np.concatenate(points)
    return np.vstack((found[:-1], found[:1])) if path.closed else found


def near(one: np.ndarray, other: np.ndarray, limit: float) -> bool:
    """Whether no point of either line is farther than ``limit`` mm from the other line."""
    lines = [shapely.linestrings(one), shapely.linestrings(other)]
    shapely.prepare(lines)
    return all(
        shapely.dwithin(line, shapely.points(points), limit).all()
        for line, points in zip(lines, (other, one), strict=True)
    )


def densely(points: np.ndarray, between: int = 8) -> np.ndarray:
    """Points with so many more on each chord."""
    shares = np.linspace(0.0, 1.0, between, endpoint=False)[:, None]
    runs = [a + (b - a) * shares for a, b in pairwise(points)]
    return np.concatenate([*runs, points[-1:]])


def kinks(path: Path) -> np.ndarray:
    """Turn at each joint, degrees, from the bulges alone (an arc leaves its chord by 2 atan(bulge))."""
    x0, y0, x1, y1, bulge = path.pieces().T
    chord, lean = np.arctan2(y1 - y0, x1 - x0), 2.0 * np.arctan(bulge)
    turn = np.roll(chord - lean, -1) - (chord + lean)
    turn = turn if path.closed else turn[:-1]
    return np.abs(np.degrees((turn + math.pi) % math.tau - math.pi))


def area(path: Path) -> float:
    """Signed, mm^2: of shapely's polygon through the vertices and the segments of ezdxf's arcs."""
    arcs = [piece for piece in taken_apart(path) if isinstance(piece, Arc)]
    sweeps = np.radians([(arc.dxf.end_angle - arc.dxf.start_angle) % 360.0 for arc in arcs])
    radii = np.array([arc.dxf.radius for arc in arcs])
    bulges = path.vertices[:, 2]
    segments = radii**2 / 2.0 * (sweeps - np.sin(sweeps)) * np.sign(bulges[bulges != 0.0])
    corners = shapely.LinearRing(path.points)
    return shapely.Polygon(corners).area * (1.0 if corners.is_ccw else -1.0) + float(segments.sum())


def judge(curve: Curve, path: Path) -> Path:
    """Everything that is true of every fitted curve without corners; gives what was fitted."""
    found = fitted(path)
    points = by_ezdxf(found)
    assert found.closed == path.closed
    assert near(points, curve(np.linspace(0.0, 1.0, 4001)), PROMISED)
    drawn = np.vstack((path.points, path.points[:1])) if path.closed else path.points
    assert near(points, densely(drawn), TOLERANCE + 2.0 * FINE)
    assert shapely.LineString(points).is_simple
    if path.closed:
        true = shapely.Polygon(curve(np.linspace(0.0, 1.0, 4001))).area
        assert abs(area(found) / area(path) - 1.0) < 1e-4
        # Chords lack what is between them and the curve: no more than that is lost of its area.
        assert -1e-4 * true < true - abs(area(found)) < 1e-4 * true + (true - abs(area(path)))
        assert math.copysign(1.0, found.signed_area) == math.copysign(1.0, path.signed_area)
    else:
        assert found.start == path.start
        assert found.end == path.end
    assert kinks(found).max(initial=0.0) < 0.5
    return found


def ellipse(a: float, b: float) -> Curve:
    return lambda t: np.column_stack((a * np.cos(math.tau * t), b * np.sin(math.tau * t)))


def bezier(*control: tuple[float, float]) -> Curve:
    p = np.array(control)
    return lambda t: np.column_stack(((1 - t) ** 3, 3 * (1 - t) ** 2 * t, 3 * (1 - t) * t**2, t**3)) @ p


@st.composite
def blobs(draw: st.DrawFn, smallest: float = 8.0, largest: float = 200.0) -> Curve:
    """A smooth closed curve: a circle whose radius swings a little, seen whole from its middle."""
    radius = draw(st.floats(smallest, largest))
    waves = range(2, 7)
    sizes = [draw(st.floats(0.0, 0.25)) * radius / k**2 for k in waves]
    begins = [draw(st.floats(0.0, math.tau)) for _ in waves]

    def curve(t: np.ndarray) -> np.ndarray:
        angle = math.tau * t
        r = radius + sum(s * np.cos(k * angle + b) for k, s, b in zip(waves, sizes, begins, strict=True))
        return np.column_stack((r * np.cos(angle), r * np.sin(angle)))

    return curve


@settings(max_examples=20, deadline=None)
@given(blobs())
def test_smooth_rings(curve):
    path = ring(chords(curve))
    found = judge(curve, path)
    assert len(path.vertices) >= 4 * len(found.vertices)


def keeps_its_area(path: Path) -> bool:
    """To a ten-thousandth."""
    return abs(area(fitted(path)) / area(path) - 1.0) < 1e-4


@settings(max_examples=8, deadline=None)
@given(blobs(smallest=1.0, largest=20.0), st.floats(0.0, 0.5))
def test_however_small_a_ring_is_it_keeps_its_area(curve, kerf):
    path = ring(chords(curve))
    for moved in (path, *offset(path, kerf / 2.0), *offset(path, -kerf / 2.0)):
        assert keeps_its_area(moved)
    line = curve(np.linspace(0.0, 1.0, 4001))
    assert near(by_ezdxf(fitted(path)), line, PROMISED)
    assert near(line, densely(by_ezdxf(fitted(path))), PROMISED)


@settings(max_examples=30, deadline=None)
@given(outlines(holes=False), st.floats(0.0, 4.0), st.floats(0.05, 0.5))
def test_a_ring_with_round_corners_keeps_its_area(outline, radius, kerf):
    """Corners rounded in chords: shrunk, then grown, which leaves the straight sides where they were."""
    for inner in offset(outline.exterior, -radius):
        for grown in offset(Path.polyline(inner.flatten(CURVE_FLATNESS), True), radius + kerf / 2.0):
            in_chords = Path.polyline(grown.flatten(CURVE_FLATNESS), True)
            assert keeps_its_area(in_chords)
            drawn = densely(np.vstack((in_chords.points, in_chords.points[:1])))
            assert near(by_ezdxf(fitted(in_chords)), drawn, TOLERANCE + 2.0 * FINE)


@settings(max_examples=20)
@given(st.floats(10.0, 300.0), st.floats(0.35, 1.0), st.floats(-math.pi, math.pi))
def test_ellipses(a, share, turn):
    """Not the small and slim ones, whose area only their chords may keep."""
    move = compose(translation(500.0, 300.0), rotation(turn))
    curve = lambda t: ellipse(a, a * share)(t) @ move[:, :2].T + move[:, 2]  # noqa: E731
    judge(curve, ring(chords(curve)))


@settings(max_examples=30)
@given(st.lists(st.tuples(st.floats(-60, 60), st.floats(-60, 60)), min_size=2, max_size=2))
def test_open_curves_keep_their_ends(inner):
    curve = bezier((-80.0, 0.0), *inner, (80.0, 5.0))
    points = chords(curve)
    path = Path.polyline(points, False)
    found = fitted(path)
    assert (found.start, found.end) == (path.start, path.end)
    assert near(by_ezdxf(found), curve(np.linspace(0.0, 1.0, 4001)), PROMISED)
    assert len(found.vertices) <= len(path.vertices)


@settings(max_examples=30)
@given(blobs(), st.floats(0.05, 0.5), st.booleans())
def test_offsets_of_curves(curve, distance_out, inward):
    """What the kerf makes of a curve: the distance is measured from the curve itself."""
    far = -distance_out if inward else distance_out
    (moved, *_) = offset(ring(chords(curve)), far)
    found = fitted(moved)
    line = shapely.LineString(curve(np.linspace(0.0, 1.0, 8001)))
    spots = shapely.points(by_ezdxf(found))
    shapely.prepare(line)
    assert shapely.dwithin(line, spots, distance_out + PROMISED).all()
    assert not shapely.dwithin(line, spots, distance_out - PROMISED).any()
    assert len(moved.vertices) >= 4 * len(found.vertices)
    # More than elsewhere: rounds about the chords' ends come as arcs thousandths of a mm long, and arcs stay.
    assert kinks(found).max() < 1.0


@given(outlines(holes=False))
def test_corners_stay(outline):
    path = outline.exterior
    found = fitted(path)
    sides = np.roll(path.points, -1, axis=0) - path.points
    heads = np.arctan2(sides[:, 1], sides[:, 0])
    turns = np.abs(np.angle(np.exp(1j * (heads - np.roll(heads, 1)))))
    corners = {tuple(point) for point in path.points.tolist()}
    kept = {tuple(point) for point in found.points.tolist()}
    # What hardly turns may lie within the tolerance of a straight line, and is no corner then.
    assert {tuple(point) for point in path.points[turns > np.radians(1.0)].tolist()} <= kept <= corners
    assert not found.has_arcs or turns.min() < np.radians(1.0)


@settings(max_examples=30)
@given(st.floats(5.0, 60.0), st.floats(12.0, 80.0), st.floats(12.0, 80.0), st.integers(0, 400))
def test_a_rounded_rectangle_is_four_lines_and_its_corners(radius, width, height, begin):
    """Drawn as chords, begun anywhere: the straight sides stay, and each corner is an arc of its radius."""
    step = 2.0 * math.acos(1.0 - CURVE_FLATNESS / radius)
    angles = np.linspace(0.0, math.pi / 2.0, math.ceil(math.pi / 2.0 / step) + 1)
    middles = [(width, height), (0.0, height), (0.0, 0.0), (width, 0.0)]
    points = [
        (x + radius * math.cos(a + k * math.pi / 2.0), y + radius * math.sin(a + k * math.pi / 2.0))
        for k, (x, y) in enumerate(middles)
        for a in angles.tolist()
    ]
    path = Path.polyline(np.roll(np.array(points), begin % len(points), axis=0), True)
    found = fitted(path)
    x0, y0, x1, y1, bulge = found.pieces().T
    chord = np.hypot(x1 - x0, y1 - y0)
    assert (bulge != 0.0).sum() <= 12
    assert sorted(chord[bulge == 0.0]) == pytest.approx(sorted([width, width, height, height]), abs=1e-6)
    radii = chord[bulge != 0.0] * (1.0 + bulge[bulge != 0.0] ** 2) / 4.0 / bulge[bulge != 0.0]
    assert radii == pytest.approx(np.full(len(radii), radius), abs=0.02 + 0.002 * radius)
    assert kinks(found).max() < 0.5
    true = width * height + 2.0 * radius * (width + height) + math.pi * radius**2
    assert abs(area(found) / area(path) - 1.0) < 1e-4
    assert abs(area(found) - true) < max(1e-4 * true, true - area(path))


def test_a_circle_is_a_few_arcs_of_its_radius():
    found = judge(ellipse(50.0, 50.0), ring(chords(ellipse(50.0, 50.0))))
    assert len(found.vertices) <= 4
    x0, y0, x1, y1, bulge = found.pieces().T
    assert np.hypot(x1 - x0, y1 - y0) * (1.0 + bulge**2) / 4.0 / bulge == pytest.approx(50.0, abs=0.01)


def test_arcs_that_are_there_stay():
    wave = bezier((0.0, 0.0), (20.0, 30.0), (60.0, -30.0), (80.0, 0.0))
    rows = [(x, y, 0.0) for x, y in chords(wave)]
    rows[-1] = (80.0, 0.0, -1.0)
    path = Path(np.array([*rows, (80.0, -60.0, 0.0), (0.0, -60.0, -0.5)]), True)
    found = fitted(path)
    kept = {tuple(row) for row in path.pieces().tolist() if row[4]}
    assert kept <= {tuple(row) for row in found.pieces().tolist()}
    assert len(found.vertices) * 5 < len(path.vertices)


def test_a_teardrop_keeps_its_point():
    drop = bezier((0.0, 0.0), (60.0, 60.0), (-60.0, 60.0), (0.0, 0.0))
    found = fitted(ring(chords(drop)))
    turns = kinks(found)
    assert found.points[int(turns.argmax())].tolist() != []
    assert (turns > 1.0).sum() == 1
    at = (int(turns.argmax()) + 1) % len(turns)
    assert found.points[at] == pytest.approx([0.0, 0.0], abs=1e-9)


def test_nothing_is_made_of_little():
    square = Path.polyline([(0, 0), (10, 0), (10, 10), (0, 10)], True)
    assert fitted(square) is square
    twice = Path.polyline([(0, 0), (0, 0), (10, 0), (10, 0), (10, 10), (0, 10), (0, 10)], True)
    assert fitted(twice).signed_area == 100.0
    assert fitted(Path.circle(3, 4, 5)).signed_area == pytest.approx(25.0 * math.pi)
    with pytest.raises(ValueError, match="above 0"):
        fitted(square, 0.0)


@pytest.mark.parametrize("gap", [0.004, 0.02, 0.1])
def test_a_narrow_slit_never_closes(gap):
    """Two curves side by side, nearer than arcs may stray: they do not come to cross each other."""
    wave = chords(bezier((0.0, 0.0), (30.0, 40.0), (60.0, -40.0), (90.0, 0.0)))
    slit = np.vstack((wave, wave[::-1] - (0.0, gap)))
    found = fitted(Path.polyline(slit, True))
    assert shapely.LinearRing(found.flatten(FINE)).is_simple
    assert near(by_ezdxf(found), densely(np.vstack((slit, slit[:1]))), TOLERANCE + 2.0 * FINE)


def test_gdal_reads_the_fitted_curve(tmp_path: FilePath):
    curve = ellipse(70.0, 30.0)
    found = fitted(ring(chords(curve)))
    job = Job("arcs", lantern().jobs[0].sheet, (Stroke(CUT_OUTSIDE_LAYER, found, "arc", 1),), 0.0, 0.0)
    file = tmp_path / "arcs.dxf"
    file.write_bytes(dxf_bytes(job))
    options = {"DXF_CLOSED_LINE_AS_POLYGON": "YES", "OGR_ARC_STEPSIZE": "0.1"}
    pyogrio.set_gdal_config_options(options)
    shapes = shapely.from_wkb(pyogrio.raw.read(file)[2])
    pyogrio.set_gdal_config_options(dict.fromkeys(options))
    read = shapes[1]
    assert near(shapely.get_coordinates(read), curve(np.linspace(0.0, 1.0, 4001)), PROMISED)
    assert read.area == pytest.approx(math.pi * 70.0 * 30.0, rel=1e-4)
