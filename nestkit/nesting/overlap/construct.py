"""A first layout: copies one after another, largest first, each where it ends earliest without overlap."""

from __future__ import annotations

import numpy as np

from nestkit.jit import inner, kernel
from nestkit.nesting.overlap.dice import pick, roll
from nestkit.nesting.overlap.moves import NOTHING, settle, weigh
from nestkit.nesting.overlap.state import Ints, Shapes, State, grid_remove, take_shape


@kernel
def park(state: State, i: int) -> None:
    """Takes copy i out of the frame: nothing meets it until it is settled again."""
    grid_remove(state, i)
    state.box[i, 0], state.box[i, 1], state.box[i, 2], state.box[i, 3] = np.inf, np.inf, -np.inf, -np.inf
    state.load[i] = 0.0
    for j in range(state.counts[1]):
        state.load[j] -= state.depth[i, j]
        state.depth[i, j] = 0.0
        state.depth[j, i] = 0.0


@inner
def seat(shapes: Shapes, state: State, i: int, room: int, axis: int, tries: int) -> bool:
    """Lays the parked copy i into bin ``room`` where it ends earliest along ``axis``; False without one.

    Random free places first; the best is then pushed back and down as far as it goes.
    """
    kind = state.kind[i]
    free = shapes.free[kind] == 1
    first, many = shapes.turn_at[kind], shapes.turn_at[kind + 1] - shapes.turn_at[kind]
    own = state.box[len(state.box) - 1]
    bounds = state.bins[room]
    best_end, best_x, best_y, best_turn, best_shape = np.inf, 0.0, 0.0, 0.0, state.shape[i]
    reach = bounds[2 + axis]
    for k in range(tries):
        shape = shapes.turns[first + pick(state.dice, many)]
        turn = 0.0
        if free:
            turn = pick(state.dice, 4) * (np.pi / 2.0) if k % 2 == 0 else roll(state.dice) * (2.0 * np.pi)
        take_shape(shapes, state, kind, shape, turn)
        x0, y0 = bounds[0] - own[0], bounds[1] - own[1]
        x1, y1 = bounds[2] - own[2], bounds[3] - own[3]
        if axis == 0:
            x1 = min(x1, reach - own[2])
        else:
            y1 = min(y1, reach - own[3])
        if x1 < x0 or y1 < y0:
            continue
        x, y = x0 + roll(state.dice) * (x1 - x0), y0 + roll(state.dice) * (y1 - y0)
        value, _, _ = weigh(shapes, state, i, shape, x, y, NOTHING)
        if value > 0.0:
            continue
        step = state.size[i]
        while step > 0.01 * state.size[i]:
            moved = False
            for way in range(2):
                # The first way is along the axis, the second across it.
                along = (way == 0) == (axis == 0)
                nx = max(x - step, x0) if along else x
                ny = y if along else max(y - step, y0)
                if nx == x and ny == y:
                    continue
                value, _, _ = weigh(shapes, state, i, shape, nx, ny, NOTHING)
                if value == 0.0:
                    x, y, moved = nx, ny, True
            if not moved:
                step *= 0.5
        end = (x + own[2]) if axis == 0 else (y + own[3])
        # Across the axis counts a little, so that corners fill first.
        end += 1e-3 * (y if axis == 0 else x)
        if end < best_end:
            best_end, best_x, best_y, best_turn, best_shape = end, x, y, turn, shape
            reach = min(reach, end)
    if best_end == np.inf:
        return False
    settle(shapes, state, i, best_shape, room, best_x, best_y, best_turn)
    return True


@kernel
def construct(
    shapes: Shapes, state: State, order: Ints, axes: Ints, tries: int, first: Ints, seated: Ints
) -> None:
    """Seats the parked copies named in ``order`` bin after bin; those without a place stay parked.

    Parameters
    ----------
    shapes, state
    order : (m,) int
    axes : (bins,) int
        Along which axis each bin fills up.
    tries : int
        Places tried for each copy in each bin.
    first : (classes,) int
        First bin to ask for each class: one that refused a copy is not asked again by its like. Updated.
    seated : (n,) int
        Set to 1 for each copy that found a place.
    """
    for i in order:
        kind = state.kind[i]
        while first[kind] < len(state.bins):
            if seat(shapes, state, i, first[kind], axes[first[kind]], tries):
                seated[i] = 1
                break
            first[kind] += 1
