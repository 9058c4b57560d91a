"""Tables for shapes with listed turns: the displacements at which two shapes overlap, as half planes.

For each pair of convex pieces these displacements are a convex set (the Minkowski sum of one with the
other mirrored through the origin). Where time allows, the sets of a pair of shapes are united and
covered anew by fewer, larger convex sets: less to look up, and a truer depth.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from nestkit.geometry.affine import rotation
from nestkit.jit import inner, kernel, maker
from nestkit.nesting.overlap.cover import convex_cover
from nestkit.nesting.overlap.state import Floats, Ints

#: Sets are united a little smaller, so that places of exact fit stay open; then grown back. Frame units.
_SHRINK = 1e-9
#: United on a grid of this width, frame units.
_GRID = 1e-12

Poly = NDArray[np.float64]


class Tables(NamedTuple):
    """See `state.Shapes`, where these four arrays stand under the same names."""

    planes: Floats
    poly_at: Ints
    poly_box: Floats
    pair_at: Ints

    @classmethod
    def none(cls) -> Tables:
        """No tables: depths are taken from the vertices."""
        nothing = np.zeros(1, dtype=np.int64)
        return cls(np.empty((0, 3)), nothing, np.empty((0, 4)), nothing)


@inner
def _pair_planes(verts: Floats, a0: int, a1: int, b0: int, b1: int, planes: Floats, at: int) -> int:
    """Writes the half planes of the displacements at which piece a overlaps piece b; the next free row."""
    for k in range(b0, b1):
        nx, ny = verts[k, 2], verts[k, 3]
        low = np.inf
        for m in range(a0, a1):
            low = min(low, nx * verts[m, 0] + ny * verts[m, 1])
        planes[at, 0], planes[at, 1], planes[at, 2] = nx, ny, verts[k, 4] - low
        at += 1
    for k in range(a0, a1):
        nx, ny = verts[k, 2], verts[k, 3]
        low = np.inf
        for m in range(b0, b1):
            low = min(low, nx * verts[m, 0] + ny * verts[m, 1])
        planes[at, 0], planes[at, 1], planes[at, 2] = -nx, -ny, verts[k, 4] - low
        at += 1
    return at


@inner
def _reach(verts: Floats, a0: int, a1: int, b0: int, b1: int, nx: float, ny: float) -> float:
    """How far the overlapping displacements of piece a against piece b reach along (nx, ny)."""
    high, low = -np.inf, np.inf
    for k in range(b0, b1):
        high = max(high, nx * verts[k, 0] + ny * verts[k, 1])
    for k in range(a0, a1):
        low = min(low, nx * verts[k, 0] + ny * verts[k, 1])
    return high - low


@maker
def _covered(verts: Floats, piece_at: Ints, shape_at: Ints, a: int, b: int, p: int, q: int) -> bool:
    """Whether the displacements of pieces p, q lie within those of another pair of shapes a and b."""
    a0, a1, b0, b1 = piece_at[p], piece_at[p + 1], piece_at[q], piece_at[q + 1]
    limit = np.empty((256, 3))
    for r in range(shape_at[a], shape_at[a + 1]):
        for s in range(shape_at[b], shape_at[b + 1]):
            if r == p and s == q:
                continue
            c0, c1, d0, d1 = piece_at[r], piece_at[r + 1], piece_at[s], piece_at[s + 1]
            if c1 - c0 + d1 - d0 > 256:
                continue
            end = _pair_planes(verts, c0, c1, d0, d1, limit, int(np.int64(0)))
            inside, equal = True, True
            for k in range(end):
                reach = _reach(verts, a0, a1, b0, b1, limit[k, 0], limit[k, 1])
                eps = 1e-12 * (abs(reach) + abs(limit[k, 2]))
                if reach > limit[k, 2] + eps:
                    inside = False
                    break
                if reach < limit[k, 2] - eps:
                    equal = False
            # Of two equal ones the first stays.
            if inside and (not equal or (r, s) < (p, q)):
                return True
    return False


@kernel
def raw_polys(
    verts: Floats, piece_at: Ints, shape_at: Ints, a: int, b: int, planes: Floats, ends: Ints
) -> int:
    """Half planes of every pair of pieces of shapes a and b, one after another; how many pairs.

    A pair whose displacements all lie within another's is left out: it adds nothing to where the
    shapes overlap. ``ends`` tells where each pair's rows end.
    """
    row, polys = int(np.int64(0)), 0
    for p in range(shape_at[a], shape_at[a + 1]):
        for q in range(shape_at[b], shape_at[b + 1]):
            if not _covered(verts, piece_at, shape_at, a, b, p, q):
                row = _pair_planes(
                    verts, piece_at[p], piece_at[p + 1], piece_at[q], piece_at[q + 1], planes, row
                )
                ends[polys] = row
                polys += 1
    return polys


@inner
def _support(planes: Poly, dx: float, dy: float) -> float:
    """How far the bounded convex set of half planes ``planes`` (n, 3), none idle, goes along (dx, dy)."""
    left, right = 0, 0
    most_left, most_right = -2.0, -2.0
    for k in range(len(planes)):
        dot = planes[k, 0] * dx + planes[k, 1] * dy
        side = dx * planes[k, 1] - dy * planes[k, 0]
        if side >= 0.0 and dot > most_left:
            left, most_left = k, dot
        if side <= 0.0 and dot > most_right:
            right, most_right = k, dot
    cross = planes[right, 0] * planes[left, 1] - planes[left, 0] * planes[right, 1]
    if cross < 1e-12:
        # One edge faces that way: the set ends there.
        return float(planes[left, 2])
    x = (planes[right, 2] * planes[left, 1] - planes[left, 2] * planes[right, 1]) / cross
    y = (planes[right, 0] * planes[left, 2] - planes[left, 0] * planes[right, 2]) / cross
    return float(x * dx + y * dy)


@kernel
def bounds_of(planes: Poly, poly_at: Ints, boxes: Poly) -> None:
    """Bounds x0, y0, x1, y1 of the bounded convex sets that the half planes leave, into ``boxes`` (m, 4).

    Set q has the rows poly_at[q] onward; each row is an edge of it.
    """
    for q in range(len(boxes)):
        rows = planes[poly_at[q] : poly_at[q + 1]]
        boxes[q, 0], boxes[q, 1] = -_support(rows, -1.0, 0.0), -_support(rows, 0.0, -1.0)
        boxes[q, 2], boxes[q, 3] = _support(rows, 1.0, 0.0), _support(rows, 0.0, 1.0)


def _corners(planes: Poly) -> Poly:
    """Corners of the bounded convex set that the half planes ``planes`` (n, 3) leave, counter-clockwise."""
    order = np.argsort(np.arctan2(planes[:, 1], planes[:, 0]), kind="stable")
    rows = planes[order]
    # Of parallel planes the tightest counts.
    same = np.abs(rows[:, :2] - np.roll(rows[:, :2], 1, axis=0)).max(axis=1) < 1e-12
    rows = rows[~same] if not same.all() else rows
    after = np.roll(rows, -1, axis=0)
    cross = rows[:, 0] * after[:, 1] - rows[:, 1] * after[:, 0]
    x = (rows[:, 2] * after[:, 1] - after[:, 2] * rows[:, 1]) / cross
    y = (rows[:, 0] * after[:, 2] - after[:, 0] * rows[:, 2]) / cross
    return np.column_stack((x, y))


def _exact(piece: Poly, raw: Poly) -> Poly:
    """Half planes of a piece of the united sets, taken from the ``raw`` ones that they came from."""
    edge = np.roll(piece, -1, axis=0) - piece
    length = np.hypot(edge[:, 0], edge[:, 1])
    piece, edge, length = piece[length > 0.0], edge[length > 0.0], length[length > 0.0]
    nx, ny = edge[:, 1] / length, -edge[:, 0] / length
    middle = piece + edge / 2.0
    c = nx * middle[:, 0] + ny * middle[:, 1] + _SHRINK
    near = np.argmin(
        np.abs(raw[None, :, 0] - nx[:, None]) + np.abs(raw[None, :, 1] - ny[:, None])
        + np.abs(raw[None, :, 2] - c[:, None]),
        axis=1,
    )  # fmt: skip
    found = raw[near]
    off = np.abs(found - np.column_stack((nx, ny, c))).max(axis=1)
    return np.where((off < 1e-7)[:, None], found, np.column_stack((nx, ny, c)))


def _merged(polys: list[Poly]) -> list[Poly]:
    """The same displacements in fewer and larger polys, where there are."""
    shrunk = [Polygon(_corners(poly)).buffer(-_SHRINK, join_style="mitre") for poly in polys]
    sets = [piece for piece in shrunk if not piece.is_empty]
    # On a grid: without one GEOS may lose part of the union of sets whose edges nearly coincide.
    whole = shapely.union_all(sets, grid_size=_GRID)
    raw = np.concatenate(polys)
    found = [
        _exact(piece, raw)
        for part in shapely.get_parts(whole)
        for piece in convex_cover(part, tries=2, prune=False)
    ]
    return found if len(found) <= len(polys) and _all_within(sets, found) else polys


def _all_within(sets: list[Polygon], found: list[Poly]) -> bool:
    """Whether spots all over each of the sets, most of them near its edge, lie in a poly that was found."""
    spots = []
    for piece in sets:
        corners = shapely.get_coordinates(piece.exterior)[:-1]
        middle, after = corners.mean(axis=0), np.roll(corners, -1, axis=0)
        for share in (0.5, 0.99):
            for along in (0.0, 0.25, 0.5, 0.75):
                spots.append(middle + share * (corners + along * (after - corners) - middle))
    inside = [(np.concatenate(spots) @ poly[:, :2].T < poly[:, 2]).all(axis=1) for poly in found]
    return bool(np.any(inside, axis=0).all())


def _rejecting_first(planes: Poly, bounds: Poly) -> Poly:
    """The half planes, those first that shut out most of their set's bounding box."""
    grid = np.linspace(0.03, 0.97, 9)
    x = bounds[0] + grid * (bounds[2] - bounds[0])
    y = bounds[1] + grid * (bounds[3] - bounds[1])
    points = np.array([(u, v) for u in x for v in y])
    out = points @ planes[:, :2].T >= planes[:, 2]
    left = np.ones(len(points), dtype=bool)
    order: list[int] = []
    for _ in range(len(planes)):
        shut = (out & left[:, None]).sum(axis=0)
        shut[order] = -1
        order.append(int(np.argmax(shut)))
        left &= ~out[:, order[-1]]
    return planes[order]


def _in_order(polys: list[Poly]) -> list[Poly]:
    """The polys, the largest first: those are the likeliest to make a place too bad to look on."""
    sizes, ends = np.empty((len(polys), 4)), np.cumsum([0, *map(len, polys)])
    bounds_of(np.concatenate(polys), ends, sizes)
    order = np.argsort(-np.prod(sizes[:, 2:] - sizes[:, :2], axis=1), kind="stable")
    return [_rejecting_first(polys[k], sizes[k]) for k in order]


def _raw(verts: Floats, piece_at: Ints, shape_at: Ints, a: int, b: int) -> tuple[int, Floats, Ints]:
    """`raw_polys` with arrays of the right size."""
    pieces_a, pieces_b = (
        piece_at[shape_at[a] : shape_at[a + 1] + 1],
        piece_at[shape_at[b] : shape_at[b + 1] + 1],
    )
    count_a, count_b = len(pieces_a) - 1, len(pieces_b) - 1
    corners_a, corners_b = int(pieces_a[-1] - pieces_a[0]), int(pieces_b[-1] - pieces_b[0])
    rows = np.empty((corners_a * count_b + corners_b * count_a, 3))
    ends = np.empty(count_a * count_b, dtype=np.int64)
    found = raw_polys(verts, piece_at, shape_at, a, b, rows, ends)
    return found, rows[: ends[found - 1]], ends[:found]


def pair_tables(
    verts: Floats, piece_at: Ints, shape_at: Ints, classes: Ints, turns: Floats, merge: int, fixed: int = 0
) -> Tables:
    """Tables for every pair of shapes.

    Parameters
    ----------
    verts, piece_at, shape_at
        As in `state.Shapes`.
    classes, turns : (shapes,)
        Shapes of one class are one outline at these turns, so that a pair's table can be had from
        another pair's with the same difference of turns.
    merge : int
        So many pairs of pieces may be merged; the rest stay as they are.
    fixed : int
        So many of the shapes, at the end, never move: pairs of them have no table.
    """
    count = len(classes)
    done: dict[tuple[int, int, int], tuple[float, Poly, list[int]]] = {}
    planes: list[Poly] = []
    corners: list[int] = []
    pair_at = [0]
    for a in range(count):
        for b in range(count):
            if min(a, b) >= count - fixed:
                pair_at.append(len(corners))
                continue
            ka, kb = int(classes[a]), int(classes[b])
            key = (ka, kb, round(float(turns[b] - turns[a]) % (2.0 * np.pi) * 1e9))
            back = (kb, ka, round(float(turns[a] - turns[b]) % (2.0 * np.pi) * 1e9))
            if key in done:
                rows, sizes = _turned(done[key][1], turns[a] - done[key][0], 1.0), done[key][2]
            elif back in done:
                rows, sizes = _turned(done[back][1], turns[b] - done[back][0], -1.0), done[back][2]
            else:
                found, rows, ends = _raw(verts, piece_at, shape_at, a, b)
                sizes = np.diff(ends, prepend=0).tolist()
                if found <= merge:
                    merge -= found
                    polys = np.split(rows, ends[:-1])
                    polys = _in_order(_merged(polys) if found > 1 else polys)
                    rows, sizes = np.concatenate(polys), [len(poly) for poly in polys]
                done[key] = (float(turns[a]), rows, sizes)
            planes.append(rows)
            corners += sizes
            pair_at.append(len(corners))
    all_planes, poly_at = np.concatenate(planes), np.cumsum([0, *corners])
    boxes = np.empty((len(corners), 4))
    bounds_of(all_planes, poly_at, boxes)
    return Tables(all_planes, poly_at, boxes, np.array(pair_at, dtype=np.int64))


def _turned(planes: Poly, turn: float, sign: float) -> Poly:
    """Half planes turned by ``turn``; with ``sign`` -1 mirrored through the origin as well."""
    matrix = sign * rotation(turn)[:, :2]
    return np.column_stack((planes[:, :2] @ matrix.T, planes[:, 2]))
