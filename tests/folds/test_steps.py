"""Passes as numbers: the V's mouth and area, the remainder shared out, depth that falls off."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nestkit.folds import FoldSettings, groove_mouth, steps_for
from nestkit.folds.steps import NARROWEST, removed
from nestkit.geometry import LineKind

FOLD, BEVEL = LineKind.FOLD, LineKind.BEVEL

# Derived from w = 2 D tan(a/2): both walls of a V groove lean by half the fold angle.
MOUTHS = [
    (30, 8, 4.287187),
    (45, 8, 6.627417),
    (60, 8, 9.237604),
    (90, 8, 16.0),
    (120, 8, 27.712813),
    (30, 4, 2.143594),
    (90, 4, 8.0),
    (60, 9, 10.392305),
    (120, 9, 31.176915),
]


@pytest.mark.parametrize(("degrees", "depth", "mouth"), MOUTHS)
def test_mouth_of_the_v_groove(degrees: float, depth: float, mouth: float) -> None:
    assert groove_mouth(depth, math.radians(degrees)) == pytest.approx(mouth, abs=1e-6)


@pytest.mark.parametrize(
    ("sides", "mouth"), [(3, 27.712813), (4, 16.0), (5, 11.624680), (6, 9.237604), (8, 6.627417)]
)
def test_corners_of_a_prism_fold_by_360_over_n(sides: int, mouth: float) -> None:
    assert groove_mouth(8.0, math.tau / sides) == pytest.approx(mouth, abs=1e-6)


def test_widths_of_four_passes() -> None:
    # Worked by hand: depth 8, four passes, widths in the middle of each step; the area is D^2 tan(a/2).
    steps = steps_for(10.0, FoldSettings(pass_depth=2.0, skin=2.0))
    assert steps.widths(FOLD, math.pi / 2) == pytest.approx((14, 10, 6, 2))
    assert removed(steps.widths(FOLD, math.pi / 2), steps.rises) == pytest.approx(64.0)
    sixty = steps.widths(FOLD, math.radians(60))
    assert sixty == pytest.approx((8.082904, 5.773503, 3.464102, 1.154701), abs=1e-6)
    assert removed(sixty, steps.rises) == pytest.approx(36.950417, abs=1e-6)


def test_a_bevel_is_half_a_groove() -> None:
    steps = steps_for(6.0, FoldSettings())
    whole, half = steps.widths(FOLD, math.pi / 2), steps.widths(BEVEL, math.pi / 4)
    assert whole == pytest.approx([2 * width for width in half])


def test_kerf_bend_rule_for_small_angles() -> None:
    # Sum of widths = angle times depth, for a bend of many small folds: common practice, no source.
    count = 90
    mouth = groove_mouth(8.0, math.radians(90 / count))
    assert count * mouth == pytest.approx(math.radians(90) * 8.0, rel=1e-4)


settings_drawn = st.builds(
    FoldSettings,
    pass_depth=st.floats(0.5, 2.0),
    falloff=st.floats(0.0, 0.006),
    skin=st.floats(0.0, 1.5),
    width_factor=st.floats(0.8, 1.3),
)


@given(st.floats(1.7, 10.0), settings_drawn, st.floats(1.0, 150.0))
def test_the_staircase_has_the_area_of_the_v(thickness: float, foam: FoldSettings, degrees: float) -> None:
    steps, angle = steps_for(thickness, foam), math.radians(degrees)
    widths = steps.widths(FOLD, angle)
    v = steps.depth**2 * math.tan(angle / 2.0) * foam.width_factor
    assert removed(widths, steps.rises) == pytest.approx(v, rel=1e-9)
    assert all(a > b > 0.0 for a, b in pairwise(widths))
    assert steps.mouth(FOLD, angle) > widths[0]


@given(st.floats(1.7, 10.0), settings_drawn)
def test_the_remainder_is_shared_out(thickness: float, foam: FoldSettings) -> None:
    steps = steps_for(thickness, foam)
    assert steps.depth == pytest.approx(thickness - foam.skin)
    for number, depth in enumerate(steps.depths, start=1):
        assert depth == pytest.approx(steps.share * foam.depth(number))
    # One pass fewer would not have got there.
    assert steps.count == 1 or foam.depth(steps.count - 1) < steps.depth


@given(settings_drawn, st.floats(0.0, 0.4), st.floats(20.0, 150.0))
def test_the_spot_is_taken_off(foam: FoldSettings, spot: float, degrees: float) -> None:
    foam = FoldSettings(foam.pass_depth, foam.falloff, foam.skin, foam.width_factor, spot)
    steps, angle = steps_for(4.0, foam), math.radians(degrees)
    drawn = steps.drawn(FOLD, angle)
    assert min(drawn) >= NARROWEST
    if drawn[0] > NARROWEST:
        away = sum((width + spot) * rise for width, rise in zip(drawn, steps.rises, strict=True))
        assert away == pytest.approx(removed(steps.widths(FOLD, angle), steps.rises), rel=1e-9)


def test_what_cant_be_etched_is_told() -> None:
    with pytest.raises(ValueError, match=r"a skin of 2\.00 mm leaves nothing to etch in foam of 2\.00 mm"):
        steps_for(2.0, FoldSettings(skin=2.0))
    with pytest.raises(ValueError, match=r"4 passes .* are the most and go 1.60 mm deep, not 5.40 mm"):
        steps_for(6.0, FoldSettings(falloff=0.1))
    for wrong in ({"pass_depth": 0.0}, {"skin": -0.1}, {"width_factor": 0.0}, {"spot": math.nan}):
        with pytest.raises(ValueError, match=r"must be|can't be"):
            FoldSettings(**wrong)
