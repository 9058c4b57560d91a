"""Slow and obvious twins of the fast code, in plain shapely and loops."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np
from shapely.geometry import MultiPoint, Point, Polygon

from nestkit.geometry import Outline

# --- geometry -------------------------------------------------------------------------------------


def convex_sum(one: Sequence[tuple[int, int]], other: Sequence[tuple[int, int]]) -> Polygon:
    """Minkowski sum of convex rings: the hull of all sums of corners."""
    return MultiPoint([(a + c, b + d) for a, b in one for c, d in other]).convex_hull


def flatten_cubic(control: Sequence[tuple[float, float]], chords: int) -> list[tuple[float, float]]:
    """Points of a cubic Bezier curve at even parameters, its start included: de Casteljau's construction."""

    def between(points: Sequence[tuple[float, float]], t: float) -> tuple[float, float]:
        if len(points) == 1:
            return points[0]
        pairs = itertools.pairwise(points)
        return between([(a + (c - a) * t, b + (d - b) * t) for (a, b), (c, d) in pairs], t)

    return [between(control, k / chords) for k in range(chords + 1)]


# --- nesting --------------------------------------------------------------------------------------


def least_money(need: float, priced: Sequence[tuple[float, float]]) -> float:
    """Cheapest set of sheets (area, price) that covers an area: every combination is tried."""
    ranges = [range(math.ceil(need / area) + 1) for area, _ in priced]
    return min(
        sum(n * price for n, (_, price) in zip(counts, priced, strict=True))
        for counts in itertools.product(*ranges)
        if sum(n * area for n, (area, _) in zip(counts, priced, strict=True)) >= need - 1e-6
    )


# --- stock ----------------------------------------------------------------------------------------


def wide_places(
    sheet: Outline, taken: Sequence[Outline], radius: float, step: float
) -> list[tuple[float, float]]:
    """Points of a grid about which a disc of `radius` lies on the sheet and on none of the parts."""
    room, parts = sheet.polygon(0.001), [part.polygon(0.001) for part in taken]
    x0, y0, x1, y1 = room.bounds
    return [
        (float(x), float(y))
        for x in np.arange(x0, x1, step)
        for y in np.arange(y0, y1, step)
        if room.contains(Point(x, y).buffer(radius))
        and all(part.distance(Point(x, y)) > radius for part in parts)
    ]


# --- overlap engine -------------------------------------------------------------------------------


def separating_depth(one: np.ndarray, other: np.ndarray) -> float:
    """How far convex `one` must move, along an edge normal of either, to leave convex `other`; 0 if apart."""
    depths = []
    for ring, sign in ((one, 1.0), (other, -1.0)):
        for k in range(len(ring)):
            edge = ring[(k + 1) % len(ring)] - ring[k]
            normal = sign * np.array([edge[1], -edge[0]]) / np.hypot(*edge)
            depths.append(max(one @ normal) - min(other @ normal))
    return max(0.0, float(min(depths)))


def cover_depth(one: Sequence[np.ndarray], other: Sequence[np.ndarray]) -> float:
    """Sum of `separating_depth` over all pairs of convex pieces."""
    return sum(separating_depth(a, b) for a in one for b in other)


def boxes_near(boxes: np.ndarray, box: Sequence[float], but: int) -> set[int]:
    """Numbers of the boxes x0, y0, x1, y1 that overlap `box`, without number `but`."""
    x0, y0, x1, y1 = box
    return {
        k
        for k, (a0, b0, a1, b1) in enumerate(boxes)
        if k != but and a0 < x1 and a1 > x0 and b0 < y1 and b1 > y0
    }


# --- folds ----------------------------------------------------------------------------------------


def painted(
    segments: Sequence[tuple[tuple[float, float], tuple[float, float]]],
    halves: Sequence[float],
    side: float,
    step: float,
) -> list[list[bool]]:
    """Which squares of a square sheet lie beside a segment and no farther from it than its half width."""
    count = round(side / step)
    rows = []
    for j in range(count):
        row = []
        for i in range(count):
            x, y = (i + 0.5) * step, (j + 0.5) * step
            hit = False
            for ((x0, y0), (x1, y1)), half in zip(segments, halves, strict=True):
                length = math.hypot(x1 - x0, y1 - y0)
                along = ((x - x0) * (x1 - x0) + (y - y0) * (y1 - y0)) / length
                off = abs((x - x0) * (y1 - y0) - (y - y0) * (x1 - x0)) / length
                hit = hit or (0.0 <= along <= length and off <= half)
            row.append(hit)
        rows.append(row)
    return rows
