"""Closed lines that cross or touch themselves: told apart, and where."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

#: Two areas that overlap in a strip narrower than twice this only touch, mm.
OVERLAP = 0.005

#: Sides are compared with all others in groups of so many, so that memory stays small.
_GROUP = 200

_PLACE = re.compile(r"\[\s*(\S+)\s+(\S+?)\s*\]")


def filled(polygon: Polygon) -> list[Polygon]:
    """All that a boundary which crosses itself encloses, without holes."""
    parts = shapely.get_parts(shapely.make_valid(polygon, method="structure"))
    return [Polygon(part.exterior) for part in parts if isinstance(part, Polygon)]


def simple_parts(shape: Any) -> list[Polygon]:
    """The polygons that a shape consists of, by the even-odd rule.

    Slow when the boundary crosses itself thousands of times: ask `self_crossing` first.
    """
    mended = shape if shape.is_valid else shapely.make_valid(shape)
    return [
        part
        for collection in shapely.get_parts(mended)
        for part in shapely.get_parts(collection)
        if isinstance(part, Polygon)
    ]


def self_crossing(polygon: Polygon) -> tuple[float, float] | None:
    """A point where the boundary of an invalid polygon crosses itself; None when it only touches itself."""
    ring = np.asarray(polygon.exterior.coords)[:, :2]
    at = _crossing_sides(ring)
    if at is not None:
        return at
    # No two sides cross, but the boundary may cross itself in a corner. Walking it then counts some area
    # twice or against another, and the shoelace sum is not the area by the even-odd rule.
    x, y = (ring - ring[0]).T
    swept = abs(float((x[:-1] * y[1:] - x[1:] * y[:-1]).sum())) / 2.0
    covered = sum(part.area for part in simple_parts(polygon))
    if abs(swept - covered) <= max(1e-9 * swept, OVERLAP * OVERLAP):
        return None
    match = _PLACE.search(shapely.is_valid_reason(polygon))
    return (float(match[1]), float(match[2])) if match else (float(ring[0, 0]), float(ring[0, 1]))


def _crossing_sides(ring: NDArray[np.float64]) -> tuple[float, float] | None:
    """Where two sides of a ring cross each other by more than a hair."""
    starts, ends = ring[:-1], ring[1:]
    sides = shapely.linestrings(np.stack((starts, ends), axis=1))
    tree = shapely.STRtree(sides)
    for first in range(0, len(sides), _GROUP):
        a, b = tree.query(sides[first : first + _GROUP], predicate="crosses")
        a = a + first
        depth = np.minimum(
            np.minimum(_beside(starts[a], starts[b], ends[b]), _beside(ends[a], starts[b], ends[b])),
            np.minimum(_beside(starts[b], starts[a], ends[a]), _beside(ends[b], starts[a], ends[a])),
        )
        deep = np.flatnonzero(depth > OVERLAP)
        if len(deep):
            at = shapely.get_coordinates(shapely.intersection(sides[a[deep[0]]], sides[b[deep[0]]]))
            return float(at[0, 0]), float(at[0, 1])
    return None


def _beside(
    points: NDArray[np.float64], starts: NDArray[np.float64], ends: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Distance of each point from the line through a side."""
    along, to = ends - starts, points - starts
    length = np.hypot(along[:, 0], along[:, 1])
    cross = np.abs(along[:, 0] * to[:, 1] - along[:, 1] * to[:, 0])
    return np.asarray(cross / np.where(length > 0.0, length, 1.0), dtype=np.float64)
