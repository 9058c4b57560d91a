"""The constructive engine never lets anything overlap, and finds the plain full packings."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nestkit.build.model import Turns
from nestkit.geometry import Outline, Path, Placement
from nestkit.nesting.bottom_left import Rule, construct
from nestkit.nesting.problem import Bin, Item, Layout, Seat, Spacing
from nestkit.nesting.verify import faults
from tests.strategies import outlines
from tests.zoo import disc, frame, rectangle

QUARTER_TURNS = Turns((0.0, math.pi / 2, math.pi, 3 * math.pi / 2))


def built(items, bins, spacing, rule=Rule.LEFT) -> Layout:
    order = sorted(range(len(items)), key=lambda n: -items[n].outline.area)
    layout = construct(items, bins, spacing, order, rule)
    assert faults(items, bins, layout, spacing) == []
    return layout


@settings(max_examples=25, deadline=None)
@given(
    st.lists(outlines(), min_size=1, max_size=6),
    st.sampled_from([0.0, 1.0, 2.5]),
    st.sampled_from([0.0, 4.0]),
    st.sampled_from(list(Rule)),
    st.sampled_from([Turns(), Turns((0.0,)), Turns((0.0, math.pi)), Turns((0.4, 2.0))]),
)
def test_nothing_overlaps_leaves_the_sheet_or_gets_lost(shapes, gap, margin, rule, turns):
    items = [
        Item(shape, turns, mirrored=bool(copy), kind=kind)
        for kind, shape in enumerate(shapes)
        for copy in range(2)
    ]
    built(items, [Bin(rectangle(240, 160)), Bin(rectangle(150, 150))], Spacing(gap, margin), rule)


@settings(max_examples=15, deadline=None)
@given(st.lists(outlines(holes=False), min_size=1, max_size=5), st.sampled_from([0.0, 2.0]))
def test_an_offcut_with_a_hole_is_kept_to(shapes, gap):
    rim = Path.polyline([(0, 0), (300, 0), (300, 120), (120, 120), (120, 300), (0, 300)], True)
    offcut = Bin(Outline(rim, (Path.circle(60, 60, 25),)))
    items = [Item(shape, QUARTER_TURNS, kind=kind) for kind, shape in enumerate(shapes)]
    built(items, [offcut], Spacing(gap, 3.0))


@pytest.mark.parametrize(
    ("side", "gap", "margin", "sheet"),
    [(20, 0, 0, 100), (20, 2, 0, 108), (20, 2, 5, 118), (33.3333, 0, 0, 100)],
)
def test_squares_fill_a_sheet_that_they_fit_exactly(side, gap, margin, sheet):
    count = int((sheet - 2 * margin + gap) // (side + gap)) ** 2
    items = [Item(rectangle(side, side)) for _ in range(count)]
    assert built(items, [Bin(rectangle(sheet, sheet))], Spacing(gap, margin)).left_out == ()


def test_windows_hold_other_parts():
    items = [Item(frame(200, 20), kind=0), *(Item(rectangle(70, 70), kind=1) for _ in range(4))]
    assert built(items, [Bin(rectangle(204, 204))], Spacing(2, 2)).left_out == ()


def test_bins_are_filled_in_their_order():
    items = [Item(rectangle(40, 40)) for _ in range(5)]
    layout = built(items, [Bin(rectangle(100, 50)), Bin(rectangle(200, 50))], Spacing(2, 1))
    assert sorted(seat.bin for seat in layout.seats) == [0, 0, 1, 1, 1]


def test_what_fits_nowhere_is_left_out():
    items = [Item(rectangle(90, 20), Turns((0.0,)), kind=0), Item(rectangle(20, 20), kind=1)]
    assert built(items, [Bin(rectangle(50, 95))], Spacing()).left_out == (0,)


def test_the_hundred_percent_pinwheel():
    """Four dominoes about a unit square: no shelf-wise method fills it (exact mathematics)."""
    items = [Item(rectangle(20, 10), QUARTER_TURNS, kind=0) for _ in range(4)]
    items.append(Item(rectangle(10, 10), kind=1))
    orders = [[0, 1, 2, 3, 4], [0, 1, 4, 2, 3], [4, 0, 1, 2, 3], [0, 4, 1, 2, 3]]
    bins = [Bin(rectangle(30, 30))]
    found = [construct(items, bins, Spacing(), order, rule) for order in orders for rule in Rule]
    assert all(faults(items, bins, layout, Spacing()) == [] for layout in found)
    assert max(len(layout.seats) for layout in found) >= 4


def test_the_verifier_sees_what_is_wrong():
    items, bins = (
        [Item(rectangle(20, 20), QUARTER_TURNS), Item(disc(10), Turns((0.0,)))],
        [Bin(rectangle(60, 40))],
    )

    def judged(*spots, gap=2.0, margin=0.0, turn=0.0, mirrored=False):
        seats = tuple(Seat(n, 0, Placement(x, y, turn, mirrored)) for n, (x, y) in enumerate(spots))
        return " ".join(faults(items, bins, Layout(seats), Spacing(gap, margin)))

    assert judged((0, 0), (32, 10)) == ""
    assert "overlap" in judged((0, 0), (25, 10))
    assert "1.0000 mm apart" in judged((0, 0), (31, 10))
    assert "leaves bin" in judged((-1, 0), (35, 10))
    assert "margin" in judged((1, 3), (35, 15), margin=2.0)
    assert "turned by 90" in judged((20, 0), (35, 10), turn=np.pi / 2)
    assert "mirrored" in judged((20, 0), (35, 10), mirrored=True)
    assert "lost" in judged((0, 0))
