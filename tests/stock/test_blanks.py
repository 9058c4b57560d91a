"""Blanks cover their sheet once, and each lies on the bed."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nestkit.stock.blanks import Blank, as_laid, blanks_of, lies_on, ways_to_cut
from nestkit.stock.cutting_up import straight_cuts

sizes = st.tuples(st.floats(50, 2500), st.floats(50, 2500))


def test_a_sheet_that_lies_on_the_bed_is_its_own_blank():
    assert blanks_of((600, 400), (600, 400)) == (Blank(0, 0, 600, 400),)
    assert blanks_of((600, 400), None) == (Blank(0, 0, 600, 400),)


def test_a_sheet_that_only_lies_on_the_bed_when_turned_is_turned():
    assert as_laid((400, 900), (900, 600)) == (900, 400)
    assert as_laid((900, 400), (900, 600)) == (900, 400)
    assert as_laid((1200, 600), (900, 600)) == (1200, 600)


def test_the_fewer_blanks_the_better_then_the_larger():
    assert as_laid((1200, 600), (900, 600)) == (1200, 600)
    assert blanks_of((1200, 600), (900, 600)) == (Blank(0, 0, 900, 600), Blank(900, 0, 300, 600))
    assert as_laid((1200, 600), (600, 900)) == (600, 1200)
    assert as_laid((1000, 500), (600, 400)) == (500, 1000)
    assert len(blanks_of((500, 1000), (600, 400))) == 3


@given(sizes, sizes)
def test_blanks_lie_on_the_bed_as_they_are_and_add_up(sheet, bed):
    laid = as_laid(sheet, bed)
    assert sorted(laid) == sorted(sheet)
    blanks = blanks_of(laid, bed)
    assert sum(b.width * b.height for b in blanks) == pytest.approx(sheet[0] * sheet[1])
    for b in blanks:
        assert lies_on((b.width, b.height), bed)
        assert b.x >= 0 <= b.y
        assert b.x + b.width <= laid[0] + 1e-6
        assert b.y + b.height <= laid[1] + 1e-6


@given(sizes, sizes, st.none() | st.integers(0, 12))
def test_every_way_lies_on_the_bed_and_keeps_to_its_cuts(sheet, bed, most_cuts):
    laid = as_laid(sheet, bed)
    ways = ways_to_cut(laid, bed, most_cuts)
    assert ways
    assert len({tuple(sorted((b.x, b.y, b.width, b.height) for b in way)) for way in ways}) == len(ways)
    if most_cuts is None:
        assert ways[0] == blanks_of(laid, bed)
    for way in ways:
        for one in way:
            assert lies_on((one.width, one.height), bed)
            assert -1e-6 <= one.x <= laid[0] - one.width + 1e-6
            assert -1e-6 <= one.y <= laid[1] - one.height + 1e-6
            assert not any(
                max(one.x, b.x) < min(one.x + one.width, b.x + b.width) - 1e-6
                and max(one.y, b.y) < min(one.y + one.height, b.y + b.height) - 1e-6
                for b in way
                if b is not one
            )
        cuts = straight_cuts(laid, bed, [(b.x, b.y, b.x + b.width, b.y + b.height) for b in way])
        if most_cuts is None:
            assert sum(b.width * b.height for b in way) == pytest.approx(sheet[0] * sheet[1])
        else:
            assert len(cuts) <= most_cuts


def test_the_ways_of_a_usual_sheet():
    """1200 mm on a bed of 900: the bed's length and the rest, halves, and between."""
    ways = ways_to_cut((1200, 600), (900, 600))
    assert [[blank.width for blank in way] for way in ways] == [[900, 300], [600, 600], [750, 450]]
    assert ways_to_cut((1200, 600), (900, 600), 0) == ((),)
    # 2000 x 1000 in three columns of two takes two cuts and three more; with three there are fewer blanks.
    assert [len(way) for way in ways_to_cut((2000, 1000), (900, 600), 5)] == [6, 6, 6]
    assert [len(way) for way in ways_to_cut((2000, 1000), (900, 600), 3)] == [2, 2, 2]


def test_sizes_are_positive():
    with pytest.raises(ValueError, match="above 0"):
        blanks_of((0, 10), (10, 10))
