"""Bezier curves and ellipses flattened within a stated tolerance.

References
----------
G. Wang 1984 (quoted in Farin, *Curves and Surfaces for CAGD*): a Bezier curve of degree n whose control
points have second differences of at most M lies within n (n - 1) M / 8 k^2 of its k chords.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from nestkit.geometry.arcs import MOST_CHORDS, chords_needed


@lru_cache(maxsize=512)
def _weights(chords: int) -> NDArray[np.float64]:
    """Weights of a cubic curve's four control points at the ends of its chords, (chords, 4)."""
    t = np.arange(1, chords + 1) / chords
    s = 1.0 - t
    return np.column_stack((s * s * s, 3.0 * s * s * t, 3.0 * s * t * t, t * t * t))


def flatten_cubic(control: tuple[tuple[float, float], ...], tolerance: float) -> NDArray[np.float64]:
    """Points of a cubic Bezier curve after its start, never farther than ``tolerance`` from it.

    Parameters
    ----------
    control : four pairs of float
    tolerance : float
        In the control points' unit.

    Returns
    -------
    (n, 3) float
        Rows of x, y and a bulge of 0, as a `Path` has them; the last is the curve's end.
    """
    # Plain numbers and kept weights: drawings hold tens of thousands of short curves.
    (x0, y0), (x1, y1), (x2, y2), (x3, y3) = control
    bend = max(
        math.hypot(x0 - 2.0 * x1 + x2, y0 - 2.0 * y1 + y2), math.hypot(x1 - 2.0 * x2 + x3, y1 - 2.0 * y2 + y3)
    )
    chords = min(max(math.ceil(math.sqrt(6.0 * bend / (8.0 * tolerance))), 1), MOST_CHORDS)
    weights = _weights(chords) if chords <= 256 else _weights.__wrapped__(chords)
    rows = np.zeros((chords, 3))
    rows[:, :2] = weights @ np.array(control)
    rows[-1, :2] = x3, y3
    return rows


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
    count = chords_needed(longest, sweep, tolerance)
    t = start + sweep * np.arange(count + 1) / count
    return np.column_stack(
        (
            centre[0] + first[0] * np.cos(t) + second[0] * np.sin(t),
            centre[1] + first[1] * np.cos(t) + second[1] * np.sin(t),
        )
    )
