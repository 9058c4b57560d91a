"""Etched areas as lines at a pitch, for cutters whose program can't fill an area."""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from nestkit.geometry import Path

#: Pieces of lines shorter than this are left out, mm.
SHORTEST = 0.005


def hatch(area: BaseGeometry, pitch: float, angle: float) -> list[Path]:
    """Lines that fill an area, every other one walked back.

    Parameters
    ----------
    area : shapely geometry, mm
    pitch : float, mm
        Distance between two lines. They lie on a grid through the origin, which neighbouring areas share.
    angle : float, radians
        Direction of the lines, counter-clockwise from the x axis.

    Raises
    ------
    ValueError
        When the pitch is not more than 0.
    """
    if pitch <= 0.0:
        raise ValueError("a pitch must be more than 0")
    if area.is_empty:
        return []
    level = affinity.rotate(area, -angle, origin=(0.0, 0.0), use_radians=True)
    x0, y0, x1, y1 = level.bounds
    rows = (np.arange(math.floor(y0 / pitch), math.ceil(y1 / pitch) + 1) + 0.5) * pitch
    rows = rows[(rows > y0) & (rows < y1)]
    if not len(rows):
        rows = np.array([(y0 + y1) / 2.0])
    lines = shapely.linestrings([[(x0 - 1.0, y), (x1 + 1.0, y)] for y in rows])
    paths = []
    for number, cut in enumerate(shapely.intersection(level, lines)):
        pieces = [p for p in shapely.get_parts(cut) if p.geom_type == "LineString" and p.length >= SHORTEST]
        pieces.sort(key=lambda piece: piece.bounds[0])
        back = number % 2 == 1
        for piece in reversed(pieces) if back else pieces:
            points = sorted(shapely.get_coordinates(piece).tolist(), reverse=back)
            turned = affinity.rotate(
                shapely.LineString([points[0], points[-1]]), angle, origin=(0.0, 0.0), use_radians=True
            )
            paths.append(Path.polyline(shapely.get_coordinates(turned), False))
    return paths
