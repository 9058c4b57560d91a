"""Where a box of a given size lies inside a polygon: at its widest place, or on its longest chords."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray
from shapely.geometry import Polygon

Points = NDArray[np.float64]

_CHORDS = 24
_BEST_CHORDS = 10
#: How near the widest place is found, mm.
_POLE = 0.1


class BoxRoom:
    """Places in a polygon where a box may lie; boxes of several sizes can be tried.

    Parameters
    ----------
    polygon : shapely.Polygon, mm
        Simplified within 0.05 mm, so that a box may reach as far over its edge.
    widest_first : bool
        True to try the pole of inaccessibility, the place that is farthest from all edges, before the
        centroid and the middles of the longest chords.
    """

    def __init__(self, polygon: Polygon, widest_first: bool = False) -> None:
        self._polygon = polygon.simplify(0.05)
        shapely.prepare(self._polygon)
        pole = np.zeros((0, 2))
        if widest_first:
            # The line runs from the pole to the nearest edge.
            pole = shapely.get_coordinates(shapely.maximum_inscribed_circle(self._polygon, _POLE))[:1]
        middles = [
            (angle, np.concatenate((pole, _centres(self._polygon, angle))))
            for angle in _angles(self._polygon)
        ]
        self._turns = np.concatenate([np.full(len(points), angle) for angle, points in middles])
        self._centres = np.concatenate([points for _, points in middles])
        if widest_first:
            # Every turn at the widest place, before any other place.
            order = np.argsort(
                np.concatenate([np.arange(len(points)) > 0 for _, points in middles]), kind="stable"
            )
            self._turns, self._centres = self._turns[order], self._centres[order]

    def place(self, width: float, height: float) -> tuple[float, float, float] | None:
        """Centre (mm) and angle (radians, -pi/2 < angle <= pi/2) of a box inside; None when none fits."""
        boxes = _boxes(self._centres, self._turns, width, height)
        fits = np.flatnonzero(shapely.contains(self._polygon, boxes))
        if not fits.size:
            return None
        x, y = self._centres[fits[0]]
        return float(x), float(y), float(self._turns[fits[0]])


def _centres(polygon: Polygon, angle: float) -> Points:
    """Where a box at this angle may lie: the best places first, (n, 2).

    They are the polygon's centroid and the middles of its longest chords along the box.
    """
    level = shapely.affinity.rotate(polygon, -angle, origin=(0.0, 0.0), use_radians=True)
    x0, y0, x1, y1 = level.bounds
    heights = y0 + (y1 - y0) * (np.arange(_CHORDS) + 0.5) / _CHORDS
    rows = shapely.linestrings([[(x0 - 1.0, y), (x1 + 1.0, y)] for y in heights])
    chords = shapely.get_parts(shapely.intersection(level, rows))
    chords = chords[shapely.get_type_id(chords) == 1]
    # Rounded, so that equal parts get their text at equal places; of equal chords the middlemost first.
    far = np.abs(shapely.get_y(shapely.centroid(chords)) - (y0 + y1) / 2.0)
    best = np.lexsort((np.round(far, 1), -np.round(shapely.length(chords), 1)))[:_BEST_CHORDS]
    points = [(level.centroid.x, level.centroid.y)]
    points += [(each.x, each.y) for each in shapely.centroid(chords[best])]
    x, y = np.array(points).T
    cosine, sine = math.cos(angle), math.sin(angle)
    return np.column_stack((cosine * x - sine * y, sine * x + cosine * y))


def _angles(polygon: Polygon) -> tuple[float, ...]:
    """Level first, then along the polygon's longer side, then upright."""
    frame = polygon.minimum_rotated_rectangle
    if not isinstance(frame, Polygon):
        return (0.0,)
    corners = list(frame.exterior.coords)
    sides = [(x1 - x0, y1 - y0) for (x0, y0), (x1, y1) in pairwise(corners)]
    dx, dy = max(sides, key=lambda side: math.hypot(*side))
    along = math.atan2(dy, dx)
    if along <= -math.pi / 2.0 + 1e-9:
        along += math.pi
    elif along > math.pi / 2.0 + 1e-9:
        along -= math.pi
    return tuple(dict.fromkeys((0.0, along, math.pi / 2.0)))


def _boxes(centres: Points, turns: NDArray[np.float64], width: float, height: float) -> NDArray[np.object_]:
    """Turned rectangles about the centres."""
    along = np.column_stack((np.cos(turns), np.sin(turns))) * (width / 2.0)
    across = np.column_stack((-np.sin(turns), np.cos(turns))) * (height / 2.0)
    corners = [centres + a * along + b * across for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    boxes: NDArray[np.object_] = shapely.polygons(np.stack(corners, axis=1))
    return boxes
