"""Straight cuts: each runs right across one piece, and together they free the blanks that are used."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nestkit.stock.blanks import as_laid, ways_to_cut
from nestkit.stock.cutting_up import StraightCut, straight_cuts

Box = tuple[float, float, float, float]


def made(laid: tuple[float, float], cuts: tuple[StraightCut, ...]) -> list[Box]:
    """The pieces after the cuts, made one by one as a person does."""
    pieces: list[Box] = [(0.0, 0.0, *laid)]
    for cut in cuts:
        across = []
        for x0, y0, x1, y1 in pieces:
            low, high, start, end = (x0, x1, y0, y1) if cut.upright else (y0, y1, x0, x1)
            if low + 1e-6 < cut.at < high - 1e-6 and cut.start < end - 1e-6 and cut.end > start + 1e-6:
                assert cut.start == pytest.approx(start)
                assert cut.end == pytest.approx(end)
                across.append((x0, y0, x1, y1))
        assert len(across) == 1
        (x0, y0, x1, y1) = across[0]
        pieces.remove(across[0])
        if cut.upright:
            pieces += [(x0, y0, cut.at, y1), (cut.at, y0, x1, y1)]
        else:
            pieces += [(x0, y0, x1, cut.at), (x0, cut.at, x1, y1)]
    return pieces


sides = st.tuples(st.floats(100, 2500), st.floats(100, 2500))


@given(sides, st.tuples(st.floats(90, 1500), st.floats(90, 1500)), st.data())
def test_the_cuts_free_every_blank_that_is_used(sheet, bed, data):
    laid = as_laid(sheet, bed)
    blanks = data.draw(st.sampled_from(ways_to_cut(laid, bed)))
    used = data.draw(st.lists(st.sampled_from(blanks), min_size=1, unique=True))
    boxes = [(b.x, b.y, b.x + b.width, b.y + b.height) for b in used]
    cuts = straight_cuts(laid, bed, boxes)
    pieces = made(laid, cuts)
    for box in boxes:
        assert any(piece == pytest.approx(box) for piece in pieces)
    # No more cuts than there are edges between blanks, and none without need.
    assert len(cuts) <= len(blanks) - 1
    if len(blanks) == 1:
        assert not cuts


def test_by_hand():
    """A sheet of 1000 x 500 on a bed of 600 x 300, the blank at its upper left: across once, then level."""
    cuts = straight_cuts((1000.0, 500.0), (600.0, 300.0), [(0.0, 300.0, 600.0, 500.0)])
    assert cuts == (StraightCut(True, 600.0, 0.0, 500.0), StraightCut(False, 300.0, 0.0, 600.0))


def test_an_offcuts_blank_is_known_by_its_middle():
    cuts = straight_cuts((1000.0, 300.0), (600.0, 300.0), [(640.0, 20.0, 990.0, 290.0)])
    assert cuts == (StraightCut(True, 600.0, 0.0, 300.0),)


def test_a_blank_off_its_sheet_is_refused():
    with pytest.raises(ValueError, match="off its sheet"):
        straight_cuts((1000.0, 500.0), (600.0, 300.0), [(2000.0, 0.0, 2100.0, 100.0)])
