"""An offcut of any outline on a bed: nothing is lost, nothing is made up, every blank lies on the bed."""

from __future__ import annotations

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from nestkit.geometry import Outline
from nestkit.stock.blanks import lies_on
from nestkit.stock.odd_blanks import laid_offcut, odd_blanks
from tests.zoo import L_SHAPE, frame, rounded

OFFCUTS = [Outline(L_SHAPE), frame(300, 60), Outline(rounded(400, 150, 60))]


def test_an_offcut_that_lies_on_the_bed_stays_as_it_is():
    ((blank, outline),) = odd_blanks(Outline(rounded(400, 150, 60)), (600, 400))
    assert outline.exterior.has_arcs
    assert (blank.x, blank.y, blank.width, blank.height) == (0, 0, *outline.size)


def test_an_offcut_is_turned_where_that_makes_it_lie_on_the_bed():
    tall = Outline(rounded(400, 150, 60))
    laid = laid_offcut(tall, (200, 500))
    assert laid.size == pytest.approx((150, 400))
    assert laid.bounds[:2] == pytest.approx((0, 0), abs=1e-9)
    assert laid.area == pytest.approx(tall.area)


def test_a_cut_may_make_two_blanks_of_one_box():
    # A frame of 300 with a window of 180, cut at 200: a C and, beside it, two arms joined by a stem.
    found = odd_blanks(frame(300, 60), (200, 180))
    assert sum(outline.area for _, outline in found) == pytest.approx(300**2 - 180**2)
    assert len(found) == 4


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(OFFCUTS), st.tuples(st.floats(60, 500), st.floats(60, 500)))
def test_blanks_are_the_offcut_cut_apart(offcut, bed):
    whole = laid_offcut(offcut, bed).polygon(0.01)
    placed = []
    for blank, outline in odd_blanks(offcut, bed):
        assert lies_on((blank.width, blank.height), bed)
        assert outline.size == pytest.approx((blank.width, blank.height))
        moved = shapely.transform(outline.polygon(0.01), lambda xy, by=(blank.x, blank.y): xy + by)
        assert shapely.difference(moved, whole).area < 1e-3
        placed.append(moved)
    together = shapely.union_all(placed)
    assert together.area == pytest.approx(sum(one.area for one in placed), abs=1e-3)
    # What is missing are scraps smaller than a blank.
    assert all(scrap.area < 100.0 for scrap in shapely.get_parts(shapely.difference(whole, together)))
