"""Folds that stop short of the edge: the foam beyond their end stays whole and can't be folded."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from nestkit.errors import Finding
from nestkit.folds.band import FINE, NEAR_EDGE
from nestkit.geometry import Line, LineKind, Shape
from nestkit.units import Unit, show_length

#: So many ends of a part are told one by one.
MOST_TOLD = 6
#: An end may stop this share of the fold's length short of the edge, and up to `MOST_SHORT`: foam gives way.
SHARE_SHORT = 0.01
MOST_SHORT = 1.0


def short_folds(shape: Shape, unit: Unit) -> tuple[Finding, ...]:
    """What there is to say of folds that end in the midst of the foam.

    An end is where it should be on the outline or a hole, outside of the part, or on another fold or bevel;
    `band.NEAR_EDGE` is close enough, and for longer folds a hundredth of their length, up to a millimetre.

    Parameters
    ----------
    shape : Shape
        A part at its finished size; folds of angle 0 are no folds.
    unit : "mm" or "in"
        In which lengths are told.

    Returns
    -------
    tuple of Finding
        ``fold-short``, at the end's place in the part's coordinates; the last one counts those left untold.
    """
    lines = [
        line for line in shape.lines if line.kind in (LineKind.FOLD, LineKind.BEVEL) and line.angle > 0.0
    ]
    if not any(line.kind is LineKind.FOLD and not line.path.closed for line in lines):
        return ()
    found = list(_short(lines, shape.outline.polygon(FINE), unit))
    more = len(found) - MOST_TOLD
    if more <= 0:
        return tuple(found)
    rest = Finding("fold-short", f"{more} more ends of folds stop short like these", "Draw them on")
    return (*found[:MOST_TOLD], rest)


def _short(lines: Sequence[Line], part: Polygon, unit: Unit) -> Iterator[Finding]:
    strings = [_string(line) for line in lines]
    for k, line in enumerate(lines):
        if line.kind is not LineKind.FOLD or line.path.closed or strings[k].length <= 0.0:
            continue
        others = shapely.union_all([*strings[:k], *strings[k + 1 :]])
        points = shapely.get_coordinates(strings[k])
        near = max(NEAR_EDGE, min(MOST_SHORT, SHARE_SHORT * strings[k].length))
        for end, before in ((points[0], points[1]), (points[-1], points[-2])):
            if (missing := _missing(end, end - before, part, others, near)) is None:
                continue
            size, at_edge = missing
            (x, y), angle = end.tolist(), round(math.degrees(line.angle), 2)
            what = "edge" if at_edge else "next fold"
            yield Finding(
                "fold-short",
                f"the fold of {angle:g} degrees ends {show_length(size, unit)} before the {what}, "
                "and the foam between stays whole",
                f"Draw it to the {what}.",
                at=(x, y),
                unit=unit,
            )


def _string(line: Line) -> LineString:
    points = line.path.flatten(FINE)
    if line.path.closed:
        points = np.vstack((points, points[:1]))
    return LineString(points)


def _missing(
    end: np.ndarray, way: np.ndarray, part: Polygon, others: BaseGeometry, near: float
) -> tuple[float, bool] | None:
    """How much is missing ahead of an end, mm, and whether the edge comes first; None when nothing is."""
    spot = Point(end)
    if not part.contains(spot) or part.boundary.distance(spot) <= near or others.distance(spot) <= near:
        return None
    x0, y0, x1, y1 = part.bounds
    far = end + way / math.hypot(*way) * math.hypot(x1 - x0, y1 - y0)
    ahead = LineString([end, far])
    to_edge = spot.distance(ahead.intersection(part.boundary))
    to_fold = spot.distance(met) if not (met := ahead.intersection(others)).is_empty else math.inf
    return min(to_edge, to_fold), to_edge <= to_fold
