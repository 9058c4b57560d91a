"""Seams of patterns: how many, between which pieces, and how long, by elementary geometry."""

from __future__ import annotations

import math

import pytest

from nestkit.geometry import Path
from nestkit.patterns import Box, Cone, Dome, EdgeStrip, Foam, Prism, Ring, line_openings, seams_of

FOAM = Foam(4.0)


def test_a_cone_closes_along_its_slant() -> None:
    (seam,) = seams_of(Cone(FOAM, 180.0, 60.0, height=90.0).develop())
    assert (seam.first, seam.second, seam.count, seam.angle) == ("", "", 1, None)
    # Radii differ by 60 at both faces, so at the neutral fibre too, and the height is that of the wall.
    assert seam.length == pytest.approx(math.hypot(90.0, 60.0), rel=0.01)


def test_a_dome_has_a_seam_for_each_gore_and_one_round_its_cap() -> None:
    pattern = Dome(FOAM, 200.0, gores=6, bands=3, to_latitude=math.radians(60.0), cap=True).develop()
    gores, cap = seams_of(pattern)
    assert (gores.first, gores.second, gores.count) == ("gore", "gore", 6)
    # Three chords of 20 degrees each; folds and seams turn about corners a skin of 0.6 mm inside the ball.
    assert gores.length == pytest.approx((100.0 - 0.6) * 3 * 2 * math.sin(math.radians(10.0)), abs=1e-6)
    assert (cap.first, cap.second, cap.round_edge) == ("cap", "gore", True)
    outline = next(piece for piece in pattern.pieces if piece.suffix == "cap").shape.outline
    assert cap.length <= outline.exterior.length + 1e-6


@pytest.mark.parametrize("lids", [0, 1, 2])
def test_lids_are_glued_round_their_edge(lids: int) -> None:
    seams = seams_of(Box(FOAM, 100.0, 60.0, 40.0, lids=lids, lid="over").develop())
    assert seams[0].length == pytest.approx(40.0)
    assert seams[0].angle == pytest.approx(math.pi / 2.0)
    assert [(seam.count, seam.length) for seam in seams[1:]] == (
        [(lids, pytest.approx(320.0))] if lids else []
    )


def test_panels_that_come_in_several_pieces_meet_in_as_many_seams() -> None:
    narrow = Foam(4.0, rooms=((150.0, 500.0),))
    pattern = Prism(narrow, 6, 170.0, 100.0).develop()
    assert sum(seam.count for seam in seams_of(pattern)) == sum(piece.quantity for piece in pattern.pieces)


def test_a_strip_goes_round_what_it_trims_and_its_ends_meet() -> None:
    outline = Path.polyline([(0, 0), (120, 0), (120, 80), (0, 80)], True)
    ends, around = seams_of(EdgeStrip(FOAM, outline, 20.0).develop())
    assert (ends.count, ends.length) == (1, pytest.approx(20.0))
    assert (around.second, around.length, around.round_edge) == (None, pytest.approx(400.0), True)


def test_equal_openings_have_equal_seams() -> None:
    hole = Path.circle(0.0, 0.0, 30.0)
    strips = [EdgeStrip(FOAM, hole, 20.0, inner=True) for _ in range(3)]
    ends, around = seams_of(line_openings(strips))
    assert (ends.count, around.count) == (3, 3)
    assert around.length == pytest.approx(math.tau * 30.0)


def test_layers_have_no_seams() -> None:
    assert seams_of(Ring(FOAM, outer_diameter=80.0, inner_diameter=40.0, length=12.0).develop()) == ()
