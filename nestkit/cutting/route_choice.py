"""Kernels on ways: the best ones for an order that is fixed, lengths of orders, gaps between tasks."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from nestkit.jit import kernel, woven


@woven
def far(ax: float, ay: float, bx: float, by: float) -> float:
    """Distance of two points."""
    return math.sqrt((ax - bx) * (ax - bx) + (ay - by) * (ay - by))


@kernel
def best_ways(seq: Any, first: Any, entry: Any, leave: Any, start: Any) -> Any:
    """The row of the best way through each task, for an order that is fixed.

    Shortest path through the ways, one layer for each task.

    Parameters
    ----------
    seq : (n,) int
        The tasks in turn.
    first, entry, leave
        As in `route_entries.Ways`.
    start : (2,) float, mm
        Where the tool comes from; where it ends is free.

    Returns
    -------
    (n,) int
        By task, not by turn.
    """
    n = len(seq)
    way = np.empty(n, dtype=np.int64)
    if n == 0:
        return way
    cost = np.empty(len(entry))
    back = np.full(len(entry), -1, dtype=np.int64)
    for i in range(first[seq[0]], first[seq[0] + 1]):
        cost[i] = far(start[0], start[1], entry[i, 0], entry[i, 1])
    for k in range(1, n):
        for i in range(first[seq[k]], first[seq[k] + 1]):
            cost[i] = np.inf
            for j in range(first[seq[k - 1]], first[seq[k - 1] + 1]):
                c = cost[j] + far(leave[j, 0], leave[j, 1], entry[i, 0], entry[i, 1])
                if c < cost[i]:
                    cost[i], back[i] = c, j
    last = first[seq[n - 1]]
    for i in range(first[seq[n - 1]], first[seq[n - 1] + 1]):
        if cost[i] < cost[last]:
            last = i
    for k in range(n - 1, -1, -1):
        way[seq[k]] = last
        last = back[last]
    return way


@kernel
def length_of(seq: Any, way: Any, entry: Any, leave: Any, start: Any) -> float:
    """Travel of an order with the ways chosen, mm."""
    total, x, y = 0.0, start[0], start[1]
    for k in range(len(seq)):
        i = way[seq[k]]
        total += far(x, y, entry[i, 0], entry[i, 1])
        x, y = leave[i, 0], leave[i, 1]
    return total


@kernel
def gaps_of(first: Any, spots: Any) -> Any:
    """Smallest distance between the points of two tasks, for all pairs: (n, n), mm."""
    n = len(first) - 1
    gaps = np.zeros((n, n))
    for a in range(n):
        for b in range(a + 1, n):
            least = np.inf
            for i in range(first[a], first[a + 1]):
                for j in range(first[b], first[b + 1]):
                    dx, dy = spots[i, 0] - spots[j, 0], spots[i, 1] - spots[j, 1]
                    least = min(least, dx * dx + dy * dy)
            gaps[a, b] = math.sqrt(least)
            gaps[b, a] = gaps[a, b]
    return gaps


@kernel
def nearest_next(first: Any, entry: Any, leave: Any, start: Any, waits: Any, block: Any) -> Any:
    """The order that always goes to the nearest that may come next: the tasks in turn, and their ways."""
    n = len(first) - 1
    seq, way = np.empty(n, dtype=np.int64), np.empty(n, dtype=np.int64)
    done = np.zeros(n, dtype=np.bool_)
    pending = np.zeros(n, dtype=np.int64)
    for k in range(n):
        if waits[k] >= 0:
            pending[waits[k]] += 1
    x, y = start[0], start[1]
    for turn in range(n):
        lowest = np.iinfo(np.int64).max
        for k in range(n):
            if not done[k]:
                lowest = min(lowest, block[k])
        least, best = np.inf, -1
        for k in range(n):
            if done[k] or pending[k] > 0 or block[k] != lowest:
                continue
            for i in range(first[k], first[k + 1]):
                c = far(x, y, entry[i, 0], entry[i, 1])
                if c < least:
                    least, best = c, k
                    way[k] = i
        seq[turn] = best
        done[best] = True
        if waits[best] >= 0:
            pending[waits[best]] -= 1
        x, y = leave[way[best], 0], leave[way[best], 1]
    return seq, way
