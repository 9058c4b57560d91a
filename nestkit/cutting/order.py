"""Cut order: what must come first, and within that the nearest next.

Marks and pockets come before cuts; a hole before the outline that holds it; a part that lies in a
hole before that hole's edge; assemblies in the order the build asks for.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree

from nestkit.cutting.model import CUT_INSIDE_LAYER, CUT_OUTSIDE_LAYER, Stroke
from nestkit.geometry import LineKind, Path
from nestkit.nesting.model import PlannedSheet

Spot = tuple[float, float]


@dataclass(frozen=True, eq=False)
class _Task:
    """A stroke with what it waits for: `before` are numbers of strokes that come first."""

    stroke: Stroke
    rank: int
    before: frozenset[int]


def in_cut_order(
    strokes: Sequence[Stroke],
    sheet: PlannedSheet,
    rank_of: Mapping[str, int],
    start: Spot = (0.0, 0.0),
) -> tuple[Stroke, ...]:
    """The strokes of one sheet in the order in which they are cut, each from its best starting point.

    Parameters
    ----------
    strokes : sequence of Stroke
        In any order.
    sheet : PlannedSheet
        Where the strokes' parts lie.
    rank_of : mapping of str to int
        Place of each assembly in the build's order; parts without one come last.
    start : (float, float), mm
        Where the tool comes from.
    """
    tasks = _tasks(strokes, sheet, rank_of)
    entries = _Entries(strokes)
    waiting = {number: set(task.before) for number, task in enumerate(tasks)}
    at = start
    done: list[Stroke] = []
    while waiting:
        ready = [number for number, before in waiting.items() if not before]
        lowest = min(tasks[number].rank for number in ready)
        number = entries.nearest(at, [n for n in ready if tasks[n].rank == lowest])
        path = _entered(tasks[number].stroke.path, at)
        done.append(replace(tasks[number].stroke, path=path))
        at = path.end
        del waiting[number]
        for before in waiting.values():
            before.discard(number)
    return tuple(done)


def travel(strokes: Sequence[Stroke]) -> float:
    """Way between the strokes from the lower left corner on, mm."""
    at, total = (0.0, 0.0), 0.0
    for stroke in strokes:
        total += math.dist(at, stroke.path.start)
        at = stroke.path.end
    return total


class _Entries:
    """Where each stroke can be entered: at all vertices of a closed path, at both ends of an open one."""

    def __init__(self, strokes: Sequence[Stroke]) -> None:
        spots = [s.path.points if s.path.closed else s.path.points[[0, -1]] for s in strokes]
        self._spots = np.concatenate(spots) if spots else np.empty((0, 2))
        self._first = np.cumsum([0, *(len(each) for each in spots)])[:-1]

    def nearest(self, at: Spot, numbers: Sequence[int]) -> int:
        """The stroke, of those numbered, that can be entered nearest to `at`; the first of equals."""
        ways = np.hypot(self._spots[:, 0] - at[0], self._spots[:, 1] - at[1])
        shortest = np.minimum.reduceat(ways, self._first)
        return numbers[int(np.argmin(shortest[numbers]))]


def _entered(path: Path, at: Spot) -> Path:
    """The path begun where it is nearest to `at`."""
    if path.closed:
        return path.starting_at(int(np.argmin(np.hypot(*(path.points - at).T))))
    return path.reversed() if math.dist(at, path.end) < math.dist(at, path.start) else path


def _tasks(strokes: Sequence[Stroke], sheet: PlannedSheet, rank_of: Mapping[str, int]) -> list[_Task]:
    last = len(rank_of)
    own_rank = {
        (placed.part.name, placed.copy): rank_of.get(placed.part.assembly, last) for placed in sheet.placed
    }
    within = _lies_in(strokes)
    # What lies in a part's hole must come before it, so it is never later than that part's assembly.
    rank = dict(own_rank)
    for _ in range(len(sheet.placed)):
        earlier = {
            owner: min([rank[owner], *(rank[_owner(strokes[hole])] for hole in holes)])
            for owner, holes in within.items()
        }
        if all(rank[owner] == value for owner, value in earlier.items()):
            break
        rank.update(earlier)
    lines = frozenset(n for n, stroke in enumerate(strokes) if stroke.kind is not LineKind.CUT)
    by_owner: dict[tuple[str, int], list[int]] = {}
    for number, stroke in enumerate(strokes):
        if stroke.kind is LineKind.CUT:
            by_owner.setdefault(_owner(stroke), []).append(number)
    before: dict[int, set[int]] = {n: set() if n in lines else set(lines) for n in range(len(strokes))}
    for numbers in by_owner.values():
        holes = [n for n in numbers if strokes[n].layer == CUT_INSIDE_LAYER]
        for outline in set(numbers) - set(holes):
            before[outline].update(holes)
    for owner, holes_around in within.items():
        for hole in holes_around:
            before[hole].update(by_owner[owner])
    # Lines belong to no assembly's turn: they are all done first.
    return [
        _Task(stroke, -1 if n in lines else rank[_owner(stroke)], frozenset(before[n]))
        for n, stroke in enumerate(strokes)
    ]


def _owner(stroke: Stroke) -> tuple[str, int]:
    return stroke.part, stroke.copy


def _lies_in(strokes: Sequence[Stroke]) -> dict[tuple[str, int], list[int]]:
    """For each copy the numbers of the hole strokes, of other copies, that it lies in."""
    holes = [n for n, s in enumerate(strokes) if s.layer == CUT_INSIDE_LAYER]
    outlines = [n for n, s in enumerate(strokes) if s.layer == CUT_OUTSIDE_LAYER]
    found: dict[tuple[str, int], list[int]] = {}
    if not holes or not outlines:
        return found
    rooms = [shapely.Polygon(strokes[n].path.flatten()) for n in holes]
    # A point within the foam: where the gap is no more than the kerf, cuts touch, and a part's middle may be
    # the window that another part lies in.
    own_holes: dict[tuple[str, int], list[NDArray[np.float64]]] = {}
    for n in holes:
        own_holes.setdefault(_owner(strokes[n]), []).append(strokes[n].path.flatten())
    spots = [
        shapely.Polygon(
            strokes[n].path.flatten(), own_holes.get(_owner(strokes[n]), [])
        ).representative_point()
        for n in outlines
    ]
    inner, outer = STRtree(rooms).query(spots, predicate="within")
    for i, j in zip(inner.tolist(), outer.tolist(), strict=True):
        part, hole = strokes[outlines[i]], holes[j]
        if _owner(part) != _owner(strokes[hole]):
            found.setdefault(_owner(part), []).append(hole)
    return found
