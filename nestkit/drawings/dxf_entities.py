"""DXF entities as curves in the plane of the block that holds them."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from nestkit.drawings.dxf_curves import Bulges, Curve, Ellipse, Spline, arc, bezier_pieces

#: Entities that `curve_of` reads.
LINE_TYPES = frozenset({"LINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE", "LWPOLYLINE", "POLYLINE", "HELIX"})

TEXT_TYPES = frozenset({"TEXT", "MTEXT", "ATTRIB", "ATTDEF"})

#: Heights (z) of one entity may differ by this share of its size and still count as flat.
FLAT = 1e-6


class NotFlat(Exception):  # noqa: N818 - not an error of the program: the caller makes it a finding
    """The entity does not lie in a plane of constant height."""


def curve_of(entity: Any) -> Curve:
    """The curve that an ezdxf entity of one of `LINE_TYPES` draws, in drawing units.

    Raises
    ------
    NotFlat
        When it is not parallel to the x-y plane.
    Exception
        Whatever ezdxf or the arithmetic raises on a damaged entity; its class says nothing.
    """
    return _READERS[entity.dxftype()](entity)


def _flip(entity: Any) -> float:
    """-1 when the entity's own axes mirror x (extrusion downward), else 1."""
    extrusion = entity.dxf.extrusion
    x, y, z = float(extrusion[0]), float(extrusion[1]), float(extrusion[2])
    if math.hypot(x, y) > FLAT * abs(z):
        raise NotFlat
    return -1.0 if z < 0.0 else 1.0


def _flat_points(points: Any) -> NDArray[np.float64]:
    """Points x, y[, z] as (n, 2), when their heights are equal."""
    xyz = np.array([(*p, 0.0)[:3] for p in points], dtype=np.float64)
    if len(xyz):
        size = float(np.ptp(xyz[:, :2], axis=0).max())
        if not float(np.ptp(xyz[:, 2])) <= FLAT * max(size, 1.0):
            raise NotFlat
    return xyz[:, :2]


def _line(entity: Any) -> Curve:
    start, end = entity.dxf.start, entity.dxf.end
    if start[2] != end[2]:
        _flat_points((start, end))
    return Bulges(np.array([[start[0], start[1], 0.0], [end[0], end[1], 0.0]]), False)


def _mirrored(curve: Bulges) -> Bulges:
    return Bulges(curve.rows * [-1.0, 1.0, -1.0], curve.closed)


def _circle(entity: Any) -> Curve:
    x, y, _ = entity.dxf.center
    circle = arc(x, y, float(entity.dxf.radius), 0.0, math.tau)
    return circle if _flip(entity) > 0.0 else _mirrored(circle)


def _arc(entity: Any) -> Curve:
    x, y, _ = entity.dxf.center
    start, end = math.radians(entity.dxf.start_angle), math.radians(entity.dxf.end_angle)
    drawn = arc(x, y, float(entity.dxf.radius), start, _sweep(start, end))
    return drawn if _flip(entity) > 0.0 else _mirrored(drawn)


def _sweep(start: float, end: float) -> float:
    """Counter-clockwise from start to end, radians; equal angles mean a full turn."""
    sweep = math.fmod(end - start, math.tau)
    sweep += math.tau if sweep < 0.0 else 0.0
    return math.tau if sweep < 1e-9 or math.tau - sweep < 1e-9 else sweep


def _ellipse(entity: Any) -> Curve:
    dxf = entity.dxf
    sign = _flip(entity)
    (x, y, _), (ax, ay, az), ratio = dxf.center, dxf.major_axis, float(dxf.ratio)
    longest = math.hypot(ax, ay)
    if abs(az) > FLAT * longest:
        raise NotFlat
    start, end = float(dxf.start_param), float(dxf.end_param)
    sweep = _sweep(start, end)
    if abs(abs(ratio) - 1.0) < 1e-9:
        turned = math.atan2(ay, ax) + sign * start
        return arc(x, y, longest, turned, sign * math.copysign(1.0, ratio) * sweep)
    return Ellipse((x, y), (ax, ay), (-ay * ratio * sign, ax * ratio * sign), start, sweep)


def _spline(entity: Any) -> Curve:
    if not entity.control_point_count():
        tool = entity.construction_tool()
        control, knots = _flat_points(tool.control_points), np.array(tool.knots(), dtype=np.float64)
        weights, degree = np.ones(len(control)), int(tool.degree)
    else:
        control, knots = _flat_points(entity.control_points), np.array(entity.knots, dtype=np.float64)
        weights = np.array(entity.weights, dtype=np.float64) if len(entity.weights) else np.ones(len(control))
        degree = int(entity.dxf.degree)
    return Spline(bezier_pieces(control, weights, knots, degree))


def _lwpolyline(entity: Any) -> Curve:
    rows = np.array([(p[0], p[1], p[4]) for p in entity.lwpoints], dtype=np.float64).reshape(-1, 3)
    drawn = Bulges(rows, bool(entity.closed))
    return drawn if _flip(entity) > 0.0 else _mirrored(drawn)


#: POLYLINE flags (DXF reference, group 70).
_CLOSED, _CURVE_FIT, _SPLINE_FIT, _THREE_D, _MESHES = 1, 2, 4, 8, 16 | 64
#: VERTEX flag: a control point of a fitted spline, which is not on the drawn line.
_FRAME_POINT = 16


def _polyline(entity: Any) -> Curve:
    flags = int(entity.dxf.flags)
    if flags & _MESHES:
        raise NotFlat
    vertices = [v for v in entity.vertices if not int(v.dxf.flags) & _FRAME_POINT]
    points = _flat_points(v.dxf.location for v in vertices)
    three_d = bool(flags & _THREE_D)
    bulges = [0.0 if three_d else float(v.dxf.bulge) for v in vertices]
    drawn = Bulges(np.column_stack((points.reshape(-1, 2), bulges)), bool(flags & _CLOSED))
    return drawn if three_d or _flip(entity) > 0.0 else _mirrored(drawn)


_READERS = {
    "LINE": _line,
    "ARC": _arc,
    "CIRCLE": _circle,
    "ELLIPSE": _ellipse,
    "SPLINE": _spline,
    "HELIX": _spline,
    "LWPOLYLINE": _lwpolyline,
    "POLYLINE": _polyline,
}
