"""Where between two sizes it is looked next."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nestkit.scales.climbing import FAR, LEAPS_IN_VAIN, LONGEST, STRIDE, Climbs
from nestkit.scales.model import CLOSE, Cliff, GroupResult, Leftover


def plan(sheets: int, fill: float = 0.5) -> GroupResult:
    return GroupResult(
        "eva", 6.0, 4, sheets, 1, False, 2.0 * sheets, 1.0, fill, 0.0, (), (), Leftover(), (),
    )  # fmt: skip


def cliff(below: float, above: float, sheets: int = 1) -> Cliff:
    return Cliff((below, plan(sheets)), (above, plan(sheets + 1)))


def climbing() -> Climbs:
    """For which all leaps were in vain."""
    climbs, far = Climbs(), cliff(1.0, 1.5)
    for _ in range(LEAPS_IN_VAIN):
        climbs.note_leap(1.2, far)
        climbs.learn(1.2, far.above[1].rank)
    return climbs


def test_it_is_looked_from_nothing_while_that_pays() -> None:
    climbs, far = Climbs(), cliff(1.0, 1.5)
    for _ in range(3 * LEAPS_IN_VAIN):
        assert climbs.is_leap(far)
        climbs.note_leap(1.2, far)
        climbs.learn(1.2, far.below[1].rank)
    for _ in range(LEAPS_IN_VAIN):
        assert climbs.is_leap(far)
        climbs.note_leap(1.2, far)
        climbs.learn(1.2, far.above[1].rank)
    assert not climbs.is_leap(far)
    assert climbs.is_leap(cliff(1.0, 1.5, sheets=2)), "other plans are looked between as often"


def test_near_sizes_are_not_leapt_between() -> None:
    assert not Climbs().is_leap(cliff(1.0, 1.0 + 0.9 * FAR))


def test_strides_grow_with_each_success_and_shrink_with_each_failure() -> None:
    climbs, far = climbing(), cliff(1.0, 1.5)
    first = climbs.place(far, ())
    assert first == pytest.approx(1.0 + STRIDE)
    climbs.note_carried(first, far)
    climbs.learn(first, far.below[1].rank)
    nearer = cliff(first, 1.5)
    second = climbs.place(nearer, ())
    assert second == pytest.approx(first * (1.0 + min(2.0 * STRIDE, LONGEST)))
    climbs.note_carried(second, nearer)
    climbs.learn(second, nearer.above[1].rank)
    third = climbs.place(cliff(first, 1.5), ())
    assert third / first - 1.0 == pytest.approx((second / first - 1.0) / 2.0)


def test_a_plan_is_carried_all_the_way_once() -> None:
    climbs, near = climbing(), cliff(1.0, 1.0 + 0.9 * STRIDE)
    assert climbs.place(near, ()) == near.above[0]
    climbs.note_carried(near.above[0], near)
    climbs.learn(near.above[0], near.above[1].rank)
    assert climbs.place(near, ()) == pytest.approx(math.sqrt(near.above[0]), rel=1e-3)
    assert not climbs.has_come_nearer(near)
    nearer = cliff(1.0 + 0.5 * STRIDE, near.above[0])
    assert climbs.has_come_nearer(nearer)
    assert climbs.place(nearer, ()) == near.above[0], "from nearer it is worth another try"


@given(st.floats(0.2, 3.0), st.floats(CLOSE, 1.0), st.floats(0.05, 0.95))
def test_every_place_lies_between_the_sides_or_on_the_upper_one(
    below: float, step: float, fill: float
) -> None:
    above = below * (1.0 + step)
    for climbs in (Climbs(), climbing()):
        both = Cliff((below, plan(1, fill)), (above, plan(2, fill / 2.0)))
        assert below < climbs.place(both, [plan(1, fill)]) <= above
