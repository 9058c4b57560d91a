"""Affine maps of the plane as (2, 3) arrays: ``[[a, c, e], [b, d, f]]`` in SVG's letters."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Affine = NDArray[np.float64]

IDENTITY: Affine = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])


def affine(a: float, b: float, c: float, d: float, e: float, f: float) -> Affine:
    """The map x' = a x + c y + e, y' = b x + d y + f."""
    return np.array([[a, c, e], [b, d, f]], dtype=np.float64)


def translation(x: float, y: float) -> Affine:
    """Moves by (x, y)."""
    return affine(1, 0, 0, 1, x, y)


def scaling(sx: float, sy: float | None = None) -> Affine:
    """Scales about the origin."""
    return affine(sx, 0, 0, sx if sy is None else sy, 0, 0)


def rotation(angle: float) -> Affine:
    """Turns about the origin, counter-clockwise, radians. Quarter turns are exact."""
    quarter = angle / (math.pi / 2.0)
    if abs(quarter - round(quarter)) < 1e-12:
        cosine, sine = ((1, 0), (0, 1), (-1, 0), (0, -1))[round(quarter) % 4]
        return affine(cosine, sine, -sine, cosine, 0, 0)
    return affine(math.cos(angle), math.sin(angle), -math.sin(angle), math.cos(angle), 0, 0)


MIRROR_X: Affine = affine(-1, 0, 0, 1, 0, 0)


def compose(outer: Affine, inner: Affine) -> Affine:
    """The map that applies ``inner`` first, then ``outer``."""
    linear = outer[:, :2] @ inner[:, :2]
    shift = outer[:, :2] @ inner[:, 2] + outer[:, 2]
    return np.column_stack((linear, shift))


def apply(matrix: Affine, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """``points`` (n, 2) mapped."""
    return points @ matrix[:, :2].T + matrix[:, 2]


def determinant(matrix: Affine) -> float:
    """Signed area factor; negative when the map mirrors."""
    return float(matrix[0, 0] * matrix[1, 1] - matrix[0, 1] * matrix[1, 0])


def stretch(matrix: Affine) -> float:
    """The largest factor by which the map lengthens anything."""
    a, c, b, d = matrix[0, 0], matrix[0, 1], matrix[1, 0], matrix[1, 1]
    half = (a * a + b * b + c * c + d * d) / 2.0
    return math.sqrt(max(half + math.sqrt(max(half * half - float(a * d - b * c) ** 2, 0.0)), 0.0))


def is_similarity(matrix: Affine, tolerance: float = 1e-9) -> bool:
    """True when the map keeps shapes (turn, mirror, even scale), so that arcs stay arcs."""
    a, c, b, d = matrix[0, 0], matrix[0, 1], matrix[1, 0], matrix[1, 1]
    size = a * a + b * b
    return bool(
        size > 0.0
        and abs(c * c + d * d - size) <= tolerance * size
        and abs(a * c + b * d) <= tolerance * size
    )
