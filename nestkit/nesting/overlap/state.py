"""The engine's data: flat arrays in two records, one that stays and one that moves.

Words used in the kernels: a *shape* is one outline as it may lie (mirrored, and turned when its turns
are a list); a *copy* is one thing in the frame, movable or fixed; a copy's *slot* holds its vertices
at its present turn. All bins stand side by side in one frame, far enough apart not to meet.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from nestkit.jit import inner, woven

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Shorts = NDArray[np.int32]
Row = Any  # one row of an array inside a kernel

#: x plus y times this, the root of a half, is the place along a diagonal.
HALF_ROOT = 0.5**0.5


class Shapes(NamedTuple):
    """What doesn't change during a search.

    Parameters
    ----------
    verts : (n, 5) float
        Rows x, y, nx, ny, c: a convex piece's vertex and the edge that starts there, its outward unit
        normal and n . v, all about the shape's reference point.
    piece_at, shape_at : ints
        Piece p has the vertices piece_at[p] to piece_at[p + 1], shape s the pieces shape_at[s] onward.
    box : (shapes, 4) float
        Bounds about the reference point: x0, y0, x1, y1.
    planes : (m, 3) float
        Rows nx, ny, c: with d = (place of a) - (place of b), the pieces' depth along n is c - n . d.
    poly_at, poly_box : ints; (polys, 4) float
        Poly q has the planes poly_at[q] onward: it is the set of d at which two pieces overlap.
    pair_at : (shapes * shapes + 1,) int
        Shapes a, b have the polys pair_at[a * shapes + b] onward; (1,) when there are no tables.
    grid : (shapes * shapes, 5) float
        A pair's grid over d: its left and lower edge, cells for each unit along x and y, cells along a side.
    cell_at, entries : ints; ints of 32 bits
        A cell has the entries cell_at[cell] onward: twice the number of a plane, and one more for the last
        one of a poly. All that can be the least of its poly within the cell are there.
    turn_at, turns : ints
        Class k may lie as the shapes turns[turn_at[k]] onward.
    free : (classes,) int
        1 when the class may take any angle.
    """

    verts: Floats
    piece_at: Ints
    shape_at: Ints
    box: Floats
    planes: Floats
    poly_at: Ints
    poly_box: Floats
    pair_at: Ints
    grid: Floats
    cell_at: Ints
    entries: Shorts
    turn_at: Ints
    turns: Ints
    free: Ints


class State(NamedTuple):
    """What moves. The movable copies come first, then the fixed ones.

    Parameters
    ----------
    kind, shape, room : (n,) int
        Class, present shape and present bin of each copy.
    at : (n, 3) float
        Place of the reference point and the turn, radians (0 unless the class is free).
    box : (n + 1, 4) float
        Bounds in the frame; the last row is the candidate's, about its reference point.
    slots : (n + 1, most vertices, 5) float
        Turned vertices about the reference point; the last is the candidate's. Unused with tables.
    slot_boxes : (n + 1, most pieces, 8) float
        Bounds of their pieces: x0, y0, x1, y1, and the same along the two diagonals.
    weight, base, depth : (n, n) float
        Pair weights, their smallest values, and present depths.
    load : (n,) float
        Sum of a copy's depths.
    bins : (bins, 4) float
        Bounds of each bin in the frame.
    size : (n,) float
        A length for each copy: the root of its area.
    found, order : (n,) int
        Scratch.
    meeting, shared : (most pieces squared, 2) int, (most pieces squared,) float
        Scratch: pairs of pieces whose bounds overlap, and by how much. Unused with tables, as slot_boxes.
    cells, links, level, step, grid
        The grid over the copies' boxes, see `near`.
    dice : (2,) int
        The random numbers' state.
    counts : (3,) int
        Movable copies, all copies, evaluations so far.
    """

    kind: Ints
    shape: Ints
    room: Ints
    at: Floats
    box: Floats
    slots: Floats
    slot_boxes: Floats
    weight: Floats
    base: Floats
    depth: Floats
    load: Floats
    bins: Floats
    size: Floats
    found: Ints
    order: Ints
    meeting: Ints
    shared: Floats
    cells: Ints
    links: Ints
    level: Ints
    step: Floats
    grid: Ints
    dice: Ints
    counts: Ints


@inner
def turn_slot(shapes: Shapes, state: State, slot: int, shape: int, angle: float) -> None:
    """Fills ``slot`` with ``shape`` turned by ``angle``; its bounds go to the candidate's box row."""
    c, s = np.cos(angle), np.sin(angle)
    first = shapes.piece_at[shapes.shape_at[shape]]
    wide0, wide1, wide2, wide3 = np.inf, np.inf, -np.inf, -np.inf
    for p in range(shapes.shape_at[shape], shapes.shape_at[shape + 1]):
        x0, y0, x1, y1 = np.inf, np.inf, -np.inf, -np.inf
        u0, v0, u1, v1 = np.inf, np.inf, -np.inf, -np.inf
        for k in range(shapes.piece_at[p], shapes.piece_at[p + 1]):
            row = state.slots[slot, k - first]
            vx, vy = shapes.verts[k, 0], shapes.verts[k, 1]
            nx, ny = shapes.verts[k, 2], shapes.verts[k, 3]
            x, y = c * vx - s * vy, s * vx + c * vy
            row[0], row[1] = x, y
            row[2], row[3] = c * nx - s * ny, s * nx + c * ny
            row[4] = shapes.verts[k, 4]
            x0, y0, x1, y1 = min(x0, x), min(y0, y), max(x1, x), max(y1, y)
            u, v = HALF_ROOT * (x + y), HALF_ROOT * (x - y)
            u0, v0, u1, v1 = min(u0, u), min(v0, v), max(u1, u), max(v1, v)
        bounds = state.slot_boxes[slot, p - shapes.shape_at[shape]]
        bounds[0], bounds[1], bounds[2], bounds[3] = x0, y0, x1, y1
        bounds[4], bounds[5], bounds[6], bounds[7] = u0, v0, u1, v1
        wide0, wide1, wide2, wide3 = min(wide0, x0), min(wide1, y0), max(wide2, x1), max(wide3, y1)
    own = state.box[len(state.box) - 1]
    own[0], own[1], own[2], own[3] = wide0, wide1, wide2, wide3


@inner
def take_shape(shapes: Shapes, state: State, kind: int, shape: int, angle: float) -> None:
    """Makes the candidate lie as ``shape``, turned by ``angle`` when its class is free."""
    last = len(state.box) - 1
    if len(shapes.pair_at) == 1:
        turn_slot(shapes, state, last, shape, angle)
    else:
        for k in range(4):
            state.box[last, k] = shapes.box[shape, k]


@inner
def _cell_of(state: State, i: int) -> int:
    level = state.level[i]
    step = state.step[level]
    columns, rows = state.grid[level, 0], state.grid[level, 1]
    cx = int(((state.box[i, 0] + state.box[i, 2]) / 2.0 - state.step[len(state.step) - 2]) / step)
    cy = int(((state.box[i, 1] + state.box[i, 3]) / 2.0 - state.step[len(state.step) - 1]) / step)
    cx, cy = min(max(cx, 0), columns - 1), min(max(cy, 0), rows - 1)
    return int(state.grid[level, 2] + cy * columns + cx)


@inner
def grid_remove(state: State, i: int) -> None:
    """Takes copy i out of its cell."""
    if len(state.cells) == 0 or state.links[i, 2] < 0:
        return
    ahead, behind, cell = state.links[i, 0], state.links[i, 1], state.links[i, 2]
    state.links[i, 2] = -1
    if behind >= 0:
        state.links[behind, 0] = ahead
    else:
        state.cells[cell] = ahead
    if ahead >= 0:
        state.links[ahead, 1] = behind


@inner
def grid_insert(state: State, i: int) -> None:
    """Puts copy i into the cell that holds the middle of its box."""
    if len(state.cells) == 0:
        return
    cell = _cell_of(state, i)
    ahead = state.cells[cell]
    state.links[i, 0], state.links[i, 1], state.links[i, 2] = ahead, -1, cell
    if ahead >= 0:
        state.links[ahead, 1] = i
    state.cells[cell] = i


@woven
def near_within(state: State, i: int, x0: float, y0: float, x1: float, y1: float) -> int:
    """Copies other than i whose boxes overlap the given one: how many; they stand in ``state.found``.

    With a grid, each copy lies in one cell of one level: the level whose cells are just larger than
    the copy, the cell that holds the middle of its box. So a box grown by half a cell meets all.
    """
    found = 0
    box = state.box
    if len(state.cells) == 0:
        for j in range(state.counts[1]):
            if box[j, 0] < x1 and box[j, 2] > x0 and box[j, 1] < y1 and box[j, 3] > y0 and j != i:
                state.found[found] = j
                found += 1
        return found
    left, low = state.step[len(state.step) - 2], state.step[len(state.step) - 1]
    for level in range(len(state.step) - 2):
        step = state.step[level]
        columns, rows = state.grid[level, 0], state.grid[level, 1]
        if columns == 0:
            continue
        ax = min(max(int((x0 - left) / step - 0.5), 0), columns - 1)
        bx = min(max(int((x1 - left) / step + 0.5), 0), columns - 1)
        ay = min(max(int((y0 - low) / step - 0.5), 0), rows - 1)
        by = min(max(int((y1 - low) / step + 0.5), 0), rows - 1)
        for cy in range(ay, by + 1):
            for cx in range(ax, bx + 1):
                j = state.cells[state.grid[level, 2] + cy * columns + cx]
                while j >= 0:
                    if box[j, 0] < x1 and box[j, 2] > x0 and box[j, 1] < y1 and box[j, 3] > y0 and j != i:
                        state.found[found] = j
                        found += 1
                    j = state.links[j, 0]
    return found


@inner
def near(state: State, i: int, x0: float, y0: float, x1: float, y1: float) -> int:
    """`near_within` as a call: where speed matters less, it saves compile time."""
    return near_within(state, i, x0, y0, x1, y1)
