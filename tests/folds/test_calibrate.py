"""Round trip: a coupon's fields, measured with noise on a cutter that is known, give its settings back."""

from __future__ import annotations

import math

import numpy as np
import pytest

from nestkit.folds import FoldSettings
from nestkit.folds.calibrate import Calibration, Reading, calibrate
from nestkit.folds.coupon import Coupon, coupon_for
from nestkit.folds.fits import student

THICKNESS = 6.0


def measured(
    coupon: Coupon,
    seed: int,
    *,
    kerf: float = 0.23,
    pass_depth: float = 0.71,
    falloff: float = 0.0,
    good_skin: float = 1.9,
    good_factor: float = 1.12,
    noise: float = 1.0,
) -> list[Reading]:
    """Each field read twice. Folds close farther the wider their groove is for its true depth, and the
    thinner their skin; they close at 90 degrees at the true factor, and at the true skin.
    """
    chance = np.random.default_rng(seed)
    readings = []
    for field in coupon.fields:
        came = pass_depth * field.passes - falloff * field.passes**2
        wide = field.depth / came if field.passes else 1.0
        if field.kind == "kerf":
            true, error = kerf * field.value, 0.05
        elif field.kind == "depth":
            true, error = came, 0.05 + 0.01 * came
        elif field.kind == "width":
            true, error = 2.0 * math.degrees(math.atan(field.value * wide / good_factor)), 1.0
        else:
            alone = math.radians(90.0 - 9.0 * (coupon.thickness - came - good_skin))
            true, error = 2.0 * math.degrees(math.atan(math.tan(alone / 2.0) * wide)), 1.0
        values = true + noise * error * chance.standard_normal(2)
        readings.append(
            Reading(field.name, field.kind, field.value, field.passes, field.depth, tuple(map(float, values)))
        )
    return readings


COUPON = coupon_for(THICKNESS, FoldSettings(), 0.2, 224.0, True)


def holds(estimate, true: float) -> bool:
    return estimate is not None and estimate.low <= true <= estimate.high


@pytest.mark.parametrize("falloff", [0.0, 0.012])
def test_round_trip_in_95_of_100_seeds(falloff: float) -> None:
    right = {"kerf": 0, "pass_depth": 0, "skin": 0, "width_factor": 0, "all": 0}
    for seed in range(100):
        found = calibrate(measured(COUPON, seed, falloff=falloff), THICKNESS)
        true = {"kerf": 0.23, "pass_depth": 0.71, "skin": 1.9, "width_factor": 1.12}
        held = {key: holds(getattr(found, key), value) for key, value in true.items()}
        for key, good in held.items():
            right[key] += good
        right["all"] += held["kerf"] and held["pass_depth"] and held["skin"]
    assert min(right.values()) >= 95, right


def test_without_noise_the_settings_come_back() -> None:
    found = calibrate(measured(COUPON, 1, falloff=0.01, noise=1e-6), THICKNESS)
    assert found.kerf.value == pytest.approx(0.23, abs=1e-5)
    assert found.pass_depth.value == pytest.approx(0.71, abs=1e-5)
    assert found.falloff.value == pytest.approx(0.01, abs=1e-5)
    assert found.skin.value == pytest.approx(1.9, abs=0.01)
    assert found.width_factor.value == pytest.approx(1.12, abs=0.005)
    assert found.outliers == ()


def test_depth_that_falls_off_is_seen_and_a_straight_line_is_not_bent() -> None:
    bent = [calibrate(measured(COUPON, seed, falloff=0.02), THICKNESS) for seed in range(20)]
    straight = [calibrate(measured(COUPON, seed), THICKNESS) for seed in range(20)]
    assert sum(found.falloff is not None for found in bent) >= 18
    assert sum(found.falloff is not None for found in straight) <= 3


def test_a_reading_that_stands_out_is_named_and_left_out() -> None:
    readings = measured(COUPON, 3)
    k = next(k for k, reading in enumerate(readings) if reading.field == "D4")
    wrong = readings[k]
    readings[k] = Reading(wrong.field, wrong.kind, 4, 4, 0.0, (wrong.values[0], wrong.values[1] + 1.5))
    found = calibrate(readings, THICKNESS)
    assert found.outliers == ("D4",)
    assert holds(found.pass_depth, 0.71)


def test_false_alarms_are_rare() -> None:
    named = sum(bool(calibrate(measured(COUPON, seed), THICKNESS).outliers) for seed in range(40))
    assert named <= 4


def test_what_cant_be_told_is_said() -> None:
    few = calibrate([Reading("K1", "kerf", 5, 0, 0.0, (1.0,))], THICKNESS)
    assert few.kerf is None
    assert few.notes == ("kerf: too few readings",)
    flat = [Reading(f"W{n}", "width", 0.8 + n / 10, 7, 5.4, (70.0, 71.0)) for n in range(7)]
    nowhere: Calibration = calibrate(flat, THICKNESS)
    assert nowhere.width_factor is None
    assert "no fold surely closes at 90 degrees" in nowhere.notes[0]
    assert calibrate([], THICKNESS) == Calibration(None, None, None, None, None, (), ())
    negative = calibrate([Reading("K1", "kerf", 5, 0, 0.0, (-0.5, -0.4))], THICKNESS)
    assert negative.kerf is None


@pytest.mark.parametrize(
    ("freedom", "share", "t"),
    # From memory: printed tables of Student's distribution, two-sided.
    [
        (1, 0.95, 12.706),
        (2, 0.99, 9.925),
        (3, 0.95, 3.182),
        (5, 0.99, 4.032),
        (10, 0.95, 2.228),
        (30, 0.99, 2.750),
    ],
)
def test_student_against_printed_tables(freedom: int, share: float, t: float) -> None:
    assert student(share, freedom) == pytest.approx(t, rel=0.02)
