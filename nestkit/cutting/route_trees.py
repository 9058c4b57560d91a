"""Kernels for the lower bound on travel: gaps between paths, least trees, and the ascent of the prices."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from nestkit.cutting.route_choice import far
from nestkit.jit import inner, kernel, maker, woven

#: After so many steps without a better bound the steps become smaller by this factor.
PATIENCE, SMALLER = 20, 0.8
#: The first step, as a share of the one that would reach the aim if the bound were a plane.
FIRST = 0.3


@woven
def _to_chord(px: float, py: float, c: Any) -> float:
    dx, dy = c[2] - c[0], c[3] - c[1]
    square = dx * dx + dy * dy
    share = 0.0
    if square > 0.0:
        share = min(max(((px - c[0]) * dx + (py - c[1]) * dy) / square, 0.0), 1.0)
    return far(c[0] + share * dx, c[1] + share * dy, px, py)


@woven
def _side(c: Any, px: float, py: float) -> float:
    return float((c[2] - c[0]) * (py - c[1]) - (c[3] - c[1]) * (px - c[0]))


@inner
def _apart(c: Any, d: Any) -> float:
    """Distance of two chords."""
    across = _side(c, d[0], d[1]) * _side(c, d[2], d[3]) < 0.0
    if across and _side(d, c[0], c[1]) * _side(d, c[2], c[3]) < 0.0:
        return 0.0
    one = min(_to_chord(c[0], c[1], d), _to_chord(c[2], c[3], d))
    return min(one, _to_chord(d[0], d[1], c), _to_chord(d[2], d[3], c))


@kernel
def gaps_between(chords: Any, slack: Any, first: Any, boxes: Any, reach: Any) -> Any:
    """How far two places are apart at least, for all pairs: (n, n), mm.

    Parameters
    ----------
    chords : (m, 4) float, mm
    slack : (n,) float, mm
        How far a place may lie from its chords.
    first : (n + 1,) int
        The chords of place k are rows ``first[k]`` to ``first[k + 1]``.
    boxes : (n, n) float, mm
        How far the boxes round two places are apart.
    reach : (n,) float, mm
        Where the boxes are farther apart than this, their distance is good enough.
    """
    n = len(first) - 1
    gaps = boxes.copy()
    for a in range(n):
        for b in range(a + 1, n):
            if boxes[a, b] > max(reach[a], reach[b]):
                continue
            least = np.inf
            for i in range(first[a], first[a + 1]):
                for j in range(first[b], first[b + 1]):
                    least = min(least, _apart(chords[i], chords[j]))
            gaps[a, b] = gaps[b, a] = max(boxes[a, b], least - slack[a] - slack[b])
    return gaps


class Places(NamedTuple):
    """What the tool must visit, block by block.

    `ends` is where each block begins, (blocks + 1,); `gaps` as `gaps_between` gives them; `other` the other
    end of an open path, which the tool goes to without travel, or -1; `away` the distance from the start.
    """

    ends: Any
    gaps: Any
    other: Any
    away: Any


@maker
def _tree(low: int, high: int, p: Places, price: Any, uses: Any) -> float:
    """The least tree on places low to high, prices in, the two ends of each open path joined (Prim)."""
    n = high - low
    cost, comes = np.full(n, np.inf), np.full(n, -1, dtype=np.int64)
    inside = np.zeros(n, dtype=np.bool_)
    total, at = 0.0, 0
    inside[0] = True
    for _ in range(n - 1):
        a = low + at
        best = -1
        for k in range(n):
            if inside[k]:
                continue
            c = p.gaps[a, low + k] + price[a] + price[low + k]
            if c < cost[k]:
                cost[k], comes[k] = c, at
            if best < 0 or cost[k] < cost[best]:
                best = k
        other = p.other[a] - low
        if p.other[a] >= 0 and not inside[other]:
            best, comes[other] = other, at
            cost[other] = price[a] + price[low + other]
        inside[best] = True
        total += cost[best]
        uses[low + best] += 1.0
        uses[low + comes[best]] += 1.0
        at = best
    return total


@inner
def _value(p: Places, price: Any, uses: Any) -> float:
    """The bound with these prices; `uses` becomes how often each place is used, less the two times needed."""
    blocks = len(p.ends) - 1
    uses[:] = -2.0
    total = -2.0 * price.sum()
    for m in range(blocks):
        total += _tree(p.ends[m], p.ends[m + 1], p, price, uses)
    for m in range(blocks - 1):
        least, s, t = np.inf, 0, 0
        for a in range(p.ends[m], p.ends[m + 1]):
            for b in range(p.ends[m + 1], p.ends[m + 2]):
                c = p.gaps[a, b] + price[a] + price[b]
                if c < least:
                    least, s, t = c, a, b
        total += least
        uses[s] += 1.0
        uses[t] += 1.0
    first, last = 0, p.ends[blocks - 1]
    for k in range(p.ends[1]):
        if p.away[k] + price[k] < p.away[first] + price[first]:
            first = k
    # From the last place the tool leaves to nowhere, without travel: so that each place is used twice.
    for k in range(p.ends[blocks - 1], p.ends[blocks]):
        if price[k] < price[last]:
            last = k
    uses[first] += 1.0
    uses[last] += 1.0
    return float(total + p.away[first] + price[first] + price[last])


@kernel
def ascend(p: Places, aim: float, steps: int) -> float:
    """The best bound that so many steps of the prices find; `aim` is the travel of a known order, mm."""
    n = len(p.other)
    price, uses, way = np.zeros(n), np.zeros(n), np.zeros(n)
    best, scale, since = -np.inf, FIRST, 0
    for _ in range(steps):
        value = _value(p, price, uses)
        since += 1
        if value > best:
            best, since = value, 0
        if since == PATIENCE:
            scale, since = scale * SMALLER, 0
        # A share of the last direction keeps the steps from going back and forth.
        way = 0.7 * uses + 0.3 * way
        square = (way * way).sum()
        if square < 1e-12 or aim - best < 1e-6:
            break
        price += scale * max(aim - value, 0.001 * aim) / square * way
    return best
