"""One copy's move, and passes of guided local search over all copies that overlap.

References
----------
J. Egeblad, B. K. Nielsen, A. Odgaard 2007, *Fast neighborhood search for two- and three-dimensional
nesting problems*, EJOR 183; S. Umetani et al. 2009, *Solving the irregular strip packing problem via
guided local search for overlap minimization*, ITOR 16: pair weights that grow while a pair overlaps.
"""

from __future__ import annotations

import numpy as np

from nestkit.jit import inner, kernel, woven
from nestkit.nesting.overlap.depth import pair_depth, pair_depth_within
from nestkit.nesting.overlap.dice import pick, roll
from nestkit.nesting.overlap.state import (
    Floats,
    Ints,
    Row,
    Shapes,
    State,
    grid_insert,
    grid_remove,
    near,
    near_within,
    take_shape,
    turn_slot,
)

#: Sampled places that are refined.
KEPT = 3

#: Depths below this are rounding; the frame's unit is about one part's size.
NOTHING = 1e-13


@woven
def weigh_within(
    shapes: Shapes, state: State, i: int, shape: int, x: float, y: float, bound: float
) -> tuple[float, float, float]:
    """Weighted depth of copy i, were it the candidate at (x, y), and its gradient.

    Gives up with a value of at least ``bound`` once that is reached.
    """
    last = len(state.box) - 1
    state.counts[2] += 1
    total, gx, gy = 0.0, 0.0, 0.0
    x0, y0, x1, y1 = (
        x + state.box[last, 0],
        y + state.box[last, 1],
        x + state.box[last, 2],
        y + state.box[last, 3],
    )
    for m in range(near_within(state, i, x0, y0, x1, y1)):
        j = state.found[m]
        weight = state.weight[i, j]
        depth, px, py = pair_depth_within(
            shapes, state, last, shape, j, x - state.at[j, 0], y - state.at[j, 1], bound - total, weight
        )
        if depth > 0.0:
            total += weight * depth
            if total >= bound:
                return total, 0.0, 0.0
            gx += weight * px
            gy += weight * py
    return total, gx, gy


@inner
def weigh(
    shapes: Shapes, state: State, i: int, shape: int, x: float, y: float, bound: float
) -> tuple[float, float, float]:
    """`weigh_within` as a call: where speed matters less, it saves compile time."""
    return weigh_within(shapes, state, i, shape, x, y, bound)


@inner
def refine(shapes: Shapes, state: State, i: int, best: Row, step: float, least: float) -> None:
    """Walks a candidate downhill: rows of ``best`` are value, shape, room, x, y, turn.

    Tries the gradient's step to zero first, then random ones that shrink on failure.
    """
    kind = state.kind[i]
    free = shapes.free[kind] == 1
    shape, room = int(best[1]), int(best[2])
    last = len(state.box) - 1
    own = state.box[last]
    bounds = state.bins[room]
    take_shape(shapes, state, kind, shape, best[5])
    value, gx, gy = weigh(shapes, state, i, shape, best[3], best[4], np.inf)
    best[0] = value
    downhill = True
    size = state.size[i]
    while step > least and value > 0.0:
        x, y, turn = best[3], best[4], best[5]
        slope = gx * gx + gy * gy
        if downhill and slope > 0.0:
            along = min(value / slope, step / np.sqrt(slope))
            x -= along * gx
            y -= along * gy
        else:
            choice = roll(state.dice)
            if free and choice < 0.3:
                turn += (2.0 * roll(state.dice) - 1.0) * step / size
                take_shape(shapes, state, kind, shape, turn)
            elif choice < 0.65:
                x += step * (1.0 if roll(state.dice) < 0.5 else -1.0)
            else:
                y += step * (1.0 if roll(state.dice) < 0.5 else -1.0)
        x = min(max(x, bounds[0] - own[0]), bounds[2] - own[2])
        y = min(max(y, bounds[1] - own[1]), bounds[3] - own[3])
        other, px, py = weigh_within(shapes, state, i, shape, x, y, value)
        if other < value and x + own[0] >= bounds[0] - 1e-9 * size and y + own[1] >= bounds[1] - 1e-9 * size:
            # A gain too small to matter counts as none, or a zigzag would never end.
            downhill = other < 0.97 * value
            if not downhill:
                step *= 0.6
            value, gx, gy = other, px, py
            best[0], best[3], best[4], best[5] = value, x, y, turn
        else:
            if turn != best[5]:
                take_shape(shapes, state, kind, shape, best[5])
            if not downhill:
                step *= 0.6
            downhill = False


@woven
def keep(best: Floats, value: float, shape: int, room: int, x: float, y: float, turn: float) -> None:
    """Puts a candidate in its place among the best, which are sorted."""
    k = len(best) - 1
    if value >= best[k, 0]:
        return
    while k > 0 and best[k - 1, 0] > value:
        # Number by number: a row copied at once takes three seconds more to compile.
        for m in range(best.shape[1]):
            best[k, m] = best[k - 1, m]
        k -= 1
    best[k, 0], best[k, 1], best[k, 2] = value, shape, room
    best[k, 3], best[k, 4], best[k, 5] = x, y, turn


@inner
def settle(
    shapes: Shapes, state: State, i: int, shape: int, room: int, x: float, y: float, turn: float
) -> None:
    """Lays copy i there and brings boxes, grid and depths up to date."""
    last = len(state.box) - 1
    for m in range(near(state, i, state.box[i, 0], state.box[i, 1], state.box[i, 2], state.box[i, 3])):
        j = state.found[m]
        state.load[j] -= state.depth[i, j]
        state.depth[i, j] = 0.0
        state.depth[j, i] = 0.0
    grid_remove(state, i)
    state.shape[i], state.room[i] = shape, room
    state.at[i, 0], state.at[i, 1], state.at[i, 2] = x, y, turn
    take_shape(shapes, state, state.kind[i], shape, turn)
    if len(shapes.pair_at) == 1:
        turn_slot(shapes, state, i, shape, turn)
    own = state.box[last]
    state.box[i, 0], state.box[i, 1] = x + own[0], y + own[1]
    state.box[i, 2], state.box[i, 3] = x + own[2], y + own[3]
    grid_insert(state, i)
    load = 0.0
    for m in range(near(state, i, state.box[i, 0], state.box[i, 1], state.box[i, 2], state.box[i, 3])):
        j = state.found[m]
        depth, _, _ = pair_depth(shapes, state, last, shape, j, x - state.at[j, 0], y - state.at[j, 1])
        state.depth[i, j] = depth
        state.depth[j, i] = depth
        state.load[j] += depth
        load += depth
    state.load[i] = load


@inner
def sample(shapes: Shapes, state: State, i: int, best: Floats, wide: int, close: int, bound: float) -> None:
    """Tries ``wide`` places anywhere and ``close`` ones near copy i, and keeps the best in ``best``."""
    kind = state.kind[i]
    free = shapes.free[kind] == 1
    first, many = shapes.turn_at[kind], shapes.turn_at[kind + 1] - shapes.turn_at[kind]
    own = state.box[len(state.box) - 1]
    for k in range(wide + close):
        room, shape, turn = state.room[i], state.shape[i], state.at[i, 2]
        if k < wide and len(state.bins) > 1:
            room = pick(state.dice, len(state.bins))
        if many > 1 and (k < wide or roll(state.dice) < 0.3):
            shape = shapes.turns[first + pick(state.dice, many)]
        if free:
            if k < wide and roll(state.dice) < 0.3:
                turn = pick(state.dice, 4) * (np.pi / 2.0)
            elif k < wide:
                turn = roll(state.dice) * (2.0 * np.pi)
            else:
                turn += (roll(state.dice) - 0.5) * 0.3
        take_shape(shapes, state, kind, shape, turn)
        x0, x1 = state.bins[room, 0] - own[0], state.bins[room, 2] - own[2]
        y0, y1 = state.bins[room, 1] - own[1], state.bins[room, 3] - own[3]
        if x1 < x0 or y1 < y0:
            continue
        if k < wide:
            x, y = x0 + roll(state.dice) * (x1 - x0), y0 + roll(state.dice) * (y1 - y0)
        else:
            reach = state.size[i] * roll(state.dice)
            x = state.at[i, 0] + (2.0 * roll(state.dice) - 1.0) * reach
            y = state.at[i, 1] + (2.0 * roll(state.dice) - 1.0) * reach
            x, y = min(max(x, x0), x1), min(max(y, y0), y1)
        value, _, _ = weigh_within(shapes, state, i, shape, x, y, min(best[len(best) - 1, 0], bound))
        if value < bound:
            keep(best, value, shape, room, x, y, turn)
        if value == 0.0:
            return


@inner
def move(shapes: Shapes, state: State, i: int, wide: int, close: int, best: Floats) -> bool:
    """Looks for a place of less weighted depth for copy i and takes it; whether it moved.

    ``best`` (`KEPT` + 1, 6) is scratch.
    """
    take_shape(shapes, state, state.kind[i], state.shape[i], state.at[i, 2])
    present, _, _ = weigh(shapes, state, i, state.shape[i], state.at[i, 0], state.at[i, 1], np.inf)
    if present <= NOTHING:
        return False
    for k in range(KEPT):
        best[k, 0] = np.inf
    sample(shapes, state, i, best[:KEPT], wide, close, 3.0 * present)
    top = KEPT
    best[top, 0], best[top, 1], best[top, 2] = present, state.shape[i], state.room[i]
    best[top, 3], best[top, 4], best[top, 5] = state.at[i, 0], state.at[i, 1], state.at[i, 2]
    size = state.size[i]
    winner = top
    for k in range(KEPT + 1):
        if best[k, 0] < np.inf:
            refine(shapes, state, i, best[k], 0.1 * size, 0.01 * size)
            if best[k, 0] < best[winner, 0]:
                winner = k
            if best[k, 0] == 0.0:
                break
    if best[winner, 0] > 0.0:
        refine(shapes, state, i, best[winner], 0.01 * size, 1e-4 * size)
    if best[winner, 0] < present:
        row = best[winner]
        settle(shapes, state, i, int(row[1]), int(row[2]), row[3], row[4], row[5])
        return True
    return False


@kernel
def refresh(shapes: Shapes, state: State) -> None:
    """Boxes, slots, grid, depths and loads from the places alone; places are kept within their bins."""
    last = len(state.box) - 1
    own = state.box[last]
    movable, count = state.counts[0], state.counts[1]
    for cell in range(len(state.cells)):
        state.cells[cell] = -1
    for i in range(count):
        take_shape(shapes, state, state.kind[i], state.shape[i], state.at[i, 2])
        if len(shapes.pair_at) == 1:
            turn_slot(shapes, state, i, state.shape[i], state.at[i, 2])
        if i < movable:
            bounds = state.bins[state.room[i]]
            state.at[i, 0] = max(min(state.at[i, 0], bounds[2] - own[2]), bounds[0] - own[0])
            state.at[i, 1] = max(min(state.at[i, 1], bounds[3] - own[3]), bounds[1] - own[1])
        for k in range(4):
            state.box[i, k] = state.at[i, k % 2] + own[k]
        grid_insert(state, i)
        state.load[i] = 0.0
    state.depth[:] = 0.0
    for i in range(movable):
        for m in range(near(state, i, state.box[i, 0], state.box[i, 1], state.box[i, 2], state.box[i, 3])):
            j = state.found[m]
            if i < j:
                depth, _, _ = pair_depth(
                    shapes, state, i, state.shape[i], j,
                    state.at[i, 0] - state.at[j, 0], state.at[i, 1] - state.at[j, 1],
                )  # fmt: skip
                state.depth[i, j] = depth
                state.depth[j, i] = depth
                state.load[i] += depth
                state.load[j] += depth


@inner
def _loss(state: State) -> float:
    """`loss_of` for kernels."""
    total = 0.0
    for i in range(state.counts[0]):
        if state.load[i] > 0.0:
            for j in range(state.counts[1]):
                if state.depth[i, j] > 0.0 and (j > i):
                    total += state.depth[i, j] * state.base[i, j]
    return total


@kernel
def loss_of(state: State) -> float:
    """Sum of all depths, each times its pair's base weight."""
    return _loss(state)


@inner
def reweigh(state: State) -> None:
    """Weights of overlapping pairs grow with their share of the deepest, the others' fall to their base."""
    deepest = 0.0
    movable, count = state.counts[0], state.counts[1]
    for i in range(movable):
        if state.load[i] > 0.0:
            for j in range(count):
                deepest = max(deepest, state.depth[i, j])
    if deepest <= 0.0:
        return
    for i in range(movable):
        for j in range(i + 1, count):
            depth, weight, base = state.depth[i, j], state.weight[i, j], state.base[i, j]
            if depth > 0.0:
                weight = min(weight * (1.15 + 0.85 * depth / deepest), 1e6 * base)
            elif weight > base:
                weight = max(weight * 0.95, base)
            else:
                continue
            state.weight[i, j] = weight
            state.weight[j, i] = weight


@kernel
def passes(
    shapes: Shapes,
    state: State,
    most: int,
    patience: int,
    enough: float,
    best: Floats,
    ints: Ints,
    sets: Ints,
) -> float:
    """Up to ``most`` passes; the least loss met so far, whose places stand in ``best``.

    Parameters
    ----------
    shapes, state
    most : int
    patience : int
        Ends after so many passes without a loss that is smaller by 2 % at least.
    enough : float
        Ends at a loss of no more than this.
    best : (n, 4) float
        Shape, x, y, turn of the layout of least loss; row 0 of `ints` its room. Updated.
    ints : (n + 2,) int
        Rooms of that layout, then passes since the least loss fell by 2 % at least, then passes done.
    sets : (2,) int
        Samples anywhere, samples close by.
    """
    movable = state.counts[0]
    since, done = movable, movable + 1
    least = best[movable, 0]
    places = np.empty((KEPT + 1, 6))
    for _ in range(most):
        many = 0
        for i in range(movable):
            if state.load[i] > NOTHING:
                state.order[many] = i
                many += 1
        for k in range(many - 1, 0, -1):
            m = pick(state.dice, k + 1)
            state.order[k], state.order[m] = state.order[m], state.order[k]
        for k in range(many):
            move(shapes, state, state.order[k], sets[0], sets[1], places)
        ints[done] += 1
        loss = _loss(state)
        if loss < least:
            if loss < 0.98 * best[movable, 1]:
                ints[since] = -1
                best[movable, 1] = loss
            least = loss
            best[movable, 0] = loss
            for i in range(movable):
                best[i, 0] = state.shape[i]
                best[i, 1], best[i, 2], best[i, 3] = state.at[i, 0], state.at[i, 1], state.at[i, 2]
                ints[i] = state.room[i]
        ints[since] += 1
        if loss <= enough or ints[since] >= patience:
            break
        reweigh(state)
    return float(least)
