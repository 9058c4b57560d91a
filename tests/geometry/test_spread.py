"""Places along a closed path: clear of what is barred, as even as that allows, found where there is room."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nestkit.geometry.spread import free_spans, spread

LENGTH = 36
SPANS = st.lists(
    st.tuples(st.integers(-LENGTH, 2 * LENGTH), st.integers(0, 12)).map(lambda s: (s[0], s[0] + s[1])),
    max_size=6,
)


def is_barred(place: float, barred) -> bool:
    """Straight from the words: within a span, whole laps aside; its ends are free."""
    return any(0 < (place - start) % LENGTH < end - start for start, end in barred)


def is_free(place: float, barred) -> bool:
    spans = free_spans(LENGTH, barred)
    return any(start <= lap <= end for start, end in spans for lap in (place, place + LENGTH))


def steps_of(places) -> list[float]:
    return [b - a for a, b in itertools.pairwise([*places, places[0] + LENGTH])]


@given(SPANS)
def test_free_is_what_is_not_barred(barred):
    for half in range(2 * LENGTH):
        place = half / 2 + 0.25
        assert is_free(place, barred) != is_barred(place, barred)
    assert all(0 <= start < LENGTH and start < end for start, end in free_spans(LENGTH, barred))


@given(SPANS, st.integers(1, 5), st.integers(1, 10))
def test_places_are_free_and_apart(barred, count, apart):
    places = spread(LENGTH, count, apart, free_spans(LENGTH, barred))
    if places is None:
        return
    assert len(places) == count
    assert list(places) == sorted(places)
    assert 0 <= places[0] <= places[-1] < LENGTH
    assert not any(is_barred(round(place, 9), barred) for place in places)
    assert min(steps_of(places)) >= apart - 1e-9


@given(SPANS, st.integers(1, 3), st.integers(1, 12))
def test_room_is_found_whenever_there_is_any(barred, count, apart):
    """Against all sets of whole places: with spans that end on whole numbers, these are enough."""
    spots = [place for place in range(LENGTH) if not is_barred(place, barred) and is_free(place, barred)]
    there = any(min(steps_of(some)) >= apart for some in itertools.combinations(spots, count))
    assert (spread(LENGTH, count, apart, free_spans(LENGTH, barred)) is not None) == there


@pytest.mark.parametrize("count", [1, 2, 3, 4, 7])
def test_with_nothing_in_the_way_they_are_even(count):
    places = spread(LENGTH, count, 1.0, free_spans(LENGTH, []))
    assert steps_of(places) == pytest.approx([LENGTH / count] * count)


def test_on_a_square_they_are_in_the_middle_of_its_sides():
    corners = [(at - 3.0, at + 3.0) for at in (0.0, 9.0, 18.0, 27.0)]
    places = spread(LENGTH, 4, 1.0, free_spans(LENGTH, corners))
    assert places == pytest.approx((4.5, 13.5, 22.5, 31.5), abs=0.1)


def test_all_barred_has_no_place():
    assert free_spans(LENGTH, [(5.0, 5.0 + LENGTH)]) == ()
    assert spread(LENGTH, 1, 1.0, ()) is None
    assert spread(LENGTH, 3, 13.0, free_spans(LENGTH, [])) is None
