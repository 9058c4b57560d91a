"""The SVG beside each DXF: the same size and the same paths."""

from __future__ import annotations

import math
import re
from collections import Counter, defaultdict
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import shapely
from defusedxml import ElementTree
from numpy.typing import NDArray

from nestkit.checking.job_file import SHEET, JobFile, Stroke
from nestkit.checking.limits import LARGEST_FILE, SIZE
from nestkit.checking.plan_file import SheetEntry
from nestkit.checking.verdict import Fault
from nestkit.errors import Point

#: Layer, part name and copy number.
Owner = tuple[str, str, int]

_COMMAND = re.compile(r"([A-Za-z])([^A-Za-z]*)")
_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")

#: Numbers that each path command takes; the last two of them are a point on the path.
_TAKES = {"M": 2, "L": 2, "A": 7}


class _BadSvgError(Exception):
    """The file can't be judged, with the reason."""


def judge_svg(folder: Path, job: JobFile, sheet: SheetEntry) -> Iterator[Fault]:
    """Compare an SVG file with the DXF of the same name, which has been found right.

    Paths are those in groups that are named for a layer, with ``data-part`` and ``data-copy``.
    """
    name = job.name.removesuffix(".dxf") + ".svg"
    path = folder / name
    if not path.is_file():
        yield Fault("missing-file", name, text="the SVG beside the DXF is not there")
        return
    try:
        text = _difference(path, job, sheet)
    except _BadSvgError as error:
        text = str(error)
    # An XML reader raises its own kinds for damaged, hostile or endlessly nested files.
    except Exception as error:
        yield Fault(
            "unreadable", name, text=f"the file can't be read as SVG ({' '.join(str(error).split())[:120]})"
        )
        return
    if text:
        yield Fault("svg", name, text=text)


def _difference(path: Path, job: JobFile, sheet: SheetEntry) -> str:
    """What is different from the DXF; empty when nothing is."""
    if path.stat().st_size > LARGEST_FILE:
        raise _BadSvgError("the file is too large")
    root = ElementTree.parse(path).getroot()
    if _local(root.tag) != "svg":
        raise _BadSvgError("the file holds no svg element")
    low, high = sheet.outline.min(axis=0), sheet.outline.max(axis=0)
    size = high - low
    box = [float(number) for number in _NUMBER.findall(root.get("viewBox", ""))]
    for value, unit_size, drawn in (
        (root.get("width", ""), size[0], box[2] if len(box) == 4 else -1.0),
        (root.get("height", ""), size[1], box[3] if len(box) == 4 else -1.0),
    ):
        number = re.fullmatch(rf"({_NUMBER.pattern})mm", value)
        if number is None:
            return f"its size is '{value[:40]}' and not in millimetres"
        if abs(float(number[1]) - unit_size) > SIZE or abs(drawn - unit_size) > SIZE:
            return f"its size is not that of the blank, {size[0]:.2f} x {size[1]:.2f} mm"
    drawn_paths = list(_paths(root, ""))
    in_svg = Counter((layer, part, copy) for layer, part, copy, _ in drawn_paths)
    in_dxf = Counter((stroke.layer, stroke.part, stroke.copy) for stroke in job.strokes)
    for key in [*in_dxf, *in_svg]:
        if in_svg[key] != in_dxf[key]:
            layer, part, copy = key
            whose = f" of '{part}' copy {copy}" if part else ""
            return f"layer {layer} has {in_svg[key]} paths{whose}, and the DXF has {in_dxf[key]}"
    paths: dict[Owner, list[NDArray[np.float64]]] = defaultdict(list)
    for layer, part, copy, points in drawn_paths:
        # y runs down from the upper edge of the view box, whose left edge keeps its x.
        paths[layer, part, copy].append(points * (1.0, -1.0) + (0.0, high[1] + box[1]))
    for stroke in job.strokes:
        off = _off(stroke, paths[stroke.layer, stroke.part, stroke.copy].pop(0))
        if off is not None:
            whose = f" of '{stroke.part}' copy {stroke.copy}" if stroke.part else ""
            x, y = off
            return f"a path{whose} on layer {stroke.layer} leaves the DXF's at ({x:.1f}, {y:.1f}) mm"
    return ""


def _off(stroke: Stroke, points: NDArray[np.float64]) -> Point | None:
    """A point of an SVG path that is not on the DXF path, or None."""
    if stroke.closed and len(points) > 1 and math.dist(points[0], points[-1]) < 1e-9:
        points = points[:-1]  # the way back to the start may be drawn before it is closed
    if stroke.curved:
        # Both begin at the same point; between, an SVG arc may be in more pieces.
        away = shapely.distance(shapely.points(points), stroke.line)
        away[0] = math.dist(points[0], stroke.at)
    elif len(points) == len(stroke.points):
        away = np.hypot(*(points - stroke.points).T)
    else:
        away = np.full(len(points), np.inf)
    k = int(away.argmax())
    return (float(points[k, 0]), float(points[k, 1])) if away[k] > SIZE else None


def _paths(element: ElementTree.Element, layer: str) -> Iterator[tuple[str, str, int, NDArray[np.float64]]]:
    """Layer, part, copy and points of each path in a layer's group."""
    for group in element:
        if _local(group.tag) != "g":
            continue
        layer = group.get("id", "")
        for path in group:
            if _local(path.tag) != "path":
                raise _BadSvgError(f"layer {layer} holds a {_local(path.tag)[:40]}")
            part = path.get("data-part", "")
            copy = path.get("data-copy", "0")
            if layer != SHEET and not (part and copy.isdecimal()):
                raise _BadSvgError(f"a path on layer {layer} does not say whose it is")
            yield layer, part, int(copy), _points(path.get("d", ""))


def _points(data: str) -> NDArray[np.float64]:
    points = []
    for command, rest in _COMMAND.findall(data):
        if command in "Zz":
            continue
        numbers = [float(number) for number in _NUMBER.findall(rest)]
        if len(numbers) != _TAKES.get(command, -1):
            raise _BadSvgError(f"a path has an unexpected command '{command}'")
        points.append(numbers[-2:])
    if not points:
        raise _BadSvgError("a path is empty")
    return np.array(points, dtype=np.float64)


def _local(tag: object) -> str:
    return str(tag).rpartition("}")[2]
