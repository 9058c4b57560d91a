"""Compaction: all copies move at once, along fixed separating axes, so that the open bin gets shorter.

For each pair of convex pieces that could meet, the axis along which they are farthest apart (or least
deep in each other) is kept; what remains is a linear program. Small overlaps are taken out by it too.

References
----------
M. Gomes, J. F. Oliveira 2006, *Solving irregular strip packing problems by hybridising simulated
annealing and linear programming*, EJOR 171; J. A. Bennell, K. A. Dowsland 2001, *Hybridising tabu
search with optimisation techniques for irregular stock cutting*, Management Science 47.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import csr_array

from nestkit.jit import inner, kernel
from nestkit.nesting.overlap.moves import refresh
from nestkit.nesting.overlap.state import Floats, Ints, Shapes, State, near

#: The program's own tolerance; overlaps of this depth may stay.
_TOLERANCE = 1e-10


@inner
def table_gaps(
    shapes: Shapes, a: int, b: int, dx: float, dy: float, reach: float, rows: Floats, at: int
) -> int:
    """Rows nx, ny, gap of each pair of pieces nearer than ``reach``: the axis that parts them most."""
    pair = a * len(shapes.box) + b
    for q in range(shapes.pair_at[pair], shapes.pair_at[pair + 1]):
        bounds = shapes.poly_box[q]
        if (
            dx <= bounds[0] - reach
            or dx >= bounds[2] + reach
            or dy <= bounds[1] - reach
            or dy >= bounds[3] + reach
        ):
            continue
        most, best = -np.inf, -1
        for k in range(shapes.poly_at[q], shapes.poly_at[q + 1]):
            gap = shapes.planes[k, 0] * dx + shapes.planes[k, 1] * dy - shapes.planes[k, 2]
            if gap > most:
                most, best = gap, k
        if most < reach and at < len(rows):
            rows[at, 0], rows[at, 1], rows[at, 2] = shapes.planes[best, 0], shapes.planes[best, 1], most
            at += 1
    return at


@inner
def slot_gaps(
    shapes: Shapes, state: State, i: int, j: int, dx: float, dy: float, reach: float, rows: Floats, at: int
) -> int:
    """The same from the vertices in the slots of copies i and j."""
    a, b = state.shape[i], state.shape[j]
    first_a, first_b = shapes.piece_at[shapes.shape_at[a]], shapes.piece_at[shapes.shape_at[b]]
    for p in range(shapes.shape_at[a], shapes.shape_at[a + 1]):
        pa, pb = shapes.piece_at[p] - first_a, shapes.piece_at[p + 1] - first_a
        for q in range(shapes.shape_at[b], shapes.shape_at[b + 1]):
            qa, qb = shapes.piece_at[q] - first_b, shapes.piece_at[q + 1] - first_b
            most, nx, ny = -np.inf, 0.0, 0.0
            for k in range(qa, qb):
                ex, ey = state.slots[j, k, 2], state.slots[j, k, 3]
                low = np.inf
                for m in range(pa, pb):
                    low = min(low, ex * state.slots[i, m, 0] + ey * state.slots[i, m, 1])
                gap = low + ex * dx + ey * dy - state.slots[j, k, 4]
                if gap > most:
                    most, nx, ny = gap, ex, ey
            for k in range(pa, pb):
                ex, ey = state.slots[i, k, 2], state.slots[i, k, 3]
                low = np.inf
                for m in range(qa, qb):
                    low = min(low, ex * state.slots[j, m, 0] + ey * state.slots[j, m, 1])
                gap = low - ex * dx - ey * dy - state.slots[i, k, 4]
                if gap > most:
                    most, nx, ny = gap, -ex, -ey
            if most < reach and at < len(rows):
                rows[at, 0], rows[at, 1], rows[at, 2] = nx, ny, most
                at += 1
    return at


@kernel
def gaps(shapes: Shapes, state: State, reach: float, rows: Floats, pairs: Ints) -> int:
    """Rows nx, ny, gap for all pieces of copies that may meet; ``pairs`` says of which copies."""
    at = int(np.int64(0))
    for i in range(state.counts[0]):
        own = state.box[i]
        for m in range(near(state, i, own[0] - reach, own[1] - reach, own[2] + reach, own[3] + reach)):
            j = state.found[m]
            if j < i:
                continue
            dx, dy = state.at[i, 0] - state.at[j, 0], state.at[i, 1] - state.at[j, 1]
            first = at
            if len(shapes.pair_at) == 1:
                at = slot_gaps(shapes, state, i, j, dx, dy, reach, rows, at)
            else:
                at = table_gaps(shapes, state.shape[i], state.shape[j], dx, dy, reach, rows, at)
            for k in range(first, at):
                pairs[k, 0], pairs[k, 1] = i, j
    return at


def compact(shapes: Shapes, state: State, room: int, axis: int, trust: float) -> float | None:
    """Moves all copies by at most ``trust`` each way so that bin ``room`` ends as early as it can.

    Parameters
    ----------
    shapes, state
    room : int
    axis : int
        0: the bin's right end moves; 1: its upper end.
    trust : float, in the frame's unit

    Returns
    -------
    float or None
        Where the bin ends now; None when the program has no solution, and then nothing has moved.
    """
    movable = int(state.counts[0])
    reach = 2.9 * trust
    rows, pairs = np.empty((60 * movable + 5000, 3)), np.empty((60 * movable + 5000, 2), dtype=np.int64)
    while True:
        used = gaps(shapes, state, reach, rows, pairs)
        if used < len(rows):
            break
        rows, pairs = np.empty((4 * len(rows), 3)), np.empty((4 * len(rows), 2), dtype=np.int64)
    rows, pairs = rows[:used], pairs[:used]
    number = np.arange(used)
    moving = pairs[:, 1] < movable
    i, j = pairs[:, 0], pairs[moving, 1]
    inside = np.flatnonzero(state.room[:movable] == room)
    edge = used + np.arange(len(inside))
    size = 2 * movable + 1
    matrix = csr_array(
        (
            np.concatenate(
                (-rows[:, 0], -rows[:, 1], rows[moving, 0], rows[moving, 1],
                 np.ones(len(inside)), -np.ones(len(inside)))
            ),
            (
                np.concatenate((number, number, number[moving], number[moving], edge, edge)),
                np.concatenate(
                    (2 * i, 2 * i + 1, 2 * j, 2 * j + 1, 2 * inside + axis, np.full(len(inside), size - 1))
                ),
            ),
        ),
        shape=(used + len(inside), size),
    )  # fmt: skip
    limit = np.concatenate((rows[:, 2], -state.box[inside, 2 + axis]))
    bins = state.bins[state.room[:movable]]
    box = state.box[:movable]
    low = np.maximum(np.minimum(bins[:, :2] - box[:, :2], 0.0), -trust)
    high = np.minimum(np.maximum(bins[:, 2:] - box[:, 2:], 0.0), trust)
    high[inside, axis] = trust
    cost = np.zeros(size)
    cost[-1] = 1.0
    bounds = np.empty((size, 2))
    bounds[:-1, 0], bounds[:-1, 1] = low.reshape(-1), high.reshape(-1)
    bounds[-1] = (state.bins[room, axis], np.inf)
    answer = linprog(
        cost,
        A_ub=matrix,
        b_ub=limit,
        bounds=bounds,
        method="highs-ds",
        options={"primal_feasibility_tolerance": _TOLERANCE, "time_limit": 10.0},
    )
    if answer.status != 0:
        return None
    state.at[:movable, :2] += answer.x[:-1].reshape(-1, 2)
    end = float(answer.x[-1])
    state.bins[room, 2 + axis] = end
    refresh(shapes, state)
    return end
