"""What is proven: published bounds, naive twins, and no bound above a plan that exists."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from nestkit.build.model import Turns
from nestkit.geometry import Outline, Path
from nestkit.nesting.alike import alike
from nestkit.nesting.bottom_left import construct
from nestkit.nesting.bounds import Offer, needed_area
from nestkit.nesting.bounds_functions import functions, in_steps, in_whole_steps, rounded_down, without_small
from nestkit.nesting.bounds_sharing import Sharing, discs_are_apart
from nestkit.nesting.bounds_widths import rectangles_inside, weighings
from nestkit.nesting.choice_model import ChoiceModel, Demand, Kind
from nestkit.nesting.problem import Bin, Item, Spacing
from nestkit.nesting.proofs import Prover, most_apart
from tests import naive
from tests.strategies import outlines
from tests.zoo import L_SHAPE, disc, frame, rectangle

NONE = Turns((0.0,))
HALF = Turns((0.0, math.pi))
QUARTER = Turns((0.0, math.pi / 2, math.pi, 3 * math.pi / 2))


def items(outline: Outline, count: int, turns: Turns = QUARTER) -> list[Item]:
    return [Item(outline, turns)] * count


def proof(
    some: list[Item], *offers: Offer, used: int = 99, cost: float = 99.0, spacing: Spacing | None = None
):
    return Prover(some, offers, spacing or Spacing()).prove(used, cost)


# --- dual-feasible functions ----------------------------------------------------------------------


@given(st.lists(st.floats(0.0, 1.0), min_size=1, max_size=12), st.lists(st.floats(0.02, 0.98), min_size=1))
def test_functions_are_dual_feasible(sizes, steps):
    """The definition itself: what adds up to no more than 1 still does."""
    total = math.fsum(sizes)
    shares = np.array(sizes) / max(total, 1.0)
    assume(math.fsum(shares) <= 1.0)
    for function in functions(steps):
        assert function.of(shares).sum() <= 1.0 + 1e-6, function.name


@given(st.lists(st.floats(0.02, 0.98), min_size=1), st.floats(0, 1), st.floats(0, 1))
def test_functions_grow(steps, one, other):
    low, high = np.array([min(one, other)]), np.array([max(one, other)])
    assert all(f.of(low)[0] <= f.of(high)[0] + 1e-9 for f in functions(steps))


def test_functions_at_published_places():
    """Fekete and Schepers 2001 (from memory), by their definitions."""
    x = np.array([0.1, 0.25, 0.4, 0.5, 0.6, 0.75, 1.0])
    assert rounded_down(1, x).tolist() == [0, 0, 0, 0.5, 1, 1, 1]
    assert rounded_down(2, x) == pytest.approx([0, 0, 0.5, 0.5, 0.5, 1, 1])
    assert without_small(0.3, x).tolist() == [0, 0, 0.4, 0.5, 0.6, 1, 1]
    assert in_steps(0.3, x) == pytest.approx([0, 0, 1 / 3, 1 / 3, 2 / 3, 1, 1])
    # Carlier, Clautiaux and Moukrim 2007 (from memory), C = 1 and k = 0.3: 2 floor(x / k) up to a half.
    assert in_whole_steps(0.3, x) == pytest.approx([0, 0, 1 / 3, 1 / 3, 2 / 3, 1, 1])


@given(
    st.lists(st.tuples(st.floats(5, 90), st.floats(5, 90)), min_size=1, max_size=5),
    st.sampled_from([NONE, QUARTER]),
    st.floats(0.0, 6.0),
)
@settings(max_examples=40, deadline=None)
def test_weighings_against_every_pair_of_functions(sizes, turns, gap):
    groups = alike([Item(rectangle(w, h), turns) for w, h in sizes])
    best = weighings(groups, (100.0, 80.0), Spacing(gap, 0.0))[0]
    in_all = sum(w for w in best.weights if math.isfinite(w))
    assert in_all == pytest.approx(naive.best_weight(sizes, turns is QUARTER, (100.0, 80.0), gap), abs=1e-9)


@pytest.mark.parametrize(
    ("side", "count", "sheet", "least"), [(6, 5, 10, 5), (51, 4, 100, 4), (50.5, 100, 100, 100)]
)
def test_what_the_area_bound_misses(side, count, sheet, least):
    """Martello and Vigo 1998 (citation seen, numbers recomputed): one sheet for each."""
    found = proof(items(rectangle(side, side), count), Offer((sheet, sheet), 0.0, None))
    assert (found.sheets, found.by) == (least, "widths")


def test_rectangles_may_keep_their_gap_cornerwise():
    """Two squares of 50 in 101.9 with a gap of 2: side by side they don't fit, cornerwise they do."""
    pair = items(rectangle(50, 50), 2)
    assert proof(pair, Offer((101.9, 101.9), 0.0, None), spacing=Spacing(2, 0)).sheets == 1
    assert proof(pair, Offer((101.3, 101.3), 0.0, None), spacing=Spacing(2, 0)).sheets == 2


@given(outlines())
@settings(max_examples=12, deadline=None)
def test_rectangles_inside_are_inside(outline):
    polygon = outline.polygon()
    boxes = naive.boxes_inside(polygon, 24)
    x0, y0, x1, y1 = polygon.bounds
    across, up = (x1 - x0) / 24, (y1 - y0) / 24
    for width, height in rectangles_inside(polygon):
        # Some place must hold it; the twin's corners are on a grid, so up to a step is lost at each side.
        least = (width - 2.0 * across, height - 2.0 * up)
        assert min(least) <= 0.0 or any(w >= least[0] and h >= least[1] for w, h in boxes)


# --- holes ----------------------------------------------------------------------------------------


def test_a_hole_that_nothing_fits_counts_as_foam():
    rim, plate = Item(frame(100, 20), kind=1), Item(rectangle(50, 50), kind=2)
    assert needed_area([rim, rim], 0.0) == pytest.approx(2 * 100 * 100)
    # A plate of 50 lies in the hole of 60, with a gap of 4 as well, but not with one of 6.
    assert needed_area([rim, plate], 0.0) == pytest.approx(100 * 100 - 60 * 60 + 50 * 50)
    assert needed_area([rim, plate], 4.0) < 104 * 104
    assert needed_area([rim, plate], 6.0) > 105 * 105 + 50 * 50


# --- sharing --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("outline", "turns", "side", "apart"),
    [
        (rectangle(51, 51), NONE, 100, True),
        (rectangle(50, 50), NONE, 100, False),
        # Two unit squares need a square of side 2, at whatever turn: Friedman 2009, s(2) = 2.
        (rectangle(51.5, 51.5), Turns(), 100, True),
        (rectangle(49.9, 49.9), Turns(), 100, False),
        # Two circles in a unit square: radius 0.292893 (Szabo et al. 2007).
        (disc(29.25), NONE, 100, False),
        (disc(29.5), NONE, 100, True),
        (Outline(L_SHAPE), NONE, 121, True),
        (Outline(L_SHAPE), HALF, 161, False),
    ],
)
def test_pairs(outline, turns, side, apart):
    pairs = Sharing((side, side), 0.0).pairs(alike(items(outline, 2, turns)))
    assert pairs == ([(0, 0)] if apart else [])


def test_a_plate_shares_a_sheet_with_a_frame_when_it_lies_in_its_hole():
    rim, plate = Item(frame(100, 20), NONE), Item(rectangle(50, 50), NONE)
    larger = Item(rectangle(61, 61), NONE)
    assert Sharing((100, 100), 0.0).pairs(alike([rim, plate])) == []
    assert Sharing((100, 100), 6.0).pairs(alike([rim, plate])) == [(0, 1)]
    assert Sharing((100, 100), 0.0).pairs(alike([rim, larger])) == [(0, 1)]


def test_three_circles_in_a_square():
    """Radius 0.254333 in a unit square (Szabo et al. 2007)."""
    assert not discs_are_apart([25.4] * 3, (100, 100), 0.0)
    assert discs_are_apart([25.8] * 3, (100, 100), 0.0)
    assert discs_are_apart([25.2] * 3, (100, 100), 2.0)
    three = alike(items(disc(25.8), 3))
    sharing = Sharing((100, 100), 0.0)
    assert sharing.triples(three, sharing.pairs(three)) == [(0, 0, 0)]
    assert proof(items(disc(25.8), 5), Offer((100, 100), 0.0, None)).sheets == 3


@given(
    st.lists(st.floats(5, 45), min_size=3, max_size=3),
    st.tuples(st.floats(60, 140), st.floats(60, 140)),
    st.floats(0, 6),
    st.integers(0, 2**31),
)
def test_discs_that_are_apart_are_never_thrown_together(radii, room, gap, seed):
    if discs_are_apart(radii, room, gap, most=3000):
        assert not naive.discs_lie_together(radii, room, gap, random.Random(seed))


@given(outlines(), outlines(), st.sampled_from([NONE, QUARTER]), st.floats(0, 5), st.integers(0, 10**6))
@settings(max_examples=40, deadline=None)
def test_what_is_apart_never_lies_together(one, other, turns, gap, seed):
    groups = alike([Item(one, turns), Item(other, turns)])
    room = (130.0, 110.0)
    if Sharing(room, gap).pairs(groups):
        assert not naive.lie_together(one.polygon(), other.polygon(), turns.angles, room, gap, seed)


@given(st.lists(st.integers(1, 4), min_size=1, max_size=6), st.data())
def test_most_apart_is_a_clique_and_near_the_largest(counts, data):
    every = [(i, j) for i in range(len(counts)) for j in range(i, len(counts))]
    pairs = data.draw(st.lists(st.sampled_from(every), unique=True))
    assert most_apart(counts, pairs) <= naive.largest_clique(counts, pairs)
    assert most_apart(counts, every) == sum(counts)


# --- all together ---------------------------------------------------------------------------------


def test_areas_that_do_not_add_up_on_single_sheets():
    """Seven triangles of 0.4 of a sheet: 2.8 sheets by area, but only two to a sheet."""
    plates = [Item(Outline(Path.polyline([(0, 0), (90, 0), (0, 89)], True)), HALF)] * 7
    found = proof(plates, Offer((100, 100), 1.0, None), used=4, cost=4.0)
    assert (found.sheets, found.money, found.by) == (4, 4.0, "together")


def test_fewest_sheets_only_count_among_plans_that_are_as_cheap():
    squares = items(rectangle(50, 50), 8)
    small, large = Offer((100, 100), 4.0, None), Offer((200, 100), 10.0, None)
    found = proof(squares, small, large, used=2, cost=8.0)
    assert (found.sheets, found.money, found.at_any_price) == (2, 8.0, False)
    assert proof(squares, small, large, used=2, cost=14.0).sheets == 1


@given(
    st.lists(st.tuples(st.integers(1, 3), st.integers(10, 70)), min_size=1, max_size=3),
    st.lists(st.tuples(st.integers(1, 9), st.integers(60, 100)), min_size=1, max_size=2),
)
@settings(max_examples=25, deadline=None)
def test_the_choice_model_against_every_choice(demands, kinds):
    wanted = [Demand(count, float(area)) for count, area in demands]
    offered = [Kind(float(price), 3, float(room)) for price, room in kinds]
    copies = [area for count, area in demands for _ in range(count)]
    best = naive.cheapest_bins(copies, [(float(price), float(room), 3) for price, room in kinds])
    answer = ChoiceModel(wanted, offered).least_money()
    assert answer.least == (math.inf if best is None else pytest.approx(best))


@given(
    st.lists(st.tuples(outlines(), st.integers(1, 4)), min_size=1, max_size=3),
    st.sampled_from([Turns(), QUARTER, NONE]),
    st.floats(0, 4),
    st.floats(0, 4),
)
@settings(max_examples=30, deadline=None)
def test_no_bound_exceeds_a_plan(shapes, turns, gap, margin):
    spacing = Spacing(gap, margin)
    some = [Item(shape, turns, kind=n) for n, (shape, count) in enumerate(shapes) for _ in range(count)]
    sheet = rectangle(150, 135)
    order = sorted(range(len(some)), key=lambda n: -some[n].outline.area)
    layout = construct(some, [Bin(sheet)] * len(some), spacing, order)
    assume(not layout.left_out)
    used = len({seat.bin for seat in layout.seats})
    prover = Prover(some, [Offer((150, 135), 2.0, None)], spacing)
    assert max(prover.by_area, prover.by_widths, prover.by_sharing) <= used
    # Asked for more than there is, so that no cap hides a bound that is too high.
    found = prover.prove(used + 2, 2.0 * used + 4.0)
    assert found.sheets <= used
    assert found.money <= 2.0 * used
