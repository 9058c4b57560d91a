"""The check of a coupon's cutter file, from the file alone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import shapely
from shapely.geometry import Polygon

from nestkit.checking.etching import judge_nesting, judge_passes
from nestkit.checking.job_file import CUT_OUTSIDE, POCKET, SHEET, JobFile, read_job
from nestkit.checking.limits import SIZE, SPACING
from nestkit.checking.verdict import Fault
from nestkit.units import Unit


def check_coupon(folder: Path, name: str, unit: Unit = "mm") -> tuple[Fault, ...]:
    """Judge one coupon: what is wrong with its DXF file ``name``, told in a unit; nothing if all is right."""
    job = read_job(folder, name, unit=unit)
    faults = [*job.faults]
    if job.readable:
        faults += [*judge_passes(job, None), *judge_nesting(job), *_order(job), *_places(job)]
    return tuple(replace(fault, unit=unit) for fault in faults)


def _order(job: JobFile) -> Iterator[Fault]:
    """Marks, then passes one after another, then cuts, the edge last of all."""
    last_line = max((s.place for s in job.strokes if not s.is_cut), default=-1)
    early = [s for s in job.strokes if s.is_cut and s.place < last_line]
    if early:
        text = "a cut comes before the last mark or area"
        yield Fault("order-mark", job.name, early[0].part, early[0].copy, early[0].at, text)
    deepest = 0
    for stroke in job.strokes:
        found = POCKET.fullmatch(stroke.layer)
        if found and int(found[1]) < deepest:
            text = f"pass {int(found[1])} comes after pass {deepest}"
            yield Fault("order-pocket", job.name, stroke.part, stroke.copy, stroke.at, text)
            return
        deepest = max(deepest, int(found[1]) if found else 0)
    edges = [s.place for s in job.strokes if s.layer == CUT_OUTSIDE]
    if len(edges) != 1 or edges[0] < max(s.place for s in job.strokes):
        yield Fault("order-hole", job.name, text="the coupon's edge is not the last cut")


def _places(job: JobFile) -> Iterator[Fault]:
    """Everything on the sheet, inside cuts in the edge and apart from each other."""
    sheet: Polygon = shapely.union_all([s.region for s in job.strokes if s.layer == SHEET])
    edge = shapely.union_all([s.region for s in job.strokes if s.layer == CUT_OUTSIDE])
    cuts = [s for s in job.strokes if s.is_cut and s.layer != CUT_OUTSIDE]
    for stroke in job.strokes:
        room = sheet if stroke.layer in (SHEET, CUT_OUTSIDE) else edge
        if not room.buffer(SIZE).covers(stroke.line):
            text = f"a path on layer {stroke.layer} leaves the coupon"
            yield Fault("outside", job.name, stroke.part, stroke.copy, stroke.at, text)
    regions = [stroke.region for stroke in cuts]
    if len(regions) > 1:
        first, second = shapely.STRtree(regions).query(regions, predicate="dwithin", distance=2.0 - SPACING)
        for i, k in zip(first.tolist(), second.tolist(), strict=True):
            if i < k:
                text = "two pieces are too close"
                yield Fault("too-close", job.name, cuts[i].part, cuts[i].copy, cuts[i].at, text)
