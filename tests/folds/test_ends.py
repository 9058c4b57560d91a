"""Folds that stop short of the edge."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nestkit.cutting.etching import fold_findings
from nestkit.folds.ends import MOST_TOLD, short_folds
from nestkit.geometry import Outline, Path, Shape
from tests.folds_bench import bevel, build_with, fold, plate


def test_a_fold_that_stops_short_is_told_at_both_its_ends() -> None:
    strip = plate(100.0, 60.0, fold(60, (50, 10), (50, 50)))
    first, second = short_folds(strip, "mm")
    assert (first.at, second.at) == ((50.0, 10.0), (50.0, 50.0))
    assert "ends 10 mm before the edge" in str(first)
    assert "Draw it to the edge." in str(first)
    assert "0.394 in" in str(short_folds(strip, "in")[0])
    told = fold_findings(build_with(strip, 6.0))
    assert [f.code for found in told.values() for f in found].count("fold-short") == 2


@given(st.floats(0.0, 59.0), st.floats(60.0, 120.0))
def test_what_is_told_is_the_distance_to_the_edge(low: float, high: float) -> None:
    """Both ends of an upright fold in a plate 120 high: known by subtraction."""
    found = {f.at[1]: f.text for f in short_folds(plate(100.0, 120.0, fold(60, (50, low), (50, high))), "mm")}
    for y, missing in ((low, low), (high, 120.0 - high)):
        if missing > 1.001:
            assert f"ends {missing:.1f}".removesuffix(".0") in found[y]
        elif missing < 0.299:
            assert y not in found


@pytest.mark.parametrize(
    "folds",
    [
        [fold(60, (50, 0), (50, 60))],
        [fold(60, (50, -5), (50, 65))],
        [fold(60, (50, 0.2), (50, 59.8))],
        [fold(60, (50, 0), (50, 60)), fold(30, (0, 30), (50, 30))],  # ends at another fold
        [fold(60, (50, 0), (50, 60)), fold(30, (0, 30), (100, 30))],  # crosses it
        [fold(60, (50, 0), (50, 30)), fold(60, (50, 30), (50, 60))],  # goes on
        [fold(0, (50, 10), (50, 50))],
    ],
)
def test_folds_that_end_where_they_should_are_not_told(folds: list) -> None:
    assert short_folds(plate(100.0, 60.0, *folds), "mm") == ()


def test_a_fold_may_end_at_a_hole() -> None:
    outline = plate(100.0, 60.0).outline
    shape = Shape(
        Outline(outline.exterior, (Path.circle(50.0, 30.0, 10.0),)),
        (fold(60, (50, 0), (50, 20)), fold(60, (50, 45), (50, 60))),
    )
    (finding,) = short_folds(shape, "mm")
    assert finding.at == (50.0, 45.0)
    assert "ends 5 mm before the edge" in finding.text


def test_before_a_bevelled_edge_it_is_the_edge_that_is_told() -> None:
    """The bevel's line lies on the edge, so that both are as far ahead."""
    (finding,) = short_folds(
        plate(100.0, 60.0, fold(60, (50, 10), (50, 60)), bevel(45, (0, 0), (100, 0))), "mm"
    )
    assert "ends 10 mm before the edge" in finding.text
    assert "Draw it to the edge." in str(finding)


def test_a_fold_may_stop_short_of_another_and_many_are_counted() -> None:
    shape = plate(100.0, 60.0, fold(60, (50, 0), (50, 60)), fold(30, (0, 30), (40, 30)))
    (finding,) = short_folds(shape, "mm")
    assert "ends 10 mm before the next fold" in finding.text
    dashes = [fold(60, (50, 5 * k + 1), (50, 5 * k + 3)) for k in range(12)]
    found = short_folds(plate(100.0, 60.0, *dashes), "mm")
    assert len(found) == MOST_TOLD + 1
    assert found[-1].text.startswith(f"{24 - MOST_TOLD} more")
