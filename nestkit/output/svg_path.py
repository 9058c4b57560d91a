"""Paths in the words of SVG: y downward, arcs as arc commands."""

from __future__ import annotations

import math

from nestkit.geometry import Path
from nestkit.geometry.arcs import arc_angle, arc_centre
from nestkit.output.text import show_number

# SVG gives an arc by its radius, and near a half circle a radius rounded by 1e-6 mm moves the arc by
# hundredths of a millimetre. Pieces of a quarter circle at most keep the error near the rounding.
_WIDEST = math.pi / 2.0


def path_data(path: Path, height: float, digits: int = 6) -> str:
    """The ``d`` attribute of a path, y counted downward from ``height`` (mm).

    Lengths stay millimetres; arcs become ``A`` commands of at most a quarter circle.
    """

    def point(x: float, y: float) -> str:
        return f"{show_number(x, digits)},{show_number(height - y, digits)}"

    words = [f"M{point(*path.start)}"]
    for x0, y0, x1, y1, bulge in path.pieces():
        if bulge and (x0 != x1 or y0 != y1):
            words.extend(_arc(x0, y0, x1, y1, bulge, height, digits))
        else:
            words.append(f"L{point(x1, y1)}")
    if path.closed:
        if not path.vertices[-1, 2]:
            words.pop()  # the closing line is drawn by Z
        words.append("Z")
    return "".join(words)


def _arc(x0: float, y0: float, x1: float, y1: float, bulge: float, height: float, digits: int) -> list[str]:
    angle = arc_angle(bulge)
    count = max(1, math.ceil(abs(angle) / _WIDEST - 1e-9))
    cx, cy, radius = arc_centre(x0, y0, x1, y1, bulge)
    start = math.atan2(y0 - cy, x0 - cx)
    size = show_number(radius, digits)
    # Counter-clockwise with y upward is against SVG's positive direction once y is turned over.
    sweep = 0 if bulge > 0.0 else 1
    words = []
    for k in range(1, count + 1):
        turn = start + angle * k / count
        x, y = (x1, y1) if k == count else (cx + radius * math.cos(turn), cy + radius * math.sin(turn))
        words.append(f"A{size},{size} 0 0 {sweep} {show_number(x, digits)},{show_number(height - y, digits)}")
    return words
