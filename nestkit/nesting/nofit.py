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
    def of(cls, rings: Iterable[Contour]) -> Pieces:
        """Pieces from counter-clockwise rings that begin anywhere."""
        ordered = [_from_lowest(ring) for ring in rings]
        sizes = [0, *(len(ring) for ring in ordered)]
        points = np.concatenate(ordered) if ordered else np.empty((0, 2), dtype=np.int64)
        return cls(points, np.cumsum(np.array(sizes, dtype=np.int64)))

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
    return Pieces.of(piece for piece in pieces if _doubled_area(piece) > 0)


def turned_about(pieces: Pieces) -> Pieces:
    """The pieces turned by half a turn about the origin and drawn in by one unit.

    These are what a moving part's pieces are to the sums of `no_fit`. Drawn in, they let a part that
    fits exactly into a slot find its place there.
    """
    return Pieces.of(_drawn_in(-ring) for ring in pieces.rings())


def _from_lowest(ring: Contour) -> Contour:
    first = int(np.lexsort((ring[:, 0], ring[:, 1]))[0])
    return np.roll(ring, -first, axis=0) if first else ring


def _doubled_area(ring: Contour) -> int:
    x, y = ring[:, 0], ring[:, 1]
    return int((x * np.roll(y, -1) - np.roll(x, -1) * y).sum())


def no_fit(fixed: Pieces, moving: Pieces) -> list[Contour]:
    """Contours of the no-fit polygon: outer ones counter-clockwise, holes clockwise.

    Parameters
    ----------
    fixed : Pieces
        From `pieces_in_units`.
    moving : Pieces
        From `turned_about`.

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
    free: list[Ring] = [[[x0, y0], [x1, y0], [x1, y1], [x0, y1]]]
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


def _drawn_in(ring: Contour) -> Contour:
    """A convex ring made smaller by about one unit on each side."""
    low, high = ring.min(axis=0), ring.max(axis=0)
    if ((high - low) <= 4).any():
        return ring
    before = ring - np.roll(ring, 1, axis=0)
    after = np.roll(ring, -1, axis=0) - ring
    normals = _unit_normals(before) + _unit_normals(after)
    # Moving a corner by (n1 + n2) / (1 + n1.n2) moves both its edges in by one unit; capped at sharp tips.
    scale = np.maximum((normals * normals).sum(axis=1) / 2.0, 0.25)
    drawn_in: Contour = np.rint(ring + normals / scale[:, None]).astype(np.int64)
    return drawn_in


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


def free_places(room: Room, blocked: Sequence[Contour]) -> list[Contour]:
    """The part of a box (x0, y0, x1, y1) that no blocked contour covers, as contours."""
    x0, y0, x1, y1 = room
    box = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], dtype=np.int64)
    near = [
        ring
        for ring in blocked
        if len(ring)
        and ring[:, 0].min() < x1
        and ring[:, 0].max() > x0
        and ring[:, 1].min() < y1
        and ring[:, 1].max() > y0
    ]
    if not near:
        return [box]
    return [np.array(ring, dtype=np.int64) for ring in _less([box.tolist()], near)]
