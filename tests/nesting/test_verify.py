"""The verifier forgives a hundredth of a millimetre, and nothing that is farther off."""

from __future__ import annotations

import pytest

from nestkit.geometry import Outline, Path, Placement
from nestkit.nesting.problem import Bin, Item, Layout, Seat, Spacing
from nestkit.nesting.verify import faults
from tests.zoo import disc, frame, rectangle


def judged(outline: Outline, x: float, y: float, room: Outline, margin: float = 0.0) -> list[str]:
    layout = Layout((Seat(0, 0, Placement(x, y)),))
    return faults([Item(outline)], [Bin(room)], layout, Spacing(0.0, margin))


@pytest.mark.parametrize(
    ("outline", "by"), [(rectangle(1000, 10), 2.0), (rectangle(1000, 10), 0.05), (disc(300), 0.05)]
)
@pytest.mark.parametrize("margin", [0.0, 4.0])
def test_what_sticks_out_is_judged_by_how_far(outline, by, margin):
    x0, y0, x1, y1 = outline.bounds
    room = rectangle(x1 - x0 + 2 * margin, y1 - y0 + 2 * margin)
    spot = margin - x0, margin - y0
    assert judged(outline, *spot, room, margin) == []
    assert judged(outline, spot[0] + 0.009, spot[1] - 0.009, room, margin) == []
    for dx, dy in ((by, 0), (-by, 0), (0, by), (0, -by)):
        assert len(judged(outline, spot[0] + dx, spot[1] + dy, room, margin)) == 1


def test_a_hole_of_a_sheet_may_not_be_covered():
    hole = Path.rectangle(1.0, 1.0).transformed(Placement(50.0, 50.0).matrix)
    room = Outline(rectangle(100, 100).exterior, (hole,))
    assert len(judged(rectangle(80, 80), 10, 10, room)) == 1
    assert judged(rectangle(49, 80), 1, 10, room) == []


def test_a_part_beside_the_sheet_is_told():
    assert len(judged(rectangle(10, 10), 200, 0, rectangle(100, 100))) == 1
    assert len(judged(rectangle(10, 10), 200, 0, rectangle(100, 100), 5.0)) == 1
    assert judged(frame(90, 10), 5, 5, rectangle(100, 100), 5.0) == []
