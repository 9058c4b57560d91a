"""Numbers without a unit on a page that says how large it is, but not what a number counts."""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree.ElementTree import Element

from nestkit.drawings.svg_lengths import parse_length
from nestkit.drawings.svg_notes import Notes
from nestkit.drawings.svg_shapes import SHAPES
from nestkit.drawings.svg_source import local_name
from nestkit.geometry import Path
from nestkit.units import MM_PER_CSS_UNIT

_LENGTHS = ("x", "y", "width", "height", "cx", "cy", "r", "rx", "ry", "x1", "y1", "x2", "y2")
#: Elements whose coordinates are always plain numbers.
_PLAIN = frozenset(("path", "polyline", "polygon"))
#: So far beyond the page's edge lies no stroke by accident, mm.
_BEYOND = 1.0


def note_plain_numbers(
    root: Element, paths: Sequence[Path], width: float, height: float, notes: Notes
) -> None:
    """Tell that plain numbers count 1/96 in, for a drawing without a viewBox whose page has a size.

    Parameters
    ----------
    root : Element
        The outermost element.
    paths : sequence of Path, mm
        What was drawn, from the page's lower left corner.
    width, height : float, mm
        The page's size.
    notes : Notes
    """
    sides = {side: parse_length(root.get(side, "")) for side in ("width", "height")}
    physical = [
        side for side, length in sides.items() if length and length.unit not in ("", "px", "%") and length.mm
    ]
    plain, measured = _how_written(root)
    if not physical or not paths or not plain:
        return
    side = physical[0]
    length = sides[side]
    assert length is not None
    across = "wide" if side == "width" else "high"
    text = (
        f"the page is {length.value:g} {length.unit} {across} but has no viewBox: a number without unit "
        f"counts 1/96 in, so that 100 is {100.0 * MM_PER_CSS_UNIT['px']:.1f} mm"
    )
    boxes = [path.bounds for path in paths]
    if (
        min(box[0] for box in boxes) < -_BEYOND
        or min(box[1] for box in boxes) < -_BEYOND
        or max(box[2] for box in boxes) > width + _BEYOND
        or max(box[3] for box in boxes) > height + _BEYOND
    ):
        text += "; the drawing reaches out of its page"
    todo = "Check the parts' sizes. Where they are wrong, set the page's viewBox in your drawing program"
    if measured or length.unit == "q":
        notes.add("unit-mixed", text, todo)
    else:
        name = f'"{notes.file}" = "{length.unit}"'
        notes.add("unit-ambiguous", text, f"{todo}, or write {name} under [drawing_units]")


def _how_written(root: Element) -> tuple[bool, bool]:
    """Whether there are coordinates without a unit, and lengths with one."""
    plain = measured = False
    for element in root.iter():
        tag = local_name(element.tag) if isinstance(element.tag, str) else ""
        if tag in _PLAIN:
            plain = True
        elif tag in SHAPES:
            for key in _LENGTHS:
                length = parse_length(element.get(key, ""))
                if length is not None and length.value:
                    plain = plain or length.unit in ("", "px")
                    measured = measured or length.unit not in ("", "px", "%")
    return plain, measured
