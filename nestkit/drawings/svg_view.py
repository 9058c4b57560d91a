"""The viewBox and how it is fitted into its viewport.

References
----------
SVG 2, chapter 8, "Computing the equivalent transform of an SVG viewport".
"""

from __future__ import annotations

import math
from typing import NamedTuple

from nestkit.drawings.svg_lengths import parse_numbers
from nestkit.geometry.affine import Affine, affine


class ViewBox(NamedTuple):
    """The part of user space that fills the viewport."""

    x: float
    y: float
    width: float
    height: float


_SHARES = {"min": 0.0, "mid": 0.5, "max": 1.0}


def parse_view_box(text: str) -> ViewBox | None:
    """Four numbers with no negative size, or None when the text is something else.

    A width or height of 0 is kept: it means that nothing is drawn.
    """
    numbers, whole = parse_numbers(text, 5)
    if not whole or len(numbers) != 4 or not all(map(math.isfinite, numbers)) or min(numbers[2:]) < 0.0:
        return None
    return ViewBox(*numbers)


def view_transform(box: ViewBox, width: float, height: float, aspect: str = "") -> Affine:
    """The map from ``box`` into a viewport of ``width`` by ``height`` at (0, 0).

    Parameters
    ----------
    box : ViewBox
        Neither width nor height is 0.
    width, height : float
        The viewport's size, in any unit; the map leads into that unit.
    aspect : str
        The attribute ``preserveAspectRatio``; what can't be read means ``xMidYMid meet``.
    """
    words = [word for word in aspect.split() if word != "defer"]
    sx, sy = width / box.width, height / box.height
    if words[:1] == ["none"]:
        return affine(sx, 0, 0, sy, -box.x * sx, -box.y * sy)
    align = words[0].lower() if words else ""
    if not (len(align) == 8 and align[0] == "x" and align[4] == "y"):
        align = "xmidymid"
    scale = max(sx, sy) if words[1:2] == ["slice"] else min(sx, sy)
    spare_x, spare_y = width - box.width * scale, height - box.height * scale
    return affine(
        scale,
        0,
        0,
        scale,
        -box.x * scale + _SHARES.get(align[1:4], 0.5) * spare_x,
        -box.y * scale + _SHARES.get(align[5:8], 0.5) * spare_y,
    )
