"""Rectangles placed exactly: perfect dissections, what is known not to fit, and a naive twin."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import box as polygon_of

from nestkit.nesting.rectangle_model import Verdict
from nestkit.nesting.rectangles import Box, never_fit, place_all
from tests import naive

#: The 21 squares of the lowest-order perfect squared square, side 112: A. J. W. Duijvestijn 1978, "Simple
#: perfect squared square of lowest order", J. Combin. Theory B 25 (sides as in OEIS A014530).
SQUARED = (2, 4, 6, 7, 8, 9, 11, 15, 16, 17, 18, 19, 24, 25, 27, 29, 33, 35, 37, 42, 50)
#: Nine squares that make a rectangle of 33 x 32: Moron 1925.
NINE = (1, 4, 7, 8, 9, 10, 14, 15, 18)


def squares(*sides: float) -> list[Box]:
    return [Box(((side, side),)) for side in sides]


def boxes(*sizes: tuple[float, float], turned: bool = True) -> list[Box]:
    return [Box(((w, h), (h, w)) if turned and w != h else ((w, h),)) for w, h in sizes]


def asked(some, rooms, gap=0.0, work=30.0):
    """The answer; a layout is looked at with shapely."""
    found = place_all(some, rooms, gap, seed=1, work=work)
    assert len(found.spots) == (len(some) if found.verdict is Verdict.FITS else 0)
    laid = []
    for box, spot in zip(some, found.spots, strict=False):
        width, height = box.ways[spot.way]
        room = rooms[spot.room]
        assert 0.0 <= spot.x <= room[0] - width + 1e-6
        assert 0.0 <= spot.y <= room[1] - height + 1e-6
        laid.append((spot.room, polygon_of(spot.x, spot.y, spot.x + width, spot.y + height)))
    for n, (room, one) in enumerate(laid):
        for other_room, other in laid[:n]:
            if room == other_room:
                assert one.intersection(other).area < 1e-6
                assert one.distance(other) >= gap - 1e-6
    return found.verdict


def test_the_squared_square():
    assert sum(side * side for side in SQUARED) == 112 * 112
    assert asked(squares(*SQUARED), [(112, 112)]) is Verdict.FITS
    assert asked(squares(*SQUARED), [(111, 112)]) is Verdict.NEVER


def test_nine_squares_in_a_rectangle():
    assert asked(squares(*NINE), [(33, 32)]) is Verdict.FITS
    assert asked(squares(*NINE), [(32, 33)]) is Verdict.FITS
    # As large, and too narrow for the two largest: 18 + 15 > 32.
    assert asked(squares(*NINE), [(44, 24)]) is Verdict.NEVER


def test_24_squares_never_fill_their_area():
    """1 + 4 + ... + 24^2 = 70^2, yet they do not tile a square of 70 (MathWorld, on dissections)."""
    assert asked(squares(*range(1, 25)), [(70, 70)], work=0.2) is not Verdict.FITS


def test_a_pinwheel_is_no_guillotine_pattern():
    dominoes = boxes((2, 1), (2, 1), (2, 1), (2, 1), (1, 1))
    assert asked(dominoes, [(3, 3)]) is Verdict.FITS
    # Without turns two of 2 x 1 never lie side by side in 3.
    assert asked(boxes((2, 1), (2, 1), (2, 1), (2, 1), turned=False), [(3, 3)]) is Verdict.NEVER


@pytest.mark.parametrize(("side", "count", "room"), [(6, 2, 10), (51, 2, 100), (34, 5, 100)])
def test_what_area_alone_would_let_in(side, count, room):
    """Martello and Vigo 1998 (citation seen, numbers recomputed), and five of a bit more than a third."""
    assert asked(squares(*[side] * count), [(room, room)]) is Verdict.NEVER
    assert asked(squares(*[side] * (count - 1)), [(room, room)]) is Verdict.FITS


def test_several_rooms_of_several_sizes():
    some = boxes((60, 40), (60, 40), (50, 30), (30, 30), (30, 30))
    assert asked(some, [(60, 80), (50, 60)]) is Verdict.NEVER
    assert asked(some, [(60, 80), (80, 30), (30, 30)]) is Verdict.FITS


def test_rectangles_may_keep_their_gap_cornerwise():
    """Two squares of 50 with a gap of 2: cornerwise 100 + sqrt(2) holds them."""
    pair = squares(50, 50)
    assert asked(pair, [(102, 102)], gap=2) is Verdict.FITS
    assert asked(pair, [(101.5, 101.5)], gap=2) is Verdict.UNKNOWN
    assert asked(pair, [(101.3, 101.3)], gap=2) is Verdict.NEVER
    assert asked(pair, [(99, 500)], gap=2) is Verdict.FITS


def test_lengths_that_are_no_whole_steps():
    third = squares(*[33.3333] * 9)
    assert asked(third, [(100.01, 100.01)]) is Verdict.FITS
    assert asked(third, [(99.99, 99.99)]) is Verdict.UNKNOWN
    assert asked(third, [(99.8, 99.8)]) is Verdict.NEVER


def test_what_the_verifier_lets_pass_is_never_ruled_out():
    """Ten strips in a row that is a hundredth of a millimetre too short for each of them."""
    strips = boxes(*[(10.0, 50.0)] * 10, turned=False)
    assert never_fit(strips, [(99.9, 50.0)], 0.0, seed=1, work=5.0).verdict is Verdict.UNKNOWN
    assert never_fit(strips, [(99.5, 50.0)], 0.0, seed=1, work=5.0).verdict is Verdict.NEVER


def test_the_same_seed_gives_the_same_places():
    some = boxes(*[(20 + 3 * k, 50 - 2 * k) for k in range(10)])
    ask = [place_all(some, [(150, 150)], 2.0, seed=4, work=5.0) for _ in range(2)]
    assert ask[0] == ask[1]
    assert ask[0].verdict is Verdict.FITS


def test_it_stops_when_it_is_over():
    many = squares(*range(1, 25))
    found = place_all(many, [(70, 70)], 0.0, seed=1, work=1e3, is_over=lambda: True)
    assert found.verdict is Verdict.UNKNOWN


@given(
    st.lists(st.tuples(st.integers(1, 6), st.integers(1, 6)), min_size=1, max_size=5),
    st.lists(st.tuples(st.integers(2, 9), st.integers(2, 9)), min_size=1, max_size=2),
    st.booleans(),
    st.integers(0, 1),
)
@settings(max_examples=25, deadline=None)
def test_against_every_place(sizes, rooms, turned, gap):
    found = asked(boxes(*sizes, turned=turned), rooms, gap=float(gap))
    ways = [{(w, h), (h, w)} if turned else {(w, h)} for w, h in sizes]
    # With a gap of 1 a layout on whole numbers is one that is asked for, but cornerwise there may be others.
    fits = naive.rectangles_fit([[(w + gap, h + gap) for w, h in way] for way in ways], rooms, gap)
    assert (found is Verdict.FITS) == fits
    if gap == 0:
        assert (found is Verdict.NEVER) == (not fits)
    elif found is Verdict.NEVER:
        closer = gap / math.sqrt(2.0)
        ten = [[(math.ceil(10 * (w + closer)), math.ceil(10 * (h + closer))) for w, h in way] for way in ways]
        wide = [(math.floor(10 * (w + closer)), math.floor(10 * (h + closer))) for w, h in rooms]
        assert not naive.rectangles_fit(ten, wide, 0)
