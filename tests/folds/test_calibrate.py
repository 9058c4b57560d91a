"""Round trip: a coupon's fields, measured with noise on a cutter that is known, give its settings back."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from nestkit.folds import FoldSettings
from nestkit.folds.calibrate import Calibration, Reading, calibrate, most_unsure
from nestkit.folds.coupon import coupon_for
from nestkit.folds.fits import student
from tests.folds_bench import TrueFoam, measured

THICKNESS = 6.0
SKIN = 0.6
COUPON = coupon_for(THICKNESS, FoldSettings(), 0.2, 224.0, True)
FOAM = TrueFoam()


def holds(estimate, true: float) -> bool:
    return estimate is not None and estimate.low <= true <= estimate.high


ROUND_TRIPS = [
    (2.0, TrueFoam(0.19, 0.34, good_skin=0.9)),
    (4.0, TrueFoam(0.21, 0.66, good_skin=0.9)),
    (6.0, TrueFoam()),
    (6.0, TrueFoam(0.23, 0.80, 0.012, good_skin=1.6)),
    (10.0, TrueFoam(0.27, 0.80, 0.009, good_skin=2.0)),
    (10.0, TrueFoam(0.27, 0.74, good_skin=1.6, per_mm=5.0)),
]


@pytest.mark.parametrize(("thickness", "foam"), ROUND_TRIPS)
def test_round_trip_in_95_of_100_seeds(thickness: float, foam: TrueFoam) -> None:
    coupon = coupon_for(thickness, FoldSettings(skin=SKIN), 0.2, 224.0, True)
    true = {
        "kerf": foam.kerf,
        "pass_depth": foam.pass_depth,
        "skin": foam.good_skin,
        "width_factor": foam.factor(SKIN),
    }
    right, usable = dict.fromkeys([*true, "all"], 0), dict.fromkeys(true, 0)
    for seed in range(100):
        found = calibrate(measured(coupon, foam, seed), thickness)
        held = {key: holds(getattr(found, key), value) for key, value in true.items()}
        for key, good in held.items():
            right[key] += good
            one = getattr(found, key)
            usable[key] += one is not None and one.high - one.value <= most_unsure(key, one.value, thickness)
        right["all"] += held["kerf"] and held["pass_depth"] and held["skin"]
    assert min(right.values()) >= 95, right
    # Two readings of each field are enough to set all but the skin, which is not set beside the width.
    assert all(usable[key] >= 90 for key in ("kerf", "pass_depth", "width_factor")), usable


def test_without_noise_the_settings_come_back() -> None:
    foam = replace(FOAM, falloff=0.01)
    found = calibrate(measured(COUPON, foam, 1, 1e-6), THICKNESS)
    assert found.kerf.value == pytest.approx(0.23, abs=1e-5)
    assert found.pass_depth.value == pytest.approx(0.71, abs=1e-5)
    assert found.falloff.value == pytest.approx(0.01, abs=1e-5)
    assert found.skin.value == pytest.approx(1.3, abs=0.01)
    # Its grooves came out 1.3 mm shallower than meant, over a skin as much thicker.
    assert found.width_factor.value == pytest.approx(foam.factor(SKIN), abs=0.01)
    assert found.outliers == ()


def test_readings_that_agree_too_well_prove_no_more_than_a_maker_can_measure() -> None:
    """A line through the origin: its slope's error is a reading's over the root of the squares of the cuts.

    Half of 0.05 mm is the least that a reading is taken to be off.
    """
    gaps = [Reading(f"K{n}", "kerf", n + 1, 0, 0.0, (0.2 * (n + 1),) * 2) for n in (4, 8, 12)]
    found = calibrate(gaps, THICKNESS)
    assert found.kerf.value == pytest.approx(0.2)
    assert found.kerf.error == pytest.approx(0.025 / math.sqrt(2 * (5**2 + 9**2 + 13**2)))


def test_depth_that_falls_off_is_seen_and_a_straight_line_is_not_bent() -> None:
    bent = [calibrate(measured(COUPON, replace(FOAM, falloff=0.02), seed), THICKNESS) for seed in range(20)]
    straight = [calibrate(measured(COUPON, FOAM, seed), THICKNESS) for seed in range(20)]
    assert sum(found.falloff is not None for found in bent) >= 18
    assert sum(found.falloff is not None for found in straight) <= 3


def test_a_reading_that_stands_out_is_named_and_left_out() -> None:
    readings = measured(COUPON, FOAM, 3)
    k = next(k for k, reading in enumerate(readings) if reading.field == "D4")
    wrong = readings[k]
    readings[k] = Reading(wrong.field, wrong.kind, 4, 4, 0.0, (wrong.values[0], wrong.values[1] + 1.5))
    found = calibrate(readings, THICKNESS)
    assert found.outliers == ("D4",)
    assert holds(found.pass_depth, 0.71)


def test_false_alarms_are_rare() -> None:
    named = sum(bool(calibrate(measured(COUPON, FOAM, seed), THICKNESS).outliers) for seed in range(40))
    assert named <= 4


def test_what_cant_be_told_is_said() -> None:
    few = calibrate([Reading("K1", "kerf", 5, 0, 0.0, (1.0,))], THICKNESS)
    assert few.kerf is None
    assert few.notes == ("kerf: too few readings; measure at least one field more",)
    assert calibrate([], THICKNESS) == Calibration(None, None, None, None, None, (), ())
    negative = calibrate([Reading("K1", "kerf", 5, 0, 0.0, (-0.5, -0.4))], THICKNESS)
    assert negative.kerf is None


def row(kind: str, settings: list[float], angles: list[float]) -> list[Reading]:
    """Each field of a row read twice; the depths are as they were meant."""
    return [
        Reading(f"F{n}", kind, value, 1, THICKNESS - (value if kind == "skin" else SKIN), (angle, angle + 1))
        for n, (value, angle) in enumerate(zip(settings, angles, strict=True))
    ]


FACTORS, SKINS = [0.8, 1.0, 1.2, 1.4], [0.21, 0.6, 1.37, 2.14]
NOWHERE = [
    (
        row("width", FACTORS, [60, 66, 72, 78]),
        "width factor: from 0.80 to 1.40, all folds stop short of 90 degrees; "
        "set width_factor = 1.40 for this foam and cut a second coupon",
    ),
    (
        row("width", FACTORS, [95, 101, 107, 112]),
        "width factor: from 0.80 to 1.40, all folds go beyond 90 degrees; "
        "set width_factor = 0.80 for this foam and cut a second coupon",
    ),
    (
        row("width", FACTORS, [89, 91.5, 88, 90.5]),
        "width factor: from 0.80 to 1.40, it is not sure where a fold closes at 90 degrees; "
        "measure the angles again, or cut a second coupon",
    ),
    (
        row("skin", SKINS, [84, 80, 74, 68]),
        "skin: from 0.21 to 2.14 mm, all folds stop short of 90 degrees; "
        "a wider groove has to make up for it",
    ),
    (
        row("skin", SKINS[1:], [84, 80, 74]),
        "skin: from 0.60 to 2.14 mm, all folds stop short of 90 degrees; "
        "set skin = 0.60 for this foam and cut a second coupon",
    ),
    (
        row("skin", SKINS, [115, 110, 104, 98]),
        "skin: from 0.21 to 2.14 mm, all folds go beyond 90 degrees; "
        "set skin = 2.14 for this foam and cut a second coupon",
    ),
    (row("width", FACTORS[:1], [80]), "width factor: too few readings; measure at least one field more"),
]


@pytest.mark.parametrize(("readings", "note"), NOWHERE)
def test_a_row_that_does_not_close_asks_for_a_second_coupon(readings: list[Reading], note: str) -> None:
    found: Calibration = calibrate(readings, THICKNESS)
    assert (found.width_factor, found.skin) == (None, None)
    # Once, and nothing else.
    assert found.notes == (note,)


def test_one_of_width_and_skin_is_enough() -> None:
    closes, short = row("skin", SKINS, [94, 90, 83, 75]), row("width", FACTORS, [60, 66, 72, 78])
    found = calibrate(closes + short, THICKNESS)
    assert found.skin is not None
    assert found.notes == (
        "width factor: from 0.80 to 1.40, all folds stop short of 90 degrees; the skin makes up for it",
    )
    found = calibrate(
        row("skin", SKINS, [84, 80, 74, 68]) + row("width", FACTORS, [80, 88, 95, 101]), THICKNESS
    )
    assert found.width_factor is not None
    assert found.notes == ()
    neither = calibrate(row("skin", SKINS, [84, 80, 74, 68]) + short, THICKNESS)
    assert len(neither.notes) == 1
    assert neither.notes[0].endswith("set width_factor = 1.40 for this foam and cut a second coupon")


def test_notes_speak_the_builds_unit() -> None:
    (note,) = calibrate(row("skin", SKINS, [115, 110, 104, 98]), THICKNESS, "in").notes
    assert "from 0.0083 to 0.0843 in, all folds go beyond" in note
    assert "set skin = 0.0843 for" in note


def test_the_second_coupon_tries_what_the_first_asks_for() -> None:
    second = coupon_for(THICKNESS, FoldSettings(width_factor=1.4), 0.2, 224.0, True)
    factors = [field.value for field in second.fields if field.kind == "width"]
    assert min(factors) < 1.4 < max(factors)


def test_how_unsure_a_setting_may_be() -> None:
    assert most_unsure("kerf", 0.1, 6.0) == 0.05
    assert most_unsure("kerf", 0.4, 6.0) == pytest.approx(0.1)
    assert most_unsure("width_factor", 1.2, 6.0) == pytest.approx(0.24)
    # Half of a thin skin, a share of the depth over a thick one, nothing where no depth is left.
    assert [most_unsure("skin", skin, 6.0) for skin in (0.4, 3.0, 6.0)] == pytest.approx([0.2, 0.6, 0.0])


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
