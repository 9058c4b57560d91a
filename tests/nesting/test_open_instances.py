"""The first engine on published instances (ESICUP, see tests/open_data.py): valid, and within reason."""

from __future__ import annotations

import pytest

from nestkit.nesting.bottom_left import Rule, construct
from nestkit.nesting.problem import Bin, Spacing
from nestkit.nesting.verify import faults
from tests.open_data import strip
from tests.zoo import rectangle

NAMES = ["albano", "dagli", "dighe1", "dighe2", "fu", "mao", "marques", "shapes0", "shapes1", "trousers"]


@pytest.mark.parametrize("name", NAMES)
def test_a_published_instance_is_packed_without_overlap(name):
    items, width = strip(name)
    area = sum(item.outline.area for item in items)
    bins = [Bin(rectangle(3.0 * area / width, width))]
    order = sorted(range(len(items)), key=lambda n: -items[n].outline.area)
    layout = construct(items, bins, Spacing(), order, Rule.LEFT)
    assert layout.left_out == ()
    assert faults(items, bins, layout, Spacing()) == []
    used = max(items[seat.item].outline.transformed(seat.placement.matrix).bounds[2] for seat in layout.seats)
    # No layout can be denser than full; a bottom-left one that fills less than half is broken.
    assert 0.5 < area / (used * width) <= 1.0 + 1e-9
