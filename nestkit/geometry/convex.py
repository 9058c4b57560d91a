"""Polygons cut into convex pieces, and sums of convex pieces.

References
----------
Hertel and Mehlhorn 1983: a triangulation whose needless diagonals are removed has at most four times
the fewest convex pieces.
"""

from __future__ import annotations

from collections import defaultdict

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

Point = tuple[float, float]
GridPoint = tuple[int, int]


def convex_pieces(polygon: Polygon) -> list[NDArray[np.float64]]:
    """Convex pieces that together are the polygon, holes left out.

    Parameters
    ----------
    polygon : shapely.Polygon
        Valid.

    Returns
    -------
    list of (k, 2) float
        Counter-clockwise rings without a repeated point; they do not overlap.
    """
    triangles = shapely.get_parts(shapely.constrained_delaunay_triangles(polygon))
    rings: list[list[Point]] = []
    for triangle in triangles:
        a, b, c = (tuple(p) for p in shapely.get_coordinates(triangle)[:3])
        turn = _cross(a, b, c)
        if turn:
            rings.append([a, b, c] if turn > 0.0 else [a, c, b])
    return [np.array(ring) for ring in _merge(rings)]


def _cross(a: Point, b: Point, c: Point) -> float:
    return (b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0])


def _merge(rings: list[list[Point]]) -> list[list[Point]]:
    """Removes shared edges as long as what comes out is convex."""
    owners: dict[frozenset[Point], list[int]] = defaultdict(list)
    for k, ring in enumerate(rings):
        for i in range(len(ring)):
            owners[frozenset((ring[i - 1], ring[i]))].append(k)
    alias = list(range(len(rings)))

    def root(k: int) -> int:
        while alias[k] != k:
            alias[k] = alias[alias[k]]
            k = alias[k]
        return k

    # Longest shared edges first: that leaves compact pieces.
    shared = [(edge, pair) for edge, pair in owners.items() if len(pair) == 2 and len(edge) == 2]
    shared.sort(key=lambda item: (-_length(item[0]), sorted(item[0])))
    for edge, (first, second) in shared:
        p, q = root(first), root(second)
        if p == q:
            continue
        joined = _joined(rings[p], rings[q], edge)
        if joined is not None:
            rings[p] = joined
            alias[q] = p
    return [ring for k, ring in enumerate(rings) if root(k) == k]


def _length(edge: frozenset[Point]) -> float:
    (x0, y0), (x1, y1) = edge
    return float(np.hypot(x1 - x0, y1 - y0))


def _joined(one: list[Point], other: list[Point], edge: frozenset[Point]) -> list[Point] | None:
    """The two rings merged over their shared edge, or None when that is not convex."""
    i = next(k for k in range(len(one)) if frozenset((one[k - 1], one[k])) == edge)
    j = next(k for k in range(len(other)) if frozenset((other[k - 1], other[k])) == edge)
    # `one` walks a -> b over the edge, `other` b -> a: run through one from b, then other from a.
    ring = one[i:] + one[:i] + (other[j:] + other[:j])[1:-1]
    count = len(ring)
    for k in (0, len(one) - 1):
        if _cross(ring[k - 1], ring[k], ring[(k + 1) % count]) < 0.0:
            return None
    return ring


def from_lowest(ring: list[GridPoint]) -> list[GridPoint]:
    """A counter-clockwise ring, walked from its lowest, then leftmost, point."""
    first = min(range(len(ring)), key=lambda k: (ring[k][1], ring[k][0]))
    return ring[first:] + ring[:first]


def convex_sum(one: list[GridPoint], other: list[GridPoint]) -> list[GridPoint]:
    """Minkowski sum of two convex counter-clockwise rings of whole numbers.

    Both start at their lowest, then leftmost, point (see `from_lowest`); so does the sum. Edges are
    merged by their direction.
    """
    m, n = len(one), len(other)
    i = j = 0
    found: list[GridPoint] = []
    while i < m or j < n:
        ax, ay = one[i % m]
        bx, by = other[j % n]
        found.append((ax + bx, ay + by))
        nx, ny = one[(i + 1) % m]
        ox, oy = other[(j + 1) % n]
        turn = (nx - ax) * (oy - by) - (ny - ay) * (ox - bx)
        # A ring that is used up waits; edges of the same direction go together.
        one_next = i < m and (turn >= 0 or j >= n)
        other_next = j < n and (turn <= 0 or i >= m)
        i += one_next
        j += other_next
    return found
