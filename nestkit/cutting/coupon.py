"""Coupons as jobs: what `folds.coupon` lays out, in cut order, one bed load for each foam."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from shapely.geometry import LineString, Polygon

from nestkit.build.model import Build, Cutter
from nestkit.cutting.etching import part_steps
from nestkit.cutting.model import (
    CUT_INSIDE_LAYER,
    CUT_OUTSIDE_LAYER,
    MARK_LAYER,
    Etching,
    Job,
    Stroke,
    pocket_layer,
)
from nestkit.cutting.route import travel
from nestkit.cutting.times import etching_seconds, job_times
from nestkit.errors import InputError, Problem
from nestkit.folds.coupon import Coupon, coupon_for
from nestkit.folds.hatch import Band, hatch
from nestkit.geometry import LineKind, Outline, Path
from nestkit.nesting.model import PlannedSheet
from nestkit.units import show_length, show_size

#: A coupon is no wider than this, mm, if that can be helped.
USUAL_WIDTH = 230.0
#: Foam kept around a coupon, mm.
RIM = 3.0


@dataclass(frozen=True, eq=False)
class CouponJob:
    """A coupon with its job; `foam` is how messages and readings call it: ``eva 6 mm``."""

    foam: str
    material: str
    thickness: float
    coupon: Coupon
    job: Job


def coupon_jobs(build: Build) -> tuple[CouponJob, ...]:
    """A coupon for each foam that the build's parts are cut from, thinnest first.

    Raises
    ------
    InputError
        When everything is cut by hand, or the settings of a foam leave nothing to etch, or the bed is
        too small; each foam is named.
    """
    name = build.file.name
    if build.cutter.kind == "hand":
        raise InputError.one(
            f"{name}: cutter.kind", "a coupon tests a laser or a knife machine", "By hand there is no kerf"
        )
    foams = sorted({(part.thickness, part.material) for part in build.parts})
    made: list[CouponJob] = []
    problems: list[Problem] = []
    for thickness, material in foams:
        foam = f"{material} {show_length(thickness, build.unit)}"
        try:
            one = _coupon_job(build, foam, material, thickness, len(made) + 1)
        except ValueError as error:
            todo = "Set another skin or pass_depth for this foam, under [cutter] or [[foam]]"
            problems.append(Problem(f"{name}: coupon for {foam}", str(error), todo))
            continue
        bed, size = build.cutter.bed, one.job.sheet.outline.size
        if bed is not None and (size[0] > max(bed) or size[1] > max(bed) or min(size) > min(bed)):
            what = f"it is {show_size(*size, build.unit)} and larger than the bed"
            problems.append(Problem(f"{name}: coupon for {foam}", what, "Check bed under [cutter]"))
        made.append(one)
    if problems:
        raise InputError(problems)
    return tuple(made)


def _coupon_job(build: Build, foam: str, material: str, thickness: float, index: int) -> CouponJob:
    cutter = build.cutter_for(material, thickness)
    etched = cutter.kind == "laser"
    if etched:
        part_steps(cutter, thickness, build.unit)
    room = USUAL_WIDTH if cutter.bed is None else min(USUAL_WIDTH, cutter.bed[0])
    coupon = coupon_for(thickness, cutter.folds, cutter.kerf, room - 2.0 * RIM, etched)
    width, height = coupon.size[0] + 2.0 * RIM, coupon.size[1] + 2.0 * RIM
    strokes = [Stroke(MARK_LAYER, _moved(path), name, 1, LineKind.MARK) for name, path in coupon.marks]
    etching = None
    if coupon.steps is not None:
        areas = [0.0] * coupon.steps.count
        for _, number, path in coupon.areas:
            areas[number - 1] += path.signed_area
        drawn = coupon.areas if cutter.area_mode else tuple(_lines(coupon, cutter))
        for name, number, path in sorted(drawn, key=lambda one: one[1]):
            strokes.append(Stroke(pocket_layer(number), _moved(path), name, 1, LineKind.FOLD))
        pockets = [[stroke] for stroke in strokes if stroke.kind is LineKind.FOLD]
        seconds = etching_seconds(pockets, sum(areas), cutter)
        etching = Etching(coupon.steps, tuple(areas), seconds, not cutter.area_mode, cutter.pitch)
    strokes += [Stroke(CUT_INSIDE_LAYER, _moved(path), name, 1) for name, path in coupon.cuts]
    edge = Path.polyline(
        [(RIM, RIM), (width - RIM, RIM), (width - RIM, height - RIM), (RIM, height - RIM)], True
    )
    strokes.append(Stroke(CUT_OUTSIDE_LAYER, edge, "coupon", 1))
    way = travel(strokes)
    times = job_times(strokes, cutter, 0.0 if etching is None else etching.seconds)
    blank = Outline(Path.polyline([(0, 0), (width, 0), (width, height), (0, height)], True))
    sheet = PlannedSheet(index, foam, 1, True, None, material, thickness, blank, cutter.kind, ())
    words = re.sub(r"[^a-z0-9.]+", "-", f"coupon {material}".lower()).strip("-")
    name = f"{words}-{show_length(thickness, build.unit).replace(' ', '')}"
    job = Job(name, sheet, tuple(strokes), way, times, etching)
    return CouponJob(foam, material, thickness, coupon, job)


def _lines(coupon: Coupon, cutter: Cutter) -> Iterable[tuple[str, int, Path]]:
    """The areas as lines, made as a job's are, so that the readings tell what a job's lines will do."""
    if coupon.steps is None:
        return
    fields: dict[str, list[Path]] = defaultdict(list)
    for name, _, path in sorted(coupon.areas, key=lambda one: one[1]):
        fields[name].append(path)
    folded = {field.name for field in coupon.fields if field.kind in ("skin", "width")}
    for name, paths in fields.items():
        areas = [Polygon(path.points) for path in paths]
        if name not in folded:
            for number, area in enumerate(areas, start=1):
                yield from ((name, number, line) for line in hatch(area, cutter.pitch, cutter.hatch_angle))
            continue
        x0, y0, x1, y1 = areas[0].bounds
        spans = tuple((-width / 2.0, width / 2.0) for width in (a.bounds[2] - a.bounds[0] for a in areas))
        middle = LineString([((x0 + x1) / 2.0, y0 - 1.0), ((x0 + x1) / 2.0, y1 + 1.0)])
        band = Band(LineKind.FOLD, middle, spans, tuple(areas))
        rises = coupon.steps.rises[: len(areas)]
        for number in range(1, len(areas) + 1):
            for group in band.lines(number, rises, cutter.pitch, cutter.hatch_angle):
                yield from ((name, number, line) for line in group)


def _moved(path: Path) -> Path:
    rows = path.vertices.copy()
    rows[:, :2] += RIM
    return Path(rows, path.closed)
