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

_ROUND = [(50 + 30 * math.cos(k / 159.2), 50 + 30 * math.sin(k / 159.2)) for k in range(1000)]
_CIRCLE = f"M{' '.join(f'{x:.6f} {y:.6f}' for x, y in _ROUND)}Z"
_TEETH = "".join(f"L{88 - k} 40L{87.5 - k} 20" for k in range(70))

#: Path data of parts at the edge of what geometry can do, and whether they can be cut at all. mm, on a page
#: of 100 x 100. Each is one part; the name says what is odd about it.
EDGE_CASES: dict[str, tuple[str, bool]] = {
    "each point twice": ("M10 10L10 10L60 10L60 10L60 50L60 50L10 50L10 50Z", True),
    "points a nanometre apart": ("M10 10L60 10L60.000000001 10L60 50L10 50L10 49.999999999Z", True),
    "near-collinear points": ("M10 10L20 10.0000001L30 9.9999999L40 10H60V50L35 50.00000005L10 50Z", True),
    "a thousandth of a millimetre off straight": ("M10 10L35 10.001L60 10L60 50L35 49.999L10 50Z", True),
    "a spike of no width": ("M10 10L60 10L60 30L90 30L60 30L60 50L10 50Z", True),
    "a slit of no width": ("M10 10L60 10L60 30L30 30L60 30L60 50L10 50Z", True),
    "a slit narrower than a kerf": ("M10 10L60 10L60 30L30 30L30 30.1L60 30.1L60 50L10 50Z", True),
    "a strip a fifth of a millimetre wide": ("M5 50H95V50.2H5Z", True),
    "a strip that is no wider than a hair": ("M5 50H95V50.02H5Z", False),
    "a tip of half a degree": ("M5 50L95 49.6V50.4Z", True),
    "a tip that doubles back": ("M10 10L90 10L50 10.5L60 50L10 50Z", True),
    "two squares that meet at a corner": ("M10 10H40V40H70V70H40V40H10Z", False),
    "an outline that touches itself": ("M10 10H50L30 30L50 50H10L30 30Z", False),
    "a bow that crosses itself": ("M10 10L60 50V10L10 50Z", False),
    "a hole that touches the edge at a point": ("M10 10H70V60H10ZM10 35L30 25V45Z", True),
    "two holes that touch": ("M10 10H80V60H10ZM20 20H40V40H20ZM40 40H60V55H40Z", True),
    "a hole along the edge": ("M10 10H80V60H10ZM10 20H40V40H10Z", True),
    "a hole nearly as large as the part": ("M10 10H80V60H10ZM10.3 10.3H79.7V59.7H10.3Z", True),
    "a hole smaller than a kerf": ("M10 10H80V60H10ZM40 30a.5 .05 0 1 0 1 0a.5 .05 0 1 0 -1 0Z", True),
    "a circle that lacks a micrometre": ("M50 20A20 20 0 1 1 49.999 20Z", True),
    "an arc as flat as a line": ("M10 10A1e6 1e6 0 0 1 60 10L60 50L10 50Z", True),
    "a corner rounded by a hundredth": ("M10 10H59.99A.01 .01 0 0 1 60 10.01V50H10Z", True),
    "a thousand corners on a circle": (_CIRCLE, True),
    "a comb of fine teeth": (f"M10 10H90V20{_TEETH}H10Z", True),
    "a part of half a millimetre": ("M50 50h.8v.8h-.8Z", True),
}  # fmt: skip
