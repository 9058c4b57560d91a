"""The area of one pass along one line: a band as wide as asked, clean where it runs out of the part."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from nestkit.geometry import Path

#: Lines are flattened within this before they become bands, mm.
FINE = 0.005
#: An end this near to the part's edge is meant to lie on it, mm.
NEAR_EDGE = 0.3
#: Areas are computed on a grid this fine, so that neighbours share their edges exactly, mm.
GRID = 1e-5
#: An edge that meets the end of a line at a smaller angle is taken to run along with it.
SHARPEST = math.radians(20.0)

_MITRE = 5.0


@dataclass(frozen=True, eq=False)
class Room:
    """Where areas may lie: the finished part, and with the rim that the cut burns away.

    Parameters
    ----------
    part, burnt : shapely.Polygon, mm
        `burnt` is the part grown by the kerf.
    kerf : float, mm
    """

    part: Polygon
    burnt: BaseGeometry
    kerf: float

    @classmethod
    def of(cls, part: Polygon, kerf: float) -> Room:
        """The room of a finished outline."""
        shapely.prepare(part)
        # Round at corners: a part may lie a kerf away, and nothing of it is to be etched.
        grown = part.buffer(kerf) if kerf > 0.0 else part
        return cls(part, grown, kerf)


@dataclass(frozen=True, eq=False)
class Course:
    """A fold or bevel line made ready: its ends drawn to the edge that they are meant to reach.

    Parameters
    ----------
    line : shapely.LineString, mm
        Curves flattened; a closed line ends where it begins.
    closed : bool
    ends : tuple of ((x, y), (dx, dy))
        For an open line, both ends and the directions in which they point outward.
    at_edge : tuple of bool
        Which of the ends lie on the part's edge or outside.
    """

    line: LineString
    closed: bool
    ends: tuple[tuple[tuple[float, float], tuple[float, float]], ...]
    at_edge: tuple[bool, ...]

    @classmethod
    def of(cls, path: Path, room: Room) -> Course:
        """The course of a drawn path.

        Raises
        ------
        ValueError
            When the path has no length.
        """
        points = path.flatten(FINE)
        if path.closed:
            return cls(LineString(np.vstack((points, points[:1]))), True, (), ())
        points = points[np.append(True, np.any(np.diff(points, axis=0) != 0.0, axis=1))].copy()
        if len(points) < 2:
            raise ValueError("a line without length")
        ends, at_edge = [], []
        for end, before in ((0, 1), (-1, -2)):
            way = points[end] - points[before]
            way = way / math.hypot(*way)
            points[end], on = _to_edge(points[end], way, room)
            ends.append(((float(points[end, 0]), float(points[end, 1])), (float(way[0]), float(way[1]))))
            at_edge.append(on)
        return cls(LineString(points), False, tuple(ends), tuple(at_edge))

    def lengthened(self, by: float) -> LineString:
        """The line with straight pieces added at its ends."""
        if self.closed:
            return self.line
        points = shapely.get_coordinates(self.line)
        (first, back), (last, on) = self.ends
        return LineString(
            np.vstack(
                (
                    [first[0] + by * back[0], first[1] + by * back[1]],
                    points,
                    [last[0] + by * on[0], last[1] + by * on[1]],
                )
            )
        )


def _to_edge(
    end: NDArray[np.float64], way: NDArray[np.float64], room: Room
) -> tuple[NDArray[np.float64], bool]:
    """The end moved on to the edge when it all but touches it, and whether it lies there or outside."""
    spot = Point(end)
    if not room.part.covers(spot):
        return end, True
    edge = room.part.boundary
    if edge.distance(spot) > NEAR_EDGE:
        return end, False
    reach = NEAR_EDGE / math.sin(SHARPEST)
    hits = shapely.get_coordinates(LineString([end, end + reach * way]).intersection(edge))
    if len(hits):
        return hits[np.argmin(np.hypot(*(hits - end).T))], True
    return end, True


def band_area(course: Course, reach: float, room: Room) -> BaseGeometry:
    """The area of one pass along a fold, or along a bevelled edge.

    Parameters
    ----------
    course : Course
    reach : float, mm
        How far the area reaches from the line: half the width of a fold's pass, the whole of a bevel's,
        whose line lies on the edge.
    room : Room
    """
    inside = _along(_band(course.line, reach).intersection(room.part), course.line)
    fills = [
        _fill(end, way, reach, side, room)
        for (end, way), on in zip(course.ends, course.at_edge, strict=True)
        if on
        for side in (1.0, -1.0)
    ]
    inside = shapely.union_all([inside, *fills], grid_size=GRID)
    if room.kerf == 0.0:
        return inside
    # Past the edge by the kerf, but neither wider than the band nor anywhere but next to what it etches.
    long = _band(course.lengthened(reach / math.tan(SHARPEST) + 2.0 * room.kerf), reach)
    past = inside.buffer(1.5 * room.kerf, join_style="mitre", mitre_limit=2.0)
    past = areas_of(past.intersection(long).intersection(room.burnt).difference(room.part))
    return shapely.union_all([inside, past], grid_size=GRID)


def areas_of(shape: BaseGeometry) -> BaseGeometry:
    """The areas of a shape, without the lines and points that shapes which only touch leave."""
    if shape.geom_type in ("Polygon", "MultiPolygon"):
        return shape
    parts = shapely.get_parts(shape)
    return shapely.union_all([part for part in parts if part.geom_type in ("Polygon", "MultiPolygon")])


def _band(line: LineString, half: float) -> BaseGeometry:
    return line.buffer(half, cap_style="flat", join_style="mitre", mitre_limit=_MITRE)


def _along(area: BaseGeometry, line: LineString) -> BaseGeometry:
    """Those pieces of the area that the line runs through; what lies across a slot is left alone."""
    if area.geom_type == "Polygon":
        return area
    pieces = [
        piece
        for piece in shapely.get_parts(area)
        if piece.geom_type == "Polygon" and piece.buffer(1e-3).intersection(line).length > 1e-2
    ]
    return shapely.union_all(pieces)


def _fill(
    end: tuple[float, float], way: tuple[float, float], half: float, side: float, room: Room
) -> BaseGeometry:
    """The wedge between the band's square end and an edge that runs off obliquely; may be empty."""
    (x, y), (dx, dy) = end, way
    nx, ny = -side * dy, side * dx
    step = 0.02
    cosine, sine = math.cos(SHARPEST), math.sin(SHARPEST)
    if room.part.contains(Point(x + step * (cosine * dx + sine * nx), y + step * (cosine * dy + sine * ny))):
        # No edge on this side: the foam goes on beside a corner that points inward.
        return Polygon()
    corner = (x + half * nx, y + half * ny)
    tip = (corner[0] + half / math.tan(SHARPEST) * dx, corner[1] + half / math.tan(SHARPEST) * dy)
    wedge = Polygon([end, corner, tip]).intersection(room.part)
    pieces = [piece for piece in shapely.get_parts(wedge) if piece.distance(Point(end)) < 1e-6]
    return shapely.union_all(pieces) if pieces else Polygon()
