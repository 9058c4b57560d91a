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

from nestkit.jit import kernel, woven

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

    def farthest(self, points: NDArray[np.float64], first: int, last: int) -> float:
        """How far the chords from a point to another lie from the arcs beside them, mm.

        Parameters
        ----------
        points : (n, 2) float, mm
            Ends of chords.
        first, last : int
            The chords' first and last points, which are not looked at themselves.
        """
        ends = (*self.start, *self.middle, *self.end)
        return farthest_from_arcs(points, first, last, ends, self.along, (self.first, self.second))


def biarc(start: Spot, along: Spot, end: Spot, onward: Spot) -> Biarc | None:
    """The biarc that leaves ``start`` in direction ``along`` and comes to ``end`` in direction ``onward``.

    Both tangents' lengths to the middle are the same, which bends the arcs least for smooth curves.

    Parameters
    ----------
    start : (float, float), mm
    along : (float, float)
        Of length 1.
    end : (float, float), mm
    onward : (float, float)
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


@kernel
def farthest_from_arcs(
    points: NDArray[np.float64],
    first: int,
    last: int,
    ends: tuple[float, float, float, float, float, float],
    along: Spot,
    bulges: tuple[float, float],
) -> float:
    """The farthest that middles and inner ends of chords are from two arcs, mm.

    Parameters
    ----------
    points : (n, 2) float, mm
        Ends of chords.
    first, last : int
        From which to which of them is looked at.
    ends : tuple of float, mm
        x and y of where the arcs begin, meet and end.
    along : (float, float)
        Direction where they meet: what lies behind it is the first arc's.
    bulges : (float, float)
    """
    x0, y0, x1, y1, x2, y2 = ends
    one, other = _circle_or_line(x0, y0, x1, y1, bulges[0]), _circle_or_line(x1, y1, x2, y2, bulges[1])
    farthest = 0.0
    for k in range(first, last):
        ax, ay = points[k]
        bx, by = points[k + 1]
        for inner_end in range(1 if k == first else 0, 2):
            x, y = (ax, ay) if inner_end == 0 else ((ax + bx) / 2.0, (ay + by) / 2.0)
            a, b, size, radius = other if (x - x1) * along[0] + (y - y1) * along[1] >= 0.0 else one
            if size == 0.0:
                away = abs(math.hypot(x - a, y - b) - radius)
            else:
                away = abs(a * x + b * y - radius) / size
            farthest = max(farthest, away)
    return farthest


@woven
def _circle_or_line(
    x0: float, y0: float, x1: float, y1: float, bulge: float
) -> tuple[float, float, float, float]:
    """Centre, 0 and radius of an arc; of a line its normal, length and length times distance from (0, 0)."""
    dx, dy = x1 - x0, y1 - y0
    if bulge != 0.0:
        # As in `arc_centre`.
        shift = (1.0 - bulge * bulge) / (4.0 * bulge)
        radius = math.hypot(dx, dy) * (1.0 + bulge * bulge) / (4.0 * abs(bulge))
        return (x0 + x1) / 2.0 - dy * shift, (y0 + y1) / 2.0 + dx * shift, 0.0, radius
    size = math.hypot(dx, dy)
    if size == 0.0:
        return x0, y0, 0.0, 0.0
    return dy, -dx, size, dy * x0 - dx * y0
