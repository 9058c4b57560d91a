"""The lower bound on travel: never over the best order, and as good as published bounds."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from scipy.sparse.csgraph import minimum_spanning_tree

from nestkit.cutting.model import Stroke
from nestkit.cutting.route import shortest
from nestkit.cutting.route_bound import least_travel
from nestkit.cutting.route_entries import Entries, Task
from nestkit.cutting.route_trees import gaps_between
from nestkit.geometry import Path
from tests import naive
from tests.cutting.test_route import BERLIN52, EIL51, few_tasks, hole, hops_of, line, ring, spots


def tour(text: str) -> tuple[list[Task], tuple[float, float]]:
    first, *rest = spots(text)
    return [*(hole(*spot) for spot in rest), hole(*first, block=1)], first


@pytest.mark.parametrize(
    ("text", "optimum", "share"),
    [
        # Held and Karp's bound is nearly always within 2 % of the optimum on TSPLIB (Johnson, McGeoch and
        # Rothberg 1996, abstract).
        pytest.param(EIL51, 429.118, 0.98, id="eil51"),
        pytest.param(BERLIN52, 7544.366, 0.98, id="berlin52"),
    ],
)
def test_bounds_of_tsplib(text, optimum, share):
    tasks, first = tour(text)
    assert share * optimum < least_travel(tasks, first, optimum) <= optimum


def test_not_below_the_least_tree():
    """Any order joins all holes, so the least spanning tree (scipy) is a bound that this one must reach."""
    tasks, first = tour(EIL51)
    points = np.array(spots(EIL51))
    tree = minimum_spanning_tree(np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1))).sum()
    assert least_travel(tasks, first, 429.118) >= tree


@pytest.mark.parametrize("seed", range(200, 260))
def test_never_over_the_best_of_all_orders(seed):
    tasks = few_tasks(seed)
    ways = Entries(tasks).spread()
    rows = [
        [(tuple(ways.entry[i]), tuple(ways.exit[i])) for i in range(ways.first[k], ways.first[k + 1])]
        for k in range(len(tasks))
    ]
    best = naive.shortest_order(rows, [t.waits for t in tasks], [t.block for t in tasks], (0.0, 0.0))
    best += sum(sum(hops_of(task)) for task in tasks if task.round)
    assert least_travel(tasks, (0.0, 0.0), best) <= min(best, shortest(tasks).travel) + 1e-6


def test_gaps_are_those_of_shapely():
    """Sides of paths from a tenth of a mm to 30 mm long, side by side, across and behind each other."""
    draw = np.random.default_rng(1)
    sizes = np.repeat([0.1, 1.0, 30.0], 20)[:, None]
    middles = sizes * draw.uniform(-1.0, 1.0, (60, 2))
    halves = sizes * draw.uniform(-0.5, 0.5, (60, 2))
    chords = np.hstack((middles - halves, middles + halves))
    lines = shapely.linestrings(chords.reshape(-1, 2, 2))
    none = np.zeros((60, 60))
    # The reach is a column, as the bound has it, so that the kernel is not compiled once more.
    found = gaps_between(chords, np.zeros(60), np.arange(61), none, np.ones((60, 2))[:, 0])
    assert found == pytest.approx(shapely.distance(lines[:, None], lines[None]), abs=1e-9)


def test_a_row_of_holes_is_known_to_be_the_best():
    tasks = [hole(x, 0.0) for x in (50.0, 10.0, 30.0, 20.0, 40.0)]
    route = shortest(tasks)
    assert route.travel == pytest.approx(50.0, abs=1e-2)
    assert route.bound == pytest.approx(50.0, abs=5e-2)


def test_the_two_ends_of_a_line_are_joined_for_nothing():
    """From (0, 0) to the line's near end 10 mm; from its far end another 10 mm to the hole."""
    tasks = [line((10.0, 0.0), (90.0, 0.0)), hole(100.0, 0.0)]
    assert least_travel(tasks, (0.0, 0.0), 20.0) == pytest.approx(20.0, abs=3e-2)


def test_strokes_that_stay_together_count_with_what_lies_between():
    pair = tuple(Stroke("LABEL", Path.polyline([(x, 0), (x + 5, 0)], False), "a", 1) for x in (10, 30))
    assert least_travel([Task(pair, 0)], (0.0, 0.0), 25.0) == pytest.approx(25.0, abs=3e-2)


def test_blocks_are_joined_by_one_hop():
    tasks = [hole(0.0, 50.0), hole(0.0, 0.0), hole(100.0, 50.0, block=1), hole(100.0, 0.0, block=1)]
    assert least_travel(tasks, (0.0, 0.0), 200.0) == pytest.approx(200.0, abs=0.1)
    freely = [Task(task.strokes, 0) for task in tasks]
    assert least_travel(freely, (0.0, 0.0), 200.0) <= 200.0


def test_a_large_path_that_is_crossed_for_nothing_does_not_spoil_the_bound():
    """A row of squares side by side, 100 mm wide: every other one alone already needs its 102 mm."""
    squares = [ring((x, 0), (x + 100, 0), (x + 100, 100), (x, 100)) for x in (102.0 * k for k in range(9))]
    route = shortest(squares)
    assert route.bound >= 4 * 104.0 - 0.1
    assert route.bound <= route.travel


def test_nothing_to_do_has_no_bound():
    assert least_travel([], (0.0, 0.0), 0.0) == 0.0
