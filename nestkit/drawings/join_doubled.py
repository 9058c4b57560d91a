"""Lines that are drawn twice: found piece by piece, whichever way round they were drawn."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from nestkit.drawings.model import DrawnPath
from nestkit.errors import Finding
from nestkit.geometry import Path
from nestkit.units import Unit, show_length

#: Two lines this near to each other all along are one line drawn twice, mm.
SAME = 0.01

#: Shorter lines are dropped, mm.
NO_LENGTH = 1e-6

#: So many lines about one spot are compared with each other.
_MOST_COMPARED = 64

Rows = NDArray[np.float64]


def middles(pieces: Rows) -> Rows:
    """Middle of each line or arc, (m, 2), of rows x0, y0, x1, y1, bulge."""
    x0, y0, x1, y1, bulge = pieces.T
    return np.column_stack(
        ((x0 + x1 + bulge * (y1 - y0)) / 2.0, (y0 + y1 - bulge * (x1 - x0)) / 2.0),
    )


def drop_doubled(paths: Sequence[DrawnPath], unit: Unit = "mm") -> tuple[list[DrawnPath], list[Finding]]:
    """Open paths without the pieces that an earlier one, or the same, has drawn already.

    Parameters
    ----------
    paths : sequence of DrawnPath
        Open ones.
    unit : "mm" or "in"
        In which findings speak.

    Returns
    -------
    paths, findings
        A path that loses a piece in its middle comes back as two. Pieces without length are dropped, too.
    """
    if not paths:
        return [], []
    counts = [len(drawn.path.vertices) - 1 for drawn in paths]
    pieces = _pieces(paths)
    sizes = np.hypot(pieces[:, 2] - pieces[:, 0], pieces[:, 3] - pieces[:, 1])
    gone = sizes < NO_LENGTH
    doubled = _doubled(pieces, sizes, ~gone)
    if not doubled.any() and not gone.any():
        return list(paths), []
    gone |= doubled
    kept: list[DrawnPath] = []
    findings = []
    first = 0
    for drawn, count in zip(paths, counts, strict=True):
        mine = slice(first, first + count)
        first += count
        if not gone[mine].any():
            kept.append(drawn)
            continue
        kept += _runs(drawn, gone[mine])
        twice = np.flatnonzero(doubled[mine])
        if len(twice):
            at = middles(pieces[mine][twice[:1]])[0]
            length = float(sizes[mine][twice].sum())
            findings.append(doubled_line(drawn, length, (float(at[0]), float(at[1])), unit))
    return kept, findings


def _pieces(paths: Sequence[DrawnPath]) -> Rows:
    """Rows x0, y0, x1, y1, bulge of all open paths, (m, 5)."""
    rows = np.concatenate([drawn.path.vertices for drawn in paths])
    lasts = np.cumsum([len(drawn.path.vertices) for drawn in paths]) - 1
    starts = np.delete(np.arange(len(rows)), lasts)
    return np.column_stack((rows[starts, :2], rows[starts + 1, :2], rows[starts, 2]))


def doubled_line(drawn: DrawnPath, length: float, at: tuple[float, float], unit: Unit) -> Finding:
    """Says that ``length`` mm of a line are drawn twice."""
    return Finding(
        "doubled-line",
        f"a line is drawn twice over {show_length(length, unit)}; it is cut once",
        mended=True,
        layer=drawn.layer,
        id=drawn.id,
        at=at,
    )


def _runs(drawn: DrawnPath, gone: NDArray[np.bool_]) -> list[DrawnPath]:
    """What is left of a path whose pieces ``gone`` are taken out; a piece of no length leaves no gap."""
    rows = drawn.path.vertices
    short = np.hypot(*np.diff(rows[:, :2], axis=0).T) < NO_LENGTH
    runs: list[list[NDArray[np.float64]]] = []
    joins = False
    for k in range(len(gone)):
        if gone[k]:
            joins = joins and bool(short[k])
            continue
        if not joins:
            runs.append([rows[k].copy()])
        runs[-1][-1][2] = rows[k, 2]
        runs[-1].append(np.array([*rows[k + 1, :2], 0.0]))
        joins = True
    return [replace(drawn, path=Path(np.array(run), False)) for run in runs]


def _doubled(pieces: Rows, sizes: Rows, alive: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which pieces repeat an earlier one."""
    middle = middles(pieces)
    doubled = np.zeros(len(pieces), dtype=bool)
    # Two points within SAME share a cell of twice that size in at least one of the four shifted grids.
    for shift in itertools.product((0.0, 0.5), repeat=2):
        cells = np.floor(middle / (2.0 * SAME) + shift)
        order = np.lexsort((np.arange(len(cells)), cells[:, 1], cells[:, 0]))
        breaks = np.flatnonzero((np.diff(cells[order], axis=0) != 0.0).any(axis=1)) + 1
        starts = np.concatenate(([0], breaks))
        ends = np.concatenate((breaks, [len(order)]))
        for group in np.flatnonzero(ends - starts > 1):
            members = [k for k in order[starts[group] : ends[group]] if alive[k] and not doubled[k]]
            first: list[int] = []
            for k in members:
                if any(_same(pieces, middle, sizes, k, other) for other in first):
                    doubled[k] = True
                elif len(first) < _MOST_COMPARED:
                    first.append(k)
    return doubled


def _same(pieces: Rows, middle: Rows, sizes: Rows, a: int, b: int) -> bool:
    # Short pieces must agree more closely, or a finely flattened curve would repeat itself.
    near = min(SAME, float(sizes[a]) / 4.0, float(sizes[b]) / 4.0)
    ax0, ay0, ax1, ay1 = pieces[a, :4].tolist()
    bx0, by0, bx1, by1 = pieces[b, :4].tolist()
    if abs(middle[a, 0] - middle[b, 0]) > near or abs(middle[a, 1] - middle[b, 1]) > near:
        return False
    straight = max(abs(ax0 - bx0), abs(ay0 - by0), abs(ax1 - bx1), abs(ay1 - by1))
    turned = max(abs(ax0 - bx1), abs(ay0 - by1), abs(ax1 - bx0), abs(ay1 - by0))
    return bool(min(straight, turned) <= near)
