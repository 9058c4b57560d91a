"""From outlines, bins and spacing to the engine's arrays, and back to placements.

The frame's unit is a power of two of millimetres near the parts' mean size, so that tolerances mean
the same everywhere and scaling costs no digits.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from nestkit.geometry.affine import rotation
from nestkit.nesting.overlap.cells import cells_of
from nestkit.nesting.overlap.cover import convex_cover
from nestkit.nesting.overlap.dice import Dice
from nestkit.nesting.overlap.pairs import Tables, pair_tables
from nestkit.nesting.overlap.state import Shapes, State

Points = NDArray[np.float64]

#: Tables larger than this many rows give way to depths taken from the vertices (24 bytes a row).
MOST_ROWS = 2_000_000
#: So do tables for more shapes than this: the pairs take long to make.
MOST_SHAPES = 100
#: From this many copies on, a grid finds a box's neighbours.
GRID_FROM = 70


@dataclass(frozen=True, eq=False)
class Stencil:
    """One class of interchangeable copies.

    Parameters
    ----------
    pieces : tuple of (n, 2) float
        Convex cover, counter-clockwise, about the reference point, at turn 0 (mirrored if it is to be).
    turns : tuple of float or None
        Allowed turns, radians; None for any.
    area : float
    """

    pieces: tuple[Points, ...]
    turns: tuple[float, ...] | None
    area: float


@functools.lru_cache(maxsize=1024)
def centred_cover(polygon: Polygon, unit: float) -> tuple[tuple[Points, ...], float, Points]:
    """A polygon's convex cover about its middle, its area, both in the unit, and its middle, mm.

    Kept, since the same parts are packed again and again.
    """
    x0, y0, x1, y1 = polygon.bounds
    middle = np.array([(x0 + x1) / 2.0, (y0 + y1) / 2.0])
    local = shapely.transform(polygon, lambda xy: (xy - middle) / unit)
    return tuple(convex_cover(local)), local.area, middle


def _rows(piece: Points) -> Points:
    """Rows x, y, nx, ny, c of a convex piece."""
    ends = np.roll(piece, -1, axis=0)
    edge = ends - piece
    length = np.hypot(edge[:, 0], edge[:, 1])
    piece, ends, edge, length = (a[length > 0.0] for a in (piece, ends, edge, length))
    nx, ny = edge[:, 1] / length, -edge[:, 0] / length
    # The larger of the two ends' values: the half plane must hold both.
    c = np.maximum(nx * piece[:, 0] + ny * piece[:, 1], nx * ends[:, 0] + ny * ends[:, 1])
    return np.column_stack((piece, nx, ny, c))


def different_turns(stencil: Stencil) -> list[tuple[float, int]]:
    """The allowed turns; each with the number of the first turn at which the shape lies alike."""
    assert stencil.turns is not None
    whole = shapely.union_all([Polygon(piece) for piece in stencil.pieces])
    size = math.sqrt(stencil.area)
    found: list[tuple[float, int]] = []
    shapes: list[Polygon] = []
    for k, turn in enumerate(stencil.turns):
        matrix = rotation(turn)[:, :2].T
        turned = shapely.transform(whole, lambda xy, m=matrix: xy @ m)
        alike = k
        for m, other in enumerate(shapes):
            if shapely.hausdorff_distance(turned, other) < 1e-9 * size and (
                shapely.symmetric_difference(turned, other).area < 1e-9 * stencil.area
            ):
                alike = found[m][1]
                break
        found.append((turn, alike))
        shapes.append(turned)
    return found


def _unlike(stencil: Stencil) -> list[float]:
    return [turn for k, (turn, alike) in enumerate(different_turns(stencil)) if k == alike]


def build_shapes(
    stencils: Sequence[Stencil], tables: bool = True, merge: int = 3000, fixed: int = 0
) -> tuple[Shapes, list[float]]:
    """Shapes of all classes, and the turn of each shape (0 for those that turn freely).

    Parameters
    ----------
    stencils : sequence of Stencil
        One for each class.
    tables : bool
        Make pair tables when every class has listed turns and they are not too large.
    merge : int
        Pairs of pieces that may be merged into fewer, larger polys (about 0.3 ms each).
    fixed : int
        So many of the stencils, at the end, are obstacles.
    """
    verts: list[Points] = []
    piece_at, shape_at, turn_at = [0], [0], [0]
    turns: list[float] = []
    boxes = []
    for stencil in stencils:
        for turn in (0.0,) if stencil.turns is None else _unlike(stencil):
            matrix = rotation(turn)[:, :2]
            turned = [_rows(piece @ matrix.T) for piece in stencil.pieces]
            for rows in turned:
                verts.append(rows)
                piece_at.append(piece_at[-1] + len(rows))
            shape_at.append(len(piece_at) - 1)
            xy = np.concatenate(turned)[:, :2]
            boxes.append((*xy.min(axis=0), *xy.max(axis=0)))
            turns.append(turn)
        turn_at.append(len(turns))
    all_verts = np.concatenate(verts)
    pieces, shapes = np.array(piece_at, dtype=np.int64), np.array(shape_at, dtype=np.int64)
    free = np.array([stencil.turns is None for stencil in stencils], dtype=np.int64)
    counts, corners = np.diff(shapes), np.diff(pieces[shapes])
    made = Tables.none()
    if (
        tables
        and not free.any()
        and 2 * counts.sum() * corners.sum() <= MOST_ROWS
        and len(counts) <= MOST_SHAPES
    ):
        classes = np.repeat(np.arange(len(stencils)), np.diff(turn_at))
        made = pair_tables(all_verts, pieces, shapes, classes, np.array(turns), merge, fixed)
    return (
        Shapes(
            all_verts,
            pieces,
            shapes,
            np.array(boxes),
            *made,
            *cells_of(*made),
            np.array(turn_at, dtype=np.int64),
            np.arange(len(turns), dtype=np.int64),
            free,
        ),
        turns,
    )


def build_state(
    shapes: Shapes,
    kinds: Sequence[int],
    areas: Sequence[float],
    bins: NDArray[np.float64],
    chance: Dice,
    fixed: int = 0,
) -> State:
    """A state with every copy at the frame's origin.

    Parameters
    ----------
    shapes : Shapes
    kinds : sequence of int
        Class of each copy, movable ones first.
    areas : sequence of float
        Area of each copy, in the frame's unit squared.
    bins : (bins, 4) float
    chance : Dice
    fixed : int
        How many of the copies, at the end, are fixed.
    """
    count = len(kinds)
    kind = np.array(kinds, dtype=np.int64)
    # An obstacle's own size says nothing: it counts like a part of one unit.
    size = np.sqrt(np.array(areas, dtype=np.float64))
    size[count - fixed :] = np.minimum(size[count - fixed :], 1.0)
    tables = len(shapes.pair_at) > 1
    corners = int(np.diff(shapes.piece_at[shapes.shape_at]).max())
    pieces = int(np.diff(shapes.shape_at).max())
    base = np.sqrt(size[:, None] * size[None, :])
    step, grid, cells, level = _grid(shapes, kind, bins)
    return State(
        kind=kind,
        shape=shapes.turns[shapes.turn_at[kind]],
        room=np.zeros(count, dtype=np.int64),
        at=np.zeros((count, 3)),
        box=np.zeros((count + 1, 4)),
        slots=np.zeros((1, 1, 5) if tables else (count + 1, corners, 5)),
        slot_boxes=np.zeros((1, 1, 8) if tables else (count + 1, pieces, 8)),
        weight=base.copy(),
        base=base,
        depth=np.zeros((count, count)),
        load=np.zeros(count),
        bins=np.array(bins, dtype=np.float64),
        size=size,
        found=np.zeros(count, dtype=np.int64),
        order=np.zeros(count, dtype=np.int64),
        meeting=np.zeros((1 if tables else pieces * pieces, 2), dtype=np.int64),
        shared=np.zeros(1 if tables else pieces * pieces),
        cells=cells,
        links=np.full((count, 3), -1, dtype=np.int64),
        level=level,
        step=step,
        grid=grid,
        dice=chance.copy(),
        counts=np.array([count - fixed, count, 0], dtype=np.int64),
    )


def _grid(
    shapes: Shapes, kind: NDArray[np.int64], bins: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Levels of the grid: steps (then the frame's corner), columns, rows and first cell, cells, levels."""
    empty = np.zeros(0, dtype=np.int64)
    if len(kind) < GRID_FROM:
        return np.zeros(2), np.zeros((0, 3), dtype=np.int64), empty, np.zeros(len(kind), dtype=np.int64)
    extent = np.empty(len(shapes.turn_at) - 1)
    for k in range(len(extent)):
        rows = shapes.box[shapes.turn_at[k] : shapes.turn_at[k + 1]]
        if shapes.free[k]:
            extent[k] = 2.0 * np.hypot(np.abs(rows[:, [0, 2]]).max(), np.abs(rows[:, [1, 3]]).max())
        else:
            extent[k] = (rows[:, 2:] - rows[:, :2]).max()
    exponent = np.ceil(np.log2(extent * 1.001)).astype(np.int64)
    low, high = int(exponent.min()), int(exponent.max())
    level = (exponent - low)[kind]
    left, bottom = bins[:, :2].min(axis=0)
    wide, tall = bins[:, 2:].max(axis=0) - (left, bottom)
    steps, grid, first = [], [], 0
    for k in range(low, high + 1):
        step = 2.0**k
        used = bool((level == k - low).any())
        columns, rows_ = (math.ceil(wide / step) + 1, math.ceil(tall / step) + 1) if used else (0, 0)
        steps.append(step)
        grid.append((columns, rows_, first))
        first += columns * rows_
    return (
        np.array([*steps, left, bottom]),
        np.array(grid, dtype=np.int64),
        np.full(first, -1, dtype=np.int64),
        level,
    )
