"""Convex covers: a polygon as a few overlapping convex pieces that together are exactly the polygon.

The larger the pieces, the truer the depth that the engine measures, so each piece is grown as far as
it goes: starting from the convex hull, the polygon's boundary nearest to a seed point cuts the piece
along the line of its edge until no boundary is left inside. At a reflex corner either edge may cut.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPoint, MultiPolygon, Polygon

from nestkit.jit import inner, kernel, maker

Points = NDArray[np.float64]
Counts = NDArray[np.int64]
Marks = NDArray[np.bool_]

#: Share of the polygon's area that may stay uncovered; such slivers are narrower than rounding.
_UNCOVERED = 1e-10
#: Spots at which it is looked what a piece would cover, about; and what it must add, of what is bare.
_SPOTS = 600
_LEAST_SHARE = 1e-4


@maker
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


@kernel
def looks(piece: Points) -> tuple[float, float, float, float, float]:
    """By what alike pieces, (n, 2), are told: their box, and the root of their area."""
    x0, y0, x1, y1, twice = np.inf, np.inf, -np.inf, -np.inf, 0.0
    for k in range(len(piece)):
        x, y = piece[k, 0], piece[k, 1]
        x0, y0, x1, y1 = min(x0, x), min(y0, y), max(x1, x), max(y1, y)
        twice += piece[k - 1, 0] * y - piece[k - 1, 1] * x
    return x0, y0, x1, y1, np.sqrt(max(twice, 0.0) / 2.0)


@kernel
def spots_in(corners: Points, first: Counts, spots: Points) -> Marks:
    """Which spots lie in which piece.

    Parameters
    ----------
    corners : (n, 2) float
        Of all pieces, one after another, each convex and counter-clockwise.
    first : (pieces + 1,) int
        Where each piece begins in ``corners``.
    spots : (m, 2) float

    Returns
    -------
    (pieces, m) bool
    """
    inside = np.ones((len(first) - 1, len(spots)), dtype=np.bool_)
    for n in range(len(first) - 1):
        for k in range(first[n], first[n + 1]):
            follows = k + 1 if k + 1 < first[n + 1] else first[n]
            px, py = corners[k, 0], corners[k, 1]
            ex, ey = corners[follows, 0] - px, corners[follows, 1] - py
            for m in range(len(spots)):
                if ex * (spots[m, 1] - py) - ey * (spots[m, 0] - px) < 0.0:
                    inside[n, m] = False
    return inside


@kernel
def choose(inside: Marks, weights: Points, least: float) -> Counts:
    """Pieces that together cover the spots, each the one that adds most weight to those before it.

    Parameters
    ----------
    inside : (pieces, m) bool
        See `spots_in`.
    weights : (m,) float
        Of each spot.
    least : float
        What adds no more than this is not chosen.

    Returns
    -------
    (chosen,) int
        Numbers of pieces, in the order in which they were chosen.
    """
    count = len(inside)
    bare = weights.copy()
    chosen = np.empty(count, dtype=np.int64)
    number = 0
    while number < count:
        most, best = least, -1
        for n in range(count):
            adds = 0.0
            for m in range(len(bare)):
                if inside[n, m]:
                    adds += bare[m]
            if adds > most:
                most, best = adds, n
        if best < 0:
            break
        chosen[number] = best
        number += 1
        for m in range(len(bare)):
            if inside[best, m]:
                bare[m] = 0.0
    return chosen[:number]


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
    found: list[Points] = []
    everywhere = np.zeros((0, 2))
    while rest.area > _UNCOVERED * area:
        triangles = shapely.get_parts(shapely.constrained_delaunay_triangles(rest))
        corners = shapely.get_coordinates(triangles).reshape(-1, 4, 2)[:, :3]
        areas = shapely.area(triangles)
        largest = np.argsort(-areas, kind="stable")
        fresh: dict[tuple[float, ...], Points] = {}
        seen = 0
        for x, y in corners[largest[:60]].mean(axis=1):
            for choice in (0, -1, 0b0101, 0b1010)[:tries]:
                piece = grow(hull, edges, float(x), float(y), choice, eps)
                if len(piece) >= 3:
                    # Many seeds grow into the same piece.
                    fresh.setdefault(tuple(round(value / size, 9) for value in looks(piece)), piece)
                    seen += 1
            if seen >= 4 * tries and len(triangles) > 60:
                break
        if not fresh:
            break
        spots, weights = _spots(corners, areas)
        everywhere = np.concatenate((everywhere, spots))
        some = list(fresh.values())
        inside = spots_in(*_in_a_row(some), spots)
        chosen = choose(inside, weights, _LEAST_SHARE * rest.area)
        if not len(chosen):
            break
        taken = [some[n] for n in chosen]
        before = rest.area
        found += taken
        rest = shapely.difference(rest, shapely.union_all([Polygon(piece) for piece in taken]))
        rest = MultiPolygon([part for part in shapely.get_parts(rest) if part.area > 0.0])
        if rest.area >= before:
            break
    if prune:
        found = _needed(found, everywhere, area)
    return [_convex_ring(piece) for piece in found]


def _in_a_row(pieces: Sequence[Points]) -> tuple[Points, Counts]:
    """Corners of all pieces, and where each piece begins among them."""
    return np.concatenate(pieces), np.cumsum([0, *map(len, pieces)])


def _spots(corners: Points, areas: Points) -> tuple[Points, Points]:
    """Spots spread over triangles, (m, 2), and the area that each stands for, (m,).

    A triangle is divided into k^2 alike ones, the larger the more; the spots are their middles.
    """
    spots, weights = [], []
    number = np.ceil(np.sqrt(_SPOTS * np.maximum(areas / areas.sum(), 1e-9))).astype(np.int64)
    for k in np.unique(number):
        some = number == k
        shares = _middles(int(k))
        spots.append(np.einsum("sc,tcx->tsx", shares, corners[some]).reshape(-1, 2))
        weights.append(np.repeat(areas[some] / k**2, k**2))
    return np.concatenate(spots), np.concatenate(weights)


@functools.cache
def _middles(k: int) -> Points:
    """Middles of the k^2 alike triangles of a triangle: shares of its three corners, (k^2, 3)."""
    upright = [(3 * i + 1, 3 * j + 1) for i in range(k) for j in range(k - i)]
    turned = [(3 * i + 2, 3 * j + 2) for i in range(k - 1) for j in range(k - 1 - i)]
    one = np.array(upright + turned, dtype=np.float64) / (3 * k)
    return np.column_stack((one, 1.0 - one.sum(axis=1)))


def _needed(pieces: list[Points], spots: Points, area: float) -> list[Points]:
    """The pieces without those that the others cover, smallest first; ``area`` is that of the polygon."""
    inside = spots_in(*_in_a_row(pieces), spots)
    often = inside.sum(axis=0)
    polygons = [Polygon(piece) for piece in pieces]
    kept = set(range(len(pieces)))
    for n in sorted(kept, key=lambda n: polygons[n].area):
        if (often[inside[n]] == 1).any():
            continue
        others = [polygons[m] for m in sorted(kept - {n}) if polygons[m].intersects(polygons[n])]
        try:
            bare = shapely.difference(polygons[n], shapely.union_all(others))
        except shapely.errors.GEOSException:
            # Rounding left a sliver that can't be reckoned with: the piece stays, which is never wrong.
            continue
        if bare.area <= 1e-12 * area:
            kept.remove(n)
            often -= inside[n]
    return [pieces[n] for n in sorted(kept)]
