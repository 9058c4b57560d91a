"""Everything that a comparison is written as, put into its folder in one step."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

from nestkit.build.model import Build
from nestkit.output import plan_files
from nestkit.output.folder import COMPARISON, replace_folder
from nestkit.planning import Effort, make_plan
from nestkit.scales import layouts
from nestkit.scales.chart import chart_files
from nestkit.scales.model import Comparison, GroupResult, Largest, SizeResult
from nestkit.scales.page import page_bytes
from nestkit.scales.table import table_bytes
from nestkit.scales.words import cliff_sentence, largest_sentences

#: Sizes from which on there is a line to draw.
_CHART_FROM = 2


def comparison_files(comparison: Comparison, plans: dict[int, dict[str, bytes]]) -> dict[str, bytes]:
    """All files by their place in the folder; the same comparison gives the same bytes.

    Parameters
    ----------
    comparison : Comparison
    plans : dict of int to dict
        The files of each largest size's plan, by its place.
    """
    files: dict[str, bytes] = {"scales.csv": table_bytes(comparison)}
    chart = None
    if len(comparison.sizes) >= _CHART_FROM:
        pictures = chart_files(comparison)
        files |= {f"scales.{kind}": data for kind, data in pictures.items()}
        chart = pictures["svg"]
    reports: dict[int, str] = {}
    for place, written in plans.items():
        folder = plan_folder(comparison.largest[place])
        files |= {f"{folder}/{name}": data for name, data in written.items()}
        reports[place] = f"{folder}/report.html"
    files[layouts.FILE] = layouts.layouts_bytes(comparison)
    files["scales.html"] = page_bytes(comparison, chart, reports)
    files[COMPARISON.marker] = _json_bytes(comparison, [COMPARISON.marker, *files])
    return files


def write_comparison(comparison: Comparison, plans: dict[int, dict[str, bytes]], out: Path) -> None:
    """Writes the comparison into the folder ``out``, all of it or nothing; see `output.write_plan`."""
    replace_folder(out, comparison_files(comparison, plans), COMPARISON)


def plan_folder(largest: Largest) -> str:
    """Where the plan of a largest size is written."""
    return "largest-from-shop" if largest.budget is None else "largest-for-budget"


def largest_plan(build: Build, best: SizeResult, seed: int) -> dict[str, bytes]:
    """The files of a plan whose layout is known.

    Parameters
    ----------
    build : Build
        At that size, with the sheets that it was planned for.
    best : SizeResult
    seed : int
    """
    planned = make_plan(build, Effort(rounds=1, seed=seed), start=best.laid)
    return plan_files(build, planned.plan, planned.jobs)


def comparison_data(comparison: Comparison) -> dict[str, Any]:
    """The comparison as data for other programs; lengths in mm."""
    return {
        "build": comparison.build,
        "unit": comparison.unit,
        "measured_on": comparison.reference or None,
        "stopped": comparison.stopped,
        "sizes": [_size(size) for size in comparison.sizes],
        "missing": [asdict(gap) for gap in comparison.missing],
        "cliffs": [
            {
                "material": cliff.below[1].material,
                "thickness_mm": cliff.below[1].thickness,
                "up_to_scale": cliff.below[0],
                "above_from_scale": cliff.above[0],
                "within_half_a_percent": cliff.is_close,
                "proven": cliff.certain,
                "below": _group(cliff.below[1]),
                "above": _group(cliff.above[1]),
                "text": cliff_sentence(comparison, cliff),
            }
            for cliff in comparison.cliffs
        ],
        "largest": [
            {
                "budget": each.budget,
                "scale": None if each.best is None else each.best.scale,
                "size": None if each.best is None else _size(each.best),
                "too_large_scale": each.over,
                "stops": list(each.stops),
                "proven": each.certain,
                "text": " ".join(largest_sentences(comparison, each)),
            }
            for each in comparison.largest
        ],
    }


def _size(size: SizeResult) -> dict[str, Any]:
    return {
        "scale": size.scale,
        "length_mm": None if size.length is None else round(size.length, 4),
        "height_mm": None if size.height is None else round(size.height, 4),
        "cost": round(size.cost, 2),
        "waste": round(size.waste, 4),
        "seconds": round(size.seconds, 1),
        "groups": [_group(group) for group in size.groups],
        "slim": [
            {"part": s.part, "places": s.places, "what": s.what, "width_mm": round(s.width, 3)}
            for s in size.slim
        ],
        "layers": [
            {
                "part": each.part,
                "layers": each.layers.count,
                "reached_mm": round(each.layers.reached, 4),
                "asked_mm": round(each.layers.asked, 4),
            }
            for each in size.layers
        ],
    }


def _group(group: GroupResult) -> dict[str, Any]:
    largest = group.leftover.largest
    return {
        "material": group.material,
        "thickness_mm": group.thickness,
        "copies": group.copies,
        "sheets": group.sheets,
        "sheets_at_least": group.sheets_at_least,
        "proven": group.proven,
        "cost": round(group.cost, 2),
        "waste": round(group.waste, 4),
        "seconds": round(group.seconds, 1),
        "by_hand": list(group.by_hand),
        "left_out": [asdict(each) for each in group.left_out],
        "leftover": {
            "pieces": group.leftover.pieces,
            "area_mm2": round(group.leftover.area, 1),
            "largest_mm": None if largest is None else [round(side, 1) for side in largest],
        },
    }


def _json_bytes(comparison: Comparison, names: list[str]) -> bytes:
    data = {"format": COMPARISON.format, "version": 1, "files": sorted(set(names))}
    text = json.dumps(data | comparison_data(comparison), indent=1, ensure_ascii=False, allow_nan=False)
    return f"{text}\n".encode()
