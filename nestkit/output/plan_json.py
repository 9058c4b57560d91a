"""``plan.json``: the whole plan for other programs, described by ``plan.schema.json``."""

from __future__ import annotations

import json
import math
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import fields
from typing import Any

from nestkit.build.model import Build, Part
from nestkit.build.pattern_info import SeamInfo
from nestkit.build.seam_numbers import numbered_seams
from nestkit.cutting.etching import grooves_of, has_folds
from nestkit.cutting.labels import Label, labels_on
from nestkit.cutting.model import Etching, Job, pocket_layer
from nestkit.cutting.tabs import tabs_of
from nestkit.geometry import LineKind, Outline, Path
from nestkit.nesting.model import Group, PlacedPart, Plan, PlannedSheet
from nestkit.nesting.request import why_by_hand
from nestkit.output.text import number

FORMAT = "nestkit-plan"
VERSION = 1

_DIGITS = 4
_TURN_DIGITS = 6


def job_file(job: Job) -> str:
    """Where the job's DXF file stands in the output folder."""
    return f"jobs/{job.name}.dxf"


def plan_data(
    build: Build, plan: Plan, jobs: Sequence[Job], templates: Mapping[str, Any] | None = None
) -> dict[str, Any]:
    """The plan as plain data; ``jobs`` stand in the order of the plan's sheets.

    ``templates`` says what is in the paper templates; None says that there are none. Lengths are
    millimetres, angles degrees. Placed outlines are the finished size in sheet coordinates, arcs
    flattened within `geometry.FLATNESS`.
    """
    bed = build.cutter.bed
    return {
        "format": FORMAT,
        "version": VERSION,
        "build": plan.build,
        "unit": build.unit,
        "scale": plan.scale,
        "seed": plan.seed,
        "shop": build.shop or None,
        "cutter": {
            "kind": build.cutter.kind,
            "bed_mm": None if bed is None else _numbers(bed),
            "kerf_mm": _mm(build.cutter.kerf),
            "dxf": build.cutter.dxf,
        },
        "layout": {"gap_mm": _mm(build.gap), "margin_mm": _mm(build.margin)},
        "assemblies": [{"name": each.name, "order": each.order} for each in build.assemblies],
        "parts": [_part(build, part) for part in build.parts],
        "seams": [_seam(number, seam) for seams in numbered_seams(build).values() for number, seam in seams],
        "groups": [_group(group) for group in plan.groups],
        "sheets": [_sheet(build, job) for job in jobs],
        "leftovers": [
            {
                "sheet": each.sheet,
                "stock": each.stock,
                "stock_number": each.stock_number,
                "material": each.material,
                "thickness_mm": _mm(each.thickness),
                **_outline(each.outline),
            }
            for each in plan.leftovers
        ],
        "unplaced": [{"part": left.part.name, "copy": left.copy, "why": left.why} for left in plan.unplaced],
        "templates": None if templates is None else dict(templates),
    }


def plan_bytes(
    build: Build, plan: Plan, jobs: Sequence[Job], templates: Mapping[str, Any] | None = None
) -> bytes:
    """``plan.json`` as it is written: one key or point to a line, so that versions can be compared."""
    text = json.dumps(plan_data(build, plan, jobs, templates), ensure_ascii=False, indent=1, allow_nan=False)
    # A line break inside a JSON string is escaped, so this finds pairs of numbers and nothing else.
    text = re.sub(r"\[\n\s*(-?[0-9][^\s,]*),\n\s*(-?[0-9][^\s,]*)\n\s*\]", r"[\1, \2]", text)
    return (text + "\n").encode("utf-8")


def _mm(value: float) -> float:
    return number(value, _DIGITS)


def _numbers(values: Sequence[float]) -> list[float]:
    return [_mm(float(value)) for value in values]


def _ring(path: Path) -> list[list[float]]:
    return [_numbers(point) for point in path.flatten()]


def _outline(outline: Outline) -> dict[str, Any]:
    return {"outline_mm": _ring(outline.exterior), "holes_mm": [_ring(hole) for hole in outline.holes]}


def _part(build: Build, part: Part) -> dict[str, Any]:
    outline = part.shape.outline
    width, height = outline.size
    folds = _folds(build, part)
    return {
        "part": part.name,
        "number": build.number_in_list(part),
        "material": part.material,
        "thickness_mm": _mm(part.thickness),
        "copies": part.copies,
        "spares": part.spares,
        "mirrored_pairs": part.mirrored_pairs,
        "assembly": part.assembly,
        "width_mm": _mm(width),
        "height_mm": _mm(height),
        "area_mm2": _mm(outline.area),
        "cut_length_mm": _mm(outline.cut_length),
        "holes": len(outline.holes),
        "lines": len(part.shape.lines),
        "marks": sum(line.kind is LineKind.MARK or line.angle == 0.0 for line in part.shape.lines),
        "folds": folds,
        **_tabs(build, part),
    }


def _tabs(build: Build, part: Part) -> dict[str, Any]:
    tabs = tabs_of(build, part)
    return {} if tabs is None else {"tabs": {"count": tabs.count, "length_mm": _mm(tabs.length)}}


def _folds(build: Build, part: Part) -> list[dict[str, Any]]:
    """The folds and bevels in the part's own coordinates: neither turned nor mirrored."""
    if not has_folds(part):
        return []
    grooves = grooves_of(build, part)
    return [
        {
            "line": groove.number,
            "kind": groove.kind.value,
            "angle_deg": number(math.degrees(groove.angle), _TURN_DIGITS),
            "closed": groove.path.closed,
            "path_mm": [_numbers(point) for point in groove.path.flatten(0.01)],
            "mouth_mm": _mm(groove.mouth),
            "widths_mm": [_mm(width) for width in groove.drawn],
        }
        for groove in grooves.grooves
    ]


def _seam(number: int, seam: SeamInfo) -> dict[str, Any]:
    edges = Counter(name for name, _ in seam.edges)
    return {
        "number": number,
        "first": seam.first,
        "second": seam.second or None,
        "count": seam.count,
        "length_mm": _mm(seam.length),
        "edges": [{"part": name, "count": count} for name, count in edges.items()],
    }


def _etching(etching: Etching | None) -> dict[str, Any] | None:
    if etching is None:
        return None
    steps = etching.steps
    return {
        "skin_mm": _mm(steps.skin),
        "depth_mm": _mm(steps.depth),
        "share": _mm(steps.share),
        "width_factor": _mm(steps.width_factor),
        "spot_mm": _mm(steps.spot),
        "hatched": etching.hatched,
        "pitch_mm": _mm(etching.pitch),
        "seconds": _mm(etching.seconds),
        "passes": [
            {"layer": pocket_layer(k), "depth_mm": _mm(depth), "area_mm2": _mm(area)}
            for k, (depth, area) in enumerate(zip(steps.depths, etching.areas, strict=True), start=1)
        ],
    }


def _group(group: Group) -> dict[str, Any]:
    return {
        "material": group.material,
        "thickness_mm": _mm(group.thickness),
        "parts": group.parts,
        "sheets_used": group.sheets_used,
        "sheets_at_least": group.sheets_at_least,
        "proven": group.proven,
        "proven_by": group.proven_by,
        "at_any_price": group.at_any_price,
        "waste": _mm(group.waste),
        "leftover": _mm(group.leftover),
        "cost": _mm(group.cost),
        "cost_at_least": _mm(group.cost_at_least),
        "to_buy": [{"stock": stock, "count": count} for stock, count in group.to_buy],
        "unused": [{"stock": stock, "count": count} for stock, count in group.unused],
        "from_shop": [{"stock": stock, "count": count} for stock, count in group.from_shop],
    }


def _sheet(build: Build, job: Job) -> dict[str, Any]:
    sheet = job.sheet
    return {
        "index": sheet.index,
        "stock": sheet.stock,
        "stock_number": sheet.stock_number,
        "bought": sheet.bought,
        "piece": sheet.piece or None,
        "kept": sheet.kept or None,
        "blank_origin_mm": None if sheet.blank_origin is None else _numbers(sheet.blank_origin),
        "material": sheet.material,
        "thickness_mm": _mm(sheet.thickness),
        **_outline(sheet.outline),
        "how": sheet.how,
        "fill": _mm(sheet.fill),
        "kerf_mm": _mm(build.kerf_on(sheet.material, sheet.thickness, sheet.how)),
        "etching": _etching(job.etching),
        "job": job_file(job),
        "cut_length_mm": _mm(job.cut_length),
        "travel_mm": _mm(job.travel),
        "travel_at_least_mm": _mm(job.least),
        "travel_nearest_mm": _mm(job.nearest),
        "seconds": _mm(job.seconds),
        "times": {field.name: _mm(getattr(job.times, field.name)) for field in fields(job.times)},
        "parts": [_placed(build, sheet, placed) for placed in sheet.placed],
    }


def _placed(build: Build, sheet: PlannedSheet, placed: PlacedPart) -> dict[str, Any]:
    placement = placed.placement
    written = labels_on(build, sheet, placed)
    return {
        "part": placed.part.name,
        "copy": placed.copy,
        "assembly": placed.part.assembly,
        "x_mm": _mm(placement.x),
        "y_mm": _mm(placement.y),
        "turn_deg": number(math.degrees(placement.turn), _TURN_DIGITS),
        "mirrored": placement.mirrored,
        "labels": [_label(label) for label in written.labels],
        "why_by_hand": why_by_hand(build.cutter.kind, placed.part) if sheet.how == "hand" else None,
        "no_number": written.no_number or None,
        "no_seams": list(written.no_seams),
        **_outline(placed.shape.outline),
    }


def _label(label: Label) -> dict[str, Any]:
    return {
        "text": label.text,
        "x_mm": _mm(label.x),
        "y_mm": _mm(label.y),
        "turn_deg": number(math.degrees(label.turn), _TURN_DIGITS),
        "height_mm": _mm(label.height),
    }
