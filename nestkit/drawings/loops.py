"""Closed cut paths nested into outlines with holes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from nestkit.drawings.loops_crossing import OVERLAP, filled, self_crossing, simple_parts
from nestkit.drawings.model import DrawnPath
from nestkit.errors import DrawingError, Finding
from nestkit.geometry import Outline, Path
from nestkit.units import Unit, show_gaps

#: Outlines and holes of less area (mm^2) or less mean width (mm) are dropped.
SMALLEST_AREA, SMALLEST_WIDTH = 0.5, 0.1

#: More pairs of loops than this, one within or across the other, are no drawing of parts.
MOST_PAIRS = 2_000_000

#: A drawing whose loops have more points than this when their arcs are flattened is refused.
MOST_POINTS = 2_000_000

#: Arcs are judged as chords within this, mm.
_FINE = 0.01

#: Loops are judged against each other in groups of so many, so that memory stays small.
_GROUP = 500

#: As above where copies are sought: of a loop that is drawn a thousand times each is a copy of each.
_GROUP_OF_COPIES = 50


@dataclass(frozen=True, eq=False)
class Nested:
    """Outlines found in closed paths.

    Parameters
    ----------
    outlines : tuple of (DrawnPath, Outline)
        The path that is the outline's boundary, and the outline.
    findings : tuple of Finding
        `tiny-sliver`, `doubled-line`, `touching-outline` (mended), `crossing-outline`.
    """

    outlines: tuple[tuple[DrawnPath, Outline], ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, eq=False)
class _Loop:
    drawn: DrawnPath
    polygon: Polygon
    crossed: bool = False


def nest_loops(paths: Sequence[DrawnPath], file: str = "", unit: Unit = "mm") -> Nested:
    """Nests closed paths: what lies inside an outline is a hole, what lies inside a hole an outline again.

    Parameters
    ----------
    paths : sequence of DrawnPath
        Closed. They may touch each other. One that crosses itself or another is left out, and so are its
        holes; a finding says where.
    file : str
        For the error's message.
    unit : "mm" or "in"
        In which findings speak.

    Returns
    -------
    Nested
        Outlines in the order of their boundaries in `paths`.

    Raises
    ------
    DrawingError
        When more than `MOST_PAIRS` pairs of loops lie within or across each other, or they have more than
        `MOST_POINTS` points.
    """
    findings: list[Finding] = []
    loops = _without_doubled(_loops(paths, findings, file, unit), findings)
    if not loops:
        return Nested((), tuple(findings))
    loops = _crossings(loops, findings, file)
    parents, depths = _nesting(loops)
    holes: dict[int, list[Path]] = {k: [] for k in range(len(loops)) if depths[k] % 2 == 0}
    for k, loop in enumerate(loops):
        if depths[k] % 2 and not loop.crossed:
            holes[parents[k]].append(loop.drawn.path)
    outlines: list[tuple[DrawnPath, Outline]] = []
    for k, inner in holes.items():
        if not loops[k].crossed:
            outlines += _outlines(loops[k].drawn, inner, findings)
    return Nested(tuple(outlines), tuple(findings))


def _loops(paths: Sequence[DrawnPath], findings: list[Finding], file: str, unit: Unit) -> list[_Loop]:
    """Each path with its area, slivers left out; one that touches itself is taken apart there."""
    loops: list[_Loop] = []
    total = 0
    for drawn in paths:
        points = drawn.path.flatten(_FINE)
        total += len(points)
        if total > MOST_POINTS:
            what = f"the closed lines have more than {MOST_POINTS:,} points when arcs are counted as chords"
            raise DrawingError.one(file, what, "See that the drawing's unit is right, or simplify it")
        if len(points) < 3:
            findings.append(_sliver(drawn, unit))
            continue
        polygon = Polygon(points)
        if polygon.is_valid:
            if _is_sliver(polygon):
                findings.append(_sliver(drawn, unit))
            else:
                loops.append(_Loop(drawn, polygon))
            continue
        at = self_crossing(polygon)
        whole = filled(polygon) if at else simple_parts(polygon)
        parts = [part for part in whole if not _is_sliver(part)]
        if not parts:
            findings.append(_sliver(drawn, unit))
        elif at is None:
            findings.append(_touching(drawn, "an outline touches itself; it was taken apart there"))
            rings = [ring for part in parts for ring in (part.exterior, *part.interiors)]
            for ring in rings:
                path = Path.polyline(np.array(ring.coords)[:-1], True)
                loops.append(_Loop(replace(drawn, path=path), Polygon(ring)))
        else:
            findings.append(_crossing(drawn, "an outline crosses itself", at))
            loops += [_Loop(drawn, part, crossed=True) for part in parts]
    return loops


def _is_sliver(polygon: Polygon) -> bool:
    area = polygon.area
    return bool(area < SMALLEST_AREA or 2.0 * area < SMALLEST_WIDTH * polygon.length)


def _sliver(drawn: DrawnPath, unit: Unit) -> Finding:
    x0, y0, x1, y1 = drawn.path.bounds
    return Finding(
        "tiny-sliver",
        f"a closed line of {show_gaps(x1 - x0, y1 - y0, unit)} is too small or thin to cut and was dropped",
        mended=True,
        layer=drawn.layer,
        id=drawn.id,
        at=((x0 + x1) / 2.0, (y0 + y1) / 2.0),
    )


def _touching(drawn: DrawnPath, text: str) -> Finding:
    return Finding("touching-outline", text, mended=True, layer=drawn.layer, id=drawn.id, at=drawn.path.start)


def _crossing(drawn: DrawnPath, text: str, at: tuple[float, float]) -> Finding:
    return Finding(
        "crossing-outline",
        text,
        "Redraw it there so that no two cut lines cross, or unite the shapes in the drawing program.",
        layer=drawn.layer,
        id=drawn.id,
        at=at,
    )


def _without_doubled(loops: list[_Loop], findings: list[Finding]) -> list[_Loop]:
    """Loops without those that an earlier one has drawn already, wherever they start and run."""
    if len(loops) < 2:
        return loops
    polygons = np.array([loop.polygon for loop in loops])
    bounds = shapely.bounds(polygons)
    corners = shapely.points(bounds[:, :2])
    tree = shapely.STRtree(corners)
    dropped: set[int] = set()
    for start in range(0, len(loops), _GROUP_OF_COPIES):
        left = np.array(
            [k for k in range(start, min(start + _GROUP_OF_COPIES, len(loops))) if k not in dropped]
        )
        if not len(left):
            continue
        first, second = tree.query(corners[left], predicate="dwithin", distance=OVERLAP)
        first = left[first]
        alike = (first < second) & (np.abs(bounds[first] - bounds[second]).max(axis=1) <= OVERLAP)
        for a, b in zip(first[alike].tolist(), second[alike].tolist(), strict=True):
            if a in dropped or b in dropped:
                continue
            if shapely.symmetric_difference(polygons[a], polygons[b]).buffer(-OVERLAP).is_empty:
                dropped.add(b)
                findings.append(_doubled(loops[b].drawn))
    return [loop for k, loop in enumerate(loops) if k not in dropped]


def _doubled(drawn: DrawnPath) -> Finding:
    return Finding(
        "doubled-line",
        "an outline is drawn twice; it is cut once",
        mended=True,
        layer=drawn.layer,
        id=drawn.id,
        at=drawn.path.start,
    )


def _crossings(loops: list[_Loop], findings: list[Finding], file: str) -> list[_Loop]:
    """The loops, with those marked that cross another."""
    pairs = 0
    polygons = np.array([loop.polygon for loop in loops])
    shapely.prepare(polygons)
    tree = shapely.STRtree(polygons)
    crossed = {k for k, loop in enumerate(loops) if loop.crossed}
    for start in range(0, len(loops), _GROUP):
        first, second = tree.query(polygons[start : start + _GROUP])
        first = first + start
        first, second = first[first < second], second[first < second]
        pairs += len(first)
        if pairs > MOST_PAIRS:
            raise DrawingError.one(
                file,
                f"{len(loops):,} closed lines lie within or across each other too often to be told apart",
                "Keep only what is to be cut; a pattern drawn for its looks goes on a guide layer",
            )
        overlap = shapely.overlaps(polygons[first], polygons[second])
        for a, b in zip(first[overlap].tolist(), second[overlap].tolist(), strict=True):
            if a in crossed and b in crossed:
                continue
            at = _overlap_point(polygons[a], polygons[b])
            if at is not None:
                crossed |= {a, b}
                other = loops[b].drawn
                name = f" (layer '{other.layer}', id '{other.id}')" if other.layer or other.id else ""
                findings.append(_crossing(loops[a].drawn, f"an outline crosses another{name}", at))
    return [replace(loop, crossed=k in crossed) for k, loop in enumerate(loops)]


def _overlap_point(a: Polygon, b: Polygon) -> tuple[float, float] | None:
    """Where the boundaries cross; None when they only touch, give or take a hair."""
    common = shapely.intersection(a, b)
    if common.buffer(-OVERLAP).is_empty:
        return None
    smaller = a if a.area < b.area else b
    if shapely.difference(smaller, common).buffer(-OVERLAP).is_empty:
        return None
    meeting = shapely.get_coordinates(shapely.intersection(a.exterior, b.exterior))
    x, y = meeting[0] if len(meeting) else shapely.get_coordinates(common)[0]
    return float(x), float(y)


def _nesting(loops: Sequence[_Loop]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """For each loop the smallest loop around it (or -1), and how many loops are around it in turn."""
    polygons = np.array([loop.polygon for loop in loops])
    shapely.prepare(polygons)
    areas = shapely.area(polygons)
    inner = shapely.point_on_surface(polygons)
    tree = shapely.STRtree(polygons)
    parents = np.full(len(loops), -1, dtype=np.int64)
    depths = np.zeros(len(loops), dtype=np.int64)
    for start in range(0, len(loops), _GROUP):
        which, around = tree.query(inner[start : start + _GROUP])
        which = which + start
        # A loop's inner point also lies in the smaller loops inside it; only larger ones can hold it.
        larger = (areas[around] > areas[which]) | ((areas[around] == areas[which]) & (around < which))
        which, around = which[larger], around[larger]
        holds = shapely.contains(polygons[around], inner[which])
        which, around = which[holds], around[holds]
        order = np.lexsort((areas[around], which))
        loop, first = np.unique(which[order], return_index=True)
        parents[loop] = around[order][first]
    # Counted along parents: where loops cross, containment alone would not alternate.
    for k in np.lexsort((np.arange(len(loops)), -areas)).tolist():
        if parents[k] >= 0:
            depths[k] = depths[parents[k]] + 1
    return parents, depths


def _outlines(
    drawn: DrawnPath, holes: Sequence[Path], findings: list[Finding]
) -> list[tuple[DrawnPath, Outline]]:
    """The outline with its holes; where a hole touches the boundary along a line, what is left of it."""
    outline = Outline(drawn.path, tuple(holes))
    if not holes:
        return [(drawn, outline)]
    polygon = outline.polygon(_FINE)
    if polygon.is_valid:
        return [(drawn, outline)]
    solid = Polygon(polygon.exterior)
    left = shapely.difference(solid, shapely.union_all([Polygon(ring) for ring in polygon.interiors]))
    pieces = [part for part in simple_parts(left) if not _is_sliver(part)]
    findings.append(_touching(drawn, "a hole touches its outline or another hole; they were united"))
    return [
        (
            drawn,
            Outline(
                Path.polyline(np.array(piece.exterior.coords)[:-1], True),
                tuple(Path.polyline(np.array(ring.coords)[:-1], True) for ring in piece.interiors),
            ),
        )
        for piece in pieces
    ]
