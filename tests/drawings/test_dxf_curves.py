"""DXF curves: bulges, ellipses and splines against published values, GDAL and dense sampling."""

from __future__ import annotations

import math

import ezdxf
import numpy as np
import pyogrio
import pytest
import shapely
from ezdxf.math import BSpline, Vec3
from hypothesis import given, settings
from hypothesis import strategies as st

from nestkit.drawings.dxf_curves import Spline, bezier_pieces, flatten_rational
from nestkit.geometry import affine as af
from tests.drawings.dxf_made import codes, only, reread, saved

QUARTER = math.tan(math.pi / 8)

# Chord from (0, 0) to (10, 0); Autodesk's bulge definition, tan(angle / 4), the rest derived from it.
BULGES = [
    (45, 0.198912367379658, 10.261721529770),
    (60, 0.267949192431123, 10.471975511966),
    (90, 0.414213562373095, 11.107207345396),
    (120, 0.577350269189626, 12.091995761561),
    (180, 1.0, 15.707963267949),
    (270, 2.414213562373095, 33.321622036188),
]


@pytest.mark.parametrize(("degrees", "bulge", "length"), BULGES)
@pytest.mark.parametrize("kind", ["lwpolyline", "polyline"])
def test_an_arc_keeps_its_length_and_no_bulge_exceeds_a_half_circle(tmp_path, degrees, bulge, length, kind):
    def draw(_document, space):
        if kind == "lwpolyline":
            space.add_lwpolyline([(0, 0, bulge), (10, 0, 0)], format="xyb")
        else:
            space.add_polyline2d([(0, 0, bulge), (10, 0, 0)], format="xyb")

    path = only(reread(tmp_path, draw)).path
    assert path.length == pytest.approx(length, rel=1e-9)
    assert np.abs(path.vertices[:, 2]).max() <= 1.0
    assert len(path.vertices) == (3 if degrees > 180 else 2)


def test_a_positive_bulge_runs_to_the_right(tmp_path):
    path = only(reread(tmp_path, lambda _, s: s.add_lwpolyline([(0, 0, 1), (10, 0, 0)], format="xyb"))).path
    assert path.bounds == pytest.approx((0, -5, 10, 0), abs=1e-9)


@pytest.mark.parametrize(
    ("rows", "area", "length"),
    [
        ([(0, 0, 1), (10, 0, 1)], 78.53981633974483, 10 * math.pi),
        ([(0, 0, 0), (50, 0, 1), (50, 10, 0), (0, 10, 1)], 578.5398163397448, 131.41592653589794),
        (
            [
                *((10, 0, 0), (90, 0, QUARTER), (100, 10, 0), (100, 50, QUARTER)),
                *((90, 60, 0), (10, 60, QUARTER), (0, 50, 0), (0, 10, QUARTER)),
            ],
            5914.15926535898,
            302.8318530717959,
        ),
        ([(3, 4, 0), (5, 11, 0), (12, 8, 0), (9, 5, 0), (5, 6, 0)], -30, None),  # Rosetta Code, "Shoelace"
    ],
)
def test_whole_outlines_with_bulges(tmp_path, rows, area, length):
    path = only(
        reread(tmp_path, lambda _, s: s.add_lwpolyline(rows, format="xyb", close=True)),
    ).path
    assert path.closed
    assert path.signed_area == pytest.approx(area, rel=1e-9)
    if length is not None:
        assert path.length == pytest.approx(length, rel=1e-9)


def test_arcs_and_circles_stay_arcs(tmp_path):
    def draw(_document, space):
        space.add_circle((3, 4), 5)
        space.add_arc((0, 0), 10, 30, 300)
        space.add_arc((0, 0), 10, 300, 30)
        space.add_ellipse((1, 1), (0, 4), 1.0, 0, math.pi)

    paths = [drawn.path for drawn in reread(tmp_path, draw).paths]
    assert [len(path.vertices) for path in paths] == [2, 3, 2, 2]
    assert paths[0].signed_area == pytest.approx(25 * math.pi)
    assert [path.length for path in paths[1:]] == pytest.approx(
        [10 * math.radians(270), 10 * math.radians(90), 4 * math.pi]
    )
    assert paths[1].start == pytest.approx((10 * math.cos(math.pi / 6), 5))
    assert paths[3].bounds == pytest.approx((-3, -3, 1, 5))


@pytest.mark.parametrize("kind", ["circle", "arc", "ellipse", "lwpolyline"])
def test_downward_extrusion_mirrors_as_ezdxf_does(tmp_path, kind):
    def draw(_document, space):
        down = {"extrusion": (0, 0, -1)}
        if kind == "circle":
            space.add_circle((30, 4), 5, dxfattribs=down)
        elif kind == "arc":
            space.add_arc((30, 4), 5, 20, 80, dxfattribs=down)
        elif kind == "ellipse":
            space.add_ellipse((30, 4), (5, 2), 0.4, 0.3, 2.0, dxfattribs=down)
        else:
            space.add_lwpolyline([(3, 4, 0.5), (9, 5, 0), (2, 11, 0)], format="xyb", dxfattribs=down)

    file = saved(tmp_path, draw)
    (entity,) = ezdxf.readfile(file).modelspace()
    points = [(p.x, p.y) for p in ezdxf.path.make_path(entity).flattening(0.001)]
    path = only(reread(tmp_path, draw)).path
    ours = (shapely.LinearRing if path.closed else shapely.LineString)(path.flatten(0.001))
    assert shapely.hausdorff_distance(ours, shapely.LineString(points), densify=0.02) < 0.06


def gdal_areas(file) -> dict[str, float]:
    """Area on each layer, read by GDAL."""
    options = {"DXF_CLOSED_LINE_AS_POLYGON": "YES", "OGR_ARC_STEPSIZE": "0.25"}
    options["DXF_MERGE_BLOCK_GEOMETRIES"] = "NO"
    pyogrio.set_gdal_config_options(options)
    meta, _, shapes, columns = pyogrio.raw.read(file, columns=["Layer"])
    areas: dict[str, float] = {}
    for layer, blob in zip(columns[list(meta["fields"]).index("Layer")], shapes, strict=True):
        shape = shapely.from_wkb(blob)
        areas[layer] = areas.get(layer, 0.0) + shapely.Polygon(shapely.get_coordinates(shape)).area
    return areas


def test_gdal_finds_the_same_areas_on_the_same_layers(tmp_path):
    def draw(document, space):
        slot = document.blocks.new("slot", base_point=(5, 5))
        slot.add_lwpolyline([(0, 0, 0), (50, 0, 1), (50, 10, 0), (0, 10, 1)], format="xyb", close=True)
        slot.add_circle((70, 5), 4, dxfattribs={"layer": "pins"})
        pair = document.blocks.new("pair")
        pair.add_blockref("slot", (10, 10), dxfattribs={"rotation": 30, "layer": "inner"})
        pair.add_blockref("slot", (0, 90), dxfattribs={"xscale": -2, "yscale": 2, "layer": "0"})
        space.add_lwpolyline(
            [(0, 0, 0.3), (40, 5, -0.2), (30, 60, 0), (-5, 30, 0.7)], format="xyb", close=True
        )
        space.add_blockref("pair", (200, 0), dxfattribs={"layer": "outer", "rotation": -75})
        space.add_blockref("pair", (500, 0), dxfattribs={"layer": "wide", "xscale": 3, "yscale": 0.5})
        space.add_blockref("slot", (-300, 0), dxfattribs={"layer": "down", "extrusion": (0, 0, -1)})
        space.add_ellipse((0, 300), (30, 10), 0.35, dxfattribs={"layer": "oval"})
        corners = [(0, 0), (20, 30), (50, 10), (40, -40), (5, -20), (0, 0)]
        space.add_open_spline(corners, dxfattribs={"layer": "wave"})

    drawing = reread(tmp_path, draw)
    ours: dict[str, float] = {}
    edges: dict[str, float] = {}
    for drawn in drawing.paths:
        assert drawn.path.closed
        ours[drawn.layer] = ours.get(drawn.layer, 0.0) + abs(drawn.path.signed_area)
        edges[drawn.layer] = edges.get(drawn.layer, 0.0) + drawn.path.length
    theirs = gdal_areas(tmp_path / "drawing.dxf")
    assert set(ours) == set(theirs) == {"0", "pins", "inner", "outer", "wide", "down", "oval", "wave"}
    for layer, area in theirs.items():
        # What is flattened here strays by 0.05 mm at most; GDAL takes a chord for each quarter degree.
        assert ours[layer] == pytest.approx(area, rel=1e-5, abs=0.05 * edges[layer]), layer
    for layer in ("0", "outer", "down"):  # arcs here, so that only GDAL's chords differ
        assert ours[layer] == pytest.approx(theirs[layer], rel=1e-5), layer


@st.composite
def splines(draw):
    """Rational B-splines, clamped or not, with single and double inner knots."""
    degree = draw(st.integers(1, 5))
    count = draw(st.integers(degree + 1, degree + 7))
    number = st.floats(-100, 100).map(lambda x: round(x, 3))
    control = np.array(draw(st.lists(st.tuples(number, number), min_size=count, max_size=count)))
    weights = np.array(draw(st.lists(st.floats(0.2, 5), min_size=count, max_size=count)))
    inner = np.cumsum(draw(st.lists(st.sampled_from([0.5, 1.0, 2.0]), min_size=count, max_size=count)))
    knots = np.concatenate((np.zeros(degree + 1), inner))[: count + degree + 1]
    if draw(st.booleans()):
        knots[count:] = knots[count]
    else:
        knots = np.arange(count + degree + 1, dtype=float)
    return control, weights, knots, degree


@given(splines(), st.sampled_from([0.5, 0.05, 0.01]))
@settings(max_examples=60, deadline=None)
def test_a_spline_is_flattened_within_its_tolerance(spline, tolerance):
    control, weights, knots, degree = spline
    ours = flatten_rational(bezier_pieces(control, weights, knots, degree), tolerance)
    exact = BSpline(Vec3.list(control), order=degree + 1, knots=list(knots), weights=list(weights))
    t = np.linspace(knots[degree], knots[len(control)], 2001)
    dense = shapely.points([(p.x, p.y) for p in exact.points(t)])
    chain = shapely.LineString(ours) if len(ours) > 1 else shapely.Point(ours[0])
    assert shapely.distance(dense, chain).max() <= tolerance * (1 + 1e-6) + 1e-9
    # And no point of a chord is farther than that from the curve, give or take the sampling.
    curve = shapely.LineString(shapely.get_coordinates(dense))
    middles = shapely.points((ours[1:] + ours[:-1]) / 2)
    assert shapely.distance(middles, curve).max() <= tolerance * 1.05 + 1e-3


@pytest.mark.parametrize("factor", [1.0, 25.4, 1000.0])
def test_flattening_is_within_the_tolerance_in_mm_however_the_curve_is_scaled(tmp_path, factor):
    control = [(0, 0), (1, 2), (3, -2), (4, 0), (6, 3)]
    knots = [0, 0, 0, 0, 1, 2, 2, 2, 2]
    pieces = bezier_pieces(np.array(control, float), np.ones(5), np.array(knots, float), 3)
    path = Spline(pieces).path(af.scaling(factor), 0.05)
    exact = BSpline(Vec3.list(control), knots=knots)
    dense = shapely.points([(p.x * factor, p.y * factor) for p in exact.points(np.linspace(0, 2, 4001))])
    assert shapely.distance(dense, shapely.LineString(path.points)).max() <= 0.05


@pytest.mark.parametrize(("xscale", "yscale"), [(3, 0.5), (1, 7), (-0.4, 2)])
def test_an_unevenly_scaled_circle_is_flattened_within_the_tolerance(tmp_path, xscale, yscale):
    def draw(document, space):
        document.blocks.new("disc").add_circle((2, 3), 40)
        space.add_blockref("disc", (0, 0), dxfattribs={"xscale": xscale, "yscale": yscale})

    path = only(reread(tmp_path, draw)).path
    t = np.linspace(0, math.tau, 5001)
    exact = np.column_stack(((2 + 40 * np.cos(t)) * xscale, (3 + 40 * np.sin(t)) * yscale))
    ring = shapely.LinearRing(path.points)
    assert shapely.distance(shapely.points(exact), ring).max() <= 0.05


def test_a_periodic_spline_closes(tmp_path):
    corners = [(0, 0), (20, 30), (50, 10), (40, -40), (5, -20)]
    path = only(reread(tmp_path, lambda _, s: s.add_spline().set_closed(Vec3.list(corners)))).path
    assert path.closed
    # Each uniform cubic piece starts at a sixth of its first three points as 1 : 4 : 1 (from memory).
    assert path.start == pytest.approx(((0 + 4 * 20 + 50) / 6, (0 + 4 * 30 + 10) / 6))


def test_a_spline_through_points_and_a_bad_one(tmp_path):
    def draw(_document, space):
        space.add_spline([(0, 0), (10, 5), (20, 0)])
        bad = space.add_spline()
        bad.dxf.degree = 3
        bad.control_points, bad.knots = [(0, 0, 0), (1, 1, 0), (2, 0, 0), (3, 1, 0)], [0, 1, 2]

    drawing = reread(tmp_path, draw)
    (path,) = [drawn.path for drawn in drawing.paths]
    assert (path.start, path.end) == (pytest.approx((0, 0)), pytest.approx((20, 0)))
    assert shapely.LineString(path.points).distance(shapely.Point(10, 5)) < 1e-9 + 0.05
    assert codes(drawing.findings) == ["damaged-entity"]


def test_control_points_of_a_fitted_polyline_are_not_on_it(tmp_path):
    def draw(_document, space):
        polyline = space.add_polyline2d([(0, 0), (5, 50), (5, 3), (10, 0)], dxfattribs={"flags": 4})
        polyline.vertices[1].dxf.flags = 16

    assert only(reread(tmp_path, draw)).path.points.tolist() == [[0, 0], [5, 3], [10, 0]]
