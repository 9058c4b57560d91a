"""Closed lines that cross or touch themselves: told apart, and where."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import shapely
from shapely.geometry import LinearRing, MultiPolygon, Polygon

#: Two areas that overlap in a strip narrower than twice this only touch, mm.
OVERLAP = 0.005

_PLACE = re.compile(r"\[\s*(\S+)\s+(\S+?)\s*\]")


def simple_parts(shape: Any) -> list[Polygon]:
    """The polygons that a shape consists of, a crossed one taken by the even-odd rule."""
    mended = shape if shape.is_valid else shapely.make_valid(shape)
    return [
        part for part in shapely.get_parts(mended) for part in _polygons(part) if isinstance(part, Polygon)
    ]


def _polygons(shape: Any) -> list[Any]:
    return list(shape.geoms) if isinstance(shape, MultiPolygon) else [shape]


def touch_only(polygon: Polygon) -> bool:
    """True when an invalid polygon's boundary touches itself but never crosses.

    Walking a boundary that crosses itself counts some area twice or against another; then the shoelace sum
    is not the area by the even-odd rule.
    """
    ring = np.asarray(polygon.exterior.coords)
    x, y = (ring - ring[0]).T
    swept = abs(float((x[:-1] * y[1:] - x[1:] * y[:-1]).sum())) / 2.0
    covered = sum(part.area for part in simple_parts(polygon))
    return bool(abs(swept - covered) <= max(1e-9 * swept, OVERLAP * OVERLAP))


def crossing_point(ring: LinearRing) -> tuple[float, float]:
    """A point at which the ring crosses itself."""
    match = _PLACE.search(shapely.is_valid_reason(Polygon(ring)))
    if match is None:
        x, y = ring.coords[0][:2]
        return float(x), float(y)
    return float(match[1]), float(match[2])
