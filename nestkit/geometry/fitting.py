"""Chords that stand for a curve become arcs and lines again, joined without a kink.

A curve reaches the cutter as hundreds of chords when nothing is done: offsets, splines and ellipses come
so. Cutters slow down at each of their corners, and a knife leaves facets. Here runs of chords become
pairs of arcs from one vertex to a later one, tangent to the curve at both, each pair as long as the
tolerance allows. Corners, long straight pieces and arcs that are there stay.

Chords lie inside the curve that arcs through their ends go back to, so that a small round shape gains
area. Where that is more than `AREA_SHARE`, the arcs run a little further in, between the chords' ends and
middles, and what is still too much is taken from their bulges.

References
----------
D. S. Meek and D. J. Walton 1992, *Approximation of discrete data by G1 arc splines*, Computer-Aided
Design 24(6), 301-306: the longest biarc within the tolerance, one after another.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from nestkit.geometry.biarcs import Biarc, Row, Spot, biarc, single
from nestkit.geometry.near import run_together
from nestkit.geometry.path import Path

#: Fitted paths stay within this of the chords, both ways, mm: two of them side by side take less from the
#: gap between two parts than the check allows, and with the chords' own flatness it stays under 0.02 mm.
TOLERANCE = 0.008
#: A closed path's area changes by less than this share.
AREA_SHARE = 1e-4
#: What an open path and its chord enclose may change by a shift of this many mm all along.
AREA_SHIFT = 0.004
#: Points closer than this may be one corner that was moved outward, and so rounded, mm.
CLOSE = 0.06
#: Points closer than this are one, mm.
SAME_SPOT = 0.001
#: A turn whose neighbouring chords would stand off their curve by this many tolerances is a corner.
CORNER = 2.5
#: Sharper turns are corners however short their chords are, radians.
SHARPEST = math.radians(20.0)
#: A chord that would stand off a curve by this many tolerances is no curve's chord but a straight piece.
LONG = 2.0
#: One arc stands for two when it is off the tangents by no more than this, radians.
SAME = 0.001
#: Rounds of evening out the arcs of a run.
EVENING = 4

Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Band:
    """Where arcs may run.

    Parameters
    ----------
    tolerance : float, mm
        How far from the chords.
    drawn_in : float
        How far inside of the chords' ends they begin and end: 0 not at all, 1 so far that a run of chords
        keeps its area.
    """

    tolerance: float
    drawn_in: float


#: What is tried in turn, the tolerance as a share of the one that is allowed: near other parts of the path
#: a narrow band may do where a wide one crosses them, and the area comes nearer the narrower it is.
BANDS = (Band(1.0, 0.0), Band(1.0, 1.0), Band(0.6, 1.0), Band(0.35, 1.0), Band(0.25, 1.0))
#: Arcs whose bulges are changed for the area's sake may meet at this angle, radians.
MOST_KINK = math.radians(0.3)


def fitted(path: Path, tolerance: float = TOLERANCE) -> Path:
    """The path with its runs of chords made tangent arcs and lines.

    Parameters
    ----------
    path : Path
        Open or closed; an open one keeps its ends.
    tolerance : float, mm
        No point of either path is farther than this from the other.

    Returns
    -------
    Path
        The same path when nothing is gained, or when arcs would make it cross itself or change its area.

    Raises
    ------
    ValueError
        When the tolerance is not above 0.
    """
    if not tolerance > 0.0:
        raise ValueError("a tolerance is above 0")
    for band in BANDS:
        rows = _rows(path, replace(band, tolerance=band.tolerance * tolerance))
        if len(rows) >= len(path.vertices):
            return path
        found = _path(rows, path.closed)
        if found is not None and path.closed:
            found = _of_its_area(found, path)
        if found is not None and _is_sound(found, path, tolerance):
            return found
    return path


def _path(rows: list[Row], closed: bool) -> Path | None:
    try:
        return Path(np.array(rows), closed)
    except ValueError:
        return None


def _of_its_area(found: Path, path: Path) -> Path | None:
    """The fitted ring, the bulges of its new arcs changed if the area asks for it; None if that kinks it."""
    over = found.signed_area - path.signed_area
    excess = abs(over) - 0.9 * AREA_SHARE * abs(path.signed_area)
    if excess <= 0.0:
        return found
    drawn = {tuple(piece) for piece in path.pieces().tolist()}
    pieces = found.pieces()
    new = np.array([bool(piece[4]) and tuple(piece) not in drawn for piece in pieces.tolist()])
    angles = 4.0 * np.arctan(pieces[new, 4])
    chords = np.hypot(*(pieces[new, 2:4] - pieces[new, :2]).T)
    segments = float(((chords / np.sin(angles / 2.0)) ** 2 / 8.0 * (angles - np.sin(angles))).sum())
    share = math.copysign(excess, over) / segments if segments else math.inf
    if abs(share) * np.abs(angles).max(initial=0.0) > MOST_KINK:
        return None
    rows = found.vertices.copy()
    rows[np.flatnonzero(new), 2] = np.tan((1.0 - share) * angles / 4.0)
    return Path(rows, True)


def _is_sound(found: Path, path: Path, tolerance: float) -> bool:
    fine = tolerance / 16.0
    ring = shapely.LinearRing if path.closed else shapely.LineString
    new, old = found.flatten(fine), path.flatten(fine)
    if len(new) < 3 and path.closed:
        return False
    one, other = ring(new), ring(old)
    if other.is_simple and not one.is_simple:
        return False
    most = AREA_SHARE * abs(path.signed_area) if path.closed else AREA_SHIFT * path.length
    if abs(found.signed_area - path.signed_area) >= most:
        return False
    limit = tolerance + 2.0 * fine
    return run_together(one, other, limit)


def _rows(path: Path, band: Band) -> list[Row]:
    """Vertices of the fitted path; an open path's end is the last."""
    pieces = path.pieces()
    pieces = pieces[(pieces[:, 4] != 0.0) | (pieces[:, :2] != pieces[:, 2:4]).any(axis=1)]
    lines = pieces[:, 4] == 0.0
    if path.closed and lines.all():
        return list(_all_round(pieces[:, :2], band)) if len(pieces) > 2 else []
    # A closed path is begun at an arc, so that no run of chords is cut in two.
    pieces = np.roll(pieces, -int(np.argmin(lines)), axis=0) if path.closed else pieces
    rows: list[Row] = []
    for run in _runs(pieces):
        if run[0, 4]:
            rows += [(float(x), float(y), float(bulge)) for x, y, _, _, bulge in run]
        else:
            rows += _fit(np.vstack((run[:, :2], run[-1:, 2:4])), band)
    return rows if path.closed else [*rows, (*path.end, 0.0)]


def _runs(pieces: NDArray[np.float64]) -> Iterator[NDArray[np.float64]]:
    """Pieces that are all lines or all arcs, in order."""
    arcs = pieces[:, 4] != 0.0
    yield from np.split(pieces, np.flatnonzero(arcs[1:] != arcs[:-1]) + 1)


def _all_round(points: Points, band: Band) -> Iterator[Row]:
    """Rows of a ring of chords."""
    # Taken apart in the middle of its longest chord, where there is no corner to round.
    longest = int(np.argmax(np.hypot(*(np.roll(points, -1, axis=0) - points).T)))
    points = np.roll(points, -longest - 1, axis=0)
    middle = (points[:1] + points[-1:]) / 2.0
    points = _without_rounded_corners(np.vstack((middle, points, middle)), band.tolerance)[1:-1]
    begin = int(np.argmax(np.abs(_turns(np.vstack((points[-1:], points, points[:1]))))))
    points = np.roll(points, -begin, axis=0)
    closed = np.vstack((points, points[:1]))
    ring = _Run(np.vstack((points[-1:], closed)), band)
    # Begun at its sharpest turn: when that is no corner, there is none.
    yield from _fit(closed, band, None if ring.corner[0] else (ring.spots[1], ring.tangents[1]))


def _fit(points: Points, band: Band, joined: tuple[Points, Points] | None = None) -> Iterator[Row]:
    """Rows of a run of chords, its last point left out.

    ``joined`` is where arcs meet at both ends of a run that closes on itself smoothly, and their direction.
    """
    points = _without_rounded_corners(points, band.tolerance)
    corners = np.flatnonzero(_Run(points, band).corner) + 1
    edges = [0, *corners.tolist(), len(points) - 1]
    for first, last in pairwise(edges):
        run = _Run(points[first : last + 1], band)
        if joined is not None and len(edges) == 2:
            run.spots[[0, -1]], run.tangents[[0, -1]] = joined
        yield from run.rows()


def _turns(points: Points) -> NDArray[np.float64]:
    """Turns at the inner points, radians, positive to the left."""
    steps = np.diff(points, axis=0)
    a, b = steps[:-1], steps[1:]
    return np.asarray(np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], (a * b).sum(axis=1)))


def _without_rounded_corners(points: Points, tolerance: float) -> Points:
    """The points with the two or three of a slightly rounded corner made one where its chords meet."""
    points = _without_crumbs(points)
    sizes = np.hypot(*np.diff(points, axis=0).T)
    kept: list[Points] = []
    k = 0
    while k < len(points):
        last = k
        while last < len(sizes) and sizes[last] < CLOSE and last - k < 3:
            last += 1
        meeting = None
        if last > k > 0 and last < len(points) - 1:
            meeting = _meeting(points[k - 1 : k + 1], points[last : last + 2])
        if meeting is not None and np.hypot(*(points[k : last + 1] - meeting).T).max() < CLOSE:
            chord = points[last] - points[k]
            off = abs(chord[0] * (meeting - points[k])[1] - chord[1] * (meeting - points[k])[0])
            if off <= tolerance / 4.0 * math.hypot(*chord):
                kept.append(meeting)
                k = last + 1
                continue
        kept.append(points[k])
        k += 1
    return np.array(kept)


def _without_crumbs(points: Points) -> Points:
    """The points less those that are hardly apart; the first and the last stay."""
    if (np.hypot(*np.diff(points, axis=0).T) > SAME_SPOT).all():
        return points
    kept = [points[0]]
    for point in points[1:-1]:
        if min(math.dist(point, kept[-1]), math.dist(point, points[-1])) > SAME_SPOT:
            kept.append(point)
    return np.array([*kept, points[-1]])


def _meeting(one: Points, other: Points) -> Points | None:
    """Where the lines through two chords meet, if they turn enough to tell."""
    a, b = one[1] - one[0], other[1] - other[0]
    turn = a[0] * b[1] - a[1] * b[0]
    if abs(turn) < 1e-4 * math.hypot(*a) * math.hypot(*b):
        return None
    gap = other[0] - one[1]
    share = (gap[0] * b[1] - gap[1] * b[0]) / turn
    return np.asarray(one[1] + share * a)


class _Run:
    """Chords between two corners, with what is known of the curve that they stand for."""

    def __init__(self, points: Points, band: Band) -> None:
        self.points = points
        self.tolerance = tolerance = band.tolerance
        steps = np.diff(points, axis=0)
        sizes = np.hypot(*steps.T)
        ways = steps / sizes[:, None]
        turns = _turns(points)
        shorter = np.minimum(sizes[:-1], sizes[1:])
        #: Whether each inner point is a corner.
        self.corner = (np.abs(turns) > SHARPEST) | (np.abs(turns) * shorter / 8.0 > CORNER * tolerance)
        least = np.minimum(np.append(np.abs(turns), np.inf), np.insert(np.abs(turns), 0, np.inf))
        self._straight = np.where(np.isinf(least), True, least * sizes / 8.0 > LONG * tolerance)
        #: Directions at the points, of length 1.
        self.tangents = self._directions(ways, sizes)
        #: Where arcs begin and end.
        self.spots = points + band.drawn_in * self._inward(turns, sizes)

    def _inward(self, turns: NDArray[np.float64], sizes: NDArray[np.float64]) -> Points:
        """How far each point is from where arcs leave the area to the chords as it is."""
        found = np.zeros_like(self.points)
        a, b = sizes[:-1], sizes[1:]
        # Between a chord of length L and its arc of curvature k lies k L^3 / 12; it is shared out along both.
        away = turns / (a + b) * (a * a - a * b + b * b) / 6.0
        away[self._straight[:-1] | self._straight[1:]] = 0.0
        found[1:-1] = away[:, None] * self.tangents[1:-1] @ np.array([[0.0, 1.0], [-1.0, 0.0]])
        return found

    def _directions(self, ways: Points, sizes: NDArray[np.float64]) -> Points:
        found = np.empty_like(self.points)
        # At a point between two chords of a circle the shorter one is nearer to the circle's direction.
        inner = ways[:-1] * sizes[1:, None] + ways[1:] * sizes[:-1, None]
        found[1:-1] = inner / np.hypot(*inner.T)[:, None]
        for k in np.flatnonzero(self._straight):
            found[k] = found[k + 1] = ways[k]
        # At the ends the first and the last chord are taken for chords of a circle.
        for end, inside, chord in ((0, 1, 0), (-1, -2, -1)):
            if not self._straight[chord]:
                found[end] = 2.0 * (found[inside] @ ways[chord]) * ways[chord] - found[inside]
        return found

    def rows(self) -> Iterator[Row]:
        """Rows of arcs and lines, the last point left out."""
        straight = set(np.flatnonzero(self._straight).tolist())
        ends = {0, len(self.points) - 1} | straight | {k + 1 for k in straight}
        knots = sorted(ends)
        for first, last in pairwise(knots):
            if first in straight:
                yield (*self._spot(first), 0.0)
            else:
                yield from self._curve(first, last)

    def _curve(self, first: int, last: int) -> Iterator[Row]:
        knots = self._longest(first, last, self.tolerance)
        # The last arcs would be short and the others at the limit: the same number can do better.
        good, bad = self.tolerance, 0.0
        for _ in range(EVENING if len(knots) > 2 else 0):
            tried = (good + bad) / 2.0
            others = self._longest(first, last, tried)
            if len(others) == len(knots):
                good, knots = tried, others
            else:
                bad = tried
        for start, end in pairwise(knots):
            found = self._span(start, end, good)
            yield from found.rows() if found is not None else [(*self._spot(start), 0.0)]

    def _longest(self, first: int, last: int, tolerance: float) -> list[int]:
        """Points from the first to the last, each as far on from the one before as the tolerance allows."""
        knots = [first]
        while knots[-1] < last:
            at = knots[-1]
            good, step = at + 1, 2
            while at + step <= last and self._span(at, at + step, tolerance) is not None:
                good, step = at + step, 2 * step
            bad = min(at + step, last + 1)
            if bad == last + 1 and good < last and self._span(at, last, tolerance) is not None:
                good = last
            while bad - good > 1:
                middle = (good + bad) // 2
                if self._span(at, middle, tolerance) is not None:
                    good = middle
                else:
                    bad = middle
            knots.append(good)
        # The last two share what is left: else the last is a crumb.
        if len(knots) > 2:
            share = (knots[-3] + last) // 2
            if all(self._span(*ends, tolerance) is not None for ends in ((knots[-3], share), (share, last))):
                knots[-2] = share
        return knots

    def _span(self, first: int, last: int, tolerance: float) -> Biarc | None:
        """One arc or two over the chords from a point to another, if they stay near them."""
        start, end = self._spot(first), self._spot(last)
        along, onward = self._way(first), self._way(last)
        one = single(start, along, end, onward)
        near = one is not None and (one[1] <= SAME or last == first + 1)
        if one is not None and near and one[0].farthest(self.points, first, last) <= tolerance:
            return one[0]
        if last == first + 1:
            return None
        two = biarc(start, along, end, onward)
        return two if two is not None and two.farthest(self.points, first, last) <= tolerance else None

    def _spot(self, k: int) -> Spot:
        return float(self.spots[k, 0]), float(self.spots[k, 1])

    def _way(self, k: int) -> Spot:
        return float(self.tangents[k, 0]), float(self.tangents[k, 1])
