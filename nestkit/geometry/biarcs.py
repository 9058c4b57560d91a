"""Two arcs that join two points with given directions, and join each other without a kink.

References
----------
K. M. Bolton 1975, *Biarc curves*, Computer-Aided Design 7(2), 89-92.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from nestkit.geometry.arcs import arc_centre

Spot = tuple[float, float]
#: x, y, bulge of a piece that starts there.
Row = tuple[float, float, float]

#: An arc may turn by less than this, radians: then nearness to its circle is nearness to the arc.
WIDEST = math.radians(150.0)
#: An arc that stands off its chord by less than this is a line, mm.
STRAIGHT = 0.0004


@dataclass(frozen=True, slots=True)
class Biarc:
    """One or two arcs (or lines) from ``start`` over ``middle`` to ``end``.

    Parameters
    ----------
    start, middle, end : (float, float), mm
    first, second : float
        Bulges of the two arcs. With one arc alone ``middle`` is its start and ``first`` is 0.
    along : (float, float)
        Direction at the middle: what lies behind it is the first arc's.
    """

    start: Spot
    middle: Spot
    end: Spot
    first: float
    second: float
    along: Spot

    def rows(self) -> list[Row]:
        """Rows of the arcs, the end left out."""
        if self.middle == self.start:
            return [(*self.start, self.second)]
        return [(*self.start, self.first), (*self.middle, self.second)]

    def distances(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """How far points beside the arcs are from them, (n,) float, mm."""
        ahead = (points - self.middle) @ np.array(self.along) >= 0.0
        return np.where(
            ahead,
            _distances(points, self.middle, self.end, self.second),
            _distances(points, self.start, self.middle, self.first),
        )


def biarc(start: Spot, along: Spot, end: Spot, onward: Spot) -> Biarc | None:
    """The biarc that leaves ``start`` in direction ``along`` and comes to ``end`` in direction ``onward``.

    Both tangents' lengths to the middle are the same, which bends the arcs least for smooth curves.

    Parameters
    ----------
    start, end : (float, float), mm
    along, onward : (float, float)
        Of length 1.

    Returns
    -------
    Biarc or None
        None when an arc would turn by more than `WIDEST`.
    """
    vx, vy = end[0] - start[0], end[1] - start[1]
    # Solved for the tangents' length d: |v - d (t0 + t1)| = 2 d.
    doubled = 2.0 * (1.0 - (along[0] * onward[0] + along[1] * onward[1]))
    ahead = vx * (along[0] + onward[0]) + vy * (along[1] + onward[1])
    square = vx * vx + vy * vy
    if ahead <= 0.0 or square == 0.0:
        return None
    # The usual root, written so that nothing cancels where the tangents are parallel.
    length = square / (ahead + math.sqrt(ahead * ahead + doubled * square))
    middle = (
        (start[0] + end[0] + length * (along[0] - onward[0])) / 2.0,
        (start[1] + end[1] + length * (along[1] - onward[1])) / 2.0,
    )
    first = turn_between(along, (middle[0] - start[0], middle[1] - start[1]))
    second = turn_between((end[0] - middle[0], end[1] - middle[1]), onward)
    # The angle between a chord and its arc's tangent is half the angle of the arc.
    if max(abs(first), abs(second)) * 2.0 > WIDEST:
        return None
    angle = math.atan2(along[1], along[0]) + 2.0 * first
    return Biarc(
        start,
        middle,
        end,
        _bulge(2.0 * first, start, middle),
        _bulge(2.0 * second, middle, end),
        (math.cos(angle), math.sin(angle)),
    )


def single(start: Spot, along: Spot, end: Spot, onward: Spot) -> tuple[Biarc, float] | None:
    """The arc that is as much off the direction at its start as at its end, and by how much, radians.

    None when it would turn by more than `WIDEST`.
    """
    chord = (end[0] - start[0], end[1] - start[1])
    first, second = turn_between(along, chord), turn_between(chord, onward)
    if abs(first + second) > WIDEST:
        return None
    bulge = _bulge(first + second, start, end)
    return Biarc(start, start, end, 0.0, bulge, chord), abs(first - second) / 2.0


def turn_between(one: Spot, other: Spot) -> float:
    """Angle from one direction to another, radians, positive to the left."""
    return math.atan2(one[0] * other[1] - one[1] * other[0], one[0] * other[0] + one[1] * other[1])


def _bulge(angle: float, start: Spot, end: Spot) -> float:
    bulge = math.tan(angle / 4.0)
    return bulge if abs(bulge) * math.dist(start, end) / 2.0 >= STRAIGHT else 0.0


def _distances(points: NDArray[np.float64], start: Spot, end: Spot, bulge: float) -> NDArray[np.float64]:
    if bulge:
        cx, cy, radius = arc_centre(*start, *end, bulge)
        return np.asarray(np.abs(np.hypot(points[:, 0] - cx, points[:, 1] - cy) - radius))
    dx, dy = end[0] - start[0], end[1] - start[1]
    size = math.hypot(dx, dy)
    if size == 0.0:
        return np.asarray(np.hypot(points[:, 0] - start[0], points[:, 1] - start[1]))
    return np.asarray(np.abs((points[:, 0] - start[0]) * dy - (points[:, 1] - start[1]) * dx) / size)
