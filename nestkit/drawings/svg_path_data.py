"""Path data: the ``d`` attribute, read into lines, cubic curves and elliptical arcs.

References
----------
SVG 2, chapter 9 "Paths": "The grammar for path data" and "Path data error handling" (what stands
before the first mistake is drawn); appendix B "Conversion from endpoint to center parameterization".
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from typing import NamedTuple

from nestkit.drawings.svg_lengths import NUMBER, SEPARATOR, SPACE


class LineTo(NamedTuple):
    """A straight line to (x, y)."""

    x: float
    y: float


class CubicTo(NamedTuple):
    """A cubic Bezier curve to (x, y). Quadratic ones are written as the cubic that is the same curve."""

    x1: float
    y1: float
    x2: float
    y2: float
    x: float
    y: float


class ArcTo(NamedTuple):
    """An elliptical arc to (x, y): centre, half axes and their turn, where it starts, how far it runs.

    Angles are radians in the sense of user space: positive turns from the x axis to the y axis.
    """

    cx: float
    cy: float
    rx: float
    ry: float
    turn: float
    start: float
    sweep: float
    x: float
    y: float


Segment = LineTo | CubicTo | ArcTo


@dataclass(slots=True)
class Subpath:
    """One run of segments; ``closed`` when it ends with Z."""

    start: tuple[float, float]
    segments: list[Segment] = field(default_factory=list)
    closed: bool = False


class PathData(NamedTuple):
    """What was read.

    Parameters
    ----------
    subpaths : list of Subpath
    error : int or None
        The place of the first mistake in the text.
    whole : bool
        False when reading stopped because there is more than is read at all.
    """

    subpaths: list[Subpath]
    error: int | None = None
    whole: bool = True


def _values(*values: str) -> re.Pattern[str]:
    return re.compile(SEPARATOR + SEPARATOR.join(f"({value})" for value in values))


_FLAG = "[01]"
_VALUES = {
    "M": _values(NUMBER, NUMBER),
    "L": _values(NUMBER, NUMBER),
    "H": _values(NUMBER),
    "V": _values(NUMBER),
    "C": _values(*[NUMBER] * 6),
    "S": _values(*[NUMBER] * 4),
    "Q": _values(*[NUMBER] * 4),
    "T": _values(NUMBER, NUMBER),
    "A": _values(NUMBER, NUMBER, NUMBER, _FLAG, _FLAG, NUMBER, NUMBER),
}
_COMMAND = re.compile(rf"{SPACE}*+([MmZzLlHhVvCcSsQqTtAa])(?!{SPACE}*+,)")


def arc_to(
    x0: float,
    y0: float,
    rx: float,
    ry: float,
    turn: float,
    large: bool,
    sweep: bool,
    x: float,
    y: float,
) -> Segment | None:
    """The segment that an arc command from (x0, y0) to (x, y) draws; None when it draws nothing.

    Radii that are too small are enlarged; without radii it is a line. ``turn`` is in radians.
    """
    if x0 == x and y0 == y:
        return None
    rx, ry = abs(rx), abs(ry)
    if rx == 0.0 or ry == 0.0:
        return LineTo(x, y)
    cosine, sine = math.cos(turn), math.sin(turn)
    half_x, half_y = (x0 - x) / 2.0, (y0 - y) / 2.0
    # The start on the unit circle, seen from the middle of the chord.
    ux, uy = (cosine * half_x + sine * half_y) / rx, (cosine * half_y - sine * half_x) / ry
    size = math.hypot(ux, uy)
    if size > 1.0 - 1e-12:
        # The radii just reach, or don't: half an ellipse about the chord's middle.
        rx, ry, ux, uy = rx * size, ry * size, ux / size, uy / size
        shift = 0.0
    elif size < 1e-12:
        if large:
            raise OverflowError("a large arc of far too large a radius")
        return LineTo(x, y)  # the arc bulges by less than that share of its chord
    else:
        shift = math.sqrt((1.0 - size) * (1.0 + size)) / size * (-1.0 if large == sweep else 1.0)
    vx, vy = shift * uy, -shift * ux
    cx = cosine * rx * vx - sine * ry * vy + (x0 + x) / 2.0
    cy = sine * rx * vx + cosine * ry * vy + (y0 + y) / 2.0
    start = math.atan2(uy - vy, ux - vx)
    if shift == 0.0:
        run = math.pi if sweep else -math.pi
    else:
        run = (math.atan2(-uy - vy, -ux - vx) - start) % math.tau
        run = run if sweep else run - math.tau
    return ArcTo(cx, cy, rx, ry, turn, start, run, x, y)


def parse_path(text: str, most: int) -> PathData:
    """Read path data up to its end or its first mistake.

    Parameters
    ----------
    text : str
    most : int
        Reading stops after so many segments and moves; the caller refuses a drawing that holds more.

    Raises
    ------
    ArithmeticError
        When an arc's numbers are too large or too small to reckon with.
    """
    subpaths: list[Subpath] = []
    current: Subpath | None = None
    x = y = start_x = start_y = 0.0
    # The last control point, for S and T, and the command it is good for.
    control_x = control_y = 0.0
    last = ""
    count = 0
    position = 0
    while match := _COMMAND.match(text, position):
        letter = match[1]
        command = letter.upper()
        if not subpaths and command != "M":
            return PathData(subpaths, match.start(1))
        position = match.end()
        if command == "Z":
            if current is not None:
                current.closed = True
            current = None
            x, y, last = start_x, start_y, "Z"
            continue
        relative = letter != command
        read = _VALUES[command].match
        values = read(text, position)
        if values is None:
            return PathData(subpaths, match.start(1))
        while values:
            position = values.end()
            numbers = [float(value) for value in values.groups()]
            base_x, base_y = (x, y) if relative else (0.0, 0.0)
            count += 1
            if count > most:
                return PathData(subpaths, whole=False)
            if command == "M":
                x, y = start_x, start_y = base_x + numbers[0], base_y + numbers[1]
                current = Subpath((x, y))
                subpaths.append(current)
                last, command = "M", "L"
                values = read(text, position)
                continue
            if current is None:
                current = Subpath((start_x, start_y))
                subpaths.append(current)
            segment: Segment | None
            if command == "L":
                segment = LineTo(base_x + numbers[0], base_y + numbers[1])
            elif command == "H":
                segment = LineTo(base_x + numbers[0], y)
            elif command == "V":
                segment = LineTo(x, base_y + numbers[0])
            elif command == "C" or command == "S":
                if command == "C":
                    x1, y1 = base_x + numbers[0], base_y + numbers[1]
                elif last == "C":
                    x1, y1 = 2.0 * x - control_x, 2.0 * y - control_y
                else:
                    x1, y1 = x, y
                control_x, control_y = base_x + numbers[-4], base_y + numbers[-3]
                segment = CubicTo(x1, y1, control_x, control_y, base_x + numbers[-2], base_y + numbers[-1])
            elif command == "Q" or command == "T":
                if command == "Q":
                    control_x, control_y = base_x + numbers[0], base_y + numbers[1]
                elif last == "Q":
                    control_x, control_y = 2.0 * x - control_x, 2.0 * y - control_y
                else:
                    control_x, control_y = x, y
                end_x, end_y = base_x + numbers[-2], base_y + numbers[-1]
                segment = CubicTo(
                    (x + 2.0 * control_x) / 3.0,
                    (y + 2.0 * control_y) / 3.0,
                    (end_x + 2.0 * control_x) / 3.0,
                    (end_y + 2.0 * control_y) / 3.0,
                    end_x,
                    end_y,
                )
            else:
                rx, ry, turn, large, sweep, end_x, end_y = numbers
                if not math.isfinite(turn):
                    raise OverflowError("an arc is turned by more than a number can hold")
                segment = arc_to(
                    x,
                    y,
                    rx,
                    ry,
                    math.radians(math.fmod(turn, 360.0)),
                    large == 1.0,
                    sweep == 1.0,
                    base_x + end_x,
                    base_y + end_y,
                )
            last = {"S": "C", "T": "Q"}.get(command, command)
            if segment is not None:
                current.segments.append(segment)
                x, y = segment[-2], segment[-1]
            values = read(text, position)
    position = len(text) - len(text[position:].lstrip(" \t\r\n\f"))
    return PathData(subpaths, None if position == len(text) else position)
