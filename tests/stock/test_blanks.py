"""Blanks cover their sheet once, and each lies on the bed."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nestkit.stock.blanks import Blank, as_laid, blanks_of, lies_on

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


def test_sizes_are_positive():
    with pytest.raises(ValueError, match="above 0"):
        blanks_of((0, 10), (10, 10))
