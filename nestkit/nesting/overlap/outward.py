"""Outlines as the engine sees them: grown by half the gap, with few corners, never smaller than the truth."""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon, box

from nestkit.geometry import Outline
from nestkit.jit import kernel

Points = NDArray[np.float64]

#: Arcs are flattened this finely, mm; with a gap the error eats into it, well within 0.01 mm.
FLAT = 0.003
#: Outlines with more corners than this are simplified.
MANY = 40
#: How far a simplified edge may stand off the true one: a share of the outline's size, or of the gap if
#: that is more. Where there is a gap nothing fits as in a jigsaw: the share is larger, up to half the gap,
#: so that two ornate parts may lie twice as far apart as asked, and they have half as many pieces.
STAND_OFF, STAND_OFF_WITH_GAP = 0.001, 0.005
GAP_SHARE, MOST_OF_GAP = 0.2, 0.5
#: A hole's edge may stand off by this share of its radius: a round one gets 13 to 26 corners.
HOLE_SHARE = 0.03
#: Grown corners sharper than this are cut off, never below the true distance.
MITRE_LIMIT = 2.0


@functools.lru_cache(maxsize=1024)
def engine_polygon(outline: Outline, grow: float) -> Polygon:
    """The outline grown by ``grow`` mm; nothing of the truth sticks out of it by more than rounding.

    Straight outlines of few corners that need not grow stay exactly as they are.
    """
    curved = any(ring.has_arcs for ring in outline.rings())
    gap = 2.0 * grow
    polygon = outline.polygon(FLAT)
    if not polygon.is_valid:
        polygon = max(shapely.get_parts(shapely.make_valid(polygon)), key=lambda part: float(part.area))
    if grow <= 0.0 and curved:
        grow = FLAT
    if grow > 0.0:
        polygon = shapely.buffer(polygon, grow, join_style="mitre", mitre_limit=MITRE_LIMIT)
    if curved or len(shapely.get_coordinates(polygon)) > MANY:
        size = math.sqrt(polygon.area)
        loose = min(STAND_OFF_WITH_GAP * size, MOST_OF_GAP * gap)
        tolerance = max(STAND_OFF * size, loose, FLAT, GAP_SHARE * gap)
        polygon = simplified(polygon, tolerance, HOLE_SHARE)
    return polygon


def simplified(polygon: Polygon, tolerance: float, hole_share: float = 0.0) -> Polygon:
    """The polygon with fewer corners: it only grows, by about ``tolerance`` mm.

    Within its holes it may be ``hole_share`` of their radius if that is more. A ring whose simplified
    edges would meet each other stays as it was.
    """
    polygon = shapely.orient_polygons(polygon)
    outer = Polygon(fewer(shapely.get_coordinates(polygon.exterior)[:-1], tolerance))
    if not outer.is_valid or outer.area < Polygon(polygon.exterior).area:
        outer = Polygon(polygon.exterior)
    holes = []
    for ring in polygon.interiors:
        hole = Polygon(ring)
        loose = max(tolerance, hole_share * inner_radius(hole)) if hole_share else tolerance
        smaller = Polygon(fewer(shapely.get_coordinates(ring)[:-1], loose))
        holes.append(smaller if smaller.is_valid and 0.0 < smaller.area <= hole.area else hole)
    found = Polygon(outer.exterior, [hole.exterior for hole in holes])
    return found if found.is_valid else polygon


@kernel
def fewer(ring: Points, tolerance: float) -> Points:
    """Corners of a ring that leaves more to the side of the material, which lies on its left.

    A concave corner is cut off; an edge between two convex corners goes, and its neighbours are drawn
    out until they meet. The least change comes first.

    Parameters
    ----------
    ring : (n, 2) float
    tolerance : float
        Changes of this much or more are not made.
    """
    points = ring.copy()
    count = len(points)
    while count > 4:
        least, at, is_drawn_out, tip_x, tip_y = tolerance, -1, False, 0.0, 0.0
        for k in range(count):
            ax, ay = points[k]
            bx, by = points[(k + 1) % count]
            cx, cy = points[(k + 2) % count]
            dx, dy = points[(k + 3) % count]
            turn = (bx - ax) * (cy - by) - (by - ay) * (cx - bx)
            if turn <= 0.0:
                off = -turn / max(math.hypot(cx - ax, cy - ay), 1e-12)
                if off < least:
                    least, at, is_drawn_out = off, k, False
                continue
            turn_c = (cx - bx) * (dy - cy) - (cy - by) * (dx - cx)
            cross = (bx - ax) * (dy - cy) - (by - ay) * (dx - cx)
            if turn_c > 0.0 and cross > 1e-9 * math.hypot(bx - ax, by - ay) * math.hypot(dx - cx, dy - cy):
                along = turn_c / cross
                off = along * turn / max(math.hypot(cx - bx, cy - by), 1e-12)
                if off < least:
                    least, at, is_drawn_out = off, k, True
                    tip_x, tip_y = bx + along * (bx - ax), by + along * (by - ay)
        if at < 0:
            break
        gone = (at + 1) % count
        if is_drawn_out:
            points[gone, 0], points[gone, 1] = tip_x, tip_y
            gone = (at + 2) % count
        for k in range(gone, count - 1):
            points[k] = points[k + 1]
        count -= 1
    return points[:count].copy()


def inner_radius(polygon: Polygon) -> float:
    """Radius of the largest disc within the polygon."""
    return float(shapely.length(shapely.maximum_inscribed_circle(polygon)))


def without_idle_holes(polygons: Sequence[Polygon]) -> list[Polygon]:
    """The polygons without the holes that none of them can enter.

    What lies in a hole is no larger than it, no longer, and holds no larger disc.
    """
    if not any(polygon.interiors for polygon in polygons):
        return list(polygons)
    sizes = [_sizes(polygon) for polygon in polygons]

    def entered(hole: Polygon) -> bool:
        room = np.array(_sizes(hole)) * 1.01
        return any((size <= room).all() for size in np.array(sizes))

    return [
        Polygon(polygon.exterior, [hole for hole in polygon.interiors if entered(Polygon(hole))])
        for polygon in polygons
    ]


def _sizes(polygon: Polygon) -> tuple[float, float, float]:
    """Area, greatest distance between two corners, and radius of the largest disc within."""
    corners = shapely.get_coordinates(shapely.convex_hull(polygon))
    span = float(np.hypot(*(corners[:, None] - corners[None]).transpose(2, 0, 1)).max())
    return polygon.area, span, inner_radius(polygon)


def room_of(outline: Outline, margin: float, half_gap: float, reach: float) -> tuple[Points, list[Polygon]]:
    """Where parts grown by ``half_gap`` may lie in a bin: its bounds, and obstacles within and around it.

    Parameters
    ----------
    outline : Outline
    margin : float
        Rim kept free, mm.
    half_gap : float, mm
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
    tolerance = max(FLAT, GAP_SHARE * max(2.0 * half_gap, inset))
    return bounds, [simplified(shapely.simplify(part, 0.0), tolerance) for part in parts]
