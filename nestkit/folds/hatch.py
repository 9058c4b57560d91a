"""Grooves as lines at a pitch, for cutters whose program can't fill an area.

A line takes away as much as a strip as wide as the pitch. Across a groove, lines take away its area however
wide it is. Along a groove only whole lines fit: each pass then gets the number of lines that comes nearest
to what is still to be taken away, spread evenly over its width, and what that misses is made up by the pass
before. The deepest pass comes first, because it is the narrowest.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from nestkit.folds.band import GRID, SHARPEST, Course, Room, areas_of
from nestkit.folds.steps import NARROWEST, removed
from nestkit.geometry import LineKind, Path

#: Pieces of lines shorter than this are left out, mm.
SHORTEST = 0.005
#: Lines that would meet some of a groove at a smaller angle run along it instead.
NEARLY_ALONG = math.radians(15.0)
#: In a groove with a pass that is narrower than this many pitches, all lines run along it.
FEWEST = 1.5

_MITRE = 5.0


def hatch(area: BaseGeometry, pitch: float, angle: float) -> list[Path]:
    """Straight lines that fill an area, every other one walked back.

    Parameters
    ----------
    area : shapely geometry, mm
    pitch : float, mm
        Distance between two lines; it is changed a little, so that a whole number of them, at least one,
        fills the area from edge to edge.
    angle : float, radians
        Direction of the lines, counter-clockwise from the x axis.

    Raises
    ------
    ValueError
        When the pitch is not more than 0.
    """
    if pitch <= 0.0:
        raise ValueError("a pitch must be more than 0")
    if area.is_empty:
        return []
    level = affinity.rotate(area, -angle, origin=(0.0, 0.0), use_radians=True)
    x0, y0, x1, y1 = level.bounds
    rows = _spread(y0, y1, max(1, round((y1 - y0) / pitch)))
    lines = shapely.linestrings([[(x0 - 1.0, y), (x1 + 1.0, y)] for y in rows])
    cut = [
        affinity.rotate(piece, angle, origin=(0.0, 0.0), use_radians=True)
        for piece in shapely.intersection(level, lines)
    ]
    toward = (math.cos(angle), math.sin(angle))
    return _walked([sorted(_pieces(row), key=lambda p: float(np.dot(p.coords[0], toward))) for row in cut])


@dataclass(frozen=True, eq=False)
class Band:
    """One groove's share of a part's areas, for all passes.

    Parameters
    ----------
    kind : LineKind
        fold or bevel.
    line : shapely.LineString, mm
        The groove's line, longer than any of its areas.
    spans : tuple of (float, float), mm
        From where to where each pass reaches, to the left of the line.
    areas : tuple of shapely geometry
        What each pass etches and no groove before it, first pass first.
    """

    kind: LineKind
    line: LineString
    spans: tuple[tuple[float, float], ...]
    areas: tuple[BaseGeometry, ...]

    @classmethod
    def of(
        cls,
        kind: LineKind,
        course: Course,
        drawn: Sequence[float],
        areas: Sequence[BaseGeometry],
        room: Room,
    ) -> Band:
        """The band of a groove whose passes are drawn this wide, mm, and etch these areas."""
        reach = drawn[0] if kind is LineKind.BEVEL else drawn[0] / 2.0
        line = course.lengthened(reach / math.tan(SHARPEST) + 2.0 * room.kerf)
        if kind is LineKind.FOLD:
            return cls(kind, line, tuple((-width / 2.0, width / 2.0) for width in drawn), tuple(areas))
        # A bevel lies on one side of its line. Past the edge, the cut burns away what no line reaches.
        spans = [(0.0, width) for width in drawn]
        left, right = (_beside(line, side * reach / 2.0).intersection(room.part).length for side in (1, -1))
        if left < right:
            spans = [(-high, -low) for low, high in spans]
        return cls(kind, line, tuple(spans), tuple(areas))

    def lines(self, number: int, rises: Sequence[float], pitch: float, angle: float) -> list[list[Path]]:
        """The lines of one pass, those of each connected piece together.

        Parameters
        ----------
        number : int
            The pass, from 1.
        rises : sequence of float, mm
            How much deeper each pass makes the foam.
        pitch, angle : float
            As for `hatch`.
        """
        pieces = [piece for piece in shapely.get_parts(self.areas[number - 1]) if not piece.is_empty]
        if not self.along(pitch, angle):
            return [hatch(piece, pitch, angle) for piece in pieces]
        low, high = self.spans[number - 1]
        count = line_counts(self._widths, rises, pitch)[number - 1]
        rows = [_beside(self.line, off) for off in _spread(low, high, count)]
        walked = []
        for piece in pieces:
            cut = [_pieces(row.intersection(piece)) for row in rows]
            walked.append(_walked([sorted(row, key=lambda p: self._place(p.coords[0])) for row in cut]))
        return walked

    def along(self, pitch: float, angle: float) -> bool:
        """Whether lines run along the groove, not at the angle."""
        if min(self._widths) < FEWEST * pitch:
            return True
        steps = np.diff(shapely.get_coordinates(self.line), axis=0)
        lengths = np.hypot(*steps.T)
        across = np.abs(steps @ (-math.sin(angle), math.cos(angle)))
        return float(lengths[across < lengths * math.sin(NEARLY_ALONG)].sum()) > 2.0 * pitch

    def surplus(self, rises: Sequence[float], pitch: float, angle: float) -> float:
        """What the lines take away too much (too little: less than 0), as a share of what they should."""
        if not self.along(pitch, angle):
            return 0.0
        lines = [count * pitch for count in line_counts(self._widths, rises, pitch)]
        return removed(lines, rises) / removed(self._widths, rises) - 1.0

    @property
    def _widths(self) -> list[float]:
        return [high - low for low, high in self.spans]

    def _place(self, point: tuple[float, ...]) -> float:
        return float(self.line.project(shapely.Point(point)))


def shared_out(area: BaseGeometry, pieces: Sequence[BaseGeometry]) -> list[BaseGeometry]:
    """What each of some pieces has of an area and none before it; slivers are left out."""
    shares, left = [], area
    for piece in pieces:
        own = shapely.get_parts(areas_of(left.intersection(piece, grid_size=GRID)))
        # Nothing is drawn nearly as narrow as what two cuts along the same edge leave.
        whole = [one for one in own if not one.buffer(-NARROWEST / 10.0).is_empty]
        shares.append(shapely.union_all(whole))
        left = areas_of(left.difference(piece, grid_size=GRID))
    return shares


def line_counts(spans: Sequence[float], rises: Sequence[float], pitch: float) -> list[int]:
    """How many lines each pass gets, at least one.

    Parameters
    ----------
    spans, rises : sequence of float, mm
        Width of each pass and how much deeper it makes the foam, first pass first.
    pitch : float, mm
    """
    counts, too_much = list[int](), 0.0
    for span, rise in zip(reversed(spans), reversed(rises), strict=True):
        wanted = span - too_much / rise
        counts.append(max(1, round(wanted / pitch)))
        too_much = (counts[-1] * pitch - wanted) * rise
    return counts[::-1]


def _spread(low: float, high: float, count: int) -> list[float]:
    """The middles of this many equal strips."""
    return [low + (high - low) * (k + 0.5) / count for k in range(count)]


def _beside(line: LineString, off: float) -> BaseGeometry:
    """The line moved to its left."""
    if abs(off) < 1e-9:
        return line
    if not line.is_ring:
        return line.offset_curve(off, join_style="mitre", mitre_limit=_MITRE)
    ring = Polygon(line)
    inward = off if ring.exterior.is_ccw else -off
    return ring.buffer(-inward, join_style="mitre", mitre_limit=_MITRE).boundary


def _pieces(cut: BaseGeometry) -> list[LineString]:
    if cut.geom_type in ("MultiLineString", "GeometryCollection"):
        lines = [piece for piece in shapely.get_parts(cut) if piece.geom_type == "LineString"]
        cut = shapely.line_merge(shapely.MultiLineString(lines))
    return [p for p in shapely.get_parts(cut) if p.geom_type == "LineString" and p.length >= SHORTEST]


def _walked(rows: Sequence[Sequence[LineString]]) -> list[Path]:
    """Row after row, every other one from its far end."""
    paths = []
    for number, row in enumerate(rows):
        back = number % 2 == 1
        for piece in reversed(row) if back else row:
            points = shapely.get_coordinates(piece.simplify(0.001))
            paths.append(Path.polyline(points[::-1] if back else points, False))
    return paths
