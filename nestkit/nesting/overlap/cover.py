"""Convex covers: a polygon as a few overlapping convex pieces that together are exactly the polygon.

The larger the pieces, the truer the depth that the engine measures, so each piece is grown as far as
it goes: starting from the convex hull, the polygon's boundary nearest to a seed point cuts the piece
along the line of its edge until no boundary is left inside. At a reflex corner either edge may cut.
"""

from __future__ import annotations

import heapq

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPoint, MultiPolygon, Polygon

from nestkit.jit import inner, kernel

Points = NDArray[np.float64]

#: Share of the polygon's area that may stay uncovered; such slivers are narrower than rounding.
_UNCOVERED = 1e-10


@inner
def _clip(piece: Points, px: float, py: float, nx: float, ny: float, eps: float) -> Points:
    """The convex ``piece`` (n, 2), counter-clockwise, without what lies beyond (px, py) along the normal."""
    count = len(piece)
    out = np.empty((count + 2, 2))
    kept = 0
    for k in range(count):
        ax, ay = piece[k, 0], piece[k, 1]
        bx, by = piece[(k + 1) % count, 0], piece[(k + 1) % count, 1]
        da = (ax - px) * nx + (ay - py) * ny
        db = (bx - px) * nx + (by - py) * ny
        if da <= eps:
            out[kept, 0], out[kept, 1] = ax, ay
            kept += 1
        if (da < -eps and db > eps) or (da > eps and db < -eps):
            t = da / (da - db)
            out[kept, 0], out[kept, 1] = ax + t * (bx - ax), ay + t * (by - ay)
            kept += 1
    return out[:kept]


@inner
def _inside_span(piece: Points, ax: float, ay: float, bx: float, by: float) -> tuple[float, float]:
    """Where the segment from a to b runs inside the convex ``piece``: parameters (from, to)."""
    low, high = 0.0, 1.0
    count = len(piece)
    for k in range(count):
        px, py = piece[k, 0], piece[k, 1]
        ex, ey = piece[(k + 1) % count, 0] - px, piece[(k + 1) % count, 1] - py
        # Positive where the point is left of the edge, that is inside.
        da = ex * (ay - py) - ey * (ax - px)
        db = ex * (by - py) - ey * (bx - px)
        if da <= 0.0 and db <= 0.0:
            return 1.0, 0.0
        if da < 0.0:
            low = max(low, da / (da - db))
        elif db < 0.0:
            high = min(high, da / (da - db))
    return low, high


@inner
def _depth_in(piece: Points, x: float, y: float) -> float:
    """Distance of (x, y) from the nearest edge line of the convex ``piece``, positive inside."""
    least = np.inf
    count = len(piece)
    for k in range(count):
        px, py = piece[k, 0], piece[k, 1]
        ex, ey = piece[(k + 1) % count, 0] - px, piece[(k + 1) % count, 1] - py
        length = np.hypot(ex, ey)
        if length > 0.0:
            least = min(least, (ex * (y - py) - ey * (x - px)) / length)
    return least


@kernel
def grow(hull: Points, edges: Points, sx: float, sy: float, choice: int, eps: float) -> Points:
    """The largest convex piece that this greedy cutting finds around the seed (sx, sy).

    Parameters
    ----------
    hull : (n, 2) float
        Convex, counter-clockwise.
    edges : (m, 4) float
        The polygon's boundary, x0, y0, x1, y1, the inside on the left.
    sx, sy : float
    choice : int
        Bit k says which edge cuts at the k-th reflex corner met.
    eps : float
        Lengths below this count as nothing.
    """
    piece = hull
    for cut in range(4 * len(edges)):
        least = np.inf
        best = -1
        blocked = False
        for k in range(len(edges)):
            ax, ay, bx, by = edges[k, 0], edges[k, 1], edges[k, 2], edges[k, 3]
            low, high = _inside_span(piece, ax, ay, bx, by)
            length = np.hypot(bx - ax, by - ay)
            if (high - low) * length <= eps:
                continue
            middle = (low + high) / 2.0
            if _depth_in(piece, ax + middle * (bx - ax), ay + middle * (by - ay)) <= eps:
                continue
            blocked = True
            along = ((sx - ax) * (bx - ax) + (sy - ay) * (by - ay)) / (length * length)
            along = min(max(along, low), high)
            away = np.hypot(ax + along * (bx - ax) - sx, ay + along * (by - ay) - sy)
            inner = ((bx - ax) * (sy - ay) - (by - ay) * (sx - ax)) / length
            if inner <= eps:
                continue
            if away < least - eps:
                least, best = away, k
            elif away < least + eps and (choice >> cut) & 1:
                best = k
        if best < 0:
            # Boundary inside, but none that faces the seed: the seed lies on an edge.
            return piece[:0] if blocked else piece
        ax, ay, bx, by = edges[best, 0], edges[best, 1], edges[best, 2], edges[best, 3]
        length = np.hypot(bx - ax, by - ay)
        piece = _clip(piece, ax, ay, (by - ay) / length, -(bx - ax) / length, eps)
        if len(piece) < 3:
            break
    return piece[:0]


def _edges(polygon: Polygon) -> Points:
    rings = [shapely.get_coordinates(ring) for ring in (polygon.exterior, *polygon.interiors)]
    return np.concatenate([np.column_stack((ring[:-1], ring[1:])) for ring in rings])


def _convex_ring(points: Points) -> Points:
    """Hull of ``points``, counter-clockwise, without its repeated start."""
    hull = shapely.orient_polygons(MultiPoint(points).convex_hull)
    ring: Points = shapely.get_coordinates(hull)[:-1]
    return ring


def convex_cover(polygon: Polygon, tries: int = 4, prune: bool = True) -> list[Points]:
    """Convex pieces whose union is ``polygon``.

    Parameters
    ----------
    polygon : Polygon
        Valid, with or without holes.
    tries : int
        Pieces tried for each seed, which differ in the cuts at reflex corners.
    prune : bool
        Whether to drop pieces that turn out to be covered by the others.

    Returns
    -------
    list of (n, 2) float
        Counter-clockwise, no point repeated; each within the polygon up to rounding, and what they
        leave uncovered is less than 1e-10 of the area.
    """
    polygon = shapely.orient_polygons(polygon)
    hull = _convex_ring(shapely.get_coordinates(polygon.exterior))
    size = float(np.ptp(hull, axis=0).max())
    eps = 1e-11 * size
    if not polygon.interiors and Polygon(hull).area <= polygon.area * (1.0 + 1e-13):
        return [hull]
    edges = _edges(polygon)
    rest, area = polygon, polygon.area
    found: list[Polygon] = []
    while rest.area > _UNCOVERED * area:
        triangles = shapely.get_parts(shapely.constrained_delaunay_triangles(rest))
        triangles = triangles[np.argsort(-shapely.area(triangles), kind="stable")]
        fresh: list[Polygon] = []
        for triangle in triangles[:60]:
            x, y = shapely.get_coordinates(triangle)[:3].mean(axis=0)
            for choice in (0, -1, 0b0101, 0b1010)[:tries]:
                piece = grow(hull, edges, float(x), float(y), choice, eps)
                if len(piece) >= 3:
                    fresh.append(Polygon(piece))
            if len(fresh) >= 4 * tries and len(triangles) > 60:
                break
        # Many seeds grow into the same piece.
        unlike = {
            (round(piece.area / area, 9), *np.round(np.array(piece.bounds) / size, 9)): piece
            for piece in fresh
        }
        unlike = {key: piece for key, piece in unlike.items() if piece.area > 0.0}
        if not unlike:
            break
        before = rest.area
        rest = _take_largest(list(unlike.values()), rest, area, found)
        rest = MultiPolygon([part for part in shapely.get_parts(rest) if part.area > 0.0])
        if rest.area >= before:
            break
    return [
        _convex_ring(shapely.get_coordinates(piece))
        for piece in (_needed(found, polygon) if prune else found)
    ]


def _take_largest(candidates: list[Polygon], rest: Polygon, area: float, found: list[Polygon]) -> Polygon:
    """Adds the candidates to ``found`` that cover most of ``rest``, one after another; what stays bare.

    What a candidate adds never grows, so an old value is a bound and only the first in line is measured.
    """
    least = 1e-4 * rest.area
    line = [(-piece.area, k) for k, piece in enumerate(candidates)]
    heapq.heapify(line)
    while line and rest.area > _UNCOVERED * area:
        _, k = heapq.heappop(line)
        adds = shapely.intersection(candidates[k], rest).area
        if adds <= least:
            continue
        if line and adds < -line[0][0]:
            heapq.heappush(line, (-adds, k))
            continue
        found.append(candidates[k])
        rest = shapely.difference(rest, candidates[k])
    return rest


def _needed(pieces: list[Polygon], polygon: Polygon) -> list[Polygon]:
    """The pieces without those that the others cover, smallest first."""
    kept = sorted(pieces, key=lambda piece: -piece.area)
    for piece in sorted(pieces, key=lambda piece: piece.area):
        bare = piece
        for other in kept:
            if other is piece or bare.area <= 1e-12 * polygon.area:
                continue
            try:
                bare = shapely.difference(bare, other)
            except shapely.errors.GEOSException:
                # Rounding left a sliver that can't be reckoned with: the piece stays, which is never wrong.
                break
        if bare.area <= 1e-12 * polygon.area:
            kept.remove(piece)
    return kept
