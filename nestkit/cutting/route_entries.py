"""Where the tool may enter each task of a job, and where it leaves it again.

A closed path may begin anywhere along it and ends where it begins. One that holding tabs part into runs is
begun at the end of any run and followed round. Everything else (an open path, strokes
that stay together) is entered at one end and left at the other, or the other way round.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from nestkit.cutting.model import Stroke
from nestkit.geometry import Path
from nestkit.geometry.stretch import piece_lengths, points_on, starting_along

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

#: A closed path begins at a vertex if the best place is no farther than this from it along the path, mm.
TO_VERTEX = 0.2
#: No more ways into one closed path than this are weighed at once.
MOST_WAYS = 16
#: Ways into all paths of a job together that are weighed at once.
MOST_IN_ALL = 16000


@dataclass(frozen=True, eq=False)
class Task:
    """Strokes that are run one after another without a break.

    Parameters
    ----------
    strokes : tuple of Stroke
        One, or several that stay together in this order or in the reverse of it.
    block : int
        Tasks of a lower block all come before those of a higher one.
    waits : int or None
        The task, by its place in the list, that may only come after this one; it is of the same block or a
        later one.
    round : bool
        True when the strokes lie one behind the other round a closed path, so that any may be the first.
    """

    strokes: tuple[Stroke, ...]
    block: int
    waits: int | None = None
    round: bool = False

    @property
    def ring(self) -> Path | None:
        """The task's path, if it is a single closed one."""
        return self.strokes[0].path if len(self.strokes) == 1 and self.strokes[0].path.closed else None


@dataclass(frozen=True, eq=False)
class Ways:
    """Ways through tasks: rows ``first[k]`` to ``first[k + 1]`` are those of task k.

    Parameters
    ----------
    first : (n + 1,) int
    entry, exit : (m, 2) float, mm
    flip : (m,) int
        The way that runs the same strokes the other way round: for a closed path itself.
    place : (m,) float
        For a closed path where along it the way begins, mm; else 0 as drawn and 1 the other way round,
        and 2 more for each stroke that others are begun before.
    """

    first: Integers
    entry: Floats
    exit: Floats
    flip: Integers
    place: Floats


class Entries:
    """The tasks of a job, and the ways into them."""

    def __init__(self, tasks: Sequence[Task]) -> None:
        self.tasks = tuple(tasks)
        rings = [task.ring for task in tasks]
        self.is_ring = np.array([ring is not None for ring in rings], dtype=bool)
        pieces = [np.empty((0, 5)) if ring is None else ring.pieces() for ring in rings]
        self._count = np.array([len(each) for each in pieces], dtype=np.int64)
        self._first = np.concatenate(([0], np.cumsum(self._count))).astype(np.int64)
        self._pieces = np.concatenate(pieces) if pieces else np.empty((0, 5))
        self._lengths = piece_lengths(self._pieces)
        self._ends = np.cumsum(self._lengths)
        whole = np.concatenate(([0.0], self._ends))
        #: Length of each closed path, mm; 0 for other tasks.
        self.length = whole[self._first[1:]] - whole[self._first[:-1]]
        self._offset = whole[self._first[:-1]]

    def points(self, tasks: Integers, places: Floats) -> Floats:
        """Points of closed paths at places along them, mm: (m, 2)."""
        at = self._offset[tasks] + places % self.length[tasks]
        k = np.searchsorted(self._ends, at, side="right")
        k = np.clip(k, self._first[tasks], self._first[tasks + 1] - 1)
        lengths = self._lengths[k]
        shares = np.where(
            lengths > 0.0, (at - (self._ends[k] - lengths)) / np.where(lengths > 0.0, lengths, 1.0), 0.0
        )
        return points_on(self._pieces[k], np.clip(shares, 0.0, 1.0))

    def vertex_places(self, task: int) -> Floats:
        """Where the vertices of a closed path lie along it, mm."""
        lengths = self._lengths[self._first[task] : self._first[task + 1]]
        return np.concatenate(([0.0], np.cumsum(lengths)[:-1]))

    def at_vertices(self) -> Ways:
        """All vertices of closed paths, both ends of the rest."""
        return self.ways([self.vertex_places(k) if self.is_ring[k] else None for k in range(len(self.tasks))])

    def spread(self) -> Ways:
        """Vertices and places between them, a limited number on each closed path."""
        most = int(np.clip(MOST_IN_ALL // max(len(self.tasks), 1), 4, MOST_WAYS))
        places: list[Floats | None] = []
        for k in range(len(self.tasks)):
            if not self.is_ring[k]:
                places.append(None)
                continue
            own = self.vertex_places(k)
            if len(own) > most // 2:
                own = own[np.linspace(0, len(own), most // 2, endpoint=False).astype(np.int64)]
            between = np.linspace(0.0, self.length[k], most - len(own), endpoint=False)
            places.append(np.concatenate((own, between)))
        return self.ways(places)

    def around(self, places: Floats, step: Floats) -> Ways:
        """For closed paths the places given and two on each side, ``step`` and half of it away."""
        near = np.array([0.0, -1.0, -0.5, 0.5, 1.0])
        return self.ways(
            [places[k] + near * step[k] if self.is_ring[k] else None for k in range(len(self.tasks))]
        )

    def ways(self, places: Sequence[Floats | None]) -> Ways:
        """The ways that begin at these places along closed paths; None for the other tasks."""
        ends = [len(task.strokes) if task.round else 1 for task in self.tasks]
        counts = np.array(
            [2 * ends[k] if each is None else len(each) for k, each in enumerate(places)], dtype=np.int64
        )
        first = np.concatenate(([0], np.cumsum(counts))).astype(np.int64)
        owner = np.repeat(np.arange(len(places)), counts)
        flat = np.concatenate(
            [np.arange(2.0 * ends[k]) if each is None else each for k, each in enumerate(places)]
            or [np.empty(0)]
        )
        entry, leave = np.empty((len(flat), 2)), np.empty((len(flat), 2))
        flip = np.arange(len(flat), dtype=np.int64)
        ring = self.is_ring[owner] if len(owner) else np.empty(0, dtype=bool)
        if ring.any():
            entry[ring] = self.points(owner[ring], flat[ring])
            leave[ring] = entry[ring]
            flat[ring] %= self.length[owner[ring]]
        for k in np.flatnonzero(~self.is_ring):
            paths = [stroke.path for stroke in self.tasks[k].strokes]
            for begun in range(ends[k]):
                start, end = paths[begun].start, paths[begun - 1].end
                row = int(first[k]) + 2 * begun
                entry[row], leave[row], entry[row + 1], leave[row + 1] = start, end, end, start
                flip[row], flip[row + 1] = row + 1, row
        return Ways(first, entry, leave, flip, flat)

    def run(self, task: int, place: float) -> tuple[Stroke, ...]:
        """The task's strokes as they are run on the way that begins at this place (see `Ways.place`)."""
        strokes = self.tasks[task].strokes
        if self.is_ring[task]:
            return (replace(strokes[0], path=starting_along(strokes[0].path, place, TO_VERTEX)),)
        begun, back = divmod(int(place), 2)
        strokes = strokes[begun:] + strokes[:begun]
        if not back:
            return strokes
        return tuple(replace(stroke, path=stroke.path.reversed()) for stroke in reversed(strokes))
