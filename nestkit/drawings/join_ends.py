"""The ends of open paths, and which of them belong together."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from nestkit.geometry.arcs import arc_angle

Rows = NDArray[np.float64]

#: More ends than this in one spot are a burst of lines, and no outline is sought in it.
MOST_IN_ONE_SPOT = 16

#: A drawing with more ends than this in one cell of the tolerance is drawn too finely for that tolerance.
_MOST_IN_CELL = 64


@dataclass(frozen=True, slots=True)
class Chain:
    """Strands in the order in which they are walked: index, and whether backward."""

    steps: tuple[tuple[int, bool], ...]
    closed: bool


class Ends:
    """Ends of strands; end 2 k is the start of strand k, end 2 k + 1 its end.

    Parameters
    ----------
    strands : sequence of (n, 3) float
        Rows x, y, bulge of open paths.

    Attributes
    ----------
    places : (2 m, 2) float
        Where the ends are drawn.
    points : (2 m, 2) float
        Where they are once joined.
    """

    def __init__(self, strands: Sequence[Rows]) -> None:
        self._strands = strands
        self.places = np.array([row[:2] for rows in strands for row in (rows[0], rows[-1])])
        self.points = self.places.copy()
        self._mate = [-1] * len(self.places)
        # For a free end: the free end at the other end of its chain, and the chain's length.
        self._far = [e ^ 1 for e in range(len(self.places))]
        self._length = [length for rows in strands for length in [_chords(rows)] * 2]
        self._gap: dict[int, float] = {}

    def _join(self, a: int, b: int) -> None:
        self._mate[a], self._mate[b] = b, a
        far_a, far_b = self._far[a], self._far[b]
        if far_a != b:
            self._far[far_a], self._far[far_b] = far_b, far_a
            self._length[far_a] = self._length[far_b] = self._length[a] + self._length[b]
        self.points[a] = self.points[b] = (self.places[a] + self.places[b]) / 2.0

    def _may_join(self, a: int, b: int, tolerance: float) -> bool:
        """Whether both are free, and the chain would not close on itself over nothing."""
        if a == b or self._mate[a] >= 0 or self._mate[b] >= 0:
            return False
        return self._far[a] != b or self._length[a] > 3.0 * tolerance

    def _free(self) -> list[int]:
        return [e for e, mate in enumerate(self._mate) if mate < 0]

    def _spots(self, size: float) -> list[list[int]]:
        """Free ends that share a cell of ``size`` mm."""
        free = self._free()
        if not free:
            return []
        cells = np.round(self.places[free] / size)
        _, spot = np.unique(cells, axis=0, return_inverse=True)
        members: dict[int, list[int]] = defaultdict(list)
        for e, k in zip(free, spot.reshape(-1).tolist(), strict=True):
            members[k].append(e)
        return list(members.values())

    def join_coinciding(self, near: float, tolerance: float) -> None:
        """Joins ends that meet in twos, and closes what leaves a point and comes back to it."""
        spots = [spot for spot in self._spots(near) if len(spot) > 1]
        for spot in spots:
            if len(spot) == 2 and self._may_join(spot[0], spot[1], near):
                self._join(*spot)
        busy = [spot for spot in spots if len(spot) > 2]
        changed = True
        while changed:
            changed = False
            for spot in busy:
                here = {e for e in spot if self._mate[e] < 0}
                for e in sorted(here):
                    far = self._far[e]
                    if far in here and self._may_join(e, far, tolerance):
                        self._join(e, far)
                        changed = True
                left = [e for e in spot if self._mate[e] < 0]
                if len(left) == 2 and self._may_join(left[0], left[1], tolerance):
                    self._join(left[0], left[1])
                    changed = True
            busy = [spot for spot in busy if sum(self._mate[e] < 0 for e in spot) > 1]

    def branches(self, near: float) -> list[tuple[int, int]]:
        """Points where three or more free ends meet: one of the ends, and how many there are."""
        return [(spot[0], len(spot)) for spot in self._spots(near) if len(spot) > 2]

    def join_nearest(self, tolerance: float) -> None:
        """Joins the nearest free ends within ``tolerance``, the smoothest first where several coincide."""
        for spot in self._spots(tolerance / 100.0):
            if len(spot) == 4:
                self._join_four(spot, tolerance)
        crowded = {e for spot in self._spots(tolerance / 100.0) if len(spot) > MOST_IN_ONE_SPOT for e in spot}
        free = np.array([e for e in self._free() if e not in crowded], dtype=np.int64)
        if len(free) < 2:
            return
        reach = tolerance
        while _fullest(self.places[free], reach) > _MOST_IN_CELL:
            reach /= 2.0
        places = shapely.points(self.places[free])
        first, second = shapely.STRtree(places).query(places, predicate="dwithin", distance=reach)
        first, second = free[first[first < second]], free[second[first < second]]
        distance = np.hypot(*(self.places[first] - self.places[second]).T)
        smooth = [self._bend(a, b) for a, b in zip(first.tolist(), second.tolist(), strict=True)]
        for k in np.lexsort((second, first, smooth, np.round(distance / tolerance, 2))).tolist():
            a, b = int(first[k]), int(second[k])
            if self._may_join(a, b, tolerance):
                self._gap[a] = float(distance[k])
                self._join(a, b)

    def _join_four(self, spot: Sequence[int], tolerance: float) -> None:
        """Four ends in one point: joined to neighbours, so that two outlines touch there but don't cross."""
        around = sorted(spot, key=lambda e: float(np.arctan2(*self._outward(e)[::-1])))
        one = [(around[0], around[1]), (around[2], around[3])]
        other = [(around[1], around[2]), (around[3], around[0])]
        for a, b in min((one, other), key=lambda pairs: sum(self._bend(a, b) for a, b in pairs)):
            if self._may_join(a, b, tolerance):
                self._join(a, b)

    def _outward(self, e: int) -> Rows:
        """Unit direction in which the line would go on past its end."""
        rows = self._strands[e // 2]
        inner, outer = (rows[-2], rows[-1]) if e % 2 else (rows[1], rows[0])
        bulge = inner[2] if e % 2 else -outer[2]
        chord = outer[:2] - inner[:2]
        half = arc_angle(float(bulge)) / 2.0
        cosine, sine = np.cos(half), np.sin(half)
        turned = np.array([cosine * chord[0] - sine * chord[1], sine * chord[0] + cosine * chord[1]])
        return np.asarray(turned / (np.hypot(*turned) or 1.0), dtype=np.float64)

    def _bend(self, a: int, b: int) -> float:
        """-1 when end b goes on straight from end a, 1 when it turns back."""
        return float(np.round(self._outward(a) @ self._outward(b), 6))

    def join_overlapping(self, near: float) -> list[tuple[int, float]]:
        """Joins free ends whose straight last lines lie on each other for a while.

        Returns
        -------
        list of (int, float)
            An end of each pair, and the length of the overlap in mm.
        """
        lasts = [(e, *self._last(e)) for e in self._free() if self._is_straight(e)]
        if len(lasts) < 2:
            return []
        lines = shapely.linestrings([[outer, inner] for _, outer, inner in lasts])
        tips = shapely.points([outer for _, outer, _ in lasts])
        tree = shapely.STRtree(lines)
        if _fullest(np.array([outer for _, outer, _ in lasts]), 10.0 * near) > _MOST_IN_CELL:
            return []
        at, on = tree.query(tips, predicate="dwithin", distance=near)
        touches = {(i, j) for i, j in zip(at.tolist(), on.tolist(), strict=True) if i != j}
        found = []
        for i, j in sorted(touches):
            a, b = lasts[i][0], lasts[j][0]
            one_line = a // 2 == b // 2 and len(self._strands[a // 2]) == 2
            if i < j and (j, i) in touches and not one_line and self._may_join(a, b, near):
                overlap = float(np.hypot(*(self.places[a] - self.places[b])))
                self._join(a, b)
                found.append((a, overlap))
        return found

    def _last(self, e: int) -> tuple[Rows, Rows]:
        rows = self._strands[e // 2]
        return (rows[-1, :2], rows[-2, :2]) if e % 2 else (rows[0, :2], rows[1, :2])

    def _is_straight(self, e: int) -> bool:
        rows = self._strands[e // 2]
        return not rows[-2 if e % 2 else 0, 2]

    def gaps(self, smallest: float) -> list[tuple[int, float]]:
        """Joined ends that were farther apart than ``smallest``, with their distance, largest first."""
        wide = [(e, gap) for e, gap in self._gap.items() if gap > smallest]
        return sorted(wide, key=lambda item: (-item[1], item[0]))

    def chains(self) -> Iterator[Chain]:
        """All strands in chains, in the order of each chain's first strand."""
        used = [False] * len(self._strands)
        for e in self._free():
            if not used[e // 2]:
                yield self._walk(e, used, closed=False)
        for k in range(len(used)):
            if not used[k]:
                yield self._walk(2 * k, used, closed=True)

    def _walk(self, e: int, used: list[bool], closed: bool) -> Chain:
        steps = []
        while e >= 0 and not used[e // 2]:
            used[e // 2] = True
            steps.append((e // 2, bool(e % 2)))
            e = self._mate[e ^ 1]
        return Chain(tuple(steps), closed)


def _chords(rows: Rows) -> float:
    """Length of a strand, arcs taken as their chords."""
    if len(rows) == 2:
        return math.hypot(rows[1, 0] - rows[0, 0], rows[1, 1] - rows[0, 1])
    return float(np.hypot(*np.diff(rows[:, :2], axis=0).T).sum())


def _fullest(points: Rows, size: float) -> int:
    """The most points in one cell of ``size`` mm."""
    _, counts = np.unique(np.floor(points / size), axis=0, return_counts=True)
    return int(counts.max())
