"""The shortest way through the tasks of a job, never longer than going to the nearest next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from nestkit.cutting.model import Stroke
from nestkit.cutting.route_bound import least_travel
from nestkit.cutting.route_choice import best_ways, gaps_of, nearest_next
from nestkit.cutting.route_entries import Entries, Task, Ways
from nestkit.cutting.route_exact import MOST_TASKS, best_order
from nestkit.cutting.route_search import Field, search

Spot = tuple[float, float]

#: Kicks for each task, and at most in all: 200 tasks take less than 2 s and 1,000 less than 10 s.
KICKS_FOR_EACH = 40
MOST_KICKS = 25_000
#: How many nearest tasks a task is tried beside.
NEIGHBOURS = 10
#: How often the places where closed paths begin are made finer, each time by half.
FINER = 12
SEED = 1


@dataclass(frozen=True, eq=False)
class Route:
    """A job's strokes in order.

    Parameters
    ----------
    strokes : tuple of Stroke
    travel : float, mm
        Way of the tool between strokes, from the start point on.
    nearest : float, mm
        The same when it always goes to the nearest next.
    bound : float, mm
        The same for the best of all orders, at least.
    """

    strokes: tuple[Stroke, ...]
    travel: float
    nearest: float
    bound: float


def shortest(tasks: Sequence[Task], start: Spot = (0.0, 0.0), rough: bool = False) -> Route:
    """The shortest order found for these tasks.

    Parameters
    ----------
    tasks : sequence of Task
    start : (float, float), mm
    rough : bool
        True goes to the nearest next and searches no further, where only the time is asked for.

    Raises
    ------
    ValueError
        When tasks wait for each other in a circle, or for one of a later block.
    """
    _check(tasks)
    entries = Entries(tasks)
    at = np.array(start, dtype=np.float64)
    waits = np.array([-1 if task.waits is None else task.waits for task in tasks], dtype=np.int64)
    block = np.array([task.block for task in tasks], dtype=np.int64)
    plain = entries.at_vertices()
    seq, way = nearest_next(plain.first, plain.entry, plain.exit, at, waits, block)
    first = _run(entries, seq, plain.place[way])
    nearest = travel(first, start)
    if not tasks:
        return Route((), 0.0, 0.0, 0.0)
    if rough:
        return Route(first, nearest, nearest, 0.0)
    ways = entries.spread()
    if len(tasks) <= MOST_TASKS:
        seq, way = best_order(ways.first, ways.entry, ways.exit, at, waits, block)
    else:
        field = Field(
            ways.first, ways.entry, ways.exit, ways.flip, at, waits, block, *_neighbours(ways, block)
        )
        kicks = min(KICKS_FOR_EACH * len(tasks), MOST_KICKS)
        seq, way = search(seq, best_ways(seq, ways.first, ways.entry, ways.exit, at), field, kicks, SEED)
    strokes = _run(entries, seq, _finer(entries, seq, ways.place[way], at))
    found = travel(strokes, start)
    if nearest <= found:
        strokes, found = first, nearest
    return Route(strokes, found, nearest, min(least_travel(tasks, start, found), found))


def is_compiled() -> bool:
    """Whether the kernels are ready; else the next order compiles them, or loads what was compiled before."""
    return all(getattr(each, "signatures", True) for each in (nearest_next, best_ways, search))


def travel(strokes: Sequence[Stroke], start: Spot = (0.0, 0.0)) -> float:
    """Way between the strokes from the start point on, mm."""
    ends = np.array([start, *(stroke.path.end for stroke in strokes)])
    starts = np.array([stroke.path.start for stroke in strokes]).reshape(-1, 2)
    return float(np.hypot(*(starts - ends[:-1]).T).sum())


def _run(entries: Entries, seq: NDArray[np.int64], places: NDArray[np.float64]) -> tuple[Stroke, ...]:
    return tuple(stroke for k in seq.tolist() for stroke in entries.run(k, float(places[k])))


def _neighbours(ways: Ways, block: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """For each task the nearest of its block and their gaps, nearest first; rows are filled up with -1."""
    near = np.full((len(block), NEIGHBOURS), -1, dtype=np.int64)
    gap = np.zeros((len(block), NEIGHBOURS))
    for each in np.unique(block):
        tasks = np.flatnonzero(block == each)
        rows = np.concatenate([np.arange(ways.first[k], ways.first[k + 1]) for k in tasks])
        counts = ways.first[tasks + 1] - ways.first[tasks]
        first = np.concatenate(([0], np.cumsum(counts)))
        gaps = gaps_of(first, ways.entry[rows])
        np.fill_diagonal(gaps, np.inf)
        size = min(NEIGHBOURS, len(tasks) - 1)
        order = np.argsort(gaps, axis=1, kind="stable")[:, :size]
        near[tasks, :size] = tasks[order]
        gap[tasks, :size] = np.take_along_axis(gaps, order, axis=1)
    return near, gap


def _finer(
    entries: Entries, seq: NDArray[np.int64], places: NDArray[np.float64], at: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Better places for closed paths to begin, the order being fixed."""
    # The places tried lie no farther apart than this at first: half of what was weighed before.
    step = entries.length / 16.0
    for _ in range(FINER):
        ways = entries.around(places, step)
        way = best_ways(seq, ways.first, ways.entry, ways.exit, at)
        places = ways.place[way]
        step = step / 2.0
    return places


def _check(tasks: Sequence[Task]) -> None:
    for k, task in enumerate(tasks):
        if task.waits is not None and tasks[task.waits].block < task.block:
            raise ValueError(f"task {task.waits} of block {tasks[task.waits].block} waits for a later block")
        seen, at = 0, task.waits
        while at is not None:
            seen, at = seen + 1, tasks[at].waits
            if seen > len(tasks):
                raise ValueError(f"task {k} waits for itself")
