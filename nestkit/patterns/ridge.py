"""Ridge: a blade half with a groove along a line that closes to a peak.

Each side tilts by half the fold angle a, and its shadow shrinks by cos(a/2) across the line; the flat piece
is wider by as much, so that the closed one has the drawn outline. The flat piece lies inside up, as all do,
and so is the drawing's mirror image: the drawing shows the outside, where the peak is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString

from nestkit.geometry import Line, LineKind, Outline, Path, Shape
from nestkit.geometry.affine import MIRROR_X
from nestkit.patterns.model import Foam, Measure, Pattern, Peaked, Piece, need

#: Foam is not asked to stretch by more than this along a curved ridge; a rule of thumb, no source.
MOST_STRETCH = 0.03
#: A centre line that leaves its chord by no more is straight, mm.
STRAIGHT = 0.02
#: A curved line turns so little from point to point that what lies off it jumps by no more, mm.
_JUMP = 0.1
#: Most points of a curved line, roughly.
_POINTS = 2000
#: Shorter stretches of the line that lie in the part get no groove, mm.
SHORTEST = 1.0
#: A groove follows its line this closely, mm.
_GROOVE = 0.005
#: Outlines beside a curved line are followed in steps of this, mm.
STEP = 1.0

Points = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Axis:
    """A centre line, run on straight at both ends, as a polyline."""

    points: Points

    @classmethod
    def through(cls, path: Path, reach: float) -> Axis:
        """The line of ``path``, longer by ``reach`` mm at both ends; two points when it is straight."""
        points = path.flatten(0.002)
        chord = points[-1] - points[0]
        need("centre_line", float(np.hypot(*chord)) > 1e-3, "is closed or has no length", "Draw it open")
        across = np.array([-chord[1], chord[0]]) / np.hypot(*chord)
        if float(np.abs((points - points[0]) @ across).max()) <= STRAIGHT:
            points = points[[0, -1]]
        else:
            points = _smoothed(points, reach)
        first, last = points[0] - points[1], points[-1] - points[-2]
        ends = (points[0] + first / np.hypot(*first) * reach, points[-1] + last / np.hypot(*last) * reach)
        if len(points) == 2:
            return cls(np.array(ends))
        return cls(np.vstack((ends[0], points, ends[1])))

    @property
    def is_straight(self) -> bool:
        """Whether the centre line is one straight piece."""
        return len(self.points) == 2

    def curvature(self) -> float:
        """The strongest curvature, 1/mm."""
        steps = np.diff(self.points, axis=0)
        lengths = np.hypot(steps[:, 0], steps[:, 1])
        turns = np.diff(np.unwrap(np.arctan2(steps[:, 1], steps[:, 0])))
        if not len(turns):
            return 0.0
        return float((np.abs(turns) / ((lengths[:-1] + lengths[1:]) / 2.0)).max())

    def split(self, spots: Points) -> tuple[Points, Points, NDArray[np.float64]]:
        """For each spot its foot on the line, the unit normal there (left) and its signed distance."""
        starts, ways = self.points[:-1], np.diff(self.points, axis=0)
        sizes = (ways * ways).sum(axis=1)
        feet = np.empty_like(spots)
        normals = np.empty_like(spots)
        off = np.empty(len(spots))
        for k, spot in enumerate(spots):
            part = np.clip(((spot - starts) * ways).sum(axis=1) / sizes, 0.0, 1.0)
            there = starts + ways * part[:, None]
            best = int(np.argmin(((spot - there) ** 2).sum(axis=1)))
            way = ways[best] / math.sqrt(sizes[best])
            normal = np.array([-way[1], way[0]])
            side = float((spot - there[best]) @ normal)
            distance = math.copysign(float(np.hypot(*(spot - there[best]))), side)
            feet[k], off[k] = there[best], distance
            # Beside a vertex of the polyline the foot's direction, not the piece's, is the normal.
            normals[k] = (spot - there[best]) / distance if abs(distance) > 1e-6 else normal
        return feet, normals, off


@dataclass(frozen=True, eq=False)
class Ridge:
    """A piece with a ridge.

    Parameters
    ----------
    foam : Foam
    shape : Shape
        As the closed piece is drawn, seen from outside with the peak towards the eye, with its marks.
    line : Path
        Open: where the ridge runs; it is run on straight to the outline's edge.
    angle : float, radians, optional
        Fold angle (0 = flat).
    peak : float, mm, optional
        Height of the ridge over the edge that lies farthest from it; in place of the angle.

    Raises
    ------
    PatternError
    """

    foam: Foam
    shape: Shape
    line: Path
    angle: float | None = None
    peak: float | None = None
    axis: Axis = field(init=False)

    def __post_init__(self) -> None:
        self.foam.depth  # noqa: B018 - refuses foam that is too thin for a groove
        width, height = self.shape.outline.size
        object.__setattr__(self, "axis", Axis.through(self.line, 2.0 * (width + height)))
        need(
            "peak",
            (self.angle is None) != (self.peak is None),
            "give either the peak's height or the fold angle",
        )
        low, high = self._reach()
        need(
            "centre_line",
            low < -0.5 and high > 0.5,
            "does not run between two halves of the outline",
            "Draw it across the part, in the same coordinates",
        )
        need("peak", self.peak is None or self.peak > 0.0, "is not above 0")
        need(
            "angle" if self.peak is None else "peak",
            math.radians(1.0) <= self.fold <= math.radians(150.0),
            f"makes a fold angle of {math.degrees(self.fold):.4g} degrees",
            "A ridge folds by 1 to 150 degrees",
        )
        need(
            "centre_line",
            self.stretch <= MOST_STRETCH,
            f"is bent so much that the foam would have to stretch by {self.stretch:.1%}",
            f"Draw it straighter, or lower the peak: {MOST_STRETCH:.0%} is the most",
        )

    def _reach(self) -> tuple[float, float]:
        off = self.axis.split(self.shape.outline.exterior.flatten())[2]
        return float(off.min()), float(off.max())

    @property
    def fold(self) -> float:
        """Fold angle, radians."""
        if self.angle is not None:
            return self.angle
        assert self.peak is not None
        return 2.0 * math.atan2(self.peak, max(map(abs, self._reach())))

    @property
    def stretch(self) -> float:
        """How much the foam at the edge is longer or shorter than it lies flat, beside a curved line."""
        wide = max(map(abs, self._reach()))
        return self.axis.curvature() * wide * (1.0 / math.cos(self.fold / 2.0) - 1.0)

    def develop(self) -> Pattern:
        """The flat pattern: one piece with its groove as a fold, mirrored because its inside is up."""
        drawn = self.shape.outline
        outline = Outline(self._widened(drawn.exterior), tuple(self._widened(hole) for hole in drawn.holes))
        area = outline.polygon()
        inside = shapely.intersection(LineString(self.axis.points), area)
        folds = [
            Line(
                LineKind.FOLD,
                Path.polyline(shapely.get_coordinates(part.simplify(_GROOVE)), False),
                self.fold,
            )
            for part in shapely.get_parts(
                shapely.line_merge(inside) if inside.geom_type != "LineString" else inside
            )
            if part.length > SHORTEST
        ]
        need(
            "centre_line",
            bool(folds),
            f"crosses the part for less than {self.foam.told(SHORTEST)}",
            "Draw it along the part",
        )
        marks = [
            Line(line.kind, self._widened(line.path), line.angle)
            for line in self.shape.lines
            if not self._is_axis(line)
        ]
        low, high = self._reach()
        rise = math.tan(self.fold / 2.0)
        finished = (
            Measure("drawn width across the line", high - low),
            Measure("peak over the farthest edge", max(-low, high) * rise),
            Measure("fold angle", self.fold, angle=True),
        )
        notes = ["the edges tilt: thin them so that they lie flat, by half the fold angle"]
        if not self.axis.is_straight:
            notes.append(f"beside its bent ridge the foam stretches by {self.stretch:.1%} at most: warm it")
        piece = Piece("", Shape(outline, (*folds, *marks)).transformed(MIRROR_X))
        closing = Peaked(0, drawn.exterior, Path.polyline(self.axis.points, False), self.fold)
        return Pattern("ridge", (piece,), finished, (closing,), tuple(notes))

    def _is_axis(self, line: Line) -> bool:
        """Whether a line on the part is the drawn centre line itself."""
        return bool((np.abs(self.axis.split(line.path.flatten())[2]) < 0.1).all())

    def _widened(self, path: Path) -> Path:
        """The path stretched across the line by 1 / cos(a/2)."""
        points = path.flatten(0.01)
        if not self.axis.is_straight:
            ring = np.vstack((points, points[:1])) if path.closed else points
            dense = shapely.get_coordinates(shapely.segmentize(LineString(ring), STEP))
            points = dense[:-1] if path.closed else dense
        feet, normals, off = self.axis.split(points)
        return Path.polyline(feet + normals * (off / math.cos(self.fold / 2.0))[:, None], path.closed)


def _smoothed(points: Points, reach: float) -> Points:
    """The curve that touches a polyline in the middle of each segment, in fine steps (quadratic B-spline).

    A polyline's normals jump at its corners; the foam beside it would gape or overlap there.
    """
    ways = np.diff(points, axis=0)
    turns = np.abs(np.diff(np.unwrap(np.arctan2(ways[:, 1], ways[:, 0]))))
    finest = max(_JUMP / reach, float(turns.sum()) / _POINTS)
    middles = points[:-1] + ways / 2.0
    found = [points[:1]]
    for k, turn in enumerate(turns):
        steps = max(1, math.ceil(turn / finest))
        part = np.linspace(0.0, 1.0, steps + 1)[:-1, None]
        a, b, c = middles[k], points[k + 1], middles[k + 1]
        found.append(a * (1.0 - part) ** 2 + b * 2.0 * part * (1.0 - part) + c * part**2)
    return np.vstack((*found, middles[-1:], points[-1:]))
