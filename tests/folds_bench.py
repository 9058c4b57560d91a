"""A bench for folds: one part on one sheet, its cutter file, and a model of a cutter that carves it.

The model is its own: it reads the written DXF with ezdxf, takes the areas as they are drawn there, makes each
wider by the spot, and lets n passes that overlap go as deep as the foam does under n passes.

A foam that is known reads a coupon's fields as a maker would, with the errors that a maker makes.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path as FilePath

import ezdxf
import numpy as np
from shapely.geometry import LineString, Point, Polygon

from nestkit.build.model import Build, Cutter, Labels, Part, Sheet
from nestkit.cutting.coupon import coupon_jobs
from nestkit.cutting.jobs import make_jobs
from nestkit.cutting.model import Job
from nestkit.folds.calibrate import Reading
from nestkit.folds.coupon import Coupon, Field
from nestkit.geometry import Line, LineKind, Outline, Path, Placement, Shape
from nestkit.nesting.model import PlacedPart, PlannedSheet
from nestkit.output.coupon import readings_template


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
    return Build(
        "b",
        FilePath("build.toml"),
        "mm",
        1.0,
        2.0,
        5.0,
        made,
        (sheet,),
        (),
        (part,),
        labels=Labels(numbers=False),
    )


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


@dataclass(frozen=True)
class TrueFoam:
    """A foam and its cutter, as they are: lengths mm.

    A groove as wide as the angle asks closes at 90 degrees over `good_skin`, and `per_mm` degrees earlier for
    each mm more; a wider one closes farther by the tangent rule.
    """

    kerf: float = 0.23
    pass_depth: float = 0.71
    falloff: float = 0.0
    good_skin: float = 1.3
    per_mm: float = 9.0

    def came(self, passes: float) -> float:
        return self.pass_depth * passes - self.falloff * passes**2

    def factor(self, skin: float) -> float:
        """How much wider a groove must be to close over this skin."""
        return 1.0 / math.tan(math.radians(90.0 - self.per_mm * (skin - self.good_skin)) / 2.0)

    def reads(self, field: Field, thickness: float) -> tuple[float, float]:
        """What the field truly measures, and how well a maker measures it."""
        if field.kind == "kerf":
            return self.kerf * field.value, 0.05
        came = self.came(field.passes)
        if field.kind == "depth":
            return came, 0.05 + 0.01 * came
        wide = field.depth / came * (field.value if field.kind == "width" else 1.0)
        return 2.0 * math.degrees(math.atan(wide / self.factor(thickness - came))), 1.0


def measured(coupon: Coupon, foam: TrueFoam, seed: int, noise: float = 1.0) -> list[Reading]:
    """Each field read twice, with noise; what is burnt through is not read."""
    chance = np.random.default_rng(seed)
    readings = []
    for one in coupon.fields:
        true, error = foam.reads(one, coupon.thickness)
        values = tuple(map(float, true + noise * error * chance.standard_normal(2)))
        if one.kind == "kerf" or foam.came(one.passes) < coupon.thickness - 0.1:
            readings.append(Reading(one.name, one.kind, one.value, one.passes, one.depth, values))
    return readings


def filled_table(build: Build, foams: Mapping[float, TrueFoam], seed: int) -> bytes:
    """The table of a build's coupons, filled in: gaps and depths to 0.01 mm, angles to half a degree."""
    readings = {
        (one.thickness, reading.field): reading
        for one in coupon_jobs(build)
        for reading in measured(one.coupon, foams[one.thickness], seed + int(one.thickness), 0.5)
    }
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    template = readings_template(build, coupon_jobs(build)).decode("utf-8-sig")
    for place, row in enumerate(csv.reader(io.StringIO(template, newline=""))):
        reading = readings.get((float(row[1]), row[3])) if place else None
        if reading is not None:
            angle = reading.kind in ("skin", "width")
            row[9:11] = [f"{round(2 * v) / 2:g}" if angle else f"{v:.2f}" for v in reading.values]
        writer.writerow(row)
    return text.getvalue().encode("utf-8-sig")


#: What the samples' readings are made from: `filled_table` with seed 1.
LANTERN_FOAMS = {
    2.0: TrueFoam(0.19, 0.37, 0.0, 0.4, 8.0),
    4.0: TrueFoam(0.21, 0.66, 0.0, 0.35, 8.0),
    6.0: TrueFoam(0.22, 0.80, 0.012, 0.9, 8.0),
    10.0: TrueFoam(0.26, 0.79, 0.009, 1.4, 6.0),
}
HALBERD_FOAMS = {
    4.0: TrueFoam(0.21, 0.70, 0.0, 0.3, 8.0),
    6.0: TrueFoam(0.23, 0.79, 0.006, 0.5, 8.0),
    10.0: TrueFoam(0.27, 0.82, 0.008, 0.8, 6.0),
}
