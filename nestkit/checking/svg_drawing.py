"""What an SVG file draws: the paths of its layer groups, arcs flattened, and a refusal of all else.

References
----------
SVG 1.1, W3C: 8.3 (path data); F.6.5 and F.6.6 (an elliptical arc's centre from its ends, radii too small).
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from defusedxml import ElementTree
from numpy.typing import NDArray

from nestkit.checking.bulges import MOST_CHORDS
from nestkit.checking.job_file import SHEET
from nestkit.checking.limits import FARTHEST, FLATNESS

NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")

# The letter e is no command but part of a number.
_COMMAND = re.compile(r"([A-DF-Za-df-z])([^A-DF-Za-df-z]*)")

#: Numbers that each path command takes; the last two of them are where it leads to.
_TAKES = {"M": 2, "L": 2, "A": 7, "Z": 0}

_SVG = "{http://www.w3.org/2000/svg}"

#: Elements that draw nothing.
_SAYING = frozenset({"title", "desc", "metadata"})

#: Attributes by which an element shows elsewhere, not at all, or with more than its path.
_CHANGING = re.compile(
    r"style|transform(-origin)?|display|visibility|(stroke-)?opacity|clip-path|mask|filter|marker(-\w+)?"
    r"|requiredExtensions|requiredFeatures|systemLanguage"
)


class BadSvgError(Exception):
    """The file can't be judged, with the reason."""


@dataclass(frozen=True, eq=False)
class DrawnPath:
    """One path, in the file's own coordinates.

    Parameters
    ----------
    layer, part : str
    copy : int
        0 for the blank's edge.
    closed : bool
    points : (n, 2) float, mm
        Arcs flattened; a closed path does not repeat its first point.
    """

    layer: str
    part: str
    copy: int
    closed: bool
    points: NDArray[np.float64]


def drawn_paths(root: ElementTree.Element) -> Iterator[DrawnPath]:
    """The paths in the groups that are named for a layer.

    Raises
    ------
    BadSvgError
        When anything else is drawn, or something is moved, hidden or restyled.
    """
    _judge_attributes(root, "the svg element")
    for group in _drawn(root):
        if _local(group) != "g":
            raise BadSvgError(f"it draws a {_local(group)} outside the layers")
        layer = group.get("id", "")
        _judge_attributes(group, f"layer {layer[:40]}")
        for path in _drawn(group):
            if _local(path) != "path":
                raise BadSvgError(f"layer {layer[:40]} holds a {_local(path)}")
            yield _path(path, layer)


def _path(path: ElementTree.Element, layer: str) -> DrawnPath:
    part, copy = path.get("data-part", ""), path.get("data-copy", "0")
    _judge_attributes(path, f"a path on layer {layer[:40]}")
    for inner in _drawn(path):
        raise BadSvgError(f"a path on layer {layer[:40]} holds a {_local(inner)}")
    if layer != SHEET and not (part and copy.isdecimal()):
        raise BadSvgError(f"a path on layer {layer[:40]} does not say whose it is")
    points, closed = path_points(path.get("d", ""))
    return DrawnPath(layer, part, int(copy), closed, points)


def _drawn(element: ElementTree.Element) -> Iterator[ElementTree.Element]:
    """What is inside, but for what says something and what is of another kind than SVG."""
    for inner in element:
        name = str(inner.tag)
        ours = name.startswith(_SVG) or not name.startswith("{")
        if ours and _local(inner) not in _SAYING and not (_local(inner) == "defs" and not len(inner)):
            yield inner


def _judge_attributes(element: ElementTree.Element, called: str) -> None:
    for name, value in element.attrib.items():
        if _CHANGING.fullmatch(name) or (name == "stroke" and value.strip() == "none"):
            raise BadSvgError(f"{called} is changed by its attribute {name}")


def path_points(data: str) -> tuple[NDArray[np.float64], bool]:
    """Points of the ``d`` attribute of one path that uses M, L, A and Z, and whether it is closed.

    Raises
    ------
    BadSvgError
        When it has other commands, more than one beginning, or numbers that are no place on a sheet.
    """
    runs: list[NDArray[np.float64]] = []
    closed = False
    x = y = 0.0
    for command, rest in _COMMAND.findall(data):
        command = command.upper() if command == "z" else command
        numbers = [float(number) for number in NUMBER.findall(rest)]
        unexpected = len(numbers) != _TAKES.get(command, -1) or NUMBER.sub("", rest).strip(" \t\r\n,")
        if unexpected or closed or (command == "M") != (not runs):
            raise BadSvgError(f"a path has an unexpected command '{command}'")
        if any(abs(number) > FARTHEST for number in numbers):
            raise BadSvgError("a path lies far off any sheet")
        if command == "Z":
            closed = True
            continue
        if command == "A":
            runs.append(arc_points((x, y), numbers))
        else:
            runs.append(np.array([numbers]))
        x, y = numbers[-2:]
    if not runs:
        raise BadSvgError("a path is empty")
    points = np.concatenate(runs)
    if closed and len(points) > 1 and math.dist(points[0], points[-1]) < 1e-9:
        points = points[:-1]  # the way back to the start may be drawn before it is closed
    return points, closed


def arc_points(
    start: tuple[float, float], numbers: list[float], tolerance: float = FLATNESS
) -> NDArray[np.float64]:
    """Points of an arc command within ``tolerance`` mm, its start left out and its end included.

    Parameters
    ----------
    start : (float, float), mm
    numbers : list of 7 float
        Radii, turn of the ellipse (degrees), large-arc flag, sweep flag, end.
    tolerance : float, mm

    Returns
    -------
    (n, 2) float
    """
    rx, ry, degrees, large, sweep, x1, y1 = numbers
    end, (x0, y0) = np.array([[x1, y1]]), start
    rx, ry = abs(rx), abs(ry)
    if min(rx, ry) == 0.0 or (x0, y0) == (x1, y1):
        return end
    cos, sin = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    dx, dy = (x0 - x1) / 2.0, (y0 - y1) / 2.0
    # Half the chord where the ellipse is the unit circle; radii that are too small grow until it fits.
    u, v = (cos * dx + sin * dy) / rx, (cos * dy - sin * dx) / ry
    half = math.hypot(u, v)
    if half > 1.0:
        rx, ry, u, v, half = rx * half, ry * half, u / half, v / half, 1.0
    angle = 2.0 * math.asin(half)
    if large:
        angle = 2.0 * math.pi - angle
    off = math.sqrt(max(0.0, 1.0 - half * half)) / half * (1.0 if bool(large) != bool(sweep) else -1.0)
    cu, cv = off * v, -off * u
    step = 4.0 * math.asin(min(1.0, math.sqrt(tolerance / (2.0 * max(rx, ry)))))
    count = min(max(1, math.ceil(angle / step)), MOST_CHORDS)
    turn = math.atan2(v - cv, u - cu) + (angle if sweep else -angle) * np.arange(1, count) / count
    a, b = rx * (cu + np.cos(turn)), ry * (cv + np.sin(turn))
    middle_x, middle_y = (x0 + x1) / 2.0, (y0 + y1) / 2.0
    between = np.column_stack((middle_x + cos * a - sin * b, middle_y + sin * a + cos * b))
    return np.concatenate((between, end))


def _local(element: ElementTree.Element) -> str:
    return str(element.tag).rpartition("}")[2][:40]
