"""Reads stroke digits by their likeness to those of DejaVu Sans, a printed font that matplotlib ships."""

from __future__ import annotations

from functools import cache

import numpy as np
import shapely
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath
from shapely import affinity

_SAMPLES = 400


@cache
def _printed(digit: str) -> shapely.Geometry:
    """A printed digit, inside of its outline, in a box 1 high."""
    rings = TextPath((0, 0), digit, size=100, prop=FontProperties("DejaVu Sans")).to_polygons()
    shape: shapely.Geometry = shapely.Polygon()
    for ring in rings:
        shape = shape.symmetric_difference(shapely.Polygon(ring).buffer(0))
    return _boxed(shape)


def _boxed(shape: shapely.Geometry) -> shapely.Geometry:
    """Moved and scaled to a box 1 high and 0.65 wide; what is slim (a 1) keeps its shape."""
    x0, y0, x1, y1 = shape.bounds
    high = y1 - y0
    wide = 0.65 if (x1 - x0) / high > 0.4 else (x1 - x0) / high
    moved = affinity.translate(shape, -(x0 + x1) / 2.0, -(y0 + y1) / 2.0)
    return affinity.scale(moved, wide / (x1 - x0), 1.0 / high, origin=(0, 0))


def _spots(shape: shapely.Geometry) -> np.ndarray:
    lines = shape if shape.geom_type.endswith("LineString") else shape.boundary
    return shapely.line_interpolate_point(
        shapely.line_merge(lines) if lines.geom_type != "MultiLineString" else lines,
        np.linspace(0.0, 1.0, _SAMPLES),
        normalized=True,
    )


def unlikeness(strokes: shapely.Geometry, digit: str) -> float:
    """Mean distance between written and printed, both ways."""
    written, printed = _boxed(strokes), _printed(digit)
    there = shapely.distance(_spots(written), printed).mean()
    back = shapely.distance(_spots(printed), written).mean()
    return float(there + back)


def read_digit(strokes: shapely.Geometry) -> str:
    """The digit that strokes (MultiLineString, upright, y upward) are most like.

    Only a 1 is slim; with its foot, the printed one is too unlike a plain stroke to be compared.
    """
    x0, y0, x1, y1 = strokes.bounds
    if x1 - x0 < 0.35 * (y1 - y0):
        return "1"
    return min("0123456789", key=lambda digit: unlikeness(strokes, digit))


def read_number(strokes: shapely.Geometry, turn: float) -> str:
    """The number that strokes make whose base line runs at this angle (radians); underlines are left out."""
    level = affinity.rotate(strokes, -turn, origin=(0, 0), use_radians=True)
    lines = [
        line for line in shapely.get_parts(level) if np.ptp(line.bounds[1::2]) > 1e-3 or len(line.coords) > 2
    ]
    digits: list[list[shapely.Geometry]] = []
    reach = -np.inf
    # From left to right; what overlaps sideways is of one digit.
    for line in sorted(lines, key=lambda line: line.bounds[0]):
        if line.bounds[0] > reach:
            digits.append([])
        digits[-1].append(line)
        reach = max(reach, line.bounds[2])
    return "".join(read_digit(shapely.MultiLineString(digit)) for digit in digits)
