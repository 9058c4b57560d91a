"""How deep two shapes lie in each other: the sum of separating-axis depths over pairs of convex pieces.

Zero exactly when they are disjoint, linear near contact, and with a gradient. Two ways to the same
number: from the vertices (any turn), or from tables made once for each pair of shapes (listed turns),
which hold for each pair of pieces the set of displacements at which they overlap, as half planes.
"""

from __future__ import annotations

import numpy as np

from nestkit.jit import inner, woven
from nestkit.nesting.overlap.state import Shapes, State


@woven
def table_depth(shapes: Shapes, a: int, b: int, dx: float, dy: float) -> tuple[float, float, float]:
    """Depth of shape a in shape b when a lies at (dx, dy) from b, and the depth's gradient in (dx, dy)."""
    total, gx, gy = 0.0, 0.0, 0.0
    # Numbers without a sign: a negative one would count from the end, and asking costs a fifth of all time.
    pair = np.uint64(a * len(shapes.box) + b)
    fx = (dx - shapes.grid[pair, 0]) * shapes.grid[pair, 2]
    fy = (dy - shapes.grid[pair, 1]) * shapes.grid[pair, 3]
    along = shapes.grid[pair, 4]
    if not (fx >= 0.0 and fy >= 0.0 and fx < along and fy < along):
        return total, gx, gy
    cell = (pair * np.uint64(along) + np.uint64(fy)) * np.uint64(along) + np.uint64(fx)
    least, best = np.inf, np.uint64(0)
    for e in range(np.uint64(shapes.cell_at[cell]), np.uint64(shapes.cell_at[cell + np.uint64(1)])):
        entry = np.uint64(shapes.entries[e])
        k = entry >> np.uint64(1)
        away = shapes.planes[k, 2] - shapes.planes[k, 0] * dx - shapes.planes[k, 1] * dy
        if away < least:
            least, best = away, k
        if entry & np.uint64(1):
            if least > 0.0:
                total += least
                gx -= shapes.planes[best, 0]
                gy -= shapes.planes[best, 1]
            least = np.inf
    return total, gx, gy


@inner
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


@woven
def pair_depth_within(
    shapes: Shapes, state: State, slot: int, a: int, j: int, dx: float, dy: float
) -> tuple[float, float, float]:
    """Depth and gradient of shape a (vertices in ``slot``) at (dx, dy) from copy j."""
    if len(shapes.pair_at) == 1:
        return slot_depth(shapes, state, slot, a, j, state.shape[j], dx, dy)
    return table_depth(shapes, a, state.shape[j], dx, dy)


@inner
def pair_depth(
    shapes: Shapes, state: State, slot: int, a: int, j: int, dx: float, dy: float
) -> tuple[float, float, float]:
    """`pair_depth_within` as a call: where speed matters less, it saves compile time."""
    return pair_depth_within(shapes, state, slot, a, j, dx, dy)
