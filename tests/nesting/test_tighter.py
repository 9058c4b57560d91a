"""The overlap engine saves a sheet where it can, and never loses what was there."""

from __future__ import annotations

import pytest

from nestkit.build.model import Sheet
from nestkit.geometry import Placement
from nestkit.nesting.problem import Item, Layout, Seat, Spacing
from nestkit.nesting.stops import AfterRounds
from nestkit.nesting.supply import supply
from nestkit.nesting.tighter import on_fewer_sheets
from nestkit.nesting.verify import faults
from tests.zoo import rectangle

SPACING = Spacing(2.0, 2.0)


def case(count: int, in_shop: int = 0):
    """Squares of 40 mm, each alone on a sheet of 100 x 100 mm, which holds four."""
    sheet = Sheet("eva 6 mm 100 x 100", "eva", 6.0, (100, 100), 2.0, in_shop)
    row = supply([sheet], None, count, first=sheet)
    items = [Item(rectangle(40, 40)) for _ in range(count)]
    layout = Layout(tuple(Seat(n, n, Placement(5.0, 5.0)) for n in range(count)))
    return items, row, layout


def run(items, row, layout, rounds=60, asked=lambda: False):
    found = on_fewer_sheets(
        items, row, layout, SPACING, seed=1, stop=AfterRounds(rounds), asked_to_stop=asked
    )
    assert faults(items, row.bins, found, SPACING) == []
    assert found.left_out == ()
    return found


@pytest.mark.parametrize(("count", "least"), [(2, 1), (3, 1), (4, 1), (5, 2)])
def test_sheets_are_given_up_as_long_as_everything_fits(count, least):
    found = run(*case(count))
    assert len({seat.bin for seat in found.seats}) == least


def test_bought_sheets_are_given_up_before_those_in_the_shop():
    items, row, layout = case(2, in_shop=1)
    found = run(items, row, layout)
    assert [row.meaning[seat.bin].bought for seat in found.seats] == [False, False]


def test_what_can_be_no_better_stays_as_it_is():
    items, row, _ = case(1)
    alone = Layout((Seat(0, 0, Placement(5.0, 5.0)),))
    assert run(items, row, alone) is alone
    items, row, layout = case(4)
    assert run(items, row, layout, asked=lambda: True) is layout


def test_the_same_seed_and_rounds_give_the_same_layout():
    assert run(*case(5), rounds=20) == run(*case(5), rounds=20)
