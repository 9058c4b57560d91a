"""A bench for folds: one part on one sheet, its cutter file, and a model of a cutter that carves it.

The model is its own: it reads the written DXF with ezdxf, takes the areas as they are drawn there, makes each
wider by the spot, and lets n passes that overlap go as deep as the foam does under n passes.
"""

from __future__ import annotations

import io
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path as FilePath

import ezdxf
import numpy as np
from shapely.geometry import LineString, Point, Polygon

from nestkit.build.model import Build, Cutter, Part, Sheet
from nestkit.cutting.jobs import make_jobs
from nestkit.cutting.model import Job
from nestkit.geometry import Line, LineKind, Outline, Path, Placement, Shape
from nestkit.nesting.model import PlacedPart, PlannedSheet


def fold(degrees: float, *points: tuple[float, float]) -> Line:
    return Line(LineKind.FOLD, Path.polyline(points, False), math.radians(degrees))


def bevel(degrees: float, *points: tuple[float, float]) -> Line:
    return Line(LineKind.BEVEL, Path.polyline(points, False), math.radians(degrees))


def plate(width: float, height: float, *lines: Line) -> Shape:
    ring = Path.polyline([(0, 0), (width, 0), (width, height), (0, height)], True)
    return Shape(Outline(ring), lines)


def build_with(shape: Shape, thickness: float, **cutter: object) -> Build:
    part = Part("strip", shape, "eva", thickness)
    sheet = Sheet("eva", "eva", thickness, (900.0, 600.0))
    made = replace(Cutter("laser", (900.0, 600.0), 0.2), **cutter)
    return Build("b", FilePath("build.toml"), "mm", 1.0, 2.0, 5.0, made, (sheet,), (), (part,))


def job_with(build: Build, placement: Placement = Placement(10.0, 10.0), how: str = "laser") -> Job:  # noqa: B008
    (part,) = build.parts
    edge = Outline(Path.polyline([(0, 0), (900, 0), (900, 600), (0, 600)], True))
    placed = (PlacedPart(part, 1, placement),)
    sheet = PlannedSheet(1, "eva", 1, True, None, "eva", part.thickness, edge, how, placed)
    (job,) = make_jobs(build, [sheet])
    return job


@dataclass(frozen=True)
class Section:
    """A cross-section as carved: depth between neighbouring places, mm."""

    places: np.ndarray
    depths: np.ndarray

    @property
    def deepest(self) -> float:
        return float(self.depths.max())

    @property
    def area(self) -> float:
        return float((np.diff(self.places) * self.depths).sum())

    def closing_angle(self) -> float:
        """Where the two sides, turned about the skin, have squeezed as much foam as they had gaps."""
        return 2.0 * math.degrees(math.atan(self.area / self.deepest**2))


def carve(dxf: bytes, across: LineString, spot: float, depth_of: Callable[[int], float]) -> Section:
    """Carve along a line across a groove: the areas of each layer, wider by the spot, depth by count."""
    document = ezdxf.read(io.StringIO(dxf.decode()))
    passes: dict[str, Polygon] = {}
    for entity in document.modelspace().query("LWPOLYLINE"):
        layer = entity.dxf.layer
        if layer.startswith("POCKET_"):
            ring = Polygon([point[:2] for point in entity.get_points("xy")])
            passes[layer] = passes.get(layer, Polygon()).symmetric_difference(ring)
    spans: list[tuple[float, float]] = []
    for area in passes.values():
        cut = area.buffer(spot / 2.0, join_style="mitre").intersection(across)
        for piece in getattr(cut, "geoms", [cut]):
            if not piece.is_empty:
                ends = [across.project(Point(xy)) for xy in (piece.coords[0], piece.coords[-1])]
                spans.append((min(ends), max(ends)))
    places = np.unique([0.0, across.length, *(end for span in spans for end in span)])
    depths = [
        depth_of(sum(a <= (left + right) / 2.0 <= b for a, b in spans)) for left, right in pairwise(places)
    ]
    return Section(places, np.array(depths))
