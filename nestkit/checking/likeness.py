"""Whether two regions are the same within the tolerance, and if not, how they differ."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from nestkit.checking.limits import LOST_DEPTH, PLAN_FLATNESS, SIZE, SLACK
from nestkit.errors import Point

#: Points of the plan lie on the true curve, so they must lie this near to the edge as cut.
ON_EDGE = SIZE + SLACK

#: Between its points the plan's outline may leave the curve by its flatness.
OFF_EDGE = SIZE + PLAN_FLATNESS + SLACK

#: A turn smaller than this (radians) is a change of shape, not of the turn.
LEAST_TURN = math.radians(0.01)

_SAMPLES = 512


def region_of(points: NDArray[np.float64]) -> BaseGeometry:
    """The region inside a ring of plan.json, empty when the ring is unusable.

    A thin part's flattened outline may touch itself; it is mended as long as it keeps its area.
    """
    region = Polygon(points)
    if region.is_valid:
        return region
    mended = region.buffer(0)
    off = abs(mended.area - abs(region.area))
    return mended if off <= PLAN_FLATNESS * region.length and mended.geom_type == "Polygon" else Polygon()


@dataclass(frozen=True, slots=True)
class Deviation:
    """How a region as cut differs from the planned one.

    Parameters
    ----------
    size : float, mm
        How far an edge lies from where it should be.
    at : (float, float), mm
        Where that is.
    """

    size: float
    at: Point


def lost_detail(found: BaseGeometry, planned: BaseGeometry, kerf: float, hole: bool) -> Deviation | None:
    """The deepest slit of the plan that is not cut because the kerf is wider, when there is a deep one."""
    if kerf <= 0.0:
        return None
    edge = found.boundary
    shapely.prepare(edge)
    corners = shapely.points(shapely.get_coordinates(planned))
    corners = corners[~shapely.dwithin(corners, edge, LOST_DEPTH)]
    if not len(corners):
        return None
    reachable = _reachable(planned, kerf, hole)
    away = shapely.distance(corners, edge)
    lost = np.where(shapely.distance(corners, reachable.boundary) > LOST_DEPTH, away, 0.0)
    worst = int(lost.argmax())
    return Deviation(float(lost[worst]), _xy(corners[worst])) if lost[worst] > LOST_DEPTH else None


def deviation(found: BaseGeometry, planned: BaseGeometry, kerf: float, hole: bool) -> Deviation | None:
    """How ``found`` differs from ``planned``; None when it does not, as far as the tolerance goes.

    Parameters
    ----------
    found, planned : shapely geometry
        Regions, finished size, in the same coordinates; ``planned`` as plan.json has it.
    kerf : float, mm
        What no cut of this width can follow (slits, sharp inner corners) is not held against it.
    hole : bool
        True when the regions are holes, so that the cut runs inside and not outside of them.
    """
    edge = found.boundary
    shapely.prepare(edge)
    corners = shapely.points(shapely.get_coordinates(planned))
    off = corners[~shapely.dwithin(corners, edge, ON_EDGE)]
    if not len(off) and _within(found, planned, OFF_EDGE) and _within(planned, found, OFF_EDGE):
        return None
    if kerf > 0.0:
        # Points that the beam can't reach are where the reachable region, too, stays clear of them.
        reachable = _reachable(planned, kerf, hole)
        off = off[shapely.distance(off, reachable.boundary) <= ON_EDGE]
        low, high = (reachable, planned) if hole else (planned, reachable)
        if not len(off) and _within(found, high, OFF_EDGE) and _within(low, found, OFF_EDGE):
            return None
    return _worst(found, planned)


def _within(inner: BaseGeometry, outer: BaseGeometry, limit: float) -> bool:
    return bool(outer.buffer(limit, quad_segs=4).covers(inner))


def _reachable(planned: BaseGeometry, kerf: float, hole: bool) -> BaseGeometry:
    """The region that a round beam of width ``kerf`` leaves of a planned outline, or makes of a hole."""
    half = -kerf / 2.0 if hole else kerf / 2.0
    return planned.buffer(half).buffer(-half)


def _worst(found: BaseGeometry, planned: BaseGeometry) -> Deviation:
    """The largest distance between the two edges, by their corners."""
    if found.is_empty:
        return Deviation(math.sqrt(planned.area), _xy(planned.representative_point()))
    worst = Deviation(0.0, _xy(planned.representative_point()))
    for one, other in ((planned, found), (found, planned)):
        corners = shapely.points(shapely.get_coordinates(one))
        away = shapely.distance(corners, other.boundary)
        k = int(away.argmax())
        if away[k] > worst.size:
            worst = Deviation(float(away[k]), _xy(corners[k]))
    return worst


def _xy(point: BaseGeometry) -> Point:
    return float(point.x), float(point.y)


def shift_between(found: BaseGeometry, planned: BaseGeometry, kerf: float, hole: bool) -> Point | None:
    """The move that makes ``found`` out of ``planned``, when a move alone explains the difference."""
    dx = found.centroid.x - planned.centroid.x
    dy = found.centroid.y - planned.centroid.y
    back = affinity.translate(found, -dx, -dy)
    return (dx, dy) if deviation(back, planned, kerf, hole) is None else None


@dataclass(frozen=True, slots=True)
class Motion:
    """How ``found`` is turned (radians, counter-clockwise) and whether mirrored against the plan."""

    turn: float
    mirrored: bool


def motion_between(found: BaseGeometry, planned: BaseGeometry) -> Motion | None:
    """The turn, with or without mirroring, that explains most of the difference; None when none does.

    Both edges are walked in equal steps as complex numbers about their centre. For congruent edges one
    is the other times exp(i turn), started elsewhere, so the largest circular correlation gives the turn.
    """
    if found.geom_type != "Polygon" or planned.geom_type != "Polygon":
        return None
    if abs(found.length / planned.length - 1.0) > 0.01 or abs(found.area / planned.area - 1.0) > 0.01:
        return None
    walked = _walk(found)
    plain, flipped = _walk(planned), _walk(affinity.scale(planned, -1.0, 1.0))
    before = _worst(found, planned).size
    for reference, mirrored in ((plain, False), (flipped, True)):
        turn = _best_turn(walked, reference)
        if not mirrored and abs(turn) < LEAST_TURN:
            continue
        model = affinity.scale(planned, -1.0, 1.0) if mirrored else planned
        model = affinity.rotate(model, turn, origin="centroid", use_radians=True)
        dx, dy = found.centroid.x - model.centroid.x, found.centroid.y - model.centroid.y
        after = _worst(found, affinity.translate(model, dx, dy)).size
        if after < before / 3.0:
            return Motion(turn, mirrored)
    return None


def _walk(region: BaseGeometry) -> NDArray[np.complex128]:
    """Points in equal steps along the outer edge, counter-clockwise, about the region's centre."""
    points = shapely.get_coordinates(shapely.geometry.polygon.orient(region).exterior)
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))
    steps = along[-1] * np.arange(_SAMPLES) / _SAMPLES
    centre = region.centroid
    x = np.interp(steps, along, points[:, 0]) - centre.x
    y = np.interp(steps, along, points[:, 1]) - centre.y
    return np.asarray(x + 1j * y, dtype=np.complex128)


def _best_turn(walked: NDArray[np.complex128], reference: NDArray[np.complex128]) -> float:
    """The turn at the largest correlation over all starts, those between two samples included."""
    spectrum = np.conj(np.fft.fft(reference)) * np.fft.fft(walked)
    waves = np.fft.fftfreq(_SAMPLES, 1.0 / _SAMPLES)
    start = float(np.abs(np.fft.ifft(spectrum)).argmax())
    best = 0.0 + 0.0j
    for width in (1.0, 0.02, 0.0004):
        starts = start + width * np.linspace(-1.0, 1.0, 101)
        values = np.exp(2j * math.pi * np.outer(starts, waves) / _SAMPLES) @ spectrum
        k = int(np.abs(values).argmax())
        start, best = float(starts[k]), complex(values[k])
    return math.atan2(best.imag, best.real)
