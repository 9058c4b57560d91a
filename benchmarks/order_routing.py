"""The cut order of a general routing library beside ours: OR-tools, the same tasks, the same rules.

OR-tools joins points, and a closed path may begin anywhere. So it gets each path with one way in, those of
the nearest-next order at first; then the best ways for the order that it found are chosen, as ours chooses
them, and it goes on from there. Guided local search, from the nearest-next order on, half of its time for
each of the two passes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from ortools.constraint_solver import pywrapcp, routing_enums_pb2

from nestkit.cutting.route import _finer, _run, travel
from nestkit.cutting.route_choice import best_ways, nearest_next
from nestkit.cutting.route_entries import Entries, Task

#: Whole numbers in a millimetre.
UNITS = 1000
#: How often its order gets new ways in.
PASSES = 2


def routed(tasks: Sequence[Task], seconds: float) -> float:
    """Travel, mm, of the order that OR-tools finds in so many seconds."""
    entries, at = Entries(tasks), np.zeros(2)
    waits = np.array([-1 if task.waits is None else task.waits for task in tasks], dtype=np.int64)
    block = np.array([task.block for task in tasks], dtype=np.int64)
    corners, spread = entries.at_vertices(), entries.spread()
    seq, way = nearest_next(corners.first, corners.entry, corners.exit, at, waits, block)
    least = travel(_run(entries, seq, corners.place[way]))
    entry, leave = corners.entry[way], corners.exit[way]
    for _ in range(PASSES):
        seq = _order(entry, leave, waits, block, seq, seconds / PASSES)
        way = best_ways(seq, spread.first, spread.entry, spread.exit, at)
        strokes = _run(entries, seq, _finer(entries, seq, spread.place[way], at))
        least = min(least, travel(strokes))
        entry, leave = spread.entry[way], spread.exit[way]
    return least


def _order(
    entry: NDArray[np.float64],
    leave: NDArray[np.float64],
    waits: NDArray[np.int64],
    block: NDArray[np.int64],
    begun: NDArray[np.int64],
    seconds: float,
) -> NDArray[np.int64]:
    """The tasks in turn; node 0 is the start point, and the way back to it costs nothing."""
    ends, starts = np.vstack(([0.0, 0.0], leave)), np.vstack(([0.0, 0.0], entry))
    gaps = np.rint(UNITS * np.hypot(*(ends[:, None] - starts[None]).transpose(2, 0, 1))).astype(np.int64)
    gaps[:, 0] = 0
    manager = pywrapcp.RoutingIndexManager(len(gaps), 1, 0)
    model = pywrapcp.RoutingModel(manager)
    model.SetArcCostEvaluatorOfAllVehicles(model.RegisterTransitMatrix(gaps.tolist()))
    model.AddDimension(model.RegisterUnaryTransitVector([1] * len(gaps)), 0, len(gaps), True, "turn")
    turn = model.GetDimensionOrDie("turn")
    for k in range(len(block)):
        index = manager.NodeToIndex(k + 1)
        earlier = [manager.NodeToIndex(int(j) + 1) for j in np.flatnonzero(block < block[k])]
        if earlier:
            model.NextVar(index).RemoveValues(earlier)
        if waits[k] >= 0:
            after = manager.NodeToIndex(int(waits[k]) + 1)
            turn.AddNodePrecedence(index, after, 1)
    settings = pywrapcp.DefaultRoutingSearchParameters()
    settings.local_search_metaheuristic = routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    settings.time_limit.FromMilliseconds(math.ceil(1000.0 * seconds))
    model.CloseModelWithParameters(settings)
    first = model.ReadAssignmentFromRoutes([[int(k) + 1 for k in begun]], True)
    found = model.SolveFromAssignmentWithParameters(first, settings)
    if found is None:
        return begun
    seq, index = [], found.Value(model.NextVar(model.Start(0)))
    while not model.IsEnd(index):
        seq.append(manager.IndexToNode(index) - 1)
        index = found.Value(model.NextVar(index))
    return np.array(seq, dtype=np.int64)
