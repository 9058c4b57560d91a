"""Named shapes that tests share: plain ones with known areas, and awkward ones."""

from __future__ import annotations

import math

import numpy as np

from nestkit.geometry import Outline, Path

#: Bulge of a quarter circle.
QUARTER = math.tan(math.pi / 8.0)


def rectangle(width: float, height: float) -> Outline:
    """A rectangle from the origin."""
    return Outline(Path.polyline([(0, 0), (width, 0), (width, height), (0, height)], True))


def rounded(width: float, height: float, r: float) -> Path:
    """A rectangle with round corners."""
    w, h, q = width, height, QUARTER
    rows = [
        [r, 0, 0],
        [w - r, 0, q],
        [w, r, 0],
        [w, h - r, q],
        [w - r, h, 0],
        [r, h, q],
        [0, h - r, 0],
        [0, r, q],
    ]
    return Path(np.array(rows, dtype=float), True)


def disc(radius: float) -> Outline:
    """A disc about the origin."""
    return Outline(Path.circle(0.0, 0.0, radius))


def frame(side: float, rim: float) -> Outline:
    """A square with a square window."""
    far = side - rim
    window = Path.polyline([(rim, rim), (far, rim), (far, far), (rim, far)], True)
    return Outline(rectangle(side, side).exterior, (window,))


#: 120 x 100 mm, area 7200 mm^2, one concave corner.
L_SHAPE = Path.polyline([(0, 0), (120, 0), (120, 40), (40, 40), (40, 100), (0, 100)], True)
SLOT = Path(np.array([[0, 0, 0], [50, 0, 1], [50, 10, 0], [0, 10, 1]], dtype=float), True)
TRIANGLE_345 = Path.polyline([(0, 0), (4, 0), (0, 3)], True)
HEXAGON_50 = Path.polyline(
    [(50 * math.cos(k * math.pi / 3), 50 * math.sin(k * math.pi / 3)) for k in range(6)], True
)
