"""At which turns an outline fits into a room, against the known answer for rectangles."""

from __future__ import annotations

import math

from hypothesis import given
from hypothesis import strategies as st

from nestkit.geometry import Outline, Path
from nestkit.geometry.turned_box import HAIR, SWEEP, turns_that_fit

SIDES = st.floats(5.0, 1000.0)


def rectangle(width: float, height: float) -> Outline:
    return Outline(Path.polyline([(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)], True))


def rectangle_in_rectangle(p: float, q: float, a: float, b: float) -> bool:
    """W. B. Carver, "Solution to problem E 1225", American Mathematical Monthly 64 (1957); from memory."""
    p, q, a, b = max(p, q), min(p, q), max(a, b), min(a, b)
    if p <= a:
        return q <= b
    slant = p * p + q * q
    return q <= b and b >= (2.0 * p * q * a + (p * p - q * q) * math.sqrt(slant - a * a)) / slant


@given(SIDES, SIDES, SIDES, SIDES)
def test_a_rectangle_fits_a_room_aslant_as_the_known_condition_says(
    p: float, q: float, a: float, b: float
) -> None:
    found = turns_that_fit(rectangle(p, q), None, (a, b))
    # Half a step between two turns moves no corner further than this, and a corner stands on either side.
    step = (p + q) * SWEEP / 2.0
    if found:
        assert rectangle_in_rectangle(p, q, a + 2.0 * HAIR, b + 2.0 * HAIR)
    elif min(a, b) > step:
        assert not rectangle_in_rectangle(p, q, a - step, b - step)


@given(SIDES, SIDES, st.lists(st.floats(0.0, math.tau), min_size=1, max_size=5))
def test_only_allowed_turns_are_found_and_the_box_is_that_of_the_turned_outline(
    width: float, height: float, angles: list[float]
) -> None:
    shape = rectangle(width, height)
    for angle in angles:
        # The box of a turned rectangle, as school books have it.
        c, s = abs(math.cos(angle)), abs(math.sin(angle))
        room = (width * c + height * s, width * s + height * c)
        assert angle in turns_that_fit(shape, angles, room)
        less = (room[0] - 2.0 * HAIR, room[1])
        assert angle not in turns_that_fit(shape, [angle], less)


@given(SIDES, SIDES, st.floats(0.0, math.pi), st.floats(-0.9, 3.0))
def test_what_just_fits_is_never_called_too_large_before_it_is_turned(
    width: float, height: float, angle: float, hairs: float
) -> None:
    """The room is the outline's own rectangle, about a hair more or less, and the outline lies aslant."""
    c, s = math.cos(angle), math.sin(angle)
    corners = [(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)]
    aslant = Outline(Path.polyline([(x * c - y * s, x * s + y * c) for x, y in corners], True))
    assert turns_that_fit(aslant, None, (width + hairs * HAIR, height + hairs * HAIR))
    assert not turns_that_fit(aslant, None, (width - 1.5 * HAIR, height - 1.5 * HAIR))


def test_a_strip_may_lie_from_corner_to_corner() -> None:
    strip = Outline(Path.polyline([(0.0, 0.0), (500.0, 0.0), (500.0, 0.001), (0.0, 0.001)], True))
    slant = [math.atan2(400.0, 300.0)]
    assert turns_that_fit(strip, slant, (300.0, 400.0)) == tuple(slant)
    assert not turns_that_fit(strip, None, (300.0, 399.9))
