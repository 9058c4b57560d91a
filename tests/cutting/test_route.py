"""The shortest way through a job's tasks, against all orders, published tours and straight lines."""

from __future__ import annotations

import itertools
import math
import random
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nestkit.cutting.model import Stroke
from nestkit.cutting.route import Route, is_compiled, shortest, travel
from nestkit.cutting.route_choice import best_ways, length_of
from nestkit.cutting.route_entries import Entries, Task
from nestkit.geometry import Path
from nestkit.geometry.stretch import stretch
from tests import naive
from tests.zoo import SLOT, rounded

#: EUC_2D instances of TSPLIB (Reinelt 1991, doi:10.1287/ijoc.3.4.376). eil51: coordinates as seen in
#: public code; berlin52: coordinates from memory, and the optimum below fits them.
EIL51 = """37 52, 49 49, 52 64, 20 26, 40 30, 21 47, 17 63, 31 62, 52 33, 51 21, 42 41, 31 32, 5 25, 12 42,
36 16, 52 41, 27 23, 17 33, 13 13, 57 58, 62 42, 42 57, 16 57, 8 52, 7 38, 27 68, 30 48, 43 67, 58 48, 58 27,
37 69, 38 46, 46 10, 61 33, 62 63, 63 69, 32 22, 45 35, 59 15, 5 6, 10 17, 21 10, 5 64, 30 15, 39 10, 32 39,
25 32, 25 55, 48 28, 56 37, 30 40"""
BERLIN52 = """565 575, 25 185, 345 750, 945 685, 845 655, 880 660, 25 230, 525 1000, 580 1175, 650 1130,
1605 620, 1220 580, 1465 200, 1530 5, 845 680, 725 370, 145 665, 415 635, 510 875, 560 365, 300 465, 520 585,
480 415, 835 625, 975 580, 1215 245, 1320 315, 1250 400, 660 180, 410 250, 420 555, 575 665, 1150 1160,
700 580, 685 595, 685 610, 770 610, 795 645, 720 635, 760 650, 475 960, 95 260, 875 920, 700 500, 555 815,
830 485, 1170 65, 830 610, 605 625, 595 360, 1340 725, 1740 245"""
#: A hole so small that where it is entered doesn't count, mm.
TINY = 1e-4


def spots(text: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in (each.split() for each in text.split(","))]


def hole(x: float, y: float, radius: float = TINY, block: int = 0) -> Task:
    return Task((Stroke("CUT_INSIDE", Path.circle(x, y, radius), f"{x} {y}", 1),), block)


def line(*points: tuple[float, float], block: int = 0) -> Task:
    return Task((Stroke("MARK", Path.polyline(points, False), str(points), 1),), block)


def ring(*points: tuple[float, float], waits: int | None = None, block: int = 0) -> Task:
    path = Path.polyline(points, True)
    return Task((Stroke("CUT_OUTSIDE", path, str(points), 1),), block, waits)


def tabbed(path: Path, count: int, name: str, waits: int | None = None, block: int = 0) -> Task:
    """A closed path in runs, with a tab after each that takes a tenth of its share."""
    step = path.length / count
    runs = (stretch(path, step * k, step * (k + 0.9)) for k in range(count))
    return Task(tuple(Stroke("CUT_OUTSIDE", run, name, 1) for run in runs), block, waits, round=True)


def parts(route: Route) -> list[str]:
    return [stroke.part for stroke in route.strokes]


@pytest.mark.parametrize(
    ("text", "optimum"),
    [
        # In whole units per leg the published optima are 426 and 7542 (TSPLIB); these are the same tours
        # unrounded, to which a closed tour of tiny holes is measured.
        pytest.param(EIL51, 429.118, id="eil51"),
        pytest.param(BERLIN52, 7544.366, id="berlin52"),
    ],
)
def test_tours_of_tsplib(text, optimum):
    first, *rest = spots(text)
    # The tour closes, since the first hole comes again in a block of its own after all others.
    route = shortest([*(hole(*spot) for spot in rest), hole(*first, block=1)], first)
    assert optimum * 0.999 < route.travel < optimum * 1.03
    legs = [math.dist(a, b) for a, b in itertools.pairwise([first, *(s.path.start for s in route.strokes)])]
    rounded_legs = sum(math.floor(leg + 0.5) for leg in legs)
    published = {429.118: 426, 7544.366: 7542}[optimum]
    assert published <= rounded_legs <= 1.03 * published


@pytest.mark.parametrize(("columns", "rows"), [(3, 3), (3, 4), (4, 4), (5, 5)])
def test_tours_of_grids(columns, rows):
    """A closed tour of a unit grid takes a b, or a b - 1 + sqrt 2 where both are odd (proved by parity)."""
    first, *rest = [(100.0 * x, 100.0 * y) for x in range(columns) for y in range(rows)]
    route = shortest([*(hole(*spot) for spot in rest), hole(*first, block=1)], first)
    odd = columns % 2 == 1 and rows % 2 == 1
    best = columns * rows - 1 + math.sqrt(2) if odd else columns * rows
    assert route.travel == pytest.approx(100.0 * best, abs=0.02)


def test_a_large_grid_is_nearly_the_best_and_known_to_be():
    """400 holes, whose best tour takes 400 steps, as above; the bound comes near to it too."""
    spots = [(10.0 * x, 10.0 * y) for x in range(20) for y in range(20)]
    random.Random(1).shuffle(spots)
    first, *rest = spots
    route = shortest([*(hole(*spot) for spot in rest), hole(*first, block=1)], first)
    assert 3999.9 <= route.travel <= 1.01 * 4000.0
    assert 0.999 * 4000.0 <= route.bound <= 4000.0
    assert is_compiled()


def test_holes_on_a_circle_go_round_it():
    """Points in convex position: the shortest closed tour is the hull (known since Barachet 1957)."""
    turns = [math.tau * k / 40 for k in range(40)]
    first, *rest = [(300 + 200 * math.cos(a), 300 + 200 * math.sin(a)) for a in turns]
    random.Random(3).shuffle(rest)
    route = shortest([*(hole(*spot) for spot in rest), hole(*first, block=1)], first)
    assert route.travel == pytest.approx(40 * 400 * math.sin(math.pi / 40), abs=0.02)


def few_tasks(seed: int) -> list[Task]:
    draw = random.Random(seed)
    tasks: list[Task] = []
    for _ in range(draw.randint(1, 6)):
        x, y, size = draw.uniform(0, 300), draw.uniform(0, 300), draw.uniform(1, 80)
        block = draw.choice([0, 0, 0, 1])
        if draw.random() < 0.3:
            tasks.append(line((x, y), (x + size, y + draw.uniform(-50, 50)), block=block))
        elif draw.random() < 0.3:
            corners = [(x, y), (x + size, y), (x, y + size)]
            tasks.append(tabbed(Path.polyline(corners, True), draw.randint(1, 4), str(corners), block=block))
        else:
            tasks.append(ring((x, y), (x + size, y), (x, y + size), block=block))
    for k in range(len(tasks)):
        later = [j for j in range(k + 1, len(tasks)) if tasks[j].block >= tasks[k].block]
        if later and draw.random() < 0.4:
            tasks[k] = replace(tasks[k], waits=draw.choice(later))
    return tasks


@pytest.mark.parametrize("seed", range(60))
def test_never_longer_than_the_best_of_all_orders_from_corner_to_corner(seed):
    tasks = few_tasks(seed)
    corners = Entries(tasks).at_vertices()
    ways = [
        [
            (tuple(corners.entry[i]), tuple(corners.exit[i]))
            for i in range(corners.first[k], corners.first[k + 1])
        ]
        for k in range(len(tasks))
    ]
    best = naive.shortest_order(ways, [t.waits for t in tasks], [t.block for t in tasks], (0.0, 0.0))
    # What a task travels in itself; a closed path in runs does without one of its hops.
    within = sum(travel(t.strokes, t.strokes[0].path.start) for t in tasks if not t.round)
    hops = sum(hop for t in tasks if t.round for hop in hops_of(t))
    assert shortest(tasks).travel <= best + within + hops + 1e-6


def test_the_search_finds_nearly_what_weighing_all_orders_finds(monkeypatch):
    """Few tasks that wait for each other leave few moves, so that one or another may end a little longer."""
    tasks = [few_tasks(seed) for seed in range(100, 160)]
    best = [shortest(each).travel for each in tasks]
    monkeypatch.setattr("nestkit.cutting.route.MOST_TASKS", 0)
    monkeypatch.setattr("nestkit.cutting.route.KICKS_FOR_EACH", 200)
    longer = sorted(shortest(each).travel / least for each, least in zip(tasks, best, strict=True))
    assert longer[0] >= 1.0 - 1e-6
    assert longer[57] <= 1.001
    assert longer[-1] <= 1.05


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6))
def test_ways_of_a_fixed_order_are_the_best_ones(seed):
    tasks = few_tasks(seed)
    ways = Entries(tasks).spread()
    seq, start = np.arange(len(tasks)), np.zeros(2)
    way = best_ways(seq, ways.first, ways.entry, ways.exit, start)
    assert all(ways.first[k] <= way[k] < ways.first[k + 1] for k in range(len(tasks)))
    found = length_of(seq, way, ways.entry, ways.exit, start)
    rows = [
        [(tuple(ways.entry[i]), tuple(ways.exit[i])) for i in range(ways.first[k], ways.first[k + 1])]
        for k in range(len(tasks))
    ]
    reached = {(0.0, 0.0): 0.0}
    for each in rows:
        reached = {
            leave: min(done + math.dist(at, entry) for at, done in reached.items()) for entry, leave in each
        }
    assert found == pytest.approx(min(reached.values()))


def hops_of(task: Task) -> list[float]:
    runs = [stroke.path for stroke in task.strokes]
    return [math.dist(a.end, b.start) for a, b in zip(runs, [*runs[1:], runs[0]], strict=True)]


@pytest.mark.parametrize("count", [1, 2, 3, 5])
def test_a_path_in_runs_is_begun_at_the_best_of_them_and_followed_round(count):
    """All its beginnings, both ways round, weighed one by one."""
    draw = random.Random(count)
    for _ in range(10):
        task = tabbed(rounded(60, 40, 10), count, "a")
        start = (draw.uniform(-50, 100), draw.uniform(-50, 100))
        runs = [stroke.path for stroke in task.strokes]
        ways = [[*runs[k:], *runs[:k]] for k in range(count)]
        ways += [[run.reversed() for run in reversed(way)] for way in ways]
        best = min(travel([Stroke("CUT_OUTSIDE", path, "a", 1) for path in way], start) for way in ways)
        route = shortest([task], start)
        assert route.travel == pytest.approx(best)
        assert route.bound <= best
        assert sum(stroke.path.length for stroke in route.strokes) == pytest.approx(
            sum(r.length for r in runs)
        )


@st.composite
def many_tasks(draw: st.DrawFn) -> list[Task]:
    spot = st.tuples(st.integers(0, 500), st.integers(0, 300))
    kinds = draw(st.lists(st.tuples(spot, st.integers(1, 60), st.integers(0, 2), st.booleans()), max_size=25))
    tasks = []
    for k, ((x, y), size, block, closed) in enumerate(kinds):
        later = [j for j in range(len(kinds)) if (kinds[j][2], j) > (block, k)]
        waits = draw(st.sampled_from(later)) if later and draw(st.booleans()) else None
        shape = rounded(size + 3, size + 3, 1) if closed else Path.polyline([(0, 0), (size, 0)], False)
        moved = Path(shape.vertices + np.array([x, y, 0.0]), shape.closed)
        tasks.append(Task((Stroke("MARK", moved, f"task {k}", 1),), block, waits))
    return tasks


@settings(max_examples=60, deadline=None)
@given(many_tasks())
def test_nothing_is_lost_and_no_rule_is_broken(tasks):
    route = shortest(tasks)
    assert sorted(parts(route)) == sorted(task.strokes[0].part for task in tasks)
    turn = {name: place for place, name in enumerate(parts(route))}
    places = [turn[f"task {k}"] for k in range(len(tasks))]
    for k, task in enumerate(tasks):
        assert task.waits is None or places[k] < places[task.waits]
    assert [tasks[k].block for k in np.argsort(places)] == sorted(task.block for task in tasks)
    assert route.travel == pytest.approx(travel(route.strokes))
    assert 0.0 <= route.bound <= route.travel <= route.nearest
    for stroke in route.strokes:
        drawn = tasks[int(stroke.part.split()[1])].strokes[0].path
        assert stroke.path.length == pytest.approx(drawn.length)
        assert stroke.path.signed_area == pytest.approx(drawn.signed_area, abs=1e-6)


def test_the_same_tasks_give_the_same_order():
    tasks = few_tasks(5) + few_tasks(6)
    one, two = shortest(tasks), shortest(tasks)
    assert parts(one) == parts(two)
    assert all(
        (a.path.vertices == b.path.vertices).all() for a, b in zip(one.strokes, two.strokes, strict=True)
    )


def test_strokes_that_stay_together_may_be_run_backwards():
    text = Task(
        tuple(Stroke("LABEL", Path.polyline([(x, 0), (x, 5)], False), "a", 1) for x in (100, 50, 10)), 0
    )
    route = shortest([text])
    assert [stroke.path.end for stroke in route.strokes] == [(10, 0), (50, 0), (100, 0)]
    assert route.travel == pytest.approx(math.hypot(10, 5) + 2 * math.hypot(40, 5) + 10, abs=1.0)


def test_a_ring_is_entered_between_its_corners_when_that_is_nearer():
    slot = Task((Stroke("CUT_INSIDE", SLOT, "slot", 1),), 0)
    route = shortest([slot], (25.0, -30.0))
    assert route.travel == pytest.approx(30.0, abs=1e-2)


def test_nothing_to_do_takes_no_way():
    route = shortest([])
    assert (route.strokes, route.travel, route.nearest, route.bound) == ((), 0.0, 0.0, 0.0)


def test_tasks_that_wait_in_a_circle_are_refused():
    one, two = ring((0, 0), (1, 0), (0, 1), waits=1), ring((0, 0), (1, 0), (0, 1), waits=0)
    with pytest.raises(ValueError, match="waits for itself"):
        shortest([one, two])
    with pytest.raises(ValueError, match="later block"):
        shortest([ring((0, 0), (1, 0), (0, 1), waits=1, block=1), ring((0, 0), (1, 0), (0, 1))])
