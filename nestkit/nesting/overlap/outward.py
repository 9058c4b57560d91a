"""Outlines as the engine sees them: grown by half the gap, with few corners, never smaller than the truth."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon, box

from nestkit.geometry import Outline

Points = NDArray[np.float64]

#: Arcs are flattened this finely, mm; with a gap the error eats into it, well within 0.01 mm.
FLAT = 0.003
#: Outlines with more corners than this are simplified.
MANY = 40
#: How far a simplified edge may stand off the true one: a share of the outline's size.
STAND_OFF = 0.001
#: Grown corners sharper than this are cut off, never below the true distance.
MITRE_LIMIT = 2.0


def engine_polygon(outline: Outline, grow: float) -> Polygon:
    """The outline grown by ``grow`` mm; nothing of the truth sticks out of it by more than rounding.

    Straight outlines of few corners that need not grow stay exactly as they are.
    """
    curved = any(ring.has_arcs for ring in outline.rings())
    polygon = outline.polygon(FLAT)
    if not polygon.is_valid:
        polygon = max(shapely.get_parts(shapely.make_valid(polygon)), key=lambda part: float(part.area))
    if grow <= 0.0 and curved:
        grow = FLAT
    if grow > 0.0:
        polygon = shapely.buffer(polygon, grow, join_style="mitre", mitre_limit=MITRE_LIMIT)
    if curved or len(shapely.get_coordinates(polygon)) > MANY:
        polygon = simplified(polygon, max(STAND_OFF * math.sqrt(polygon.area), FLAT))
    return polygon


def simplified(polygon: Polygon, tolerance: float) -> Polygon:
    """The polygon with fewer corners: it only grows, by less than ``tolerance`` mm."""
    rings = [_fewer(shapely.get_coordinates(ring)[:-1], tolerance) for ring in
             (polygon.exterior, *polygon.interiors)]  # fmt: skip
    loose = Polygon(rings[0], [ring for ring in rings[1:] if len(ring) >= 3])
    # Where simplified edges meet each other the outline stays as it was.
    return loose if loose.is_valid and loose.area >= polygon.area else polygon


def _fewer(ring: Points, tolerance: float) -> Points:
    """Corners of a ring that holds ``ring``, whose inside is on the left.

    A concave corner is cut off; an edge between two convex corners goes, and its neighbours are drawn
    out until they meet. The least change comes first.
    """
    if not shapely.is_ccw(shapely.linearrings(ring)):
        ring = ring[::-1]
    points = [tuple(p) for p in ring]
    while len(points) > 4:
        least = tolerance
        change: tuple[int, tuple[float, float] | None] | None = None
        count = len(points)
        for k in range(count):
            a, b, c, d = (np.array(points[(k + m) % count]) for m in range(4))
            ab, bc, cd = b - a, c - b, d - c
            turn_b, turn_c = float(ab[0] * bc[1] - ab[1] * bc[0]), float(bc[0] * cd[1] - bc[1] * cd[0])
            if turn_b <= 0.0:
                off = abs(turn_b) / max(float(np.hypot(*(c - a))), 1e-12)
                if off < least:
                    least, change = off, ((k + 1) % count, None)
            elif turn_c > 0.0:
                cross = float(ab[0] * cd[1] - ab[1] * cd[0])
                if cross <= 1e-9 * float(np.hypot(*ab) * np.hypot(*cd)):
                    continue
                t = float(bc[0] * cd[1] - bc[1] * cd[0]) / cross
                tip = b + t * ab
                off = turn_off(b, c, tip)
                if off < least:
                    least, change = off, ((k + 1) % count, (float(tip[0]), float(tip[1])))
        if change is None:
            break
        where, spot = change
        if spot is not None:
            points[where] = spot
            where = (where + 1) % count
        del points[where]
    return np.array(points)


def turn_off(b: Points, c: Points, tip: Points) -> float:
    """Distance of ``tip`` from the line through b and c."""
    edge = c - b
    return abs(float(edge[0] * (tip - b)[1] - edge[1] * (tip - b)[0])) / max(float(np.hypot(*edge)), 1e-12)


def inner_radius(polygon: Polygon) -> float:
    """Radius of the largest disc within the polygon."""
    return float(shapely.length(shapely.maximum_inscribed_circle(polygon)))


def without_idle_holes(polygons: Sequence[Polygon]) -> list[Polygon]:
    """The polygons without the holes that none of them can enter: too small for any part's largest disc."""
    if not any(polygon.interiors for polygon in polygons):
        return list(polygons)
    least = min(inner_radius(polygon) for polygon in polygons) * 0.99
    return [
        Polygon(
            polygon.exterior, [hole for hole in polygon.interiors if inner_radius(Polygon(hole)) >= least]
        )
        for polygon in polygons
    ]


def room_of(outline: Outline, margin: float, half_gap: float, reach: float) -> tuple[Points, list[Polygon]]:
    """Where parts grown by ``half_gap`` may lie in a bin: its bounds, and obstacles within and around it.

    Parameters
    ----------
    margin : float
        Rim kept free, mm.
    reach : float
        Obstacles go this far beyond the bounds, mm, so that depths point inward.

    Returns
    -------
    (4,) float, mm
        x0, y0, x1, y1.
    list of Polygon
        Empty for a rectangle.
    """
    room = outline.polygon(FLAT)
    x0, y0, x1, y1 = room.bounds
    inset = margin - half_gap
    bounds = np.array([x0 + inset, y0 + inset, x1 - inset, y1 - inset])
    if room.area >= box(x0, y0, x1, y1).area * (1.0 - 1e-12):
        return bounds, []
    outside = shapely.difference(box(x0 - reach, y0 - reach, x1 + reach, y1 + reach), room)
    parts = [part for part in shapely.get_parts(outside) if part.area > 0.0]
    if inset > 0.0:
        # Chords of the round corners stay outside the true circle.
        outer = inset / math.cos(math.pi / 16.0)
        parts = [shapely.buffer(part, outer, quad_segs=4, join_style="round") for part in parts]
        parts = list(shapely.get_parts(shapely.union_all(parts)))
    return bounds, [shapely.simplify(part, 0.0) for part in parts]
