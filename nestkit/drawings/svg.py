"""Reads SVG drawings.

What can't be used is left out and told by a finding; nothing outside the file is ever opened.

==================== ====== =====================================================================
code                 mended what it tells
==================== ====== =====================================================================
unit-missing         no     the drawing has no size, or one in per cent: 1 px = 1/96 in is assumed
unit-pixels          no     the drawing's size is in pixels, which some editors take for 1/72 in
unit-ambiguous       no     the page has a size but no viewBox, so that plain numbers are 1/96 in
unit-mixed           no     likewise, and other lengths in the drawing have a unit
bad-view             no     the outermost size or viewBox can't be read and is not used
text-not-paths       no     a text that is not converted to paths is left out
image-skipped        no     a picture is left out
foreign-skipped      no     embedded content that is no SVG is left out
unpainted            no     a shape with neither stroke nor fill is left out
clip-ignored         no     something clipped or masked is read whole
path-data            no     path data or points with a mistake are drawn up to it
bad-value            no     a length that can't be read; the element is left out
bad-transform        no     a transform that can't be read; the element is left out
absurd-size          no     coordinates not finite or beyond 10 km; the element is left out
css-skipped          no     a style rule with a selector that is not understood is left out
external-reference   no     something in another file is not opened
missing-reference    no     a copy of something that isn't there
cyclic-use           no     a copy that holds itself is left out
deep-use             no     copies of copies nested too deep are left out
zero-length          yes    something without length is left out
flat-loop            yes    a closed path that only goes there and back is read as one open line
==================== ====== =====================================================================

Of each code at most 50 findings are told one by one; one more then tells how many there are.
Files above 50 MB, 300,000 elements, 50,000 copied elements, 100,000 paths or 2,000,000 points are refused,
with a message that says so.
"""

from __future__ import annotations

import pathlib
from typing import NamedTuple
from xml.etree.ElementTree import Element

import numpy as np

from nestkit.drawings.hidden import told
from nestkit.drawings.model import Drawing
from nestkit.drawings.svg_lengths import Length, parse_length
from nestkit.drawings.svg_notes import Notes, shorten
from nestkit.drawings.svg_numbers import note_plain_numbers
from nestkit.drawings.svg_place import Place
from nestkit.drawings.svg_source import parse, read_bytes
from nestkit.drawings.svg_style import Styles
from nestkit.drawings.svg_view import ViewBox, parse_view_box, view_transform
from nestkit.drawings.svg_walk import Walker
from nestkit.errors import LONGEST_NAME, DrawingError, Finding, Problem, printable
from nestkit.geometry import FLATNESS
from nestkit.geometry.affine import affine, compose
from nestkit.units import MM_PER_CSS_UNIT

MM_PER_PX = MM_PER_CSS_UNIT["px"]

#: Size of a drawing that gives neither size nor viewBox, px (CSS, "default object size").
DEFAULT_SIZE = (300.0, 150.0)


def read_svg(file: pathlib.Path, name: str | None = None, tolerance: float = FLATNESS) -> Drawing:
    """Read an SVG file, plain or compressed.

    Parameters
    ----------
    file : pathlib.Path
    name : str, optional
        How the build file calls the drawing, for messages; the file's name by default.
    tolerance : float, mm
        Curves that are no circular arcs are flattened within this, at the drawing's own size.

    Returns
    -------
    Drawing
        In millimetres, y upward from the page's lower left corner. Each subpath is a path of its own.

    Raises
    ------
    DrawingError
        When the file can't be read, is refused, or holds nothing that can be used.
    """
    name = file.name if name is None else name
    root = parse(read_bytes(file, name), name)
    notes = Notes(name)
    view = _outer_view(root, notes)
    styles = Styles(root, notes)
    walker = Walker(root, styles, notes, tolerance)
    # Numbers that overflow are found where points are made, and told there.
    with np.errstate(all="ignore"):
        to_mm = affine(MM_PER_PX, 0, 0, -MM_PER_PX, 0, view.height_mm)
        entered = walker.enter(root, Place(to_mm, view.viewport), styles.of(root))
        if entered is not None:
            place = entered[0]
            if view.box is not None:
                width, height = view.width_mm / MM_PER_PX, view.height_mm / MM_PER_PX
                aspect = root.get("preserveAspectRatio", "")
                inner = view_transform(view.box, width, height, aspect)
                place = Place(compose(place.matrix, inner), view.viewport, place.look, place.names)
            walker.draw(root, place)
    if "viewBox" not in root.attrib:
        note_plain_numbers(root, [drawn.path for drawn in walker.paths], view.width_mm, view.height_mm, notes)
    findings = notes.findings()
    if not walker.paths:
        nothing = Problem(name, "the drawing holds no line that can be used", "Draw outlines as paths in it")
        every = (*findings, *(told(one, name) for one in walker.hidden.found()))
        raise DrawingError(
            [nothing, *(Problem(_where(one), one.text, one.todo.removesuffix(".")) for one in every)]
        )
    return Drawing(name, tuple(walker.paths), findings, view.unit_known, walker.hidden.found())


def _where(finding: Finding) -> str:
    layer, ident = (printable(name, LONGEST_NAME) for name in (finding.layer, finding.id))
    names = [layer and f"layer '{layer}'", ident and f"id '{ident}'"]
    return ": ".join(filter(None, (finding.file, ", ".join(filter(None, names)))))


class _OuterView(NamedTuple):
    """The outermost viewport: its size on paper, and the user space in it."""

    width_mm: float
    height_mm: float
    box: ViewBox | None
    viewport: tuple[float, float]
    unit_known: bool


def _side(root: Element, side: str, notes: Notes) -> Length | None:
    """The outermost width or height; None when there is none that can be used."""
    text = root.get(side, "").strip()
    if not text or text.lower() == "auto":
        return None
    length = parse_length(text)
    if length is None or length.value <= 0.0 or (length.unit != "%" and length.pixels(0.0) is None):
        notes.add(
            "bad-view",
            f"the drawing's {side} '{shorten(text)}' is no size, and is not used",
            "Set the page's size in your drawing program",
        )
        return None
    return length


def _outer_view(root: Element, notes: Notes) -> _OuterView:
    """How large the drawing is on paper.

    Raises
    ------
    DrawingError
        When its viewBox has no width or no height, so that nothing is drawn.
    """
    box = None
    text = root.get("viewBox")
    if text is not None:
        box = parse_view_box(text)
        if box is None:
            notes.add(
                "bad-view",
                f"the drawing's viewBox '{shorten(text)}' can't be read, and is not used",
                "Set the page's size in your drawing program and check the parts' sizes",
            )
        elif box.width == 0.0 or box.height == 0.0:
            raise DrawingError.one(
                notes.file,
                f"its viewBox '{shorten(text)}' has no width or no height, so that nothing of it is drawn",
                "Set the page's size in your drawing program",
            )
    sides = [_side(root, side, notes) for side in ("width", "height")]
    given = [None if side is None or side.mm is None else side.mm for side in sides]
    units = {side.unit for side in sides if side is not None and side.mm is not None}
    whole = box[2:] if box else DEFAULT_SIZE
    width, height = given
    if width is None and height is None:
        width, height = whole[0] * MM_PER_PX, whole[1] * MM_PER_PX
    elif width is None or height is None:
        # As CSS sizes a picture of which one side is given: by the viewBox's proportions.
        ratio = whole[0] / whole[1]
        width = width if width is not None else (height or 0.0) * ratio
        height = height if height is not None else width / ratio
    if not units:
        notes.add(
            "unit-missing",
            "the drawing doesn't say how large it is; 96 px to the inch is assumed",
            "Set the page's width and height in mm in your drawing program, and check the parts' sizes",
        )
    elif units <= {"", "px"}:
        notes.add(
            "unit-pixels",
            "the drawing's size is in pixels; they are read as 96 to the inch",
            "Check the parts' sizes: they come out at 3/4 when your program counts 72 to the inch;"
            " a page size in mm leaves no doubt",
        )
    viewport = (box.width, box.height) if box else (width / MM_PER_PX, height / MM_PER_PX)
    return _OuterView(width, height, box, viewport, bool(units))
