"""Whether two regions are the same within the tolerance, and if not, how they differ."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

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

#: Between its points the plan's outline may leave an arc by its flatness.
OFF_ARC = SIZE + PLAN_FLATNESS + SLACK

#: A turn smaller than this (radians) is a change of shape, not of the turn.
LEAST_TURN = math.radians(0.01)

#: Regions are congruent when no more than this is left between them once one is turned back, mm.
ALIKE = 0.25

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


@dataclass(frozen=True, eq=False)
class Planned:
    """A region of the plan, finished size, that a region as cut has to be like.

    Parameters
    ----------
    region : shapely geometry
        From plan.json, so that curves are flattened; empty when the plan's outline is unusable, and then
        everything is like it.
    kerf : float, mm
        What no cut of this width can follow (slits, sharp inner corners) is not held against a cut.
    hole : bool
        True when the region is a hole, so that the cut runs inside and not outside of it.
    curved : bool
        True when the cut has arcs, from which the plan's outline may stand off between its points.
    """

    region: BaseGeometry
    kerf: float
    hole: bool
    curved: bool

    def deviation(self, found: BaseGeometry) -> Deviation | None:
        """How ``found`` differs; None when it does not, as far as the tolerance goes."""
        if self.region.is_empty:
            return None
        limit = OFF_ARC if self.curved else ON_EDGE
        edge = found.boundary
        shapely.prepare(edge)
        corners = shapely.points(shapely.get_coordinates(self.region))
        off = corners[~shapely.dwithin(corners, edge, ON_EDGE)]
        if not len(off) and _within(found, self.region, limit) and _within(self.region, found, limit):
            return None
        if self.kerf > 0.0:
            # A corner that the beam can't reach stands off from the reachable region, too.
            reachable = self._reachable
            off = off[shapely.distance(off, reachable.boundary) <= ON_EDGE]
            low, high = (reachable, self.region) if self.hole else (self.region, reachable)
            if not len(off) and _within(found, high, limit) and _within(low, found, limit):
                return None
        return worst_deviation(found, self.region)

    def shift(self, found: BaseGeometry) -> Point | None:
        """The move that leads from the plan to ``found``, when a move alone explains the difference."""
        if found.is_empty or self.region.is_empty:
            return None
        dx = found.centroid.x - self.region.centroid.x
        dy = found.centroid.y - self.region.centroid.y
        return (dx, dy) if self.deviation(affinity.translate(found, -dx, -dy)) is None else None

    def lost(self, found: BaseGeometry) -> Deviation | None:
        """The deepest slit that is not cut because the kerf is wider, when there is a deep one."""
        if self.kerf <= 0.0 or self.region.is_empty:
            return None
        edge = found.boundary
        shapely.prepare(edge)
        corners = shapely.points(shapely.get_coordinates(self.region))
        corners = corners[~shapely.dwithin(corners, edge, LOST_DEPTH)]
        corners = corners[~(shapely.distance(corners, self._reachable.boundary) <= LOST_DEPTH)]
        if not len(corners):
            return None
        away = shapely.distance(corners, edge)
        deepest = int(away.argmax())
        return Deviation(float(away[deepest]), _xy(corners[deepest]))

    @cached_property
    def _reachable(self) -> BaseGeometry:
        """The region that a round beam leaves of the outline, or makes of the hole."""
        half = -self.kerf / 2.0 if self.hole else self.kerf / 2.0
        return self.region.buffer(half).buffer(-half)


def _within(inner: BaseGeometry, outer: BaseGeometry, limit: float) -> bool:
    return bool(outer.buffer(limit, join_style="mitre").covers(inner))


def worst_deviation(found: BaseGeometry, planned: BaseGeometry) -> Deviation:
    """The largest distance between the edges of two regions, by their corners; ``planned`` is not empty."""
    at = _xy(planned.representative_point())
    if found.is_empty:
        return Deviation(math.sqrt(planned.area), at)
    worst = Deviation(0.0, at)
    for one, other in ((planned, found), (found, planned)):
        corners = shapely.points(shapely.get_coordinates(one))
        away = shapely.distance(corners, other.boundary)
        k = int(away.argmax())
        if away[k] > worst.size:
            worst = Deviation(float(away[k]), _xy(corners[k]))
    return worst


def _xy(point: BaseGeometry) -> Point:
    return float(point.x), float(point.y)


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
    best, left = None, min(_left_over(found, planned) / 3.0, ALIKE)
    for mirrored in (False, True):
        model = affinity.scale(planned, -1.0, 1.0) if mirrored else planned
        turn = _best_turn(walked, _walk(model))
        if mirrored or abs(turn) > LEAST_TURN:
            after = _left_over(found, affinity.rotate(model, turn, origin="centroid", use_radians=True))
            if after < left:
                best, left = Motion(turn, mirrored), after
    return best


def _left_over(found: BaseGeometry, model: BaseGeometry) -> float:
    """How far the edges of two regions are apart once their centres lie on each other, mm."""
    dx, dy = found.centroid.x - model.centroid.x, found.centroid.y - model.centroid.y
    return worst_deviation(found, affinity.translate(model, dx, dy)).size


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
