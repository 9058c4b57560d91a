"""One fold or bevel as a groove: how wide its passes are, and why it can't be etched."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import shapely
from shapely.geometry import Point, Polygon
from shapely.geometry.base import BaseGeometry

from nestkit.folds.band import GRID, NEAR_EDGE, SHARPEST, Course, Room, areas_of, band_area
from nestkit.folds.steps import Steps
from nestkit.geometry import Line, LineKind, Path
from nestkit.units import Unit, show_length, show_place

#: A bevel's line may stand off from the edge that it thins by this much, mm.
OFF_EDGE = 0.5
#: What a groove may stick out of the part at its side before it is told, mm.
_STICKS_OUT = 0.05
#: At a tip whose edges meet the line at no smaller angle, a groove may be wider than the part.
SLIMMEST = math.radians(5.0)


@dataclass(frozen=True, eq=False)
class Groove:
    """One fold or bevel of a part.

    Parameters
    ----------
    number : int
        Its place among the part's lines, from 1.
    kind : LineKind
        fold or bevel.
    angle : float, radians
    path : Path
        As drawn, finished size.
    mouth : float, mm
        Width of its V at the surface.
    widths : tuple of float, mm
        Width that each pass takes away, first pass first.
    drawn : tuple of float, mm
        Width of each pass as drawn: what the spot adds is taken off.
    """

    number: int
    kind: LineKind
    angle: float
    path: Path
    mouth: float
    widths: tuple[float, ...]
    drawn: tuple[float, ...]

    @property
    def too_tight(self) -> bool:
        """Whether it curves more tightly than half its width, where foam can't close."""
        for x0, y0, x1, y1, bulge in self.path.pieces():
            if bulge:
                chord = math.hypot(x1 - x0, y1 - y0)
                if chord * (1.0 + bulge * bulge) / (4.0 * abs(bulge)) < self.mouth / 2.0:
                    return True
        return False


@dataclass(frozen=True, eq=False)
class Flaw:
    """Why a fold or bevel can't be etched; `at` is a point in the part's coordinates, mm."""

    groove: str
    what: str
    todo: str
    at: tuple[float, float]


@dataclass(frozen=True, eq=False)
class MadeGroove:
    """A groove with its course; `halves` is 2 for a fold, whose band lies on both sides of its line."""

    groove: Groove
    course: Course

    @classmethod
    def of(cls, number: int, line: Line, steps: Steps, room: Room, unit: Unit) -> MadeGroove | Flaw:
        """The groove of a part's line ``number``, or why it can't be etched."""
        name = named(line, unit)
        groove = Groove(
            number,
            line.kind,
            line.angle,
            line.path,
            steps.mouth(line.kind, line.angle),
            steps.widths(line.kind, line.angle),
            steps.drawn(line.kind, line.angle),
        )
        at = line.path.start
        try:
            course = Course.of(line.path, room)
        except ValueError:
            return Flaw(name, "it has no length", "Draw it anew, or leave it out", at)
        inside = course.line.intersection(room.part).length
        if inside < 0.5 * course.line.length and line.kind is LineKind.FOLD:
            return Flaw(name, "it lies outside of the part", "Draw it across the part, from edge to edge", at)
        if line.kind is LineKind.BEVEL:
            off = course.line.difference(room.part.boundary.buffer(OFF_EDGE))
            if off.length > 0.01 * course.line.length:
                spot = off.representative_point()
                return Flaw(
                    name,
                    "it does not run along an edge of the part",
                    "Draw a bevel along the edge that it thins, or make the line a fold",
                    (spot.x, spot.y),
                )
        made = cls(groove, course)
        out = made._sticks_out(room)
        if out is not None:
            return Flaw(
                name,
                f"its groove is {show_length(groove.mouth, unit)} wide and reaches out of the part at "
                "the side",
                "Move it away from the edge, lessen its angle or take thinner foam",
                out,
            )
        return made

    @property
    def halves(self) -> float:
        """Of how many halves of the V the band is made."""
        return 1.0 if self.groove.kind is LineKind.BEVEL else 2.0

    def area(self, reach: float, room: Room, joints: Sequence[tuple[int, Point, float]]) -> BaseGeometry:
        """Its band as far as ``reach``, mm, from the line, with round ends at ``joints``; see `grooves`."""
        own = [
            spot.buffer(min(reach, limit)) for number, spot, limit in joints if number == self.groove.number
        ]
        area = band_area(self.course, reach, room)
        # Where two of these only touch, the union has lines that are no area.
        joined = shapely.union_all([area, *(disc.intersection(room.part) for disc in own)], grid_size=GRID)
        return areas_of(joined)

    def _sticks_out(self, room: Room) -> tuple[float, float] | None:
        """A point where the groove leaves the part at its side; None when it doesn't."""
        reach = self.groove.mouth / self.halves
        whole = Polygon(room.part.exterior)
        line = self.course.line
        # At the ends, and where the line itself crosses an edge, a groove leaves the part as it should.
        near = reach / math.sin(SHARPEST) + NEAR_EDGE
        if self.groove.kind is LineKind.BEVEL:
            gates = [Point(end).buffer(near) for end, _ in self.course.ends]
        else:
            tip = reach / math.sin(SLIMMEST) + NEAR_EDGE
            gates = [
                Point(end).buffer(tip if _is_tip(end, way, reach, whole) else near)
                for (end, way), on in zip(self.course.ends, self.course.at_edge, strict=True)
                if on
            ]
            gates += [
                Point(xy).buffer(near) for xy in shapely.get_coordinates(line.intersection(whole.exterior))
            ]
        lips = [line.offset_curve(sign * reach, join_style="mitre") for sign in (1.0, -1.0)]
        if self.groove.kind is LineKind.BEVEL:
            # One of the lips of a bevel always lies outside; the inner one is that which is more inside.
            lips = [max(lips, key=lambda lip: lip.intersection(whole).length)]
        allowed = shapely.union_all([whole.buffer(_STICKS_OUT), *gates])
        for lip in lips:
            if lip.is_empty:
                continue
            if not lip.intersects(whole):
                spot = line.interpolate(0.5, normalized=True)
                return spot.x, spot.y
            out = lip.difference(allowed)
            if out.length > 4.0 * _STICKS_OUT:
                spot = (
                    out.interpolate(0.5, normalized=True) if out.geom_type == "LineString" else out.centroid
                )
                return spot.x, spot.y
        return None

    def marked_ends(self) -> list[tuple[tuple[float, float], bool]]:
        """Both ends, and whether each lies at the part's edge."""
        return [(end, on) for (end, _), on in zip(self.course.ends, self.course.at_edge, strict=True)]


def _is_tip(end: tuple[float, float], way: tuple[float, float], reach: float, whole: Polygon) -> bool:
    """Whether the part tapers to a point at the line's end, on both sides of it."""
    (x, y), (dx, dy) = end, way

    def foam(side: float) -> bool:
        return bool(whole.contains(Point(x - reach * dx - side * dy, y - reach * dy + side * dx)))

    slim = reach * math.tan(SHARPEST)
    return not (foam(reach) or foam(-reach)) and not (foam(slim) and foam(-slim))


def named(line: Line, unit: Unit = "mm") -> str:
    """How a fold or bevel is called in messages: its angle and where it runs."""
    start = show_place(line.path.start, unit)
    if line.path.closed:
        where = f"from {start} round to its start"
    else:
        where = f"from {start.removesuffix(f' {unit}')} to {show_place(line.path.end, unit)}"
    return f"{line.kind.value} {round(math.degrees(line.angle), 2):g} {where}"
