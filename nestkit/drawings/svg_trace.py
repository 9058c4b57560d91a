"""Subpaths in user space, mapped to millimetres: the `Path` that is cut.

What is a circular arc in millimetres stays one, as a bulge; all else is flattened there, after the
mapping, so that the tolerance is one of the finished drawing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from nestkit.drawings.svg_path_data import ArcTo, CubicTo, LineTo, Subpath
from nestkit.geometry import Path
from nestkit.geometry.affine import Affine
from nestkit.geometry.arcs import bulge_of
from nestkit.geometry.curves import flatten_cubic, flatten_ellipse

#: Ends that lie closer than this are one point, mm.
SNAP = 1e-6

#: Coordinates beyond this are a mistake, mm.
FARTHEST = 1e7

#: Half axes that differ by less than this share, or are skew by less, make a circle.
ROUND = 1e-6

#: Rows of x, y (mm) and bulge, (n, 3).
Rows = NDArray[np.float64]


class TooFarError(ValueError):
    """A coordinate that is not finite or lies beyond `FARTHEST`."""


@dataclass(frozen=True, slots=True)
class Traced:
    """A subpath in millimetres.

    Parameters
    ----------
    path : Path or None
        None when it has no length.
    flaw : "zero-length", "flat-loop" or ""
        A flat loop goes there and back along one line and is given as that line, open.
    at : (float, float), mm
        Where it starts.
    """

    path: Path | None
    flaw: Literal["zero-length", "flat-loop", ""]
    at: tuple[float, float]


class _Mapping:
    """The affine map as plain numbers: far quicker for single points than an array."""

    def __init__(self, matrix: Affine) -> None:
        (self.a, self.c, self.e), (self.b, self.d, self.f) = matrix.tolist()

    def point(self, x: float, y: float) -> tuple[float, float]:
        px, py = self.a * x + self.c * y + self.e, self.b * x + self.d * y + self.f
        if not (-FARTHEST <= px <= FARTHEST and -FARTHEST <= py <= FARTHEST):
            raise TooFarError
        return px, py

    def vector(self, x: float, y: float) -> tuple[float, float]:
        return self.a * x + self.c * y, self.b * x + self.d * y


class _Arc:
    """An arc in millimetres: centre + cos(t) first + sin(t) second."""

    def __init__(self, arc: ArcTo, to_mm: _Mapping) -> None:
        cosine, sine = math.cos(arc.turn), math.sin(arc.turn)
        self.arc = arc
        self.first = to_mm.vector(arc.rx * cosine, arc.rx * sine)
        self.second = to_mm.vector(-arc.ry * sine, arc.ry * cosine)
        x, y = to_mm.vector(arc.cx, arc.cy)
        self.centre = (x + to_mm.e, y + to_mm.f)
        numbers = (*self.first, *self.second, *self.centre, arc.start, arc.sweep)
        if not all(map(math.isfinite, numbers)):
            raise TooFarError

    def is_circular(self) -> bool:
        (ax, ay), (bx, by) = self.first, self.second
        long = math.hypot(ax, ay)
        return (
            abs(math.hypot(bx, by) - long) <= ROUND * long and abs(ax * bx + ay * by) <= ROUND * long * long
        )

    def bulged(self, start: tuple[float, float], end: tuple[float, float]) -> list[list[float]]:
        """Rows from the start on, in pieces of half a circle at most."""
        (ax, ay), (bx, by) = self.first, self.second
        sweep = self.arc.sweep if ax * by - ay * bx >= 0.0 else -self.arc.sweep
        parts = max(1, math.ceil(abs(sweep) / math.pi - 1e-9))
        bulge = min(max(bulge_of(sweep / parts), -1.0), 1.0)
        rows = [[*start, bulge]]
        for k in range(1, parts):
            angle = self.arc.start + self.arc.sweep * k / parts
            cosine, sine = math.cos(angle), math.sin(angle)
            x, y = self.centre[0] + ax * cosine + bx * sine, self.centre[1] + ay * cosine + by * sine
            rows.append([x, y, bulge])
        return [*rows, [*end, 0.0]]

    def flattened(self, end: tuple[float, float], tolerance: float) -> Rows:
        """Rows after the start."""
        points = flatten_ellipse(
            self.centre, self.first, self.second, self.arc.start, self.arc.sweep, tolerance
        )
        rows = np.zeros((len(points) - 1, 3))
        rows[:, :2] = points[1:]
        rows[-1, :2] = end
        return rows


def trace(subpath: Subpath, matrix: Affine, tolerance: float, room: int) -> Traced | None:
    """Map a subpath to millimetres.

    Parameters
    ----------
    subpath : Subpath
    matrix : Affine
        From user space to millimetres with y upward.
    tolerance : float, mm
    room : int
        No more vertices than this are made.

    Returns
    -------
    Traced, or None
        None when there is no room for its vertices.

    Raises
    ------
    TooFarError
        When a coordinate is not finite or absurdly large.
    """
    to_mm = _Mapping(matrix)
    at = here = to_mm.point(*subpath.start)
    run: list[list[float]] = [[*here, 0.0]]
    parts: list[list[list[float]] | Rows] = [run]
    for segment in subpath.segments:
        end = to_mm.point(segment.x, segment.y)
        if type(segment) is LineTo:
            run.append([*end, 0.0])
            room -= 1
        elif type(segment) is CubicTo:
            control = (here, to_mm.point(segment.x1, segment.y1), to_mm.point(segment.x2, segment.y2), end)
            rows = flatten_cubic(control, tolerance)
            parts += (rows, run := [])
            room -= len(rows)
        elif type(segment) is ArcTo:
            arc = _Arc(segment, to_mm)
            if arc.is_circular():
                run += arc.bulged(here, end)
                room -= 3
            else:
                rows = arc.flattened(end, tolerance)
                parts += (rows, run := [])
                room -= len(rows)
        if room < 0:
            return None
        here = end
    chunks = [np.asarray(part) for part in parts if len(part)]
    return _finish(np.concatenate(chunks) if len(chunks) > 1 else chunks[0], subpath.closed, at)


def _without_short(rows: Rows) -> Rows:
    """The rows without those whose piece has no length."""
    steps = np.abs(rows[1:, :2] - rows[:-1, :2])
    if steps.max(axis=1).min() > SNAP:
        return rows
    kept = [rows[0].tolist()]
    for row in rows[1:].tolist():
        last = kept[-1]
        if abs(row[0] - last[0]) <= SNAP and abs(row[1] - last[1]) <= SNAP:
            last[2] = row[2]
        else:
            kept.append(row)
    return np.array(kept)


def _finish(rows: Rows, closed: bool, at: tuple[float, float]) -> Traced:
    """The path of these rows, without pieces of no length, closed when its ends meet."""
    if len(rows) > 1:
        rows = _without_short(rows)
    if len(rows) > 1 and abs(rows[0, 0] - rows[-1, 0]) <= SNAP and abs(rows[0, 1] - rows[-1, 1]) <= SNAP:
        closed = True
        rows = rows[:-1]
    if len(rows) == 1:
        return Traced(None, "zero-length", at)
    if closed and len(rows) == 2 and not rows[:, 2].any():
        return Traced(Path(rows, False), "flat-loop", at)
    return Traced(Path(rows, closed), "", at)
