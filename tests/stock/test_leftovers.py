"""What is kept of a sheet: on the sheet, clear of the parts, wide and large enough, and all of that."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from nestkit.geometry import Outline, Path, Placement
from nestkit.stock.leftovers import Usable, leftovers
from tests.naive import wide_places
from tests.strategies import outlines
from tests.zoo import L_SHAPE, disc, frame, rectangle, rounded

ANY = Usable(width=1e-3, area=1e-3)


def at(outline: Outline, x: float, y: float, turn: float = 0.0) -> Outline:
    return outline.transformed(Placement(x, y, turn).matrix)


def test_an_untouched_sheet_is_kept_whole():
    (kept,) = leftovers(rectangle(400, 300), [])
    assert kept.area == pytest.approx(120_000, abs=1e-6)
    assert kept.bounds == pytest.approx((0, 0, 400, 300))


def test_what_an_l_shape_leaves_of_its_box():
    # L shape, area 7200 of 12000 mm^2: checks.md section 2.1, derived.
    (kept,) = leftovers(rectangle(120, 100), [Outline(L_SHAPE)], usable=Usable(20, 100))
    assert kept.area == pytest.approx(4800, abs=1e-6)
    assert kept.bounds == pytest.approx((40, 40, 120, 100))


def test_the_kerf_is_gone_as_well():
    (kept,) = leftovers(rectangle(400, 300), [rectangle(200, 300)], kerf=0.4)
    assert kept.size == pytest.approx((199.6, 300))


def test_a_neck_parts_two_pieces_and_is_not_kept():
    wall = at(rectangle(20, 280), 190, 0)
    kept = leftovers(rectangle(400, 300), [wall])
    assert [piece.size for piece in kept] == [pytest.approx((190, 300))] * 2


def test_scraps_and_slivers_are_not_kept():
    assert leftovers(rectangle(400, 300), [at(rectangle(360, 260), 20, 20)]) == ()
    assert leftovers(rectangle(90, 90), []) == ()


def test_the_foam_in_a_hole_is_a_piece():
    outer, inner = leftovers(rectangle(900, 900), [at(frame(600, 100), 150, 150)])
    assert inner.area == pytest.approx(400 * 400)
    assert outer.area == pytest.approx(900**2 - 600**2)
    assert len(outer.holes) == 1


def test_an_offcut_keeps_its_hole_and_its_edge():
    offcut = frame(500, 200)
    (kept,) = leftovers(offcut, [])
    assert kept.area == pytest.approx(500**2 - 100**2)
    assert len(kept.holes) == 1


def test_round_parts_cost_few_corners_and_nothing_of_the_part_is_kept():
    part = at(disc(90), 100, 100)
    (kept,) = leftovers(rectangle(600, 400), [part], kerf=0.2)
    assert sum(len(ring.points) for ring in kept.rings()) < 60
    assert kept.polygon().distance(part.polygon(0.001)) >= 0.2 - 1e-6


def test_sizes_and_kerf_are_sensible():
    with pytest.raises(ValueError, match="above 0"):
        Usable(0.0, 1.0)
    with pytest.raises(ValueError, match="negative"):
        leftovers(rectangle(10, 10), [], kerf=-0.1)


@st.composite
def cut_sheets(draw: st.DrawFn) -> tuple[Outline, list[Outline], float]:
    sheet = draw(
        st.sampled_from(
            [rectangle(400, 300), Outline(rounded(400, 300, 80)), frame(400, 150), Outline(L_SHAPE)]
        )
    )
    spots = st.tuples(st.floats(-20, 420), st.floats(-20, 320), st.floats(0, 6.2))
    parts = [at(draw(outlines()), *draw(spots)) for _ in range(draw(st.integers(0, 5)))]
    return sheet, parts, draw(st.floats(0, 1))


def _written(outline: Outline) -> tuple[np.ndarray, list[np.ndarray]]:
    rings = [np.round(ring.points, 4) for ring in outline.rings()]
    return rings[0], rings[1:]


@settings(max_examples=60, deadline=None)
@given(cut_sheets(), st.floats(10, 80), st.floats(100, 20_000))
def test_leftovers_are_sound(cut, width, area):
    sheet, parts, kerf = cut
    found = leftovers(sheet, parts, kerf, Usable(width, area))
    for outline in found:
        # plan.json has four digits.
        assert shapely.Polygon(*_written(outline)).is_valid
    kept = [piece.polygon() for piece in found]
    room = sheet.polygon(0.001)
    for k, piece in enumerate(kept):
        assert piece.is_valid
        assert piece.area >= area
        assert shapely.difference(piece, room.buffer(0.02)).area < 1e-6
        assert shapely.length(shapely.maximum_inscribed_circle(piece)) >= width / 2 - 0.1
        for part in parts:
            assert piece.distance(part.polygon(0.001)) >= kerf - 0.02
            assert shapely.intersection(piece, part.polygon(0.001)).area < 0.002 * piece.length
        for other in kept[k + 1 :]:
            assert shapely.intersection(piece, other).area < 0.002 * piece.length
            assert piece.area >= other.area


@settings(max_examples=30, deadline=None)
@given(cut_sheets(), st.floats(20, 80))
def test_every_wide_place_is_kept(cut, width):
    sheet, parts, kerf = cut
    kept = shapely.union_all([p.polygon() for p in leftovers(sheet, parts, kerf, Usable(width, 1e-3))])
    # A mitre may cost a corner's place up to twice the half width, and loose edges a hair.
    spots = wide_places(sheet, parts, width / 2 * 2.0 + kerf + 0.6, 9.0)
    assert all(shapely.intersects_xy(kept.buffer(1e-6), *spot) for spot in spots)


def test_the_order_of_parts_does_not_matter():
    parts = [at(disc(40), 60, 60), at(rectangle(80, 50), 200, 20, 0.3), at(disc(30), 300, 200)]
    one, other = (leftovers(rectangle(400, 300), order, 0.2) for order in (parts, parts[::-1]))
    assert [p.area for p in one] == pytest.approx([p.area for p in other])


def test_path_stays_exact_where_nothing_was_cut():
    (kept,) = leftovers(rectangle(400.25, 300.125), [rectangle(100, 300.125)], kerf=0.2)
    assert set(np.round(kept.exterior.points, 9).ravel()) == {100.2, 400.25, 0.0, 300.125}


def test_outlines_are_paths_of_lines():
    (kept,) = leftovers(Outline(Path.circle(0, 0, 200)), [])
    assert not kept.exterior.has_arcs
    assert kept.area == pytest.approx(np.pi * 200**2, rel=1e-3)
