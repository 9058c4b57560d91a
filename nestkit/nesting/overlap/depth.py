"""How deep two shapes lie in each other, from their convex pieces.

Zero exactly when they are disjoint, linear near contact, and with a gradient. From the vertices (any
turn) it is the depth of the two pieces that lie deepest in each other. From tables made once for each
pair of shapes (listed turns), which hold the displacements at which they overlap as convex sets of half
planes, it is the root of the sum of the squares of the depths in these sets. Each is what measurement
chose (benchmarks/notes-engine.md); a sum over all pieces counts what lies in many of them many times.
"""

from __future__ import annotations

import numpy as np

from nestkit.jit import inner, woven
from nestkit.nesting.overlap.state import HALF_ROOT, Shapes, State


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
                total += least * least
                gx -= least * shapes.planes[best, 0]
                gy -= least * shapes.planes[best, 1]
            least = np.inf
    if total > 0.0:
        total = np.sqrt(total)
        gx /= total
        gy /= total
    return total, gx, gy


@inner
def _meeting(shapes: Shapes, state: State, i: int, a: int, j: int, b: int, dx: float, dy: float) -> int:
    """Pairs of pieces whose bounds overlap: how many; the one whose bounds overlap most comes first.

    They stand in ``state.meeting``, and in ``state.shared`` by how much: they are no deeper in each other.
    """
    count_a = shapes.shape_at[a + 1] - shapes.shape_at[a]
    count_b = shapes.shape_at[b + 1] - shapes.shape_at[b]
    du, dv = HALF_ROOT * (dx + dy), HALF_ROOT * (dx - dy)
    # Only pieces that reach into the other shape's box can meet one of its pieces.
    x0, y0, x1, y1 = np.inf, np.inf, -np.inf, -np.inf
    for p in range(count_a):
        own = state.slot_boxes[i, p]
        x0, y0, x1, y1 = min(x0, own[0]), min(y0, own[1]), max(x1, own[2]), max(y1, own[3])
    x0, y0, x1, y1 = x0 + dx, y0 + dy, x1 + dx, y1 + dy
    found, most, first = 0, 0.0, 0
    for q in range(count_b):
        other = state.slot_boxes[j, q]
        if x0 >= other[2] or x1 <= other[0] or y0 >= other[3] or y1 <= other[1]:
            continue
        for p in range(count_a):
            own = state.slot_boxes[i, p]
            across = min(other[2] - own[0] - dx, own[2] + dx - other[0])
            up = min(other[3] - own[1] - dy, own[3] + dy - other[1])
            rising = min(other[6] - own[4] - du, own[6] + du - other[4])
            falling = min(other[7] - own[5] - dv, own[7] + dv - other[5])
            shared = min(across, up, rising, falling)
            if shared > 0.0:
                state.meeting[found, 0], state.meeting[found, 1], state.shared[found] = p, q, shared
                if shared > most:
                    most, first = shared, found
                found += 1
    if found:
        for k in range(2):
            state.meeting[first, k], state.meeting[0, k] = state.meeting[0, k], state.meeting[first, k]
        state.shared[first], state.shared[0] = state.shared[0], most
    return found


@inner
def slot_depth(
    shapes: Shapes, state: State, i: int, a: int, j: int, b: int, dx: float, dy: float, enough: float
) -> tuple[float, float, float]:
    """Depth and gradient from the vertices in slots i (shape a) and j (b); infinite from ``enough`` on."""
    deepest, gx, gy = 0.0, 0.0, 0.0
    pieces_a, pieces_b = np.uint64(shapes.shape_at[a]), np.uint64(shapes.shape_at[b])
    first_a, first_b = np.uint64(shapes.piece_at[pieces_a]), np.uint64(shapes.piece_at[pieces_b])
    for n in range(_meeting(shapes, state, i, a, j, b, dx, dy)):
        if state.shared[n] <= deepest:
            continue
        p, q = pieces_a + np.uint64(state.meeting[n, 0]), pieces_b + np.uint64(state.meeting[n, 1])
        pa = np.uint64(shapes.piece_at[p]) - first_a
        pb = np.uint64(shapes.piece_at[p + np.uint64(1)]) - first_a
        qa = np.uint64(shapes.piece_at[q]) - first_b
        qb = np.uint64(shapes.piece_at[q + np.uint64(1)]) - first_b
        least, nx, ny = np.inf, 0.0, 0.0
        for k in range(qa, qb):
            ex, ey = state.slots[j, k, 2], state.slots[j, k, 3]
            low = np.inf
            for m in range(pa, pb):
                low = min(low, ex * state.slots[i, m, 0] + ey * state.slots[i, m, 1])
            away = state.slots[j, k, 4] - low - ex * dx - ey * dy
            if away < least:
                least, nx, ny = away, ex, ey
                if away <= deepest:
                    break
        if least <= deepest:
            continue
        for k in range(pa, pb):
            ex, ey = state.slots[i, k, 2], state.slots[i, k, 3]
            low = np.inf
            for m in range(qa, qb):
                low = min(low, ex * state.slots[j, m, 0] + ey * state.slots[j, m, 1])
            away = state.slots[i, k, 4] - low + ex * dx + ey * dy
            if away < least:
                least, nx, ny = away, -ex, -ey
                if away <= deepest:
                    break
        if least > deepest:
            deepest = least
            if deepest >= enough:
                return np.inf, 0.0, 0.0
            gx, gy = -nx, -ny
    return deepest, gx, gy


@woven
def pair_depth_within(
    shapes: Shapes, state: State, slot: int, a: int, j: int, dx: float, dy: float, bound: float, weight: float
) -> tuple[float, float, float]:
    """Depth and gradient of shape a (vertices in ``slot``) at (dx, dy) from copy j.

    When it reaches ``bound`` over ``weight`` it may be infinite.
    """
    if len(shapes.pair_at) == 1:
        return slot_depth(shapes, state, slot, a, j, state.shape[j], dx, dy, bound / weight)
    return table_depth(shapes, a, state.shape[j], dx, dy)


@inner
def pair_depth(
    shapes: Shapes, state: State, slot: int, a: int, j: int, dx: float, dy: float
) -> tuple[float, float, float]:
    """`pair_depth_within` as a call, to the end: where speed matters less, it saves compile time."""
    return pair_depth_within(shapes, state, slot, a, j, dx, dy, np.inf, 1.0)
