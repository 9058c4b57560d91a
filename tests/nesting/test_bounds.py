"""Bounds: never above what exists, and the published traps of the area bound."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nestkit.nesting.bounds import Offer, _cheapest, fewest_sheets, grown_area, least_money, usable_area
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
    cut = Offer((1000, 500), 9.0, None, ((500, 500), (500, 500)))
    assert fewest_sheets(items, [whole], Spacing(20, 0)) == 21
    assert fewest_sheets(items, [cut], Spacing(20, 0)) == 20
    assert least_money(items, [cut], Spacing(20, 0)) == 180.0


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
