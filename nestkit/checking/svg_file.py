"""The SVG beside each DXF: the same size and the same paths."""

from __future__ import annotations

import math
import re
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import shapely
from defusedxml import ElementTree
from numpy.typing import NDArray
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from nestkit.checking.job_file import JobFile, Stroke
from nestkit.checking.limits import LARGEST_FILE, LENGTH_SHARE, PLAN_FLATNESS, SIZE, SLACK
from nestkit.checking.plan_entries import SheetEntry
from nestkit.checking.svg_drawing import NUMBER, BadSvgError, DrawnPath, drawn_paths
from nestkit.checking.verdict import Fault
from nestkit.units import Unit, show_gap, show_gaps, show_length, show_place

#: Layer, part name and copy number.
Owner = tuple[str, str, int]


def svg_name(job_name: str) -> str:
    """Name of the SVG file beside a DXF file."""
    return job_name.removesuffix(".dxf") + ".svg"


def judge_svg(folder: Path, job: JobFile, sheet: SheetEntry) -> Iterator[Fault]:
    """Compare an SVG file with the DXF of the same name, which has been found right.

    Paths are those in groups that are named for a layer, with ``data-part`` and ``data-copy``; nothing
    else may be drawn.
    """
    name = svg_name(job.name)
    try:
        text = _difference(folder / name, job, sheet)
    except BadSvgError as error:
        text = str(error)
    # An XML reader raises its own kinds for damaged, hostile or endlessly nested files.
    except Exception as error:
        reason = " ".join(str(error).split())[:120]
        yield Fault("unreadable", name, text=f"the file can't be read as SVG ({reason})")
        return
    if text:
        yield Fault("svg", name, text=text)


def _difference(path: Path, job: JobFile, sheet: SheetEntry) -> str:
    """What is different from the DXF; empty when nothing is."""
    if path.stat().st_size > LARGEST_FILE:
        raise BadSvgError("the file is too large")
    root = ElementTree.parse(path).getroot()
    if str(root.tag).rpartition("}")[2] != "svg":
        raise BadSvgError("the file holds no svg element")
    low, high = sheet.outline.min(axis=0), sheet.outline.max(axis=0)
    size = high - low
    # The plan follows an offcut's round edge with chords, which may be shorter at either side.
    slack = SIZE if len(sheet.outline) <= 4 else SIZE + 2.0 * PLAN_FLATNESS
    box = [float(number) for number in NUMBER.findall(root.get("viewBox", ""))]
    if len(box) != 4:
        return "it has no view box"
    for value, unit_size, drawn in (
        (root.get("width", ""), size[0], box[2]),
        (root.get("height", ""), size[1], box[3]),
    ):
        number = re.fullmatch(rf"({NUMBER.pattern})mm", value)
        if number is None:
            return f"its size is '{value[:40]}' and not in millimetres"
        if abs(float(number[1]) - unit_size) > slack or abs(drawn - unit_size) > slack:
            return f"its size is not that of the blank, {show_gaps(size[0], size[1], job.unit)}"
    paths: dict[Owner, list[DrawnPath]] = defaultdict(list)
    for drawn_path in drawn_paths(root):
        # y runs down from the upper edge of the view box, which shows the blank.
        points = drawn_path.points * (1.0, -1.0) + (low[0] - box[0], high[1] + box[1])
        owner = (drawn_path.layer, drawn_path.part, drawn_path.copy)
        paths[owner].append(replace(drawn_path, points=points))
    unlike = _unlike(job, paths)
    # Which of them is right can't be told: the plan does not say where marks and labels lie.
    return f"it and the DXF differ, so that one of them was changed: {unlike}" if unlike else ""


def _unlike(job: JobFile, paths: dict[Owner, list[DrawnPath]]) -> str:
    in_dxf = Counter((stroke.layer, stroke.part, stroke.copy) for stroke in job.strokes)
    for key in [*in_dxf, *paths]:
        there = len(paths.get(key, ()))
        if there != in_dxf[key]:
            layer, part, copy = key
            return f"layer {layer} has {there} paths{_of(part, copy)} in the SVG and {in_dxf[key]} in the DXF"
    for stroke in job.strokes:
        how = _how_unlike(job.unit, stroke, paths[stroke.layer, stroke.part, stroke.copy].pop(0))
        if how:
            return f"a path{_of(stroke.part, stroke.copy)} on layer {stroke.layer} {how}"
    return ""


def _of(part: str, copy: int) -> str:
    return f" of '{part}' copy {copy}" if part else ""


def _how_unlike(unit: Unit, stroke: Stroke, drawn: DrawnPath) -> str:
    """How an SVG path differs from the DXF path; empty when it does not."""
    if drawn.closed != stroke.closed:
        return f"is {'closed' if drawn.closed else 'open'} in the SVG and not in the DXF"
    # Arcs may be flattened at other points, so that each must lie along the other; the starts must agree.
    if not stroke.curved and len(drawn.points) == len(stroke.points):
        away = np.hypot(*(drawn.points - stroke.points).T)
    else:
        away = shapely.distance(shapely.points(drawn.points), stroke.line)
        away[0] = math.dist(drawn.points[0], stroke.at)
        if not stroke.closed:
            away[-1] = math.dist(drawn.points[-1], stroke.points[-1])
    line = _line(drawn)
    back = shapely.distance(shapely.points(stroke.points), line)
    for points, off in ((drawn.points, away), (stroke.points, back)):
        k = int(off.argmax())
        if off[k] > SIZE + SLACK:
            x, y = points[k]
            return f"lies elsewhere in the SVG, by {show_gap(off[k], unit)} at {show_place((x, y), unit)}"
    if stroke.closed and _doubled_area(drawn.points) * _doubled_area(stroke.points) < 0.0:
        return "runs the other way round in the SVG"
    if abs(line.length - stroke.line.length) > LENGTH_SHARE * stroke.line.length + 1.0:
        found, meant = show_length(line.length, unit), show_length(stroke.line.length, unit)
        return f"is {found} long in the SVG and {meant} in the DXF"
    return ""


def _line(drawn: DrawnPath) -> BaseGeometry:
    if len(drawn.points) < 2:
        raise BadSvgError(f"a path on layer {drawn.layer[:40]} has no length")
    return LineString(np.vstack((drawn.points, drawn.points[:1])) if drawn.closed else drawn.points)


def _doubled_area(points: NDArray[np.float64]) -> float:
    """Positive when the ring runs counter-clockwise (shoelace)."""
    x, y = (points - points[0]).T
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))
