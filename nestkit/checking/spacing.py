"""What lies where it must not: out of the blank, in the margin, too close together."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import nearest_points

from nestkit.checking.job_file import SHEET, JobFile
from nestkit.checking.limits import SIZE, SLACK, SPACING
from nestkit.checking.pieces import Piece
from nestkit.checking.plan_entries import PlanFile, SheetEntry
from nestkit.checking.verdict import Fault, from_place
from nestkit.errors import Point
from nestkit.units import Unit, show_gap, show_gaps, show_given, show_size


def blank_of(sheet: SheetEntry) -> BaseGeometry:
    """The blank's region as planned, holes of an offcut left out; empty when it is unusable."""
    region = Polygon(sheet.outline, sheet.holes)
    return region if region.is_valid and region.area > 0.0 else Polygon()


def judge_blank(job: JobFile, sheet: SheetEntry, plan: PlanFile) -> Iterator[Fault]:
    """The blank's edge as drawn against the plan, and the blank against the bed."""
    planned = blank_of(sheet)
    if planned.is_empty:
        yield Fault("plan-outline", "plan.json", text=f"the outline of the blank for {job.name} is unusable")
        return
    rings = [stroke for stroke in job.strokes if stroke.layer == SHEET]
    if not rings:
        yield Fault("sheet-edge", job.name, text=f"the blank's edge is missing on layer {SHEET}")
    else:
        drawn = _drawn_blank(job)
        if not _alike(drawn, planned):
            yield Fault("sheet-edge", job.name, at=rings[0].at, text=_edge_off(drawn, planned, plan.unit))
    if sheet.how == "hand" or plan.bed is None or sheet.kept:
        return
    x0, y0, x1, y1 = planned.bounds
    if x1 - x0 > plan.bed[0] + SPACING or y1 - y0 > plan.bed[1] + SPACING:
        bed = show_size(*plan.bed, plan.unit)
        yield Fault(
            "bed",
            job.name,
            text=f"the blank is {_size(planned, plan.unit)}, and the cutter's bed {bed}",
            todo="Set bed in the build file to the cutter's size and write the plan again",
        )


def _drawn_blank(job: JobFile) -> BaseGeometry:
    """The blank's region as its edge is drawn; empty when it is not."""
    drawn: BaseGeometry = Polygon()
    for stroke in job.strokes:
        if stroke.layer == SHEET:
            drawn = drawn.symmetric_difference(stroke.region)
    return drawn


def _edge_of(job: JobFile, sheet: SheetEntry) -> BaseGeometry:
    """The blank that parts are judged against: the one drawn, whose arcs are arcs, if it is as planned."""
    planned, drawn = blank_of(sheet), _drawn_blank(job)
    return drawn if not planned.is_empty and _alike(drawn, planned) else planned


def _alike(drawn: BaseGeometry, planned: BaseGeometry) -> bool:
    limit = SIZE + SLACK
    return bool(drawn.buffer(limit).covers(planned) and planned.buffer(limit).covers(drawn))


def _edge_off(drawn: BaseGeometry, planned: BaseGeometry, unit: Unit) -> str:
    """What is wrong with a blank's edge: its size, its place or its shape."""
    if drawn.is_empty:
        return "the blank's edge is drawn twice, so that nothing is inside it"
    dx, dy, dx1, dy1 = (float(off) for off in np.subtract(drawn.bounds, planned.bounds))
    if max(abs(dx1 - dx), abs(dy1 - dy)) > SIZE + SLACK:
        return f"the blank is drawn {_size(drawn, unit)} and planned {_size(planned, unit)}"
    if _alike(affinity.translate(drawn, -dx, -dy), planned):
        return f"the blank's edge lies {from_place((dx, dy), unit)}"
    return f"the blank's edge has the planned size, {_size(planned, unit)}, but another shape"


def _size(region: BaseGeometry, unit: Unit) -> str:
    if region.is_empty:
        return "nothing"
    x0, y0, x1, y1 = region.bounds
    return show_gaps(x1 - x0, y1 - y0, unit)


def judge_spacing(
    job: JobFile, sheet: SheetEntry, plan: PlanFile, pieces: Sequence[Piece]
) -> Iterator[Fault]:
    """All copies of one file against the blank, the margin and each other.

    Distances are taken between finished parts: the distance of two cut paths and the kerf between them.
    """
    # What is cut already lies as it lay, whatever gap and margin the build asks for by now.
    if sheet.kept:
        return
    yield from _judge_edges(job, sheet, plan, pieces)
    yield from _judge_pairs(job, plan.gap, plan.kerf_on(sheet), pieces)


def _judge_edges(job: JobFile, sheet: SheetEntry, plan: PlanFile, pieces: Sequence[Piece]) -> Iterator[Fault]:
    blank = _edge_of(job, sheet)
    if blank.is_empty or not pieces:
        return
    edge = blank.boundary
    roomy = blank.buffer(SPACING, join_style="mitre")
    shapely.prepare(edge)
    shapely.prepare(roomy)
    for piece in pieces:
        part, copy = piece.key
        region = piece.outline.region
        if not roomy.covers(region):
            outside = region.difference(roomy).representative_point()
            at = (outside.x, outside.y)
            yield Fault("outside", job.name, part, copy or None, at, "the cut leaves the blank")
        elif plan.margin > SPACING and shapely.dwithin(piece.body, edge, plan.margin - SPACING):
            left = piece.body.distance(edge)
            text = (
                f"the part lies {show_gap(left, plan.unit)} from the blank's edge, "
                f"and the margin is {show_given(plan.margin, plan.unit)}"
            )
            yield Fault("margin", job.name, part, copy or None, _near(piece.body, edge), text)


def _judge_pairs(job: JobFile, gap: float, kerf: float, pieces: Sequence[Piece]) -> Iterator[Fault]:
    if len(pieces) < 2:
        return
    foams = np.array([piece.foam for piece in pieces], dtype=object)
    reach = max(gap, kerf) - SPACING
    tree = shapely.STRtree(foams)
    if reach > 0.0:
        first, second = tree.query(foams, predicate="dwithin", distance=reach)
    else:
        first, second = tree.query(foams, predicate="intersects")
    for one, other in sorted(zip(first.tolist(), second.tolist(), strict=True)):
        if one < other:
            fault = _judge_pair(job, gap, kerf, pieces[one], pieces[other])
            if fault is not None:
                yield fault


def _judge_pair(job: JobFile, gap: float, kerf: float, one: Piece, other: Piece) -> Fault | None:
    part, copy = other.key
    name = f"'{one.key[0]}' copy {one.key[1]}" if one.key[0] else "an outline without a name"
    shared = one.foam.buffer(-SPACING).intersection(other.foam)
    if not shared.is_empty:
        point = shared.representative_point()
        return Fault("overlap", job.name, part, copy or None, (point.x, point.y), f"the part overlaps {name}")
    apart, at = one.foam.distance(other.foam), _near(one.foam, other.foam)
    lies = f"the part lies {show_gap(apart, job.unit)} from {name}"
    if apart < gap - SPACING:
        text = f"{lies}, and the gap is {show_given(gap, job.unit)}"
        return Fault("too-close", job.name, part, copy or None, at, text)
    if apart < kerf - SPACING:
        text = f"{lies}, and each cut burns {show_given(kerf, job.unit)} away"
        todo = "Set gap in the build file to the kerf or more and write the plan again"
        return Fault("burnt", job.name, part, copy or None, at, text, todo)
    return None


def _near(one: BaseGeometry, other: BaseGeometry) -> Point:
    first, _ = nearest_points(one, other)
    return float(first.x), float(first.y)
