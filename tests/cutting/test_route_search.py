"""The moves of the search one by one, without kicks, from orders that a single move mends or rules forbid."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from nestkit.cutting.route import SEED, _neighbours
from nestkit.cutting.route_entries import Entries
from nestkit.cutting.route_search import Field, search
from tests.cutting.test_route import hole

Spot = tuple[float, float]


def improved(spots: list[Spot], waits: dict[int, int], seq: list[int], kicks: int = 0) -> list[int]:
    """What the search makes of an order of holes, coming from (0, 0); a hole waits for what it stands for."""
    ways = Entries([hole(*spot) for spot in spots]).spread()
    before = np.array([waits.get(k, -1) for k in range(len(spots))], dtype=np.int64)
    block = np.zeros(len(spots), dtype=np.int64)
    field = Field(
        ways.first, ways.entry, ways.exit, ways.flip, np.zeros(2), before, block, *_neighbours(ways, block)
    )
    found, _ = search(np.array(seq, dtype=np.int64), ways.first[:-1].copy(), field, kicks, SEED)
    return [int(k) for k in found]


@pytest.mark.parametrize(
    "order",
    [
        pytest.param([6, 5, 4, 3, 2, 1, 0, 7], id="at the front"),
        pytest.param([0, 6, 5, 4, 3, 2, 1, 7], id="in the middle"),
        pytest.param([0, 7, 6, 5, 4, 3, 2, 1], id="at the end"),
    ],
)
def test_a_run_is_turned_round(order):
    """Holes in a row: a longer run of them than is moved at once lies the wrong way round."""
    assert improved([(10.0 * (k + 1), 0.0) for k in range(8)], {}, order) == list(range(8))


@pytest.mark.parametrize("size", [1, 2, 3])
def test_a_run_is_moved_elsewhere(size):
    """A few holes in the middle of a spiral come second, and should come last, beside where the spiral ends.

    The spiral's holes wait for each other, so that no part of it is turned round, and it is too long to be
    moved at once. Just before its end the few would come too early: what ends there are four holes as well.
    """
    polar = [*enumerate((100, 101, 103, 106, 110)), *((k, 20) for k in (5.95, 6.2, 6.45, 6.7))]
    spiral = [(r * math.cos(0.6 * k), r * math.sin(0.6 * k)) for k, r in polar]
    few = [(0.0, -1.0 * k) for k in range(size)]
    # The tool comes from the first hole of the spiral.
    spots = [(x - 100.0, y) for x, y in [*spiral, *few]]
    end = len(spiral)
    run, rest = list(range(end, end + size)), list(range(1, end))
    waits = {k: k + 1 for k in range(end - 1)}
    found = improved(spots, waits, [0, *run, *rest])
    assert found[:end] == [0, *rest]
    assert sorted(found[end:]) == run


@pytest.mark.parametrize("numbers", list(itertools.permutations(range(3))))
@pytest.mark.parametrize("kicks", [0, 100])
def test_what_waits_comes_later_whatever_its_number(numbers, kicks):
    """Three holes in a row, of which the middle one comes before the nearest: 20 + 10 + 25 mm at best."""
    near, middle, far = numbers
    spots = [(0.0, 0.0)] * 3
    spots[near], spots[middle], spots[far] = (10.0, 0.0), (20.0, 0.0), (35.0, 0.0)
    assert improved(spots, {middle: near}, [middle, near, far], kicks) == [middle, near, far]
