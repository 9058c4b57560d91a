"""Bezier curves and ellipses flattened within a stated tolerance.

References
----------
G. Wang 1984 (quoted in Farin, *Curves and Surfaces for CAGD*): a Bezier curve of degree n whose control
points have second differences of at most M lies within n (n - 1) M / 8 k^2 of its k chords.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from nestkit.geometry.arcs import chords_needed

#: No single curve becomes more chords than this, however small the tolerance.
MOST_CHORDS = 20_000


def flatten_bezier(control: NDArray[np.float64], tolerance: float) -> NDArray[np.float64]:
    """Points of a quadratic or cubic Bezier curve, both ends included.

    Parameters
    ----------
    control : (3, 2) or (4, 2) float
    tolerance : float
        In the control points' unit.

    Returns
    -------
    (n, 2) float
        Never farther than ``tolerance`` from the curve.

    Raises
    ------
    ValueError
        When there are not three or four control points.
    """
    degree = len(control) - 1
    if degree not in (2, 3):
        raise ValueError("a Bezier curve here has three or four control points")
    bend = float(np.hypot(*np.diff(control, n=2, axis=0).T).max())
    chords = math.ceil(math.sqrt(degree * (degree - 1) * bend / (8.0 * tolerance))) if bend else 1
    t = np.linspace(0.0, 1.0, min(max(chords, 1), MOST_CHORDS) + 1)[:, None]
    s = 1.0 - t
    if degree == 2:
        points = s * s * control[0] + 2 * s * t * control[1] + t * t * control[2]
    else:
        points = (
            s**3 * control[0] + 3 * s * s * t * control[1] + 3 * s * t * t * control[2] + t**3 * control[3]
        )
    points[0], points[-1] = control[0], control[-1]
    return np.asarray(points, dtype=np.float64)


def flatten_ellipse(
    centre: tuple[float, float],
    first: tuple[float, float],
    second: tuple[float, float],
    start: float,
    sweep: float,
    tolerance: float,
) -> NDArray[np.float64]:
    """Points centre + cos(t) first + sin(t) second for t from ``start`` over ``sweep`` radians, (n, 2).

    The chord error of an ellipse is at most that of the circle over its longer half axis.
    """
    longest = max(math.hypot(*first), math.hypot(*second))
    count = min(chords_needed(longest, sweep, tolerance), MOST_CHORDS)
    t = start + sweep * np.arange(count + 1) / count
    return np.column_stack(
        (
            centre[0] + first[0] * np.cos(t) + second[0] * np.sin(t),
            centre[1] + first[1] * np.cos(t) + second[1] * np.sin(t),
        )
    )
