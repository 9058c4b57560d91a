"""The search gets better, stops when told, and does the same for the same seed."""

from __future__ import annotations

import time

import pytest

from nestkit.build.model import Turns
from nestkit.nesting.problem import Bin, Item, Spacing, Status
from nestkit.nesting.search import search
from nestkit.nesting.stops import AfterRounds, AfterSeconds, AnyOf, WhenAsked
from tests.zoo import rectangle

SIZES = [(70, 30), (45, 45), (60, 25), (38, 52), (25, 25), (80, 20), (33, 47), (51, 29)]
ITEMS = [
    Item(rectangle(w, h), Turns((0.0, 1.5707963267948966)), kind=n) for n, (w, h) in enumerate(SIZES)
] * 3
BINS = [Bin(rectangle(1000, 100))]


def run(stop, seed=1, asked=lambda: False, enough=lambda score: False):
    def reach(layout):
        spots = [
            ITEMS[seat.item].outline.transformed(seat.placement.matrix).bounds[2] for seat in layout.seats
        ]
        return float(len(layout.left_out)), round(max(spots, default=0.0), 3)

    return search(
        ITEMS, BINS, Spacing(2, 0), score=reach, enough=enough, seed=seed, stop=stop, asked_to_stop=asked
    )


def test_more_rounds_are_never_worse_and_the_trace_falls():
    short, long = run(AfterRounds(6)), run(AfterRounds(40))
    assert long.score <= short.score
    assert long.rounds == 40
    scores = [score for _, _, score in long.trace]
    assert scores == sorted(scores, reverse=True)
    assert scores[-1] == long.score


def test_the_same_seed_gives_the_same_layout():
    assert run(AfterRounds(15)).layout == run(AfterRounds(15)).layout


def test_it_stops_when_asked_even_inside_a_round():
    calls = iter(range(1000))
    result = run(AfterSeconds(60), asked=lambda: next(calls) > 30)
    assert result.status is Status.STOPPED
    assert result.score[0] == 0


def test_it_ends_early_when_that_is_enough():
    result = run(AfterRounds(500), enough=lambda score: score[0] == 0)
    assert result.status is Status.PROVEN
    assert result.rounds < 10


def test_stop_rules():
    assert not AfterSeconds(60)(10**9)
    assert AfterSeconds(0)(0)
    assert AfterSeconds(60).left > 59
    assert AnyOf(AfterRounds(5), WhenAsked(lambda: False))(5)
    assert not AnyOf(AfterRounds(5), WhenAsked(lambda: False))(4)
    with pytest.raises(ValueError, match="round"):
        AfterRounds(0)
    with pytest.raises(ValueError, match="seconds"):
        AfterSeconds(float("nan"))
    began = time.monotonic()
    run(AfterSeconds(0.3))
    assert time.monotonic() - began < 30
