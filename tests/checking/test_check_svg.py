"""SVG files that are not the drawing of their DXF."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import assume, given
from hypothesis import strategies as st
from svgelements import Path as SvgPath

from nestkit.checking import check_folder
from nestkit.checking.svg_drawing import arc_points
from tests.checking.made import BLANKS, ONE, made, svg

SVG = ONE.replace(".dxf", ".svg")


def attribute(where: str, text: str) -> Callable[[str], str]:
    """Adds an attribute to the first element that begins so."""
    return lambda svg: svg.replace(where, f"{where} {text}", 1)


def element(before: str, text: str) -> Callable[[str], str]:
    """Adds an element before the first place that reads so."""
    return lambda svg: svg.replace(before, text + before, 1)


RECT = '<rect x="10" y="10" width="30" height="20"/>'
SVG_FAULTS: dict[str, Callable[[str], str]] = {
    "arcs bent the other way": lambda svg: svg.replace(" 0 0 0 ", " 0 0 1 "),
    "arcs the long way round": lambda svg: re.sub(r"A[\d.]+,[\d.]+ 0 0", "A20,20 0 1", svg),
    "arcs of another radius": lambda svg: re.sub(r"A[\d.]+", "A20", svg),
    "path moved": attribute("<path", 'transform="translate(1 0)"'),
    "layer moved": attribute('<g id="CUT_OUTSIDE"', 'transform="translate(1 0)"'),
    "drawing moved": attribute("<svg", 'transform="scale(1.05)"'),
    "layer moved by its style": attribute('<g id="MARK"', 'style="transform: scale(2)"'),
    "layer hidden": attribute('<g id="CUT_INSIDE"', 'display="none"'),
    "path hidden": attribute("<path", 'visibility="hidden"'),
    "path without a stroke": attribute("<path", 'stroke="none"'),
    "view moved to the right": lambda svg: svg.replace('viewBox="0 0', 'viewBox="3 0'),
    "view moved down": lambda svg: svg.replace('viewBox="0 0', 'viewBox="0 3'),
    "no view box": lambda svg: svg.replace("viewBox", "viewbox"),
    "rectangle outside the layers": element("</svg>", RECT),
    "path outside the layers": element("<g ", '<path d="M10,10L20,20"/>'),
    "rectangle in a layer": element("</g>", RECT),
    "group in a layer": element("</g>", f"<g>{RECT}</g>"),
    "layer too many": element("</svg>", '<g id="CUT"><path d="M1,1L9,9" data-part="a" data-copy="1"/></g>'),
    "shape to be used": element("<g ", f"<defs>{RECT}</defs>"),
    "style sheet": element("<g ", "<style>path { transform: scale(2) }</style>"),
    "path that moves": lambda svg: svg.replace("/>", '><animateMotion path="M0,0L9,9"/></path>', 1),
    "path left open": lambda svg: svg.replace('Z" data-part="lever"', '" data-part="lever"'),
    "path closed": lambda svg: svg.replace("L200.0,230.0", "L200.0,230.0Z"),
    "path in two pieces": lambda svg: svg.replace("Z", "ZM1,1L9,9", 1),
    "path with a leap": lambda svg: svg.replace("L200.0,230.0", "M200.0,230.0"),
    "path without end": lambda svg: svg.replace("L200.0,230.0", "L200.0,1e999"),
    "path that ends early": lambda svg: svg.replace("L200.0,230.0", "L200.0,230.0,#"),
    "path of one point": lambda svg: svg.replace("L200.0,230.0", ""),
}


@pytest.mark.parametrize("name", sorted(SVG_FAULTS))
def test_svg_faults(name: str, tmp_path: Path) -> None:
    path = made().write(tmp_path) / SVG
    svg = path.read_text()
    damaged = SVG_FAULTS[name](svg)
    assert damaged != svg
    path.write_text(damaged)
    faults = check_folder(tmp_path).faults
    assert [(fault.code, fault.file) for fault in faults] == [("svg", SVG)]


def test_what_an_svg_only_says_is_let_pass(tmp_path: Path) -> None:
    path = made().write(tmp_path) / SVG
    says = (
        '<title>a</title><desc>b</desc><metadata><rect/></metadata><defs/><x:view xmlns:x="urn:x"/><!-- c -->'
    )
    path.write_text(path.read_text().replace("<g ", f"{says}<g ", 1))
    verdict = check_folder(tmp_path)
    assert verdict.ok, str(verdict)


def test_a_view_that_begins_elsewhere_shows_the_same(tmp_path: Path) -> None:
    """The box that is shown begins 3 mm farther right and 7 mm farther down, as does all that is drawn."""
    m = made()
    path = m.write(tmp_path) / SVG
    drawn = svg([one.shifted(3.0, -7.0) for one in m.jobs[ONE]], BLANKS[ONE])
    path.write_text(drawn.replace('viewBox="0 0', 'viewBox="3 7'))
    verdict = check_folder(tmp_path)
    assert verdict.ok, str(verdict)


def test_neither_file_is_blamed_where_a_mark_lies_elsewhere_in_one(tmp_path: Path) -> None:
    m = made()
    before = (m.write(tmp_path) / SVG).read_text()
    k = m.find(ONE, "MARK", "plate")
    m.jobs[ONE][k] = m.jobs[ONE][k].shifted(0.0, 20.0)
    m.write(tmp_path)
    (tmp_path / SVG).write_text(before)
    (fault,) = check_folder(tmp_path).faults
    assert (fault.code, fault.file) == ("svg", SVG)
    assert "it and the DXF differ, so that one of them was changed: a path of 'plate' copy 1" in fault.text
    assert "by 20.00 mm" in fault.text


RADII = st.floats(0.5, 200.0)
PLACES = st.tuples(st.floats(-300.0, 300.0), st.floats(-300.0, 300.0))


@given(PLACES, PLACES, RADII, RADII, st.floats(0.0, 360.0), st.booleans(), st.booleans())
def test_svg_arcs_run_as_another_library_draws_them(
    start: tuple[float, float],
    end: tuple[float, float],
    rx: float,
    ry: float,
    turn: float,
    large: bool,
    sweep: bool,
) -> None:
    """Against svgelements; radii that are too small for their ends included."""
    assume(math.dist(start, end) > 0.1)
    points = np.vstack((start, arc_points(start, [rx, ry, turn, large, sweep, *end], 1e-3)))
    x0, y0, x1, y1 = *start, *end
    arc = SvgPath(f"M{x0},{y0}A{rx},{ry} {turn} {large:d} {sweep:d} {x1},{y1}")[1]
    theirs = np.array([(*arc.point(t),) for t in np.linspace(0.0, 1.0, 400)])
    drawn = shapely.LineString(points)
    # Radii that are too small are grown, to a hundred metres where they are slim: digits are lost there.
    assert shapely.distance(shapely.points(theirs), drawn).max() < 2e-3 + 1e-7 * np.ptp(theirs, axis=0).max()
    # Theirs are not a line near enough for the way back, but the lengths of both agree.
    assert np.hypot(*np.diff(theirs, axis=0).T).sum() == pytest.approx(drawn.length, rel=2e-3)
