"""Slow and obvious twins of the fast code, in plain shapely and loops."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

from shapely.geometry import MultiPoint, Polygon

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
