"""A grid over the displacements of each pair of shapes: which half planes can matter in each cell.

In one cell of the grid most convex sets are out of reach, and of a set that is not, one or two edges
are the nearest anywhere in it. So a look-up reads a few half planes in place of all, and the depth is
the same to the last bit.
"""

from __future__ import annotations

import numpy as np

from nestkit.jit import kernel
from nestkit.nesting.overlap.state import Floats, Ints, Shorts

#: Cells along each side of a pair's grid, at most and at least, and about how many there may be in all.
MOST_ALONG, LEAST_ALONG, ABOUT_CELLS = 16, 4, 250_000
#: Cells are taken a little larger, so that rounding can't lose a half plane at their edges.
_WIDER = 1e-9


@kernel
def fill_cells(
    planes: Floats, poly_at: Ints, poly_box: Floats, pair_at: Ints,
    along: int, grid: Floats, cell_at: Ints, entries: Shorts,
) -> int:  # fmt: skip
    """Grids of all pairs, the first entry of each cell, and the entries, as far as there is room for them.

    An entry is twice a plane's number, and one more where a set's last plane in the cell is meant.

    Parameters
    ----------
    planes, poly_at, poly_box, pair_at
        As in `state.Shapes`.
    along : int
        Cells along a side.
    grid : (pairs, 5) float
        Left and lower edge of a pair's grid, cells for each unit along x and y, cells along a side. Filled.
    cell_at : (pairs * along * along + 1,) int
        Filled.
    entries : (m,) int of 32 bits
        Filled while there is room.

    Returns
    -------
    int
        How many entries there are.
    """
    used = 0
    cell = 0
    for pair in range(len(pair_at) - 1):
        first, last = pair_at[pair], pair_at[pair + 1]
        x0, y0, x1, y1 = np.inf, np.inf, -np.inf, -np.inf
        for q in range(first, last):
            x0, y0 = min(x0, poly_box[q, 0]), min(y0, poly_box[q, 1])
            x1, y1 = max(x1, poly_box[q, 2]), max(y1, poly_box[q, 3])
        if first == last:
            x0, y0, x1, y1 = 0.0, 0.0, 1.0, 1.0
        wide, tall = (x1 - x0) / along, (y1 - y0) / along
        grid[pair, 0], grid[pair, 1] = x0, y0
        grid[pair, 2], grid[pair, 3], grid[pair, 4] = 1.0 / wide, 1.0 / tall, along
        hx, hy = wide * (0.5 + _WIDER), tall * (0.5 + _WIDER)
        for row in range(along):
            y = y0 + (row + 0.5) * tall
            for column in range(along):
                x = x0 + (column + 0.5) * wide
                cell_at[cell] = used
                cell += 1
                for q in range(first, last):
                    if x + hx <= poly_box[q, 0] or x - hx >= poly_box[q, 2]:
                        continue
                    if y + hy <= poly_box[q, 1] or y - hy >= poly_box[q, 3]:
                        continue
                    least = np.inf
                    for k in range(poly_at[q], poly_at[q + 1]):
                        nx, ny = planes[k, 0], planes[k, 1]
                        most = planes[k, 2] - nx * x - ny * y + abs(nx) * hx + abs(ny) * hy
                        least = min(least, most)
                    if least <= 0.0:
                        continue
                    for k in range(poly_at[q], poly_at[q + 1]):
                        nx, ny = planes[k, 0], planes[k, 1]
                        if planes[k, 2] - nx * x - ny * y - abs(nx) * hx - abs(ny) * hy <= least:
                            if used < len(entries):
                                entries[used] = 2 * k
                            used += 1
                    if used <= len(entries):
                        entries[used - 1] += 1
    cell_at[cell] = used
    return used


def cells_of(planes: Floats, poly_at: Ints, poly_box: Floats, pair_at: Ints) -> tuple[Floats, Ints, Shorts]:
    """Grid, first entry of each cell and entries, as in `state.Shapes`; empty ones without tables."""
    pairs = len(pair_at) - 1
    if pairs == 0:
        return np.empty((0, 5)), np.zeros(1, dtype=np.int64), np.zeros(0, dtype=np.int32)
    along = int(np.clip(np.sqrt(ABOUT_CELLS / pairs), LEAST_ALONG, MOST_ALONG))
    grid, cell_at = np.empty((pairs, 5)), np.empty(pairs * along * along + 1, dtype=np.int64)
    entries = np.empty(8 * len(cell_at), dtype=np.int32)
    while True:
        used = fill_cells(planes, poly_at, poly_box, pair_at, along, grid, cell_at, entries)
        if used <= len(entries):
            return grid, cell_at, entries[:used].copy()
        entries = np.empty(used, dtype=np.int32)
