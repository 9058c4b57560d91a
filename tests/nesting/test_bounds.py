"""Bounds: never above what exists, and the published traps of the area bound."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nestkit.nesting.bounds import (
    Offer,
    _cheapest,
    cut_up_area,
    fewest_sheets,
    grown_area,
    least_money,
    usable_area,
    usable_area_within,
)
from nestkit.nesting.problem import Item, Spacing
from tests import naive
from tests.zoo import disc, frame, rectangle


@pytest.mark.parametrize(
    ("side", "count", "sheet", "least"), [(6, 5, 10, 2), (51, 4, 100, 2), (50.5, 100, 100, 26)]
)
def test_the_area_bound(side, count, sheet, least):
    """Martello and Vigo 1998 (citation seen, numbers recomputed): bounds, not answers."""
    items = [Item(rectangle(side, side)) for _ in range(count)]
    assert fewest_sheets(items, [Offer((sheet, sheet), 1.0, None)], Spacing()) == least


def test_a_sheet_that_is_filled_exactly_counts_once():
    items = [Item(rectangle(20, 20)) for _ in range(25)]
    for gap, margin, sheet in ((0, 0, 100), (2, 0, 108), (2, 5, 118)):
        assert fewest_sheets(items, [Offer((sheet, sheet), 1.0, None)], Spacing(gap, margin)) == 1


def test_gaps_can_ask_for_one_more_sheet():
    items = [Item(rectangle(20, 20)) for _ in range(25)]
    assert fewest_sheets(items, [Offer((100, 100), 1.0, None)], Spacing(2, 0)) == 2


def test_blanks_have_rims_of_their_own():
    """40 squares that fill their blanks: the gap beside a blank's edge costs nothing."""
    items = [Item(rectangle(500, 500)) for _ in range(40)]
    whole = Offer((1000, 500), 9.0, None)
    cut = Offer((1000, 500), 9.0, None, (((500, 500), (500, 500)),))
    assert fewest_sheets(items, [whole], Spacing(20, 0)) == 21
    assert fewest_sheets(items, [cut], Spacing(20, 0)) == 20
    assert least_money(items, [cut], Spacing(20, 0)) == 180.0


@given(
    st.tuples(st.floats(60, 2000), st.floats(60, 2000)),
    st.tuples(st.floats(50, 1200), st.floats(50, 1200)),
    st.floats(0, 20),
    st.floats(0, 1),
    st.integers(0, 2**31),
)
def test_no_way_of_cutting_up_has_more_room(size, largest, margin, share, seed):
    spacing = Spacing(2.0 * margin * share, margin)
    room = cut_up_area(size, largest, spacing)
    pieces = naive.cut_up_anyhow(size, largest, random.Random(seed))
    assert sum(usable_area(piece, spacing) for piece in pieces) <= room * (1.0 + 1e-9)


def test_a_cut_takes_its_margins_away():
    """1200 x 600 on 900 x 600, margin 5: two pieces are 1180 long and 590 high between their margins."""
    assert cut_up_area((1200, 600), (900, 600), Spacing(0, 5)) == pytest.approx(1180 * 590)
    # Where the second piece is narrower than its margins nothing lies on it.
    assert cut_up_area((905, 600), (900, 600), Spacing(0, 5)) == pytest.approx(890 * 590, rel=1e-4)
    cut = Offer((1200, 600), 9.0, None, (((900, 600), (300, 600)),), largest=(900, 600))
    assert cut.room(Spacing(0, 5)) == pytest.approx(1180 * 590)


@given(st.floats(20, 200), st.floats(0, 9), st.floats(0, 9))
def test_room_within_an_outline(radius, margin, gap):
    spacing = Spacing(gap, margin)
    room = usable_area_within(disc(radius), spacing)
    true = math.pi * (radius - margin + gap / 2.0) ** 2
    assert true <= room <= true * 1.01
    room = usable_area_within(rectangle(2 * radius, 100), spacing)
    assert usable_area((2 * radius, 100), spacing) <= room <= usable_area((2 * radius, 100), spacing) * 1.01


def test_an_offcuts_hole_is_no_room():
    rim = frame(100, 20)
    offcut = Offer((100, 100), 0.0, 1, outline=rim)
    assert offcut.room(Spacing()) == pytest.approx(100 * 100 - 60 * 60, rel=1e-2)
    # By area; the rim holds sixteen at most.
    squares = [Item(rectangle(20, 20))] * 16
    assert fewest_sheets(squares, [offcut], Spacing()) == 1
    assert least_money(squares, [offcut, Offer((100, 100), 1.0, None)], Spacing()) == 0.0
    assert least_money([*squares, squares[0]], [offcut, Offer((100, 100), 1.0, None)], Spacing()) == 1.0


def test_grown_areas_are_steiners():
    assert grown_area(rectangle(100, 60), 5) == pytest.approx(7678.539816339745, rel=1e-3)
    assert grown_area(rectangle(100, 60), 5) <= 7678.539816339745
    assert grown_area(disc(30), 2) <= math.pi * 32**2
    rim = frame(100, 20)
    assert grown_area(rim, 2) <= 104 * 104 - 56 * 56
    assert usable_area((100, 60), Spacing(10, 0)) == pytest.approx(7678.539816339745)


def test_larger_sheets_and_those_in_the_shop_count_first():
    items = [Item(rectangle(100, 100)) for _ in range(10)]
    offers = [Offer((100, 100), 1.0, None), Offer((200, 200), 0.0, 1), Offer((100, 200), 1.5, None)]
    assert fewest_sheets(items, offers, Spacing()) == 4
    assert fewest_sheets(items, [Offer((200, 200), 0.0, 2)], Spacing()) == 2


@given(
    st.integers(1, 12),
    st.lists(st.tuples(st.integers(20, 60), st.integers(1, 4)), min_size=1, max_size=3),
)
def test_fewest_sheets_against_every_combination(count, kinds):
    items = [Item(rectangle(20, 20))] * count
    offers = [Offer((side, side), 1.0, most) for side, most in kinds]
    fewest = naive.fewest_bins(400.0 * count, [(float(side * side), most) for side, most in kinds])
    assert fewest_sheets(items, offers, Spacing()) == (sum(n for _, n in kinds) if fewest is None else fewest)


def test_money():
    items = [Item(rectangle(100, 100)) for _ in range(4)]
    assert least_money(items, [Offer((200, 200), 9.0, None), Offer((100, 100), 2.0, None)], Spacing()) == 8.0
    assert least_money(items, [Offer((200, 200), 7.0, None), Offer((100, 100), 2.0, None)], Spacing()) == 7.0
    assert least_money(items, [Offer((200, 200), 7.0, None), Offer((200, 200), 0.0, 1)], Spacing()) == 0.0


@given(
    st.floats(1.0, 60.0),
    st.lists(st.tuples(st.floats(5.0, 30.0), st.floats(1.0, 20.0)), min_size=1, max_size=3),
)
def test_least_money_against_every_combination(need, priced):
    ranked = sorted(priced, key=lambda pair: pair[1] / pair[0])
    assert _cheapest(need, ranked, math.inf) == pytest.approx(naive.least_money(need, priced))
