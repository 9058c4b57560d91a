"""Basic shapes as subpaths in user space: rect, circle, ellipse, line, polyline, polygon.

References
----------
SVG 2, chapter 10 "Basic Shapes", with the equivalent path of each.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from nestkit.drawings.svg_lengths import diagonal, parse_length, parse_numbers
from nestkit.drawings.svg_path_data import ArcTo, LineTo, Segment, Subpath

#: Elements that are drawn, besides ``path``.
SHAPES = frozenset(("rect", "circle", "ellipse", "line", "polyline", "polygon"))


class FlawError(ValueError):
    """A value that can't be used; its text says which, for the finding."""


def length_of(
    properties: Mapping[str, str], name: str, viewport: tuple[float, float], default: float = 0.0
) -> float:
    """A length in user units, per cent taken of the viewport's width, height or diagonal.

    Raises
    ------
    FlawError
        When it is no length.
    """
    text = properties.get(name, "")
    if not text or text.strip().lower() == "auto":
        return default
    if name in ("x", "cx", "rx", "width", "x1", "x2"):
        whole = viewport[0]
    elif name in ("y", "cy", "ry", "height", "y1", "y2"):
        whole = viewport[1]
    else:
        whole = diagonal(*viewport)
    length = parse_length(text)
    pixels = length.pixels(whole) if length else None
    if pixels is None:
        raise FlawError(f'{name}="{" ".join(text[:30].split())}" is no length')
    return pixels


def _size(properties: Mapping[str, str], name: str, viewport: tuple[float, float]) -> float:
    size = length_of(properties, name, viewport)
    if size < 0.0:
        raise FlawError(f"{name} is negative")
    return size


def _ellipse(cx: float, cy: float, rx: float, ry: float) -> Subpath:
    """A full ellipse as two halves, from its rightmost point."""
    return Subpath(
        (cx + rx, cy),
        [
            ArcTo(cx, cy, rx, ry, 0.0, 0.0, math.pi, cx - rx, cy),
            ArcTo(cx, cy, rx, ry, 0.0, math.pi, math.pi, cx + rx, cy),
        ],
        True,
    )


def _rect(x: float, y: float, width: float, height: float, rx: float, ry: float) -> Subpath:
    """A rectangle, its corners rounded when both radii are larger than 0."""
    right, bottom = x + width, y + height
    if not (rx > 0.0 and ry > 0.0):
        corners = [LineTo(right, y), LineTo(right, bottom), LineTo(x, bottom)]
        return Subpath((x, y), [*corners], True)
    rx, ry = min(rx, width / 2.0), min(ry, height / 2.0)
    quarter = math.pi / 2.0
    segments: list[Segment] = [
        LineTo(right - rx, y),
        ArcTo(right - rx, y + ry, rx, ry, 0.0, -quarter, quarter, right, y + ry),
        LineTo(right, bottom - ry),
        ArcTo(right - rx, bottom - ry, rx, ry, 0.0, 0.0, quarter, right - rx, bottom),
        LineTo(x + rx, bottom),
        ArcTo(x + rx, bottom - ry, rx, ry, 0.0, quarter, quarter, x, bottom - ry),
        LineTo(x, y + ry),
        ArcTo(x + rx, y + ry, rx, ry, 0.0, math.pi, quarter, x + rx, y),
    ]
    return Subpath((x + rx, y), segments, True)


def _radii(properties: Mapping[str, str], viewport: tuple[float, float]) -> tuple[float, float]:
    """Radii of a rect's corners or of an ellipse: one that isn't given, or is negative, is as the other."""
    given = [length_of(properties, name, viewport, -1.0) for name in ("rx", "ry")]
    rx, ry = (radius if radius >= 0.0 else None for radius in given)
    return (rx if rx is not None else ry or 0.0), (ry if ry is not None else rx or 0.0)


def shape_of(
    tag: str,
    properties: Mapping[str, str],
    attributes: Mapping[str, str],
    viewport: tuple[float, float],
    most: int,
) -> tuple[Subpath | None, str]:
    """The subpath of a basic shape, and what is wrong with it although it is drawn.

    Parameters
    ----------
    tag : str
        One of `SHAPES`.
    properties : mapping
        Presentation attributes and CSS properties (``x``, ``r``, ...).
    attributes : mapping
        The element's attributes (``points``, ``x1``, ...).
    viewport : (float, float)
        Width and height that per cent are taken of.
    most : int
        Points that may still be read, and two more; the caller refuses a drawing that holds more.

    Returns
    -------
    (Subpath or None, str)
        None when the shape has no size.

    Raises
    ------
    FlawError
        When a value can't be used, so that nothing can be drawn.
    """
    if tag == "rect":
        width, height = _size(properties, "width", viewport), _size(properties, "height", viewport)
        if width == 0.0 or height == 0.0:
            return None, ""
        x, y = length_of(properties, "x", viewport), length_of(properties, "y", viewport)
        return _rect(x, y, width, height, *_radii(properties, viewport)), ""
    if tag == "circle" or tag == "ellipse":
        if tag == "circle":
            rx = ry = _size(properties, "r", viewport)
        else:
            rx, ry = _radii(properties, viewport)
        if rx == 0.0 or ry == 0.0:
            return None, ""
        cx, cy = length_of(properties, "cx", viewport), length_of(properties, "cy", viewport)
        return _ellipse(cx, cy, rx, ry), ""
    if tag == "line":
        x1, y1, x2, y2 = (length_of(attributes, name, viewport) for name in ("x1", "y1", "x2", "y2"))
        return Subpath((x1, y1), [LineTo(x2, y2)]), ""
    numbers, whole = parse_numbers(attributes.get("points", ""), 2 * most + 4)
    flaw = ""
    if not whole:
        flaw = "its points can't be read to the end"
    elif len(numbers) % 2:
        flaw = "its last point has only one number"
    points = list(zip(numbers[::2], numbers[1::2], strict=False))
    if not points:
        if flaw:
            raise FlawError(flaw)
        return None, ""
    return Subpath(points[0], [LineTo(x, y) for x, y in points[1:]], tag == "polygon"), flaw
