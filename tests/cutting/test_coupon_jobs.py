"""Coupons as jobs: they fit the bed, and their strips get lines all over."""

from __future__ import annotations

import pytest
import shapely
from shapely.geometry import LineString, Polygon

from nestkit.cutting.coupon import RIM, coupon_jobs
from nestkit.errors import InputError
from tests.folds_bench import build_with, plate

PLATE = plate(100, 50)


def test_without_a_bed_every_coupon_fits() -> None:
    (free,) = coupon_jobs(build_with(PLATE, 6.0, bed=None))
    (on_bed,) = coupon_jobs(build_with(PLATE, 6.0))
    assert free.job.sheet.outline.size == on_bed.job.sheet.outline.size


def test_a_bed_as_large_as_the_coupon_is_large_enough() -> None:
    (one,) = coupon_jobs(build_with(PLATE, 6.0))
    width, height = one.job.sheet.outline.size
    (same,) = coupon_jobs(build_with(PLATE, 6.0, bed=(width, height)))
    assert same.job.sheet.outline.size == (width, height)
    with pytest.raises(InputError, match="larger than the bed"):
        coupon_jobs(build_with(PLATE, 6.0, bed=(width, height - 0.1)))


def test_a_strips_lines_cover_its_groove_on_both_sides() -> None:
    """Shapely's buffer stands for the spot: half a pitch to each side of a line, nothing is left unetched."""
    pitch = 0.2
    (one,) = coupon_jobs(build_with(PLATE, 4.0, area_mode=False, pitch=pitch))
    widest = {name: path for name, number, path in one.coupon.areas if number == 1}
    for name in ("S1", "S3", "W1", "W7"):
        area = shapely.affinity.translate(Polygon(widest[name].points), RIM, RIM)
        lines = [
            LineString(stroke.path.points)
            for stroke in one.job.strokes
            if (stroke.layer, stroke.part) == ("POCKET_01", name)
        ]
        etched = shapely.union_all([line.buffer(pitch / 2 + 0.01, cap_style="flat") for line in lines])
        assert area.difference(etched).area < 0.03 * area.area, name
        assert etched.difference(area.buffer(pitch)).area < 1e-6, name
