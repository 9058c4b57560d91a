"""How deep two shapes lie in each other: the sum of separating-axis depths over pairs of convex pieces.

Zero exactly when they are disjoint, linear near contact, and with a gradient. Two ways to the same
number: from the vertices (any turn), or from tables made once for each pair of shapes (listed turns),
which hold for each pair of pieces the set of displacements at which they overlap, as half planes.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from nestkit.nesting.overlap.state import Floats, Ints, Shapes, State


@njit(cache=True)
def table_depth(shapes: Shapes, a: int, b: int, dx: float, dy: float) -> tuple[float, float, float]:
    """Depth of shape a in shape b when a lies at (dx, dy) from b, and the depth's gradient in (dx, dy)."""
    total, gx, gy = 0.0, 0.0, 0.0
    pair = a * len(shapes.box) + b
    for q in range(shapes.pair_at[pair], shapes.pair_at[pair + 1]):
        if dx <= shapes.poly_box[q, 0] or dx >= shapes.poly_box[q, 2]:
            continue
        if dy <= shapes.poly_box[q, 1] or dy >= shapes.poly_box[q, 3]:
            continue
        least, best = np.inf, -1
        for k in range(shapes.poly_at[q], shapes.poly_at[q + 1]):
            away = shapes.planes[k, 2] - shapes.planes[k, 0] * dx - shapes.planes[k, 1] * dy
            if away < least:
                least, best = away, k
                if away <= 0.0:
                    break
        if least > 0.0:
            total += least
            gx -= shapes.planes[best, 0]
            gy -= shapes.planes[best, 1]
    return total, gx, gy


@njit(cache=True)
def slot_depth(
    shapes: Shapes, state: State, i: int, a: int, j: int, b: int, dx: float, dy: float
) -> tuple[float, float, float]:
    """The same from the vertices in slots i (shape a) and j (shape b)."""
    total, gx, gy = 0.0, 0.0, 0.0
    first_a, first_b = shapes.piece_at[shapes.shape_at[a]], shapes.piece_at[shapes.shape_at[b]]
    for p in range(shapes.shape_at[a], shapes.shape_at[a + 1]):
        own = p - shapes.shape_at[a]
        x0, y0 = state.slot_boxes[i, own, 0] + dx, state.slot_boxes[i, own, 1] + dy
        x1, y1 = state.slot_boxes[i, own, 2] + dx, state.slot_boxes[i, own, 3] + dy
        pa, pb = shapes.piece_at[p] - first_a, shapes.piece_at[p + 1] - first_a
        for q in range(shapes.shape_at[b], shapes.shape_at[b + 1]):
            other = q - shapes.shape_at[b]
            if x0 >= state.slot_boxes[j, other, 2] or x1 <= state.slot_boxes[j, other, 0]:
                continue
            if y0 >= state.slot_boxes[j, other, 3] or y1 <= state.slot_boxes[j, other, 1]:
                continue
            qa, qb = shapes.piece_at[q] - first_b, shapes.piece_at[q + 1] - first_b
            least, nx, ny = np.inf, 0.0, 0.0
            for k in range(qa, qb):
                ex, ey = state.slots[j, k, 2], state.slots[j, k, 3]
                low = np.inf
                for m in range(pa, pb):
                    low = min(low, ex * state.slots[i, m, 0] + ey * state.slots[i, m, 1])
                away = state.slots[j, k, 4] - low - ex * dx - ey * dy
                if away < least:
                    least, nx, ny = away, ex, ey
                    if away <= 0.0:
                        break
            if least <= 0.0:
                continue
            for k in range(pa, pb):
                ex, ey = state.slots[i, k, 2], state.slots[i, k, 3]
                low = np.inf
                for m in range(qa, qb):
                    low = min(low, ex * state.slots[j, m, 0] + ey * state.slots[j, m, 1])
                away = state.slots[i, k, 4] - low + ex * dx + ey * dy
                if away < least:
                    least, nx, ny = away, -ex, -ey
                    if away <= 0.0:
                        break
            if least > 0.0:
                total += least
                gx -= nx
                gy -= ny
    return total, gx, gy


@njit(cache=True)
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


@njit(cache=True)
def _reach(verts: Floats, a0: int, a1: int, b0: int, b1: int, nx: float, ny: float) -> float:
    """How far the overlapping displacements of piece a against piece b reach along (nx, ny)."""
    high, low = -np.inf, np.inf
    for k in range(b0, b1):
        high = max(high, nx * verts[k, 0] + ny * verts[k, 1])
    for k in range(a0, a1):
        low = min(low, nx * verts[k, 0] + ny * verts[k, 1])
    return high - low


@njit(cache=True)
def make_tables(
    verts: Floats, piece_at: Ints, shape_at: Ints, rows: int, polys: int
) -> tuple[Floats, Ints, Floats, Ints]:
    """Tables for every pair of shapes: planes, poly_at, poly_box, pair_at (see `Shapes`).

    A pair of pieces whose displacements all lie within another pair's is left out: it adds nothing to
    where shapes overlap.

    Parameters
    ----------
    rows, polys : int
        Room for this many planes and polys.
    """
    count = len(shape_at) - 1
    planes = np.empty((rows, 3))
    poly_at = np.zeros(polys + 1, dtype=np.int64)
    poly_box = np.empty((polys, 4))
    pair_at = np.zeros(count * count + 1, dtype=np.int64)
    row, poly = 0, 0
    for a in range(count):
        for b in range(count):
            for p in range(shape_at[a], shape_at[a + 1]):
                a0, a1 = piece_at[p], piece_at[p + 1]
                for q in range(shape_at[b], shape_at[b + 1]):
                    b0, b1 = piece_at[q], piece_at[q + 1]
                    if _covered(verts, piece_at, shape_at, a, b, p, q):
                        continue
                    box = poly_box[poly]
                    box[0], box[1] = (
                        -_reach(verts, a0, a1, b0, b1, -1.0, 0.0),
                        -_reach(verts, a0, a1, b0, b1, 0.0, -1.0),
                    )
                    box[2], box[3] = (
                        _reach(verts, a0, a1, b0, b1, 1.0, 0.0),
                        _reach(verts, a0, a1, b0, b1, 0.0, 1.0),
                    )
                    row = _pair_planes(verts, a0, a1, b0, b1, planes, row)
                    poly += 1
                    poly_at[poly] = row
            pair_at[a * count + b + 1] = poly
    return planes[:row].copy(), poly_at[: poly + 1].copy(), poly_box[:poly].copy(), pair_at


@njit(cache=True)
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
            end = _pair_planes(verts, c0, c1, d0, d1, limit, 0)
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
