"""All grooves and bevels of one part: their passes merged, and what can't be etched told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import shapely
from shapely.geometry import MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from nestkit.errors import Finding
from nestkit.folds.band import FINE, GRID, NEAR_EDGE, Room, areas_of
from nestkit.folds.groove import Flaw, Groove, MadeGroove, named
from nestkit.folds.hatch import Band, shared_out
from nestkit.folds.steps import NARROWEST, Steps
from nestkit.geometry import Line, LineKind, Path, Shape
from nestkit.units import Unit, show_gap, show_length

_CRUMB = 1e-4


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
    made: list[MadeGroove] = []
    for number, line in wanted:
        one = MadeGroove.of(number, line, steps, room, unit)
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


def _joints(made: Sequence[MadeGroove], room: Room) -> list[tuple[int, Point, float]]:
    """Ends inside the part at which folds meet: groove number, where, and how far it may be rounded.

    A rounded end is no wider than the narrowest groove that it meets.
    """
    ends = [
        (one, Point(end), one.groove.mouth / 2.0)
        for one in made
        if one.groove.kind is LineKind.FOLD
        for end, on in one.marked_ends()
        if not on
    ]
    found = []
    for one, spot, _ in ends:
        meeting = [half for _, other, half in ends if other.distance(spot) <= NEAR_EDGE]
        if len(meeting) > 1:
            found.append((one.groove.number, spot, min(meeting)))
    return found


def _findings(
    made: Sequence[MadeGroove], steps: Steps, mouths: Sequence[BaseGeometry], unit: Unit
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
        if one.groove.kind is LineKind.FOLD and one.groove.too_tight:
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
