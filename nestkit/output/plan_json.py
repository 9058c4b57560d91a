"""``plan.json``: the whole plan for other programs, described by ``plan.schema.json``."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Sequence
from typing import Any

from nestkit.build.model import Build, Part
from nestkit.cutting.model import Job
from nestkit.geometry import Outline, Path
from nestkit.nesting.model import Group, PlacedPart, Plan
from nestkit.output.text import number

FORMAT = "nestkit-plan"
VERSION = 1

_DIGITS = 4
_TURN_DIGITS = 6


def job_file(job: Job) -> str:
    """Where the job's DXF file stands in the output folder."""
    return f"jobs/{job.name}.dxf"


def plan_data(build: Build, plan: Plan, jobs: Sequence[Job]) -> dict[str, Any]:
    """The plan as plain data; ``jobs`` stand in the order of the plan's sheets.

    Lengths are millimetres, angles degrees. Placed outlines are the finished size in sheet
    coordinates, arcs flattened within `geometry.FLATNESS`.
    """
    bed = build.cutter.bed
    return {
        "format": FORMAT,
        "version": VERSION,
        "build": plan.build,
        "unit": build.unit,
        "scale": plan.scale,
        "seed": plan.seed,
        "cutter": {
            "kind": build.cutter.kind,
            "bed_mm": None if bed is None else _numbers(bed),
            "kerf_mm": _mm(build.cutter.kerf),
        },
        "layout": {"gap_mm": _mm(build.gap), "margin_mm": _mm(build.margin)},
        "assemblies": [{"name": each.name, "order": each.order} for each in build.assemblies],
        "parts": [_part(part) for part in build.parts],
        "groups": [_group(group) for group in plan.groups],
        "sheets": [_sheet(job) for job in jobs],
        "unplaced": [{"part": left.part.name, "copy": left.copy, "why": left.why} for left in plan.unplaced],
    }


def plan_bytes(build: Build, plan: Plan, jobs: Sequence[Job]) -> bytes:
    """``plan.json`` as it is written: one key or point to a line, so that versions can be compared."""
    text = json.dumps(plan_data(build, plan, jobs), ensure_ascii=False, indent=1, allow_nan=False)
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


def _part(part: Part) -> dict[str, Any]:
    outline = part.shape.outline
    width, height = outline.size
    return {
        "part": part.name,
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
    }


def _group(group: Group) -> dict[str, Any]:
    return {
        "material": group.material,
        "thickness_mm": _mm(group.thickness),
        "parts": group.parts,
        "sheets_used": group.sheets_used,
        "sheets_at_least": group.sheets_at_least,
        "proven": group.proven,
        "waste": _mm(group.waste),
        "cost": _mm(group.cost),
        "to_buy": [{"stock": stock, "count": count} for stock, count in group.to_buy],
        "from_shop": [{"stock": stock, "count": count} for stock, count in group.from_shop],
    }


def _sheet(job: Job) -> dict[str, Any]:
    sheet = job.sheet
    return {
        "index": sheet.index,
        "stock": sheet.stock,
        "stock_number": sheet.stock_number,
        "bought": sheet.bought,
        "blank_origin_mm": None if sheet.blank_origin is None else _numbers(sheet.blank_origin),
        "material": sheet.material,
        "thickness_mm": _mm(sheet.thickness),
        **_outline(sheet.outline),
        "how": sheet.how,
        "fill": _mm(sheet.fill),
        "job": job_file(job),
        "cut_length_mm": _mm(job.cut_length),
        "travel_mm": _mm(job.travel),
        "seconds": _mm(job.seconds),
        "parts": [_placed(placed) for placed in sheet.placed],
    }


def _placed(placed: PlacedPart) -> dict[str, Any]:
    placement = placed.placement
    return {
        "part": placed.part.name,
        "copy": placed.copy,
        "assembly": placed.part.assembly,
        "x_mm": _mm(placement.x),
        "y_mm": _mm(placement.y),
        "turn_deg": number(math.degrees(placement.turn), _TURN_DIGITS),
        "mirrored": placement.mirrored,
        **_outline(placed.shape.outline),
    }
