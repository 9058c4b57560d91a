"""Circular arcs written as bulges.

A bulge is the tangent of a quarter of the arc's included angle; positive is counter-clockwise from
start to end, zero a straight line, one a half circle.

References
----------
DXF reference (Autodesk), LWPOLYLINE group 42: bulge = tan(angle / 4).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]

#: An arc of less bulge is a line: on a chord of ten metres it rises five millionths of a millimetre.
STRAIGHT = 1e-9

#: No curve takes more chords than this, however large and however small the tolerance.
MOST_CHORDS = 20_000


def arc_centre(x0: float, y0: float, x1: float, y1: float, bulge: float) -> tuple[float, float, float]:
    """Centre and radius of the arc from (x0, y0) to (x1, y1), mm.

    Raises
    ------
    ZeroDivisionError
        When the bulge is 0: a line has no centre.
    """
    dx, dy = x1 - x0, y1 - y0
    # The centre lies on the chord's perpendicular bisector, on its left for 0 < bulge < 1.
    shift = (1.0 - bulge * bulge) / (4.0 * bulge)
    cx = (x0 + x1) / 2.0 - dy * shift
    cy = (y0 + y1) / 2.0 + dx * shift
    radius = math.hypot(dx, dy) * (1.0 + bulge * bulge) / (4.0 * abs(bulge))
    return cx, cy, radius


def bulge_of(angle: float) -> float:
    """Bulge of an arc with the included angle ``angle`` in radians (negative: clockwise).

    Examples
    --------
    >>> round(bulge_of(math.pi), 12), round(bulge_of(-math.pi / 2.0), 4)
    (1.0, -0.4142)
    """
    return math.tan(angle / 4.0)


def arc_angle(bulge: float) -> float:
    """Included angle in radians, negative when clockwise."""
    return 4.0 * math.atan(bulge)


def chords_needed(radius: float, angle: float, tolerance: float) -> int:
    """Chords that keep within ``tolerance`` of an arc of ``angle`` radians, `MOST_CHORDS` at most.

    Examples
    --------
    >>> chords_needed(100.0, math.tau, 0.1)
    71
    """
    if radius <= tolerance:
        step = math.pi / 2.0
    else:
        # As acos(1 - tolerance / radius), which is nothing at all for a radius of a thousand kilometres.
        step = 4.0 * math.asin(math.sqrt(tolerance / radius / 2.0))
    if abs(angle) >= MOST_CHORDS * step:
        return MOST_CHORDS
    return max(1, math.ceil(abs(angle) / step - 1e-9))


def arc_points(x0: float, y0: float, x1: float, y1: float, bulge: float, tolerance: float) -> Points:
    """Points on the arc after its start, its end included: (n, 2) float, mm."""
    cx, cy, radius = arc_centre(x0, y0, x1, y1, bulge)
    angle = arc_angle(bulge)
    count = chords_needed(radius, angle, tolerance)
    start = math.atan2(y0 - cy, x0 - cx)
    turns = start + angle * np.arange(1, count + 1) / count
    points = np.column_stack((cx + radius * np.cos(turns), cy + radius * np.sin(turns)))
    points[-1] = (x1, y1)
    return points


def split_bulge(bulge: float, parts: int) -> float:
    """Bulge of each of ``parts`` equal pieces of an arc."""
    return math.tan(math.atan(bulge) / parts)


def bulge_through(start: tuple[float, float], middle: tuple[float, float], end: tuple[float, float]) -> float:
    """Bulge of the arc from ``start`` over ``middle`` to ``end``; 0 when they lie on a line."""
    ax, ay = start[0] - middle[0], start[1] - middle[1]
    bx, by = end[0] - middle[0], end[1] - middle[1]
    # The inscribed angle at `middle` is half of what remains of the circle: angle = 2 (pi - inscribed).
    inscribed = math.atan2(abs(ax * by - ay * bx), ax * bx + ay * by)
    turn = (middle[0] - start[0]) * (end[1] - middle[1]) - (middle[1] - start[1]) * (end[0] - middle[0])
    if turn == 0.0:
        return 0.0
    return math.copysign(math.tan((math.pi - inscribed) / 2.0), turn)
