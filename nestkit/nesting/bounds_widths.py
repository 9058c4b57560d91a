"""Bounds from widths and heights: what an item surely covers on a sheet, counted by dual-feasible functions.

At every turn that it may take, an item covers some upright rectangle whole. Two items that keep a gap g
lie apart by g / sqrt(2) along one axis at least, so that their rectangles do not overlap when each is
longer by that; the sheet is longer by as much. (Not by g: rectangles may keep their gap cornerwise.)
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from nestkit.nesting.alike import Alike
from nestkit.nesting.bounds_functions import Function, Named, functions
from nestkit.nesting.bounds_turns import SLACK, Body, Cell, turned
from nestkit.nesting.problem import Spacing

#: Squares along each side of an outline's box, from which the rectangles inside it are made.
GRID = 16
#: Cells of a full turn where any turn is allowed.
CELLS = 90
#: Rectangles kept for each cell.
KEPT = 5

Values = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Cover:
    """What one item covers at least.

    Parameters
    ----------
    sizes : (cells, KEPT, 2) float, mm
        For every cell of turns some upright rectangles, of which the item covers each.
    """

    sizes: Values

    def after(self, of: Function, axis: int, full: float) -> Values:
        """The rectangles' widths (axis 0) or heights (1) as shares of ``full``, after a function."""
        return of(np.clip(self.sizes[..., axis] / full, 0.0, 1.0))


def weight(widths: Values, heights: Values) -> float:
    """What an item counts at least, from its rectangles' shares; infinite when it has no turn at all."""
    return float((widths * heights).max(axis=1).min()) if len(widths) else math.inf


@dataclass(frozen=True, eq=False)
class Weighing:
    """Two functions, and what each group's items count with them on a sheet: at most 1 in all."""

    name: str
    weights: tuple[float, ...]


def inner_room(size: tuple[float, float], spacing: Spacing) -> tuple[float, float]:
    """Width and height between the margins, mm."""
    return size[0] - 2.0 * spacing.margin, size[1] - 2.0 * spacing.margin


def cover_of(group: Alike, room: tuple[float, float], gap: float) -> Cover:
    """What an item covers at least on a sheet with that much between its margins, its gap put on."""
    body = Body(group.item)
    cells = body.cells(room, CELLS)
    if not cells:
        return Cover(np.empty((0, KEPT, 2)))
    # Turned by half a turn the same rectangles come out.
    halves = {round(math.remainder(cell.middle, math.pi), 9): cell for cell in cells}
    cells = list(halves.values())
    rectangles = _Inside(body, cells, room)
    sizes = np.array([rectangles.at(cell) for cell in cells])
    longer = gap / math.sqrt(2.0) - SLACK
    return Cover(np.maximum(sizes + longer, 0.0))


class _Inside:
    """Upright rectangles inside a body at the cells of its turns."""

    def __init__(self, body: Body, cells: Sequence[Cell], room: tuple[float, float]) -> None:
        self.body = body
        disc = shapely.maximum_inscribed_circle(body.polygon, tolerance=0.05)
        self.square = math.sqrt(2.0) * max(float(shapely.length(disc)) - 0.05, 0.0)
        # Where an item is small at some turn, no function makes more of it than its disc's square gives:
        # the search for larger rectangles is for those that are long or wide whichever way they lie.
        self.worth_it = all(
            width > room[0] / 2.0 or height > room[1] / 2.0
            for width, height in (body.least_size(cell) for cell in cells)
        )

    def at(self, cell: Cell) -> Values:
        """Sizes of some rectangles, (KEPT, 2) mm."""
        found = [(self.square, self.square)]
        if cell.half == 0.0 or self.worth_it:
            inside = rectangles_inside(turned(self.body.polygon, cell.middle))
            upright = (_still_upright(size, cell.half) for size in inside)
            found += [size for size in upright if size is not None]
        found = _some(found)
        return np.array([*found, *[found[0]] * (KEPT - len(found))])


def _still_upright(size: tuple[float, float], turn: float) -> tuple[float, float] | None:
    """An upright rectangle inside a rectangle that is turned by as much, or by less."""
    c, s = math.cos(turn), math.sin(turn)
    share = c * c - s * s
    width, height = (size[0] * c - size[1] * s) / share, (size[1] * c - size[0] * s) / share
    return (width, height) if min(width, height) > 0.0 else None


def _some(sizes: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """The largest, the widest and the highest of the sizes, and those between."""
    front: list[tuple[float, float]] = []
    for width, height in sorted(set(sizes), key=lambda size: (-size[0], -size[1])):
        if not front or height > front[-1][1] + 1e-9:
            front.append((width, height))
    if len(front) <= KEPT:
        return front
    largest = max(range(len(front)), key=lambda k: front[k][0] * front[k][1])
    chosen = {0, len(front) - 1, largest, len(front) // 3, 2 * len(front) // 3}
    return [front[k] for k in sorted(chosen)]


def rectangles_inside(polygon: Polygon) -> list[tuple[float, float]]:
    """Sizes of upright rectangles that a polygon covers, none of them inside another, mm."""
    x0, y0, x1, y1 = polygon.bounds
    if polygon.area >= (x1 - x0) * (y1 - y0) * (1.0 - 1e-9):
        return [(x1 - x0, y1 - y0)]
    xs, ys = np.linspace(x0, x1, GRID + 1), np.linspace(y0, y1, GRID + 1)
    boxes = shapely.box(xs[None, :-1], ys[:-1, None], xs[None, 1:], ys[1:, None])
    shapely.prepare(polygon)
    full = shapely.covers(polygon, boxes)
    step_x, step_y = (x1 - x0) / GRID, (y1 - y0) / GRID
    best: dict[int, int] = {}
    for wide, high in _maximal(full):
        best[wide] = max(best.get(wide, 0), high)
    return [(wide * step_x, high * step_y) for wide, high in best.items()]


def _maximal(full: NDArray[np.bool_]) -> Iterator[tuple[int, int]]:
    """Widths and heights of the blocks of full squares that can't be made wider, row by row."""
    heights = [0] * full.shape[1]
    for row in full.tolist():
        heights = [high + 1 if flag else 0 for high, flag in zip(heights, row, strict=True)]
        # Columns that still grow: where each begins, and how high it is.
        rising: list[tuple[int, int]] = []
        for column, high in enumerate([*heights, 0]):
            begin = column
            while rising and rising[-1][1] >= high:
                begin, known = rising.pop()
                yield column - begin, known
            if high:
                rising.append((begin, high))


def weighings(
    groups: Sequence[Alike], size: tuple[float, float], spacing: Spacing, most: int = 6
) -> list[Weighing]:
    """The pairs of functions that make most of the items on a sheet of that size, the best first.

    Each says: what lies on one sheet counts 1 at most. An item that fits at no turn counts infinitely.
    """
    room = inner_room(size, spacing)
    if min(room) <= 0.0:
        return []
    covers = [cover_of(group, room, spacing.gap) for group in groups]
    longer = max(spacing.gap / math.sqrt(2.0), 0.0) + SLACK
    full = (room[0] + longer, room[1] + longer)
    counts = np.array([group.count for group in groups], dtype=float)
    after = [
        [
            (function, [cover.after(function.of, axis, full[axis]) for cover in covers])
            for function in functions(_shares(covers, counts, axis, full[axis]))
        ]
        for axis in (0, 1)
    ]
    found: list[tuple[float, int, Weighing]] = []
    for number, ((f, widths), (g, heights)) in enumerate(itertools.product(*after)):
        weights = tuple(map(weight, widths, heights))
        in_all = math.fsum(w * n for w, n in zip(weights, counts, strict=True) if math.isfinite(w))
        found.append((-in_all, number, Weighing(_called(f, g), weights)))
    found.sort(key=lambda entry: entry[:2])
    kept: dict[tuple[float, ...], Weighing] = {}
    for _, _, weighing in found:
        kept.setdefault(weighing.weights, weighing)
        if len(kept) == most:
            break
    return list(kept.values())


def _called(f: Named, g: Named) -> str:
    return f"{f.name} for widths, {g.name} for heights"


def _shares(covers: Sequence[Cover], counts: Values, axis: int, full: float) -> list[float]:
    """Shares of the sheet that the items' rectangles have, the commonest large ones first."""
    weight: dict[float, float] = {}
    for cover, count in zip(covers, counts, strict=True):
        for size in {round(float(s) / full, 4) for s in cover.sizes[..., axis].ravel()[: 2 * KEPT]}:
            if 0.05 < size < 1.0:
                weight[size] = weight.get(size, 0.0) + count * size
    return sorted(weight, key=lambda share: (-weight[share], share))
