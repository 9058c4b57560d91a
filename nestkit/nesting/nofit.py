"""No-fit polygons on a grid of whole numbers.

The no-fit polygon of a fixed piece and a moving one is where the moving one's origin may not lie. It
is the union of the Minkowski sums of their convex pieces; the moving piece's are turned about the
origin (Bennell and Oliveira 2008, "The geometry of nesting problems: a tutorial", EJOR 184).
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pyclipper
from numpy.typing import NDArray
from shapely.geometry import Polygon

from nestkit.geometry.convex import convex_pieces, convex_sums, is_left_out

#: Whole-number units in a millimetre.
UNITS = 10_000

Contour = NDArray[np.int64]
#: A ring as the clipper gives and takes it.
Ring = list[list[int]]
#: A box: x0, y0, x1, y1.
Room = tuple[int, int, int, int]

#: So many sums are taken away from a box at first, then twice as many each time.
FIRST_TAKEN = 8


@dataclass(frozen=True, eq=False)
class Pieces:
    """Convex counter-clockwise rings, each from its lowest, then leftmost, point.

    Parameters
    ----------
    points : (n, 2) int
        Corners of all of them.
    at : (count + 1,) int
        Where each begins, and where the last one ends.
    """

    points: Contour
    at: NDArray[np.int64]

    @classmethod
    def of(cls, rings: Sequence[Contour]) -> Pieces:
        """Pieces from counter-clockwise rings that begin anywhere."""
        points = np.concatenate(rings) if rings else np.empty((0, 2), dtype=np.int64)
        return cls._arranged(points, np.cumsum(np.array([0, *map(len, rings)], dtype=np.int64)))

    @classmethod
    def _arranged(cls, points: Contour, at: NDArray[np.int64]) -> Pieces:
        """Pieces from rings that stand where ``at`` says and begin anywhere."""
        begins, sizes = np.repeat(at[:-1], np.diff(at)), np.repeat(np.diff(at), np.diff(at))
        lowest = np.lexsort((points[:, 0], points[:, 1], begins))[at[:-1]]
        onward = np.arange(len(points)) + np.repeat(lowest - at[:-1], np.diff(at))
        return cls(points[begins + (onward - begins) % sizes], at)

    def turned_about(self) -> Pieces:
        """The pieces turned by half a turn about the origin and drawn in by one unit.

        These are what a moving part's pieces are to the sums of `no_fit`. Drawn in, they let a part that
        fits exactly into a slot find its place there.
        """
        if not self.count:
            return self
        points, at = -self.points, self.at
        before, after = _neighbours(at)
        normals = _unit_normals(points - points[before]) + _unit_normals(points[after] - points)
        # Moving a corner by (n1 + n2) / (1 + n1.n2) moves both edges in by one unit; capped at sharp tips.
        scale = np.maximum((normals * normals).sum(axis=1) / 2.0, 0.25)
        inward = normals / scale[:, None]
        extent = np.maximum.reduceat(points, at[:-1]) - np.minimum.reduceat(points, at[:-1])
        inward[np.repeat((extent <= 4).any(axis=1), np.diff(at))] = 0.0
        return Pieces._arranged(np.rint(points + inward).astype(np.int64), at)

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.at) - 1

    def rings(self) -> list[Contour]:
        """Each by itself."""
        return np.split(self.points, self.at[1:-1]) if self.count else []


def to_units(points: NDArray[np.float64]) -> Contour:
    """Millimetres to whole-number units."""
    units: Contour = np.rint(points * UNITS).astype(np.int64)
    return units


def pieces_in_units(*polygons: Polygon) -> Pieces:
    """Convex pieces of polygons in whole-number units."""
    pieces = [to_units(piece) for polygon in polygons for piece in convex_pieces(polygon)]
    if not pieces:
        return Pieces.of([])
    points, at = np.concatenate(pieces), np.cumsum([0, *map(len, pieces)])
    _, after = _neighbours(at)
    across = points[:, 0] * points[after, 1] - points[after, 0] * points[:, 1]
    areas = np.add.reduceat(across, at[:-1])
    return Pieces.of([piece for piece, area in zip(pieces, areas, strict=True) if area > 0])


def _neighbours(at: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Numbers of the corners before and after each one in its ring; no ring is empty."""
    numbers = np.arange(at[-1])
    before, after = numbers - 1, numbers + 1
    before[at[:-1]] = at[1:] - 1
    after[at[1:] - 1] = at[:-1]
    return before, after


def no_fit(fixed: Pieces, moving: Pieces) -> list[Contour]:
    """Contours of the no-fit polygon: outer ones counter-clockwise, holes clockwise.

    Parameters
    ----------
    fixed : Pieces
        From `pieces_in_units`.
    moving : Pieces
        From `Pieces.turned_about`.

    Returns
    -------
    list of (n, 2) int
        The moving piece's origin may lie on a contour (the pieces touch) but not inside.
    """
    # Sums of one fixed piece are joined first: the clipper's time grows faster than the number of rings.
    few, many = (fixed, moving) if fixed.count <= moving.count else (moving, fixed)
    points, at = convex_sums(few.points, few.at, many.points, many.at)
    corners, ends = points.tolist(), at.tolist()
    sums = [corners[begin:end] for begin, end in itertools.pairwise(ends)]
    joined = [ring for k in range(few.count) for ring in union(sums[k * many.count : (k + 1) * many.count])]
    return [np.array(ring, dtype=np.int64) for ring in union(joined)]


def leaves_room(room: Room, fixed: Pieces, moving: Pieces, looks: int = 5) -> bool:
    """Whether the moving piece's origin may lie somewhere in a box (x0, y0, x1, y1).

    Some spots all over the box are looked at first: most boxes that leave room are found out so. Then the
    sums are taken away from the box, those that cover most of it first: mostly few of them leave nothing,
    and the whole polygon is never made.
    """
    x0, y0, x1, y1 = room
    across = np.linspace(x0 + 1, x1 - 1, looks).astype(np.int64)
    along = np.linspace(y0 + 1, y1 - 1, looks).astype(np.int64)
    spots = np.column_stack((np.repeat(across, looks), np.tile(along, looks)))
    points, at = convex_sums(fixed.points, fixed.at, moving.points, moving.at)
    if is_left_out(spots, points, at):
        return True
    free = [box_ring(room)]
    order = _most_in_box(room, points, at)
    taken, chunk = 0, FIRST_TAKEN
    while taken < len(order) and free:
        free = _less(free, [points[at[k] : at[k + 1]] for k in order[taken : taken + chunk]])
        taken, chunk = taken + chunk, 2 * chunk
    return bool(free)


def _most_in_box(room: Room, points: Contour, at: NDArray[np.int64]) -> NDArray[np.int64]:
    """Numbers of the rings that reach into a box, roughly those first that cover most of it."""
    if len(at) < 2:
        return np.empty(0, dtype=np.int64)
    low = np.maximum(np.minimum.reduceat(points, at[:-1]), room[:2])
    high = np.minimum(np.maximum.reduceat(points, at[:-1]), room[2:])
    inside = (high - low).clip(min=0).astype(np.float64).prod(axis=1)
    order: NDArray[np.int64] = np.argsort(-inside, kind="stable")
    return order[: np.count_nonzero(inside)]


def _less(free: list[Ring], taken: Sequence[Contour]) -> list[Ring]:
    """What some rings leave of a region."""
    clipper = pyclipper.Pyclipper()
    clipper.AddPaths(free, pyclipper.PT_SUBJECT, True)
    clipper.AddPaths([ring.tolist() for ring in taken], pyclipper.PT_CLIP, True)
    found: list[Ring] = clipper.Execute(pyclipper.CT_DIFFERENCE, pyclipper.PFT_NONZERO, pyclipper.PFT_NONZERO)
    return found


def _unit_normals(edges: Contour) -> NDArray[np.float64]:
    """Inward unit normals of counter-clockwise edges."""
    lengths = np.maximum(np.hypot(edges[:, 0], edges[:, 1]), 1e-12)
    return np.column_stack((-edges[:, 1], edges[:, 0])) / lengths[:, None]


def union(rings: Iterable[Ring]) -> list[Ring]:
    """Union of rings: outer ones counter-clockwise, holes clockwise."""
    paths = [ring for ring in rings if len(ring) >= 3]
    if len(paths) < 2:
        return paths
    clipper = pyclipper.Pyclipper()
    clipper.AddPaths(paths, pyclipper.PT_SUBJECT, True)
    found: list[Ring] = clipper.Execute(pyclipper.CT_UNION, pyclipper.PFT_NONZERO, pyclipper.PFT_NONZERO)
    return found


def free_places(free: list[Ring], blocked: Sequence[Contour]) -> list[Ring]:
    """What no blocked contour covers of a region, which is given as the result is: as the clipper's rings."""
    if not free:
        return []
    corners = np.array([corner for ring in free for corner in ring])
    (x0, y0), (x1, y1) = corners.min(axis=0), corners.max(axis=0)
    near = [
        ring
        for ring in blocked
        if len(ring)
        and ring[:, 0].min() < x1
        and ring[:, 0].max() > x0
        and ring[:, 1].min() < y1
        and ring[:, 1].max() > y0
    ]
    return _less(free, near) if near else free


def box_ring(room: Room) -> Ring:
    """A box as the clipper's ring."""
    x0, y0, x1, y1 = room
    return [[x0, y0], [x1, y0], [x1, y1], [x0, y1]]
