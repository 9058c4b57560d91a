"""Size on paper, viewBox, preserveAspectRatio and transforms of SVG drawings."""

from __future__ import annotations

import math
import pathlib

import pytest
import svgelements
from hypothesis import given
from hypothesis import strategies as st

from nestkit.drawings.svg_transform import parse_origin, parse_transform
from nestkit.errors import DrawingError
from nestkit.geometry.affine import apply
from nestkit.units import MM_PER_CSS_UNIT
from tests.drawings.svg_made import codes, read, svg

LINE = '<path d="M{} {}h1" stroke="red"/>'


def start_down(x: float, y: float, page: str, height: float) -> tuple[float, float]:
    """Where a path's start lies on the page, mm, y downward from the top as in the SVG specification."""
    px, py = read(LINE.format(x, y), page).paths[0].path.start
    return px, height - py


# SVG 2 chapter 8, worked table: 200 x 100 mm, viewBox of 400 x 400 at (0, 0) and at (10, 20),
# user point (100, 200). The xMidYMid meet row was confirmed with CairoSVG and resvg.
@pytest.mark.parametrize(
    ("aspect", "at_origin", "shifted"),
    [
        (None, (75, 50), (72.5, 45)),
        ("xMidYMid meet", (75, 50), (72.5, 45)),
        ("xMinYMin meet", (25, 50), (22.5, 45)),
        ("xMaxYMax meet", (125, 50), (122.5, 45)),
        ("xMidYMid slice", (50, 50), (45, 40)),
        ("xMinYMin slice", (50, 100), (45, 90)),
        ("none", (50, 50), (45, 45)),
        ("nonsense", (75, 50), (72.5, 45)),
    ],
)
def test_preserve_aspect_ratio(
    aspect: str | None, at_origin: tuple[float, float], shifted: tuple[float, float]
) -> None:
    attribute = "" if aspect is None else f'preserveAspectRatio="{aspect}"'
    for box, expected in (("0 0 400 400", at_origin), ("10,20 400,400", shifted)):
        page = f'width="200mm" height="100mm" viewBox="{box}" {attribute}'
        assert start_down(100, 200, page, 100) == pytest.approx(expected, abs=1e-9)


def test_a_narrow_box_is_centred_as_the_web_platform_tests_have_it() -> None:
    """svgview-preserveaspectratio-meet.html: view 100,0,100,100 in 100 x 50 fills x = 25..75."""
    page = 'width="100mm" height="50mm" viewBox="100 0 100 100"'
    (path,) = read('<rect x="100" width="100" height="100"/>', page).paths
    assert path.path.bounds == pytest.approx((25, 0, 75, 50), abs=1e-9)


# CSS Values and Units Level 4, "Absolute lengths": exact ratios.
@pytest.mark.parametrize(
    ("size", "mm"),
    [
        ("1in", 25.4),
        ("96px", 25.4),
        ("96", 25.4),
        ("72pt", 25.4),
        ("6pc", 25.4),
        ("101.6Q", 25.4),
        ("2.54cm", 25.4),
        ("25.4mm", 25.4),
        ("25.4 MM", 25.4),
        ("254e-1mm", 25.4),
    ],
)
def test_units_of_the_page(size: str, mm: float) -> None:
    page = f'width="{size}" height="{size}" viewBox="0 0 10 10"'
    drawing = read('<rect width="10" height="10"/>', page)
    assert drawing.paths[0].path.bounds == pytest.approx((0, 0, mm, mm), rel=1e-12)
    assert drawing.unit_known
    assert codes(drawing) == (["unit-pixels"] if size in ("96", "96px") else [])


def test_units_of_shapes() -> None:
    (path,) = read('<rect x="1cm" y="50%" width="72pt" height="1in"/>', 'width="5in" height="4in"').paths
    assert path.path.bounds == pytest.approx((10, 25.4, 35.4, 50.8), rel=1e-12)


@pytest.mark.parametrize(
    ("page", "size_mm", "found"),
    [
        ('viewBox="0 0 96 192"', (25.4, 50.8), ["unit-missing"]),
        ('width="100%" height="100%" viewBox="0 0 96 192"', (25.4, 50.8), ["unit-missing"]),
        ('width="50mm" viewBox="0 0 96 192"', (50, 100), []),
        ('height="50mm" viewBox="0 0 96 192"', (25, 50), []),
        (
            'width="-5mm" height="0" viewBox="0 0 96 192"',
            (25.4, 50.8),
            ["bad-view", "bad-view", "unit-missing"],
        ),
        ('width="50mm" height="100mm" viewBox="0 0 96"', (25.4, 50.8), ["bad-view"]),
    ],
)
def test_size_that_is_missing_or_wrong(page: str, size_mm: tuple[float, float], found: list[str]) -> None:
    drawing = read('<rect width="96" height="192"/>', page)
    x0, y0, x1, y1 = drawing.paths[0].path.bounds
    assert (x1 - x0, y1 - y0) == pytest.approx(size_mm)
    assert codes(drawing) == found
    assert drawing.unit_known == ("unit-missing" not in found)


def test_a_view_box_without_size_draws_nothing() -> None:
    with pytest.raises(DrawingError, match="viewBox"):
        read('<rect width="9" height="9"/>', 'width="9mm" height="9mm" viewBox="0 0 0 9"')


def test_y_points_up_from_the_lower_left_corner() -> None:
    (path,) = read('<rect x="10" y="10" width="30" height="20"/>').paths
    assert path.path.bounds == pytest.approx((10, 70, 40, 90))


# SVG specification, examples NewCoordSys, RotateScale and (chain from memory) Nested.
@pytest.mark.parametrize(
    ("text", "point", "expected"),
    [
        ("translate(50,50)", (30, 30), (80, 80)),
        ("translate(50,30) rotate(30)", (10, 0), (58.660254037844, 35)),
        ("translate(50,90) rotate(-45) translate(130,160)", (0, 0), (255.0609665441, 111.2132034356)),
        ("rotate(90 10 20)", (20, 20), (10, 30)),
        ("matrix(1 2 3 4 5 6)", (1, 1), (9, 12)),
        ("scale(2)skewX(45),skewY(45)", (1, 1), (6, 4)),
        ("translateX(1cm) scaleY(-2)", (0, 3), (37.795275590551185, -6)),
        ("rotate(0.25turn) scale(3,1)", (1, 0), (0, 3)),
        ("none", (4, 5), (4, 5)),
    ],
)
def test_transform(text: str, point: tuple[float, float], expected: tuple[float, float]) -> None:
    mapped = apply(parse_transform(text), [point])[0]  # type: ignore[arg-type]
    assert mapped.tolist() == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    "text",
    ["rotate(1 2)", "scale(1px)", "warp(3)", "matrix(1 2 3)", "rotate(10) x", "translate(1e999)", "scale(2"],
)
def test_a_transform_that_is_not_understood_leaves_its_element_out(text: str) -> None:
    drawing = read(
        f'<g transform="{text}"><rect width="5" height="5"/></g><rect id="b" width="9" height="9"/>'
    )
    assert [path.id for path in drawing.paths] == ["b"]
    assert codes(drawing) == ["bad-transform"]


_TURN = st.floats(-400, 400).map(lambda a: f"rotate({a:.4f})")
_SHIFT = st.tuples(st.floats(-50, 50), st.floats(-50, 50)).map(lambda p: f"translate({p[0]:.4f} {p[1]:.4f})")
_SCALE = st.tuples(st.floats(0.1, 3), st.floats(-3, -0.1)).map(lambda p: f"scale({p[0]:.4f},{p[1]:.4f})")
_SKEW = st.floats(-60, 60).map(lambda a: f"skewX({a:.4f})")


@given(st.lists(st.one_of(_TURN, _SHIFT, _SCALE, _SKEW), min_size=1, max_size=5).map(" ".join))
def test_transforms_agree_with_svgelements(text: str) -> None:
    other = svgelements.Matrix(text)
    mine = parse_transform(text)
    for point in ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0)):
        expected = other.point_in_matrix_space(point)
        assert apply(mine, [point])[0].tolist() == pytest.approx(list(expected), rel=1e-9, abs=1e-7)  # type: ignore[arg-type]


def test_transform_origin() -> None:
    assert parse_origin("10px 25%", 200, 100) == (10, 25)
    assert parse_origin("center", 200, 100) == (100, 50)
    assert parse_origin("bottom right", 200, 100) == (200, 100)
    body = '<rect width="20" height="10" style="transform:rotate(90deg);transform-origin:20px 10px"/>'
    # A quarter turn clockwise about the rectangle's lower right corner (20, 10 from the top).
    assert read(body).paths[0].path.bounds == pytest.approx((20, 90, 30, 110), abs=1e-9)


def test_nested_viewports_and_copies_agree_with_svgelements(tmp_path: pathlib.Path) -> None:
    body = """
      <defs><g id="pair"><circle id="c" cx="4" cy="4" r="4"/></g></defs>
      <g transform="translate(30 10) rotate(20)"><g transform="scale(1.5,.75)">
        <rect id="a" width="20" height="9"/></g></g>
      <svg x="100" y="20" width="60" height="60" viewBox="0 0 30 10">
        <rect id="b" x="3" y="2" width="9" height="7"/></svg>
      <use href="#pair" x="60" y="70" transform="rotate(10)"/>
    """
    mine = {path.id: path.path.bounds for path in read(body).paths}
    file = tmp_path / "nested.svg"
    file.write_text(svg(body))
    px = 1 / MM_PER_CSS_UNIT["px"]
    others = {
        shape.id: shape.bbox()
        for shape in svgelements.SVG.parse(file, reify=True).elements()
        if isinstance(shape, svgelements.Shape)
    }
    assert set(mine) == set(others) == {"a", "b", "c"}
    for id, (x0, y0, x1, y1) in mine.items():
        down = (x0 * px, (100 - y1) * px, x1 * px, (100 - y0) * px)
        # svgelements rounds its constant for the millimetre: 5.4e-7 relative.
        assert down == pytest.approx(others[id], rel=2e-6, abs=2e-4), id


@pytest.mark.parametrize("of_the_use", [True, False])
def test_a_symbol_is_fitted_into_its_copy(of_the_use: bool) -> None:
    """40 x 40 around 50 x 25 by xMidYMid meet: scale 0.8, 10 to spare above and below."""
    size = 'width="40" height="40"'
    body = f"""<symbol id="s" viewBox="0 0 50 25" {"" if of_the_use else size}>
        <rect x="5" y="5" width="20" height="10"/></symbol>
        <use xlink:href="#s" x="20" y="50" {size if of_the_use else ""}/>"""
    (path,) = read(body).paths
    assert path.path.bounds == pytest.approx((24, 28, 40, 36))


def test_a_degenerate_transform_leaves_nothing_to_cut() -> None:
    drawing = read('<rect transform="scale(0)" width="5" height="5"/><rect width="9" height="9"/>')
    assert len(drawing.paths) == 1
    assert codes(drawing) == ["zero-length"]


def test_diagonal_per_cent() -> None:
    (path,) = read('<circle cx="50%" cy="50%" r="10%"/>').paths
    radius = 0.1 * math.hypot(200, 100) / math.sqrt(2)
    assert path.path.bounds == pytest.approx((100 - radius, 50 - radius, 100 + radius, 50 + radius))
