"""Path data and basic shapes: lengths, areas, arcs as bulges, mistakes."""

from __future__ import annotations

import math
import pathlib
import time

import numpy as np
import pytest
import svgpathtools
from hypothesis import assume, given, reject, settings
from hypothesis import strategies as st

from nestkit.drawings.svg import read_svg
from nestkit.drawings.svg_path_data import CubicTo, LineTo, parse_path
from tests.drawings.svg_made import codes, read, svg

#: The page's height: y upward is this less y downward.
HEIGHT = 100


# SVG implementation notes; lengths and the half disc's area confirmed with svgelements and svgpathtools.
@pytest.mark.parametrize("radius", ["50,50", "10,10", "-50 50"])
@pytest.mark.parametrize(("sweep", "highest"), [(1, 150), (0, 50)])
def test_half_circle(radius: str, sweep: int, highest: float) -> None:
    """Radii that are too small are enlarged, so that all three are the same arc."""
    (drawn,) = read(f'<path d="M0,0 A{radius} 0 0 {sweep} 100,0"/>').paths
    assert drawn.path.length == pytest.approx(157.07963267948966, rel=1e-12)
    assert drawn.path.vertices[:, 2].tolist() == pytest.approx([-1 if sweep else 1, 0])
    x0, y0, x1, y1 = drawn.path.bounds
    assert (x0, x1) == pytest.approx((0, 100))
    assert (y1 if sweep else y0) == pytest.approx(highest)
    (closed,) = read(f'<path d="M0,0 A{radius} 0 0 {sweep} 100,0Z"/>').paths
    assert abs(closed.path.signed_area) == pytest.approx(3926.9908169848, rel=1e-12)


def test_quarter_and_three_quarter_arcs_keep_their_bulge() -> None:
    """Bulge table of the DXF reference: 90 degrees is 0.41421; 270 degrees is split into two of 135."""
    (short, long) = read('<path d="M0 0A10 10 0 0 0 10 10M0 0A10 10 0 1 0 10 10"/>').paths
    assert short.path.vertices[0, 2] == pytest.approx(math.tan(math.pi / 8), rel=1e-12)
    assert long.path.vertices[:, 2].tolist() == pytest.approx([math.tan(math.radians(135) / 4)] * 2 + [0])
    assert long.path.length == pytest.approx(1.5 * math.pi * 10, rel=1e-12)


@pytest.mark.parametrize(
    ("shape", "area", "perimeter"),
    [
        # Derived by shoelace and circular segments; the rounded rectangle also stands in the check tables.
        ('<circle cx="30" cy="40" r="20"/>', math.pi * 400, math.pi * 40),
        ('<ellipse cx="30" cy="40" rx="20"/>', math.pi * 400, math.pi * 40),
        ('<rect x="1" y="2" width="100" height="60" rx="10"/>', 5914.15926535898, 302.8318530717959),
        ('<rect width="100" height="60" ry="10"/>', 5914.15926535898, 302.8318530717959),
        ('<rect width="50" height="10" rx="99"  ry="5"/>', None, None),
        ('<rect width="50" height="10" rx="5"/>', 40 * 10 + math.pi * 25, 80 + math.pi * 10),
        ('<rect width="100" height="60" rx="-3"/>', 6000, 320),
        ('<polygon points="3,4 5,11 12,8 9,5 5,6"/>', 30, None),
        ('<polyline points="0,0 10,0 10,10 0,0"/>', 50, None),
        (
            '<g transform="scale(2,1)"><ellipse cx="9" cy="20" rx="5" ry="10"/></g>',
            math.pi * 100,
            math.pi * 20,
        ),
    ],
)
def test_shapes_keep_area_and_perimeter(shape: str, area: float | None, perimeter: float | None) -> None:
    (drawn,) = read(shape).paths
    assert drawn.path.closed
    assert np.abs(drawn.path.vertices[:, 2]).max() <= 1.0
    if area is None:  # elliptical corners: half axes 25 and 5
        assert not drawn.path.has_arcs
        assert abs(drawn.path.signed_area) == pytest.approx(math.pi * 25 * 5, rel=5e-3)
        return
    assert abs(drawn.path.signed_area) == pytest.approx(area, rel=1e-9)
    if perimeter is not None:
        assert drawn.path.length == pytest.approx(perimeter, rel=1e-9)


@given(st.floats(-180, 180), st.floats(0.05, 20), st.booleans(), st.floats(-40, 40), st.floats(0.1, 30))
def test_circles_stay_exact_under_similarities(
    turn: float, scale: float, mirrored: bool, shift: float, radius: float
) -> None:
    flip = "scale(-1 1)" if mirrored else ""
    shape = f'<circle cx="3" cy="-2" r="{radius:.6f}"/>'
    body = f'<g transform="translate({shift:.5f}) rotate({turn:.6f}) {flip} scale({scale:.6f})">{shape}</g>'
    (drawn,) = read(body).paths
    expected = math.pi * (float(f"{scale:.6f}") * float(f"{radius:.6f}")) ** 2
    assert len(drawn.path.vertices) == 2
    assert abs(drawn.path.signed_area) == pytest.approx(expected, rel=1e-9)
    # Mirroring turns the way round: drawn clockwise on the page, counter-clockwise in its mirror.
    assert (drawn.path.signed_area > 0) is mirrored


def test_a_skewed_circle_is_flattened_within_the_tolerance() -> None:
    (drawn,) = read(
        '<circle r="40" transform="translate(50 50) skewX(30) scale(1 .5)"/>', tolerance=0.01
    ).paths
    assert not drawn.path.has_arcs
    assert abs(drawn.path.signed_area) == pytest.approx(math.pi * 1600 / 2, rel=1e-3)
    x, y = drawn.path.points[:, 0] - 50, 50 - drawn.path.points[:, 1]
    x, y = x - math.tan(math.radians(30)) * y, y * 2
    # Back on the circle: all points lie on it, and no chord's middle is far from it.
    assert np.hypot(x, y) == pytest.approx(np.full(len(x), 40.0), abs=1e-9)
    middle = np.hypot((x + np.roll(x, 1)) / 2, (y + np.roll(y, 1)) / 2)
    assert 40 - middle.min() < 0.01 * 2


_NUMBER = st.floats(-90, 90).map(lambda v: f"{v:.3f}")
_RADIUS = st.floats(0.5, 80).map(lambda v: f"{v:.3f}")
_FLAG = st.sampled_from("01")


def _command(letters: str, *values: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    def join(parts: tuple[str, ...]) -> str:
        return parts[0] + " ".join(parts[1:])

    return st.tuples(st.sampled_from(letters), *values).map(join)


_COMMANDS = st.one_of(
    _command("lL", _NUMBER, _NUMBER),
    _command("lL", _NUMBER, _NUMBER, _NUMBER, _NUMBER),
    _command("hHvV", _NUMBER),
    _command("cC", *[_NUMBER] * 6),
    _command("sS", *[_NUMBER] * 4),
    _command("qQ", *[_NUMBER] * 4),
    _command("tT", _NUMBER, _NUMBER),
    _command("aA", _RADIUS, _RADIUS, _NUMBER, _FLAG, _FLAG, _NUMBER, _NUMBER),
)
_PATH_DATA = st.tuples(_command("mM", _NUMBER, _NUMBER), st.lists(_COMMANDS, min_size=1, max_size=6)).map(
    lambda parts: parts[0] + "".join(parts[1])
)


def _read_by_svgpathtools(d: str) -> svgpathtools.Path:
    try:
        return svgpathtools.parse_path(d)
    except AssertionError:  # it can't read an arc that ends where it starts
        reject()


@settings(max_examples=150, deadline=None)
@given(_PATH_DATA)
def test_lengths_and_ends_agree_with_svgpathtools(d: str) -> None:
    other = _read_by_svgpathtools(d)
    drawing = read(f'<path d="{d}"/><rect width="1" height="1"/>', tolerance=1e-4)
    assume(not drawing.findings)  # something flat or without length
    drawn = drawing.paths[0]
    # svgpathtools' own sampled length of a piece is good to about 1e-5; of a straight quadratic it may
    # say that it is endless.
    length = other.length(error=1e-6)
    assume(math.isfinite(length))
    assert drawn.path.length == pytest.approx(length, rel=1e-4, abs=1e-3)
    assert complex(*drawn.path.start) == pytest.approx(complex(other.start.real, HEIGHT - other.start.imag))
    if not drawn.path.closed:
        assert complex(*drawn.path.end) == pytest.approx(complex(other.end.real, HEIGHT - other.end.imag))


@settings(max_examples=50, deadline=None)
@given(_PATH_DATA)
def test_areas_agree_with_svgpathtools(d: str) -> None:
    other = _read_by_svgpathtools(d + "Z")
    # Half the integral of x dy - y dx along each piece, by quadrature: nothing is cut off by chords.
    nodes, weights = np.polynomial.legendre.leggauss(60)
    expected = sum(
        weight * (piece.point(t).conjugate() * piece.derivative(t)).imag / 4
        for piece in other
        if piece.length() > 0.0
        for t, weight in zip((nodes + 1) / 2, weights, strict=True)
    )
    drawing = read(f'<path d="{d}Z"/><rect width="1" height="1"/>', tolerance=1e-4)
    area = sum(drawn.path.signed_area for drawn in drawing.paths[:-1])
    # The other's y axis points down, so that the same way round has the other sign.
    assert -area == pytest.approx(expected, rel=1e-4, abs=0.05)


@pytest.mark.parametrize(
    ("short", "long"),
    [
        ("M1.5.5-1-2", "M 1.5 0.5 L -1 -2"),
        ("m1 1 2 2 3 3", "M1 1L3 3L6 6"),
        ("M0 0a5 5 0 0110 0", "M0 0 A 5 5 0 0 1 10 0"),
        ("M0,0L1e1,1E+1", "M0 0L10 10"),
        ("M0 0L5 5zl3 0", "M0 0L5 5ZM0 0L3 0"),
        ("M 1 1 h2 3 v-1 V 9 H 4", "M1 1L3 1L6 1L6 0L6 9L4 9"),
        ("M0 0C1 1 2 1 3 0S5-1 6 0", "M0 0C1 1 2 1 3 0C4-1 5-1 6 0"),
        ("M0 0S5-1 6 0", "M0 0C0 0 5-1 6 0"),
        ("M0 0Q2 3 4 0T8 0 12 0", "M0 0Q2 3 4 0Q6-3 8 0Q10 3 12 0"),
        ("M0 0T8 0", "M0 0L8 0"),
        ("M0 0A0 5 0 0 1 9 9", "M0 0L9 9"),
    ],
)
def test_two_ways_to_write_the_same(short: str, long: str) -> None:
    first, second = (read(f'<path d="{d}"/>').paths for d in (short, long))
    assert [p.path.closed for p in first] == [p.path.closed for p in second]
    for one, other in zip(first, second, strict=True):
        if short.startswith("M0 0T"):  # a straight curve has points on its way
            assert one.path.length == pytest.approx(other.path.length)
        else:
            assert one.path.vertices == pytest.approx(other.path.vertices)


@pytest.mark.parametrize(
    ("d", "drawn", "error"),
    [
        ("M0 0L10 10 20", [2], 12),
        ("M0 0L10 10 L", [2], 12),
        ("M0 0L10 10#L20 20", [2], 11),
        ("M0 0H5A5 5 0 2 0 9 9", [2], 7),
        ("M0 0H5V5,H9", [3], 9),
        ("L0 0 9 9", [], 1),
        ("M0 0V9M5 5x", [2], 11),
    ],
)
def test_path_data_is_drawn_up_to_its_first_mistake(d: str, drawn: list[int], error: int) -> None:
    drawing = read(f'<path d="{d}"/><rect width="1" height="1"/>')
    assert [len(path.path.vertices) for path in drawing.paths[:-1]] == drawn
    (finding,) = drawing.findings
    assert finding.code == "path-data"
    assert f"character {error} on" in finding.text


def test_subpaths_keep_the_id_and_close_when_their_ends_meet() -> None:
    d = "M0 0h9v9z m20 20h5v5h-5v-5 M50 50l.1.1.0000001-.1-.1-.00000005 M70 5h9"
    paths = read(f'<path id="p" d="{d}"/>').paths
    assert [path.id for path in paths] == ["p"] * 4
    assert [path.path.closed for path in paths] == [True, True, True, False]
    assert paths[1].path.start == (20.0, 80.0)


def test_what_has_no_length_is_told_and_left_out() -> None:
    body = """<path d="M5 5z"/><path d="M1 1L1 1"/><rect width="0" height="5"/><circle r="0"/>
        <line x1="3" x2="3"/><polygon points=""/><path d="M4 4"/><path d=""/><rect width="9" height="9"/>"""
    drawing = read(body)
    assert len(drawing.paths) == 1
    assert codes(drawing) == ["zero-length"] * 6
    assert all(finding.mended for finding in drawing.findings)
    assert drawing.findings[0].at == (5.0, 95.0)


@pytest.mark.parametrize("d", ["M0 0L10 0Z", "M0 0L10 0L0 0", "M0 0L10 0L0 0Z"])
def test_there_and_back_is_one_open_line(d: str) -> None:
    drawing = read(f'<path d="{d}"/>')
    assert drawing.paths[0].path.vertices.tolist() == [[0, 100, 0], [10, 100, 0]]
    assert not drawing.paths[0].path.closed
    assert codes(drawing) == ["flat-loop"]


@pytest.mark.parametrize(
    "d",
    [
        "M0 0L1e9 1",
        "M0 0L1e999 1",
        "M0 0C1e300 0 1 1e300 5 5",
        "M0 0A1e308 1e308 0 1 1 5 5",
        "M0 0A1e-320 1e308 0 0 1 5 5",
        "M0 0A5 9 1e999 0 1 5 5",
        "M1e308 0l1e308 0",
    ],
)
def test_absurd_coordinates_are_told_and_left_out(d: str) -> None:
    drawing = read(f'<path id="far" d="{d}"/><rect width="1" height="1"/>')
    assert len(drawing.paths) == 1
    assert [(finding.code, finding.id) for finding in drawing.findings] == [("absurd-size", "far")]


@pytest.mark.parametrize(
    "shape", ['<rect width="x" height="1"/>', '<circle r="-1"/>', '<polygon points="a"/>']
)
def test_values_that_are_none_are_told(shape: str) -> None:
    assert codes(read(shape + '<rect width="1" height="1"/>')) == ["bad-value"]


def test_points_with_an_odd_number_are_drawn_without_it() -> None:
    drawing = read('<polyline points="0 0 5 5 9"/>')
    assert len(drawing.paths[0].path.vertices) == 2
    assert codes(drawing) == ["path-data"]


def test_a_quadratic_is_written_as_the_same_cubic() -> None:
    """Degree elevation: the inner control points lie two thirds of the way to the quadratic's."""
    (subpath,) = parse_path("M0 0Q3 6 9 0L1 1", 10).subpaths
    assert subpath.segments == [CubicTo(2, 4, 5, 4, 9, 0), LineTo(1, 1)]


def test_ten_times_as_many_segments_take_about_ten_times_as_long(tmp_path: pathlib.Path) -> None:
    """Each is an element of its own with a style of its own: the slowest way to write them."""
    piece = '<path id="p{0}" style="fill:none;stroke:#000;stroke-width:{0}" d="M{0} 0c1 5 9 5 12 {1}"/>'
    took = []
    for count in (2_000, 20_000):
        file = tmp_path / f"{count}.svg"
        file.write_text(svg("".join(piece.format(i % 997, i % 89) for i in range(count))))
        start = time.process_time()
        assert len(read_svg(file).paths) == count
        took.append(time.process_time() - start)
    # What grows with the square would take a hundred times as long.
    assert took[1] < 40.0 * took[0] + 1.0
