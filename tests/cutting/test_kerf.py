"""Kerf: outlines grow and holes shrink by half of it, and what can't be cut is named.

Outside sources: the Steiner formula (see test_offset), and the worked example of two laser-cutting
services' help pages: with a kerf of 0.2 mm, for 40 mm draw 40.2 outside and 39.8 inside.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Polygon

from nestkit.cutting.kerf import cut_findings, cut_paths
from nestkit.geometry import Outline, Path
from tests.strategies import outlines
from tests.zoo import frame, rectangle


def test_forty_millimetres():
    cut = cut_paths(frame(80, 20), 0.2)
    x0, y0, x1, y1 = cut.outside.bounds
    assert (x1 - x0, y1 - y0) == pytest.approx((80.2, 80.2), abs=1e-4)
    x0, y0, x1, y1 = cut.inside[0].bounds
    assert (x1 - x0, y1 - y0) == pytest.approx((39.8, 39.8), abs=1e-4)
    assert cut_findings(frame(80, 20), 0.2) == ()


def test_a_ring_and_a_plate_with_a_hole():
    ring = cut_paths(Outline(Path.circle(0, 0, 50), (Path.circle(0, 0, 30),)), 0.2)
    area = ring.outside.signed_area + ring.inside[0].signed_area
    assert area == pytest.approx(5076.813728201108, rel=1e-9)
    plate = cut_paths(Outline(rectangle(100, 60).exterior, (Path.circle(50, 30, 10),)), 0.2)
    assert plate.outside.signed_area == pytest.approx(6032.031415926536, rel=1e-6)
    assert plate.inside[0].signed_area == pytest.approx(-math.pi * 9.9**2, rel=1e-9)
    assert all(path.has_arcs for path in plate.inside)


def test_without_kerf_nothing_changes():
    outline = frame(80, 20)
    cut = cut_paths(outline, 0.0)
    assert cut.outside.signed_area == outline.exterior.signed_area
    assert [hole.signed_area for hole in cut.inside] == [hole.signed_area for hole in outline.holes]


@given(outlines(), st.floats(0.05, 1.0))
def test_the_finished_part_comes_back(outline, kerf):
    """A tool of the kerf's width on these paths leaves the outline (shapely's buffer stands for the tool)."""
    cut = cut_paths(outline, kerf)
    burnt = [Polygon(cut.outside.flatten(0.002)).exterior.buffer(kerf / 2, quad_segs=32)]
    foam = Polygon(cut.outside.flatten(0.002)).difference(burnt[0])
    for hole in cut.inside:
        room = Polygon(hole.flatten(0.002))
        # On a grid, since edges that lie on each other but for their last digit are too much for shapely.
        foam = foam.difference(room, grid_size=1e-9)
        foam = foam.difference(room.exterior.buffer(kerf / 2, quad_segs=32), grid_size=1e-9)
    want = outline.polygon(0.002)
    # Inside corners keep the tool's radius; everything else is the outline.
    assert foam.difference(want).area < 0.02 * want.length
    assert want.difference(foam).area < 0.02 * want.length
    assert foam.buffer(0.01).contains(want.buffer(-kerf).buffer(0)) or want.area < 10


def test_what_vanishes_splits_or_closes_is_named():
    tiny = Outline(rectangle(50, 50).exterior, (Path.circle(25, 25, 0.08),))
    (finding,) = cut_findings(tiny, 0.2)
    assert finding.code == "hole-vanished"
    assert "25 mm right of and 25 mm above" in finding.text
    assert cut_paths(tiny, 0.2).inside == ()

    half = [(10.0, 10.0), (20.0, 10.0), (20.0, 19.95), (30, 19.95), (30, 10), (40, 10)]
    neck = Path.polyline(half + [(x, 40 - y) for x, y in reversed(half)], True)
    split = Outline(rectangle(50, 50).exterior, (neck,))
    assert [finding.code for finding in cut_findings(split, 0.2)] == ["hole-split"]
    assert len(cut_paths(split, 0.2).inside) == 2


@pytest.mark.parametrize("eye", [20.0, 0.8])
def test_the_wide_end_of_a_slot_that_closed_is_a_hole(eye):
    """An eye as wide as this behind a mouth of 0.1 mm: half a kerf of 0.2 mm is left on each of its sides."""
    half = [(0.0, 0.0), (0.0, 40.0), (19.95, 40.0), (19.95, 30.0)]
    half += [(20 - eye / 2, 30), (20 - eye / 2, 30 - eye)]
    keyhole = Path.polyline([(40 - x, y) for x, y in half] + half[::-1], True)
    (hole,) = cut_paths(Outline(keyhole), 0.2).inside
    assert [finding.code for finding in cut_findings(Outline(keyhole), 0.2)] == ["slot-closed"]
    # Clockwise, as all holes are. At its mouth the kerf goes round two corners.
    assert hole.signed_area == pytest.approx(-((eye - 0.2) ** 2), abs=0.02)


@pytest.mark.parametrize(
    ("width", "rings"), [(0.15, 0), (0.2, 0), (0.2005, 0), (0.202, 0), (0.3, 1), (1.0, 1)]
)
def test_a_slot_along_an_arc_stays_a_slot(width, rings):
    """A slot about as wide as the kerf vanishes or stays; it never becomes the circle that it runs along."""
    r, turn = 10.0, math.radians(200)
    spot = lambda radius, angle: (radius * math.cos(angle), radius * math.sin(angle))  # noqa: E731
    quarter = math.tan(turn / 2 / 4)
    inner, outer = r - width / 2, r + width / 2
    rows = [(*spot(outer, 0), quarter), (*spot(outer, turn / 2), quarter), (*spot(outer, turn), 1.0)]
    rows += [(*spot(inner, turn), -quarter), (*spot(inner, turn / 2), -quarter), (*spot(inner, 0), 1.0)]
    slot = Path(np.array(rows), True)
    outline = Outline(rectangle(60, 60).exterior, (slot,))
    cut = cut_paths(outline, 0.2)
    assert len(cut.inside) == rings
    assert [finding.code for finding in cut_findings(outline, 0.2)] == ([] if rings else ["hole-vanished"])
    for path in cut.inside:
        assert abs(path.signed_area) == pytest.approx((width - 0.2) * r * turn, rel=0.1)


def test_a_kerf_is_not_negative():
    with pytest.raises(ValueError, match="negative"):
        cut_paths(rectangle(10, 10), -0.1)
