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

from nestkit.jit import kernel

Point = tuple[float, float]
Ints = NDArray[np.int64]


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


@kernel
def convex_sums(one: Ints, one_at: Ints, other: Ints, other_at: Ints) -> tuple[Ints, Ints]:
    """Minkowski sums of each of some convex rings with each of others, all of whole numbers.

    Every ring is counter-clockwise and starts at its lowest, then leftmost, point, as every sum does. Edges
    are merged by their direction.

    Parameters
    ----------
    one : (n, 2) int
        Corners of all rings. No ring is longer than 1e9 either way, so that no product overflows.
    one_at : (rings + 1,) int
        Where each ring begins, and where the last one ends.
    other, other_at
        As `one` and `one_at`.

    Returns
    -------
    (n, 2) int, (rings + 1,) int
        The sums of the first ring with all the others, then those of the second, and where each begins.
    """
    rings, others = len(one_at) - 1, len(other_at) - 1
    points = np.empty((len(one) * others + len(other) * rings, 2), np.int64)
    at = np.zeros(rings * others + 1, np.int64)
    count = 0
    for a in range(rings):
        p, m = one_at[a], one_at[a + 1] - one_at[a]
        for b in range(others):
            q, n = other_at[b], other_at[b + 1] - other_at[b]
            i = j = 0
            while i < m or j < n:
                here, there = p + i % m, q + j % n
                points[count, 0] = one[here, 0] + other[there, 0]
                points[count, 1] = one[here, 1] + other[there, 1]
                count += 1
                onward, beyond = p + (i + 1) % m, q + (j + 1) % n
                turn = (one[onward, 0] - one[here, 0]) * (other[beyond, 1] - other[there, 1])
                turn -= (one[onward, 1] - one[here, 1]) * (other[beyond, 0] - other[there, 0])
                # A ring that is used up waits; edges of the same direction go together.
                one_goes = i < m and (turn >= 0 or j >= n)
                other_goes = j < n and (turn <= 0 or i >= m)
                if one_goes:
                    i += 1
                if other_goes:
                    j += 1
            at[a * others + b + 1] = count
    return points[:count], at


@kernel
def is_left_out(spots: Ints, points: Ints, at: Ints) -> bool:
    """Whether one of the spots lies outside all of some convex counter-clockwise rings.

    Parameters
    ----------
    spots : (n, 2) int
    points, at
        As `convex_sums` gives them.
    """
    for s in range(len(spots)):
        x, y = spots[s]
        is_inside = False
        for r in range(len(at) - 1):
            is_inside = True
            last = at[r + 1] - 1
            for k in range(at[r], at[r + 1]):
                across = (points[k, 0] - points[last, 0]) * (y - points[last, 1])
                if across < (points[k, 1] - points[last, 1]) * (x - points[last, 0]):
                    is_inside = False
                    break
                last = k
            if is_inside:
                break
        if not is_inside:
            return True
    return False
