"""A length that no order can do with: a lower bound on the travel of a job.

Whatever the order, its hops join all paths of a block, one hop leads from each block to the next, and each
path is entered once and left once. The least tree of hops, a hop being as long as its two paths are apart, is
thus never longer. It stays so with a price on each path, charged for each hop there and paid back twice;
prices are raised step by step where paths are used too often, which makes the bound as good as it can become
(the 1-tree bound of Held and Karp, without the hop that closes a tour).

A tree may cross a large path for nothing, which the tool can't: it leaves a closed path where it entered it.
So the same is done with some of the paths only, such as lie far apart for their size; no order of all of
them is shorter than the best one of these. The largest bound counts. A path that tabs part into runs is left
beside a tab, next to where it was entered: leaving it out can save that much.

References
----------
Held and Karp 1970, doi:10.1287/opre.18.6.1138; Held, Wolfe and Crowder 1974, doi:10.1007/BF01580223 (how
large the steps are) [both from memory].
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from nestkit.cutting.route_entries import Task
from nestkit.cutting.route_trees import Places, ascend, gaps_between
from nestkit.geometry import Path
from nestkit.geometry.stretch import joined

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

#: Paths are flattened within this, mm; the bound allows for it.
FLATNESS = 0.002
#: How far a path may lie from its chords, mm: the least of these with which there are few enough chords.
SLACKS = (0.0, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0)
MOST_CHORDS = 40
#: For how many nearest paths gaps are measured well; farther ones count by their boxes.
NEIGHBOURS = 16
#: How far apart paths are kept when only some of them count: as shares of their mean size.
APART = (0.0, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0)
#: Steps of the prices: at most, and fewer where there are many paths.
STEPS, STEPS_OF_ALL, FEWEST_STEPS = 600, 250_000, 100


def least_travel(tasks: Sequence[Task], start: tuple[float, float], travel: float) -> float:
    """A travel that no order of the tasks undercuts, mm.

    Parameters
    ----------
    tasks : sequence of Task
    start : (float, float), mm
        Where the tool comes from; where it ends is free.
    travel : float, mm
        That of an order, at which the steps of the prices aim.
    """
    if not tasks:
        return 0.0
    # What strokes that stay together travel among themselves: in one order or its reverse the same, round
    # a closed path least when the longest hop is left out.
    within = sum(_within(task) for task in tasks)
    ordered = sorted(tasks, key=lambda task: task.block)
    places = [ends for task in ordered for ends in _places(task)]
    slip = np.array([_hops(task).max() if task.round else 0.0 for task in ordered for _ in _places(task)])
    block = np.array([task.block for task in ordered for _ in _places(task)], dtype=np.int64)
    other = np.full(len(places), -1, dtype=np.int64)
    for k, (_, is_end) in enumerate(places):
        if is_end:
            # The ends of an open path stand side by side.
            other[k] = k + 1 if k == 0 or other[k - 1] != k else k - 1
    chords = [_chords(path) for path, _ in places]
    first = np.concatenate(([0], np.cumsum([len(each) for each, _ in chords]))).astype(np.int64)
    flat, slack = np.concatenate([each for each, _ in chords]), np.array([each for _, each in chords])
    low, high = _boxes(flat, slack, first)
    apart = np.maximum(low[:, None] - high[None], low[None] - high[:, None]).clip(min=0.0)
    boxes = np.hypot(apart[..., 0], apart[..., 1])
    reach = np.sort(boxes, axis=1)[:, min(NEIGHBOURS, len(places) - 1)]
    gaps = gaps_between(flat, slack, first, boxes, reach)
    away = np.hypot(*np.maximum(np.maximum(low - start, start - high), 0.0).T)
    size = np.hypot(*(high - low).T)
    aim, best, before = max(travel - within, 0.0), 0.0, -1
    for share in APART:
        kept = _spread(gaps, size, other, share)
        if len(kept) == before:
            continue
        before = len(kept)
        number = np.full(len(places), -1, dtype=np.int64)
        number[kept] = np.arange(len(kept))
        _, counts = np.unique(block[kept], return_counts=True)
        ends = np.concatenate(([0], np.cumsum(counts))).astype(np.int64)
        partner = np.where(other[kept] >= 0, number[other[kept]], -1)
        some = Places(ends, np.ascontiguousarray(gaps[np.ix_(kept, kept)]), partner, away[kept])
        steps = int(np.clip(STEPS_OF_ALL // len(kept), FEWEST_STEPS, STEPS))
        skipped = float(slip.sum() - slip[kept].sum())
        best = max(best, float(ascend(some, aim, steps)) - skipped)
    # Rounding must not lift the bound over what can be reached.
    return max(0.0, best * (1.0 - 1e-9) - 1e-6) + within


def _within(task: Task) -> float:
    hops = _hops(task)
    return float(hops.sum() - hops.max() if task.round else hops[:-1].sum())


def _hops(task: Task) -> Floats:
    """From the end of each stroke to the start of the next, and from the last to the first, mm."""
    ends = np.array([stroke.path.end for stroke in task.strokes])
    starts = np.array([stroke.path.start for stroke in task.strokes])
    hops: Floats = np.hypot(*(np.roll(starts, -1, axis=0) - ends).T)
    return hops


def _places(task: Task) -> list[tuple[Path | tuple[float, float], bool]]:
    """The closed path, or the two ends; and whether it is such an end."""
    if task.ring is not None:
        return [(task.ring, False)]
    if task.round:
        return [(joined([stroke.path for stroke in task.strokes]), False)]
    return [(task.strokes[0].path.start, True), (task.strokes[-1].path.end, True)]


def _chords(place: Path | tuple[float, float]) -> tuple[Floats, float]:
    """A few chords that stand for a place, and how far it may lie from them, mm."""
    if isinstance(place, tuple):
        return np.array([[*place, *place]]), 0.0
    points = place.flatten(FLATNESS)
    flat = FLATNESS if place.has_arcs else 0.0
    line = shapely.LineString(np.vstack((points, points[:1])))
    for slack in SLACKS:
        # No point that is left out is farther than the slack from the chord that stands for it.
        spots = np.array((line if slack == 0.0 else line.simplify(slack, preserve_topology=False)).coords)
        if len(spots) <= MOST_CHORDS:
            break
    return np.column_stack((spots[:-1], spots[1:])), slack + flat


def _boxes(chords: Floats, slack: Floats, first: Integers) -> tuple[Floats, Floats]:
    low = np.minimum.reduceat(np.minimum(chords[:, :2], chords[:, 2:]), first[:-1], axis=0)
    high = np.maximum.reduceat(np.maximum(chords[:, :2], chords[:, 2:]), first[:-1], axis=0)
    return low - slack[:, None], high + slack[:, None]


def _spread(gaps: Floats, size: Floats, other: Integers, share: float) -> Integers:
    """Places of which two are no nearer than this share of their mean size, small ones first taken."""
    if share == 0.0:
        return np.arange(len(size))
    free = np.ones(len(size), dtype=bool)
    kept = []
    for k in np.argsort(size, kind="stable").tolist():
        if not free[k]:
            continue
        kept.append(k)
        free &= gaps[k] >= share * (size + size[k]) / 2.0
    # Ends have no size, so that all stay: a tool that skips an open path would travel what it cuts there.
    return np.array(sorted(kept), dtype=np.int64)
