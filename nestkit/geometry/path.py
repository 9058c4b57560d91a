"""A path: straight lines and arcs in one piece, open or closed."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from nestkit.geometry import affine as af
from nestkit.geometry.arcs import STRAIGHT, arc_angle, arc_centre, arc_points

#: Curves are flattened within this, mm.
FLATNESS = 0.05

#: Drawn curves become chords within this when they become parts, mm: fine enough that the arcs which are
#: fitted to the chords in the end (`geometry.fitting`) stay within 0.02 mm of what was drawn.
CURVE_FLATNESS = 0.004


@dataclass(frozen=True, eq=False)
class Path:
    """Lines and arcs, joined end to end.

    Parameters
    ----------
    vertices : (n, 3) float
        Rows of x, y (mm) and the bulge of the piece that starts there (see `geometry.arcs`).
        A closed path does not repeat its first point; an open one's last bulge is 0.
    closed : bool
        Whether a piece runs from the last vertex back to the first.

    Raises
    ------
    ValueError
        When there are too few vertices (2 for an open path; for a closed one 2 with a bulge, or 3)
        or a value is not finite.

    Notes
    -----
    Arcs of less bulge than `arcs.STRAIGHT` are kept as lines.
    """

    vertices: NDArray[np.float64]
    closed: bool

    def __post_init__(self) -> None:
        rows = np.array(self.vertices, dtype=np.float64)
        if rows.ndim != 2 or rows.shape[1] != 3 or len(rows) < 2:
            raise ValueError("a path needs at least two rows of x, y, bulge")
        if not np.isfinite(rows).all():
            raise ValueError("a path's numbers must be finite")
        rows[np.abs(rows[:, 2]) < STRAIGHT, 2] = 0.0
        if not self.closed:
            rows[-1, 2] = 0.0
        elif len(rows) == 2 and not rows[:, 2].any():
            raise ValueError("a closed path of two vertices needs an arc")
        rows.setflags(write=False)
        object.__setattr__(self, "vertices", rows)

    @classmethod
    def polyline(cls, points: Iterable[Sequence[float]] | NDArray[np.float64], closed: bool) -> Path:
        """A path of straight lines through ``points`` (n, 2)."""
        xy = np.array([tuple(p)[:2] for p in points], dtype=np.float64)
        return cls(np.column_stack((xy, np.zeros(len(xy)))), closed)

    @classmethod
    def rectangle(cls, width: float, height: float, x: float = 0.0, y: float = 0.0) -> Path:
        """A rectangle with its lower left corner at (x, y), counter-clockwise."""
        return cls.polyline([(x, y), (x + width, y), (x + width, y + height), (x, y + height)], True)

    @classmethod
    def circle(cls, x: float, y: float, radius: float) -> Path:
        """A full circle, counter-clockwise, as two half circles."""
        return cls(np.array([[x + radius, y, 1.0], [x - radius, y, 1.0]]), True)

    @property
    def points(self) -> NDArray[np.float64]:
        """The vertices without bulges, (n, 2)."""
        return self.vertices[:, :2]

    @property
    def has_arcs(self) -> bool:
        """True when any piece is an arc."""
        return bool(self.vertices[:, 2].any())

    @property
    def start(self) -> tuple[float, float]:
        """The first point."""
        return float(self.vertices[0, 0]), float(self.vertices[0, 1])

    @property
    def end(self) -> tuple[float, float]:
        """The last point; a closed path ends where it starts."""
        row = self.vertices[0 if self.closed else -1]
        return float(row[0]), float(row[1])

    def pieces(self) -> NDArray[np.float64]:
        """Rows of x0, y0, x1, y1, bulge for each line or arc, (m, 5)."""
        rows = self.vertices if self.closed else self.vertices[:-1]
        ends = np.roll(self.points, -1, axis=0)[: len(rows)]
        return np.column_stack((rows[:, :2], ends, rows[:, 2]))

    def flatten(self, tolerance: float = FLATNESS) -> NDArray[np.float64]:
        """Points of a polyline within ``tolerance`` mm, (n, 2); a closed one does not repeat its start."""
        if not self.has_arcs:
            return self.points
        runs: list[NDArray[np.float64]] = [self.points[:1]]
        for x0, y0, x1, y1, bulge in self.pieces():
            if bulge and (x0 != x1 or y0 != y1):
                runs.append(arc_points(x0, y0, x1, y1, bulge, tolerance))
            else:
                runs.append(np.array([[x1, y1]]))
        points = np.concatenate(runs)
        return points[:-1] if self.closed else points

    @cached_property
    def length(self) -> float:
        """True length, mm, arcs measured as arcs."""
        total = 0.0
        for x0, y0, x1, y1, bulge in self.pieces():
            chord = math.hypot(x1 - x0, y1 - y0)
            if bulge:
                total += chord * (1.0 + bulge * bulge) / (4.0 * abs(bulge)) * abs(arc_angle(bulge))
            else:
                total += chord
        return total

    @cached_property
    def signed_area(self) -> float:
        """Area, mm^2, positive when counter-clockwise: shoelace plus the arcs' segments. 0 when open."""
        if not self.closed:
            return 0.0
        # Taken about the first vertex, so that far-away coordinates cost no digits.
        px, py = self.points[0]
        x0, y0, x1, y1, bulge = (self.pieces() - [px, py, px, py, 0.0]).T
        area = float((x0 * y1 - x1 * y0).sum()) / 2.0
        for k in np.flatnonzero(bulge):
            b = float(bulge[k])
            chord = math.hypot(x1[k] - x0[k], y1[k] - y0[k])
            if abs(b) < 1e-4:  # the difference below would be rounding errors; the first term is enough
                area += chord * chord * b / 3.0
                continue
            radius = chord * (1.0 + b * b) / (4.0 * abs(b))
            angle = arc_angle(b)
            area += radius * radius / 2.0 * (angle - math.sin(angle))
        return area

    @cached_property
    def bounds(self) -> tuple[float, float, float, float]:
        """Smallest x, smallest y, largest x, largest y, mm, arcs included exactly."""
        xs, ys = list(self.points[:, 0]), list(self.points[:, 1])
        for x0, y0, x1, y1, bulge in self.pieces():
            if not bulge or (x0 == x1 and y0 == y1):
                continue
            cx, cy, radius = arc_centre(x0, y0, x1, y1, bulge)
            angle = arc_angle(bulge)
            start = math.atan2(y0 - cy, x0 - cx)
            for quarter in range(4):
                ahead = (quarter * math.pi / 2.0 - start) % math.tau
                if angle < 0.0:
                    ahead = (math.tau - ahead) % math.tau
                if ahead <= abs(angle):
                    xs.append(cx + radius * (1, 0, -1, 0)[quarter])
                    ys.append(cy + radius * (0, 1, 0, -1)[quarter])
        return float(min(xs)), float(min(ys)), float(max(xs)), float(max(ys))

    def reversed(self) -> Path:
        """The same path walked the other way."""
        points = self.points[::-1]
        bulges = self.vertices[:, 2]
        if self.closed:
            turned = -np.concatenate((bulges[:-1][::-1], bulges[-1:]))
        else:
            turned = np.concatenate((-bulges[:-1][::-1], [0.0]))
        return Path(np.column_stack((points, turned)), self.closed)

    def starting_at(self, index: int) -> Path:
        """The same closed path, beginning at another vertex.

        Raises
        ------
        ValueError
            When the path is open.
        """
        if not self.closed:
            raise ValueError("only a closed path can start anywhere")
        return Path(np.roll(self.vertices, -index, axis=0), True)

    def transformed(self, matrix: af.Affine, tolerance: float = FLATNESS) -> Path:
        """The path mapped by ``matrix``.

        Arcs stay arcs when the map is a similarity; otherwise they are flattened within ``tolerance``.
        """
        if self.has_arcs and not af.is_similarity(matrix):
            stretch = af.stretch(matrix)
            flat = self.flatten(tolerance / stretch if stretch > 0.0 else tolerance)
            return Path.polyline(af.apply(matrix, flat), self.closed)
        sign = 1.0 if af.determinant(matrix) >= 0.0 else -1.0
        return Path(np.column_stack((af.apply(matrix, self.points), sign * self.vertices[:, 2])), self.closed)
