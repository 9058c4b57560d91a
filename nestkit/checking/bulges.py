"""Polylines with bulges, flattened: the judge's own arc mathematics.

References
----------
DXF reference (Autodesk), LWPOLYLINE, group 42: the bulge is the tangent of a quarter of the arc's angle,
positive when the arc runs counter-clockwise from its start to its end.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from nestkit.checking.limits import FLATNESS

#: Arcs of smaller bulge are straight, and those beyond its inverse are none.
FLATTEST = 1e-9

#: No arc becomes more chords than this.
MOST_CHORDS = 10_000


def flatten(rows: NDArray[np.float64], closed: bool, tolerance: float = FLATNESS) -> NDArray[np.float64]:
    """Points of a polyline, each arc replaced by chords within ``tolerance`` mm.

    Parameters
    ----------
    rows : (n, 3) float
        x, y and the bulge of the piece that starts there.
    closed : bool
        Whether a piece runs from the last row back to the first.
    tolerance : float, mm

    Returns
    -------
    (m, 2) float
        Every vertex and the points between; a closed polyline does not repeat its start. Not finite
        where a bulge is too large to be an arc.
    """
    if not rows[:, 2].any():
        return rows[:, :2]
    runs: list[NDArray[np.float64]] = []
    last = len(rows) - 1
    for k, (x0, y0, bulge) in enumerate(rows.tolist()):
        runs.append(np.array([[x0, y0]]))
        if bulge and (closed or k < last):
            x1, y1, _ = rows[0 if k == last else k + 1]
            runs.append(_between(x0, y0, float(x1), float(y1), bulge, tolerance))
    return np.concatenate(runs)


def _between(
    x0: float, y0: float, x1: float, y1: float, bulge: float, tolerance: float
) -> NDArray[np.float64]:
    """Points of one arc, its ends left out."""
    chord = math.hypot(x1 - x0, y1 - y0)
    if chord == 0.0 or abs(bulge) < FLATTEST:
        return np.empty((0, 2))
    if abs(bulge) > 1.0 / FLATTEST:
        return np.full((1, 2), np.nan)
    angle = 4.0 * math.atan(bulge)
    radius = chord * (1.0 + bulge * bulge) / (4.0 * abs(bulge))
    # The centre stands off the chord's middle by (chord / 2) cot(angle / 2), to its left when positive.
    off = (1.0 - bulge * bulge) / (4.0 * bulge)
    cx, cy = (x0 + x1) / 2.0 - off * (y1 - y0), (y0 + y1) / 2.0 + off * (x1 - x0)
    # A chord over the angle a stands r (1 - cos(a / 2)) = 2 r sin(a / 4)^2 off its arc.
    step = 4.0 * math.asin(min(1.0, math.sqrt(tolerance / (2.0 * radius))))
    count = min(math.ceil(abs(angle) / step), MOST_CHORDS)
    turn = angle * np.arange(1, count) / count
    dx, dy = x0 - cx, y0 - cy
    return np.column_stack(
        (cx + dx * np.cos(turn) - dy * np.sin(turn), cy + dx * np.sin(turn) + dy * np.cos(turn))
    )
