"""All grooves and bevels of one part: their passes merged, and what can't be etched told."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import shapely
from shapely.geometry import MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from nestkit.errors import Finding
from nestkit.folds.band import FINE, GRID, NEAR_EDGE, SHARPEST, Course, Room, areas_of, band_area
from nestkit.folds.hatch import Band, shared_out
from nestkit.folds.steps import NARROWEST, Steps
from nestkit.geometry import Line, LineKind, Path, Shape
from nestkit.units import Unit, show_gap, show_length, show_place

#: A bevel's line may stand off from the edge that it thins by this much, mm.
OFF_EDGE = 0.5
#: What a groove may stick out of the part at its side before it is told, mm.
_STICKS_OUT = 0.05
#: At a tip whose edges meet the line at no smaller angle, a groove may be wider than the part.
SLIMMEST = math.radians(5.0)
_CRUMB = 1e-4


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


@dataclass(frozen=True, eq=False)
class Flaw:
    """Why a fold or bevel can't be etched; `at` is a point in the part's coordinates, mm."""

    groove: str
    what: str
    todo: str
    at: tuple[float, float]


@dataclass(frozen=True, eq=False)
class PartGrooves:
    """The grooves of one part, in the part's coordinates.

    Parameters
    ----------
    steps : Steps
    grooves : tuple of Groove
    areas : tuple of shapely.MultiPolygon
        What to etch, one for each pass, widest first: each lies inside the one before. Grooves that meet
        are one area, so that nothing is etched twice in a pass.
    bands : tuple of Band
        The same areas groove by groove, in the order of `grooves`.
    mouths : shapely.MultiPolygon
        The Vs at the surface, merged, within the part: their edges are the lips.
    bevels : shapely geometry
        What bevels take of the surface.
    flaws : tuple of Flaw
    findings : tuple of Finding
    part : shapely.Polygon
    """

    steps: Steps
    grooves: tuple[Groove, ...]
    areas: tuple[MultiPolygon, ...]
    bands: tuple[Band, ...]
    mouths: MultiPolygon
    bevels: BaseGeometry
    flaws: tuple[Flaw, ...]
    findings: tuple[Finding, ...]
    part: Polygon

    @cached_property
    def lips(self) -> tuple[Path, ...]:
        """The grooves' edges on the part's surface, open or closed; an edge of the part is none of them."""
        if self.mouths.is_empty:
            return ()
        inner = self.part.buffer(-0.01, join_style="mitre")
        lines = shapely.line_merge(self.mouths.boundary.intersection(inner))
        found = []
        for line in shapely.get_parts(lines):
            points = shapely.get_coordinates(line)
            if line.geom_type != "LineString" or line.length < 0.1:
                continue
            closed = bool(line.is_ring)
            found.append(Path.polyline(points[:-1] if closed else points, closed))
        return tuple(found)

    def kind_of(self, area: Polygon) -> LineKind:
        """Whether an etched area belongs to bevels alone, or to a fold."""
        outside = area.difference(self.bevels).area
        return LineKind.BEVEL if outside < 0.01 * area.area else LineKind.FOLD


def part_grooves(shape: Shape, steps: Steps, kerf: float, unit: Unit = "mm") -> PartGrooves:
    """The grooves for a part's folds and bevels.

    Parameters
    ----------
    shape : Shape
        Finished size.
    steps : Steps
        From `steps_for`.
    kerf : float, mm
        Grooves run past the part's edge by this much, so that no lip is left.
    unit : "mm" or "in"
        In which flaws and findings are told.

    Returns
    -------
    PartGrooves
        Lines of angle 0 have no groove. What can't be etched is among `flaws` and not in `areas`.
    """
    room = Room.of(shape.outline.polygon(FINE), kerf)
    wanted = [
        (number, line)
        for number, line in enumerate(shape.lines, start=1)
        if line.kind in (LineKind.FOLD, LineKind.BEVEL) and line.angle > 0.0
    ]
    flaws: list[Flaw] = []
    made: list[_Made] = []
    for number, line in wanted:
        one = _Made.of(number, line, steps, room, unit)
        if isinstance(one, Flaw):
            flaws.append(one)
        else:
            made.append(one)
    joints = _joints(made, room)
    areas: list[BaseGeometry] = []
    shares: list[list[BaseGeometry]] = [[] for _ in made]
    for k in range(steps.count):
        pieces = [one.area(one.groove.drawn[k] / one.halves, room, joints) for one in made]
        union = shapely.union_all(pieces, grid_size=GRID)
        areas.append(areas_of(union.intersection(areas[-1], grid_size=GRID) if areas else union))
        for share, own in zip(shares, shared_out(areas[-1], pieces), strict=True):
            share.append(own)
    mouths = [one.area(one.groove.mouth / one.halves, room, joints).intersection(room.part) for one in made]
    bevels = shapely.union_all(
        [
            one.area(one.groove.mouth, room, joints).buffer(0.01)
            for one in made
            if one.groove.kind is LineKind.BEVEL
        ]
    )
    return PartGrooves(
        steps,
        tuple(one.groove for one in made),
        tuple(_polygons(area) for area in areas),
        tuple(
            Band.of(one.groove.kind, one.course, one.groove.drawn, share, room)
            for one, share in zip(made, shares, strict=True)
        ),
        _polygons(shapely.union_all(mouths, grid_size=GRID)),
        bevels,
        tuple(flaws),
        tuple(_findings(made, steps, mouths, unit)),
        room.part,
    )


@dataclass(frozen=True, eq=False)
class _Made:
    """A groove with its course; `halves` is 2 for a fold, whose band lies on both sides of its line."""

    groove: Groove
    course: Course

    @classmethod
    def of(cls, number: int, line: Line, steps: Steps, room: Room, unit: Unit) -> _Made | Flaw:
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
        return 1.0 if self.groove.kind is LineKind.BEVEL else 2.0

    def area(self, reach: float, room: Room, joints: Sequence[tuple[int, Point, float]]) -> BaseGeometry:
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

    def _marked_ends(self) -> list[tuple[tuple[float, float], bool]]:
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


def _joints(made: Sequence[_Made], room: Room) -> list[tuple[int, Point, float]]:
    """Ends inside the part at which folds meet: groove number, where, and how far it may be rounded.

    A rounded end is no wider than the narrowest groove that it meets.
    """
    ends = [
        (one, Point(end), one.groove.mouth / 2.0)
        for one in made
        if one.groove.kind is LineKind.FOLD
        for end, on in one._marked_ends()
        if not on
    ]
    found = []
    for one, spot, _ in ends:
        meeting = [half for _, other, half in ends if other.distance(spot) <= NEAR_EDGE]
        if len(meeting) > 1:
            found.append((one.groove.number, spot, min(meeting)))
    return found


def _findings(
    made: Sequence[_Made], steps: Steps, mouths: Sequence[BaseGeometry], unit: Unit
) -> list[Finding]:
    found = []
    names = [named(Line(one.groove.kind, one.groove.path, one.groove.angle), unit) for one in made]
    for i, one in enumerate(made):
        if steps.spot > 0.0 and one.groove.drawn[0] <= NARROWEST:
            found.append(
                Finding(
                    "groove-narrow",
                    f"{names[i]}: its groove is {show_gap(one.groove.mouth, unit)} wide at its mouth, too "
                    f"narrow for the spot of {show_gap(steps.spot, unit)}, and comes out wider",
                    "Make the fold by heat alone, or with a larger angle.",
                    at=one.groove.path.start,
                    unit=unit,
                )
            )
        if one.groove.kind is LineKind.FOLD and _too_tight(one.groove):
            found.append(
                Finding(
                    "fold-tight",
                    f"{names[i]}: it curves more tightly than half its groove's width of "
                    f"{show_length(one.groove.mouth, unit)}, where the foam can't close cleanly",
                    "Widen the curve, or lessen the angle.",
                    at=one.groove.path.start,
                    unit=unit,
                )
            )
        for j in range(i):
            if one.course.line.distance(made[j].course.line) <= NEAR_EDGE:
                continue
            if mouths[i].intersection(mouths[j]).area > 0.01:
                spot = mouths[i].intersection(mouths[j]).representative_point()
                found.append(
                    Finding(
                        "grooves-overlap",
                        f"{names[j]} and {names[i]}: their grooves overlap, so that nothing is left between",
                        "Move them apart, or lessen an angle.",
                        at=(spot.x, spot.y),
                        unit=unit,
                    )
                )
    return found


def _too_tight(groove: Groove) -> bool:
    for x0, y0, x1, y1, bulge in groove.path.pieces():
        if bulge:
            chord = math.hypot(x1 - x0, y1 - y0)
            if chord * (1.0 + bulge * bulge) / (4.0 * abs(bulge)) < groove.mouth / 2.0:
                return True
    return False


def _polygons(area: BaseGeometry) -> MultiPolygon:
    """The area's polygons without crumbs, boundaries counter-clockwise, lowest and leftmost first."""
    pieces = [
        orient(Polygon(piece.exterior, [hole for hole in piece.interiors if Polygon(hole).area > _CRUMB]))
        for piece in shapely.get_parts(area.simplify(GRID))
        if piece.geom_type == "Polygon" and piece.area > _CRUMB
    ]
    return MultiPolygon(sorted(pieces, key=lambda piece: (piece.bounds[1], piece.bounds[0])))


def rings_of(areas: MultiPolygon) -> list[tuple[Polygon, tuple[Path, ...]]]:
    """Each polygon with its closed paths: the boundary counter-clockwise, then holes clockwise."""
    return [
        (
            piece,
            tuple(
                Path.polyline(shapely.get_coordinates(ring)[:-1], True)
                for ring in (piece.exterior, *piece.interiors)
            ),
        )
        for piece in areas.geoms
    ]
