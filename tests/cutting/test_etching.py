"""Folds in jobs: passes in order before the cuts, areas or lines, lips for blades, time, problems by name."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from nestkit.build.model import Foam
from nestkit.cutting.etching import fold_findings, fold_problems
from nestkit.cutting.jobs import make_jobs
from nestkit.cutting.model import CUT_OUTSIDE_LAYER, MARK_LAYER
from nestkit.folds.groove import named
from nestkit.geometry import LineKind, Placement
from nestkit.nesting.model import PlacedPart
from tests.folds_bench import bevel, build_with, fold, job_with, plate

SHAPE = plate(200.0, 50.0, fold(90, (100, 0), (100, 50)), bevel(45, (0, 0), (0, 50)))


def test_passes_ascend_and_come_before_the_cuts() -> None:
    build = build_with(SHAPE, 6.0)
    sheet = job_with(build).sheet
    copies = tuple(PlacedPart(build.parts[0], n, Placement(10, 10 + 60 * n)) for n in range(1, 5))
    (job,) = make_jobs(build, [replace(sheet, placed=copies)])
    layers = [stroke.layer for stroke in job.strokes]
    assert layers == sorted(layers, key=lambda layer: (layer == CUT_OUTSIDE_LAYER, layer))
    assert set(layers) == {*(f"POCKET_{n:02d}" for n in range(1, 8)), CUT_OUTSIDE_LAYER}
    pockets = [stroke for stroke in job.strokes if stroke.layer != CUT_OUTSIDE_LAYER]
    assert all(stroke.path.closed for stroke in pockets)
    assert len(pockets) == 7 * 2 * 4
    assert {stroke.kind for stroke in pockets} == {LineKind.FOLD, LineKind.BEVEL}


def test_time_has_the_etched_area_over_speed_times_pitch() -> None:
    cutter = {"etch_speed": 150.0, "pitch": 0.2}
    folded, plain = (job_with(build_with(s, 6.0, **cutter)) for s in (SHAPE, plate(200.0, 50.0)))
    etched = folded.etching
    drawn = sum(s.path.signed_area for s in folded.strokes if s.layer.startswith("POCKET"))
    assert sum(etched.areas) == pytest.approx(drawn)
    assert etched.seconds == pytest.approx(drawn / (150.0 * 0.2))
    more_travel = (folded.travel - plain.travel) / 300.0
    assert folded.seconds - plain.seconds == pytest.approx(etched.seconds + more_travel)


def test_without_area_mode_there_are_lines_at_the_pitch() -> None:
    cutter = {"area_mode": False, "pitch": 0.5, "hatch_angle": math.radians(30)}
    areas, lines = job_with(build_with(SHAPE, 6.0)), job_with(build_with(SHAPE, 6.0, **cutter))
    pockets = [stroke for stroke in lines.strokes if stroke.layer.startswith("POCKET")]
    assert not any(stroke.path.closed for stroke in pockets)
    length = sum(stroke.path.length for stroke in pockets)
    assert length * 0.5 == pytest.approx(sum(areas.etching.areas), rel=0.05)
    assert lines.etching.seconds == pytest.approx(length / 200.0)
    layers = [stroke.layer for stroke in pockets]
    assert layers == sorted(layers)


@pytest.mark.parametrize(("kind", "how"), [("knife", "knife"), ("hand", "hand"), ("laser", "hand")])
def test_a_blade_gets_the_lips(kind: str, how: str) -> None:
    job = job_with(build_with(SHAPE, 6.0, kind=kind), how=how)
    lips = sorted(stroke.path.start[0] - 10.0 for stroke in job.strokes if stroke.layer == MARK_LAYER)
    assert lips == pytest.approx([5.4, 100.0 - 5.4, 100.0 + 5.4])
    assert job.etching is None
    assert not any(stroke.layer.startswith("POCKET") for stroke in job.strokes)


def test_each_foam_has_its_settings() -> None:
    build = replace(
        build_with(SHAPE, 6.0), foams=(Foam("eva", 6.0, skin=1.2, kerf=0.4), Foam("eva", 4.0, skin=3))
    )
    job = job_with(build)
    assert job.etching.steps.depth == pytest.approx(4.8)
    # Kerf 0.4: the outline stands off by 0.2, grooves run past the edge by 0.4.
    outline = next(stroke for stroke in job.strokes if stroke.layer == CUT_OUTSIDE_LAYER)
    assert outline.path.bounds == pytest.approx((9.8, 9.8, 210.2, 60.2))
    assert min(stroke.path.bounds[1] for stroke in job.strokes) == pytest.approx(9.6)


def test_problems_name_the_fold() -> None:
    near = plate(200.0, 50.0, fold(90, (198, 0), (198, 50)), fold(30, (50, 0), (50, 50)))
    (problem,) = fold_problems(build_with(near, 6.0))
    assert str(problem) == (
        "build.toml: part[1] 'strip': fold 90 from (198.0, 0.0) to (198.0, 50.0) mm: its groove is 10.8 mm "
        "wide and reaches out of the part at the side, at (198.0, 25.0) mm. "
        "Move it away from the edge, lessen its angle or take thinner foam."
    )
    thin = fold_problems(build_with(near, 2.0, skin=2.0))
    assert len(thin) == 2
    assert "a skin of 2.00 mm leaves nothing to etch" in thin[0].what
    assert fold_problems(build_with(SHAPE, 6.0)) == ()


def test_findings_are_those_of_the_grooves() -> None:
    close = plate(200.0, 50.0, fold(90, (90, 0), (90, 50)), fold(90, (95, 0), (95, 50)))
    found = fold_findings(build_with(close, 6.0))
    assert [finding.code for finding in found["strip"]] == ["grooves-overlap"]
    assert fold_findings(build_with(SHAPE, 6.0)) == {}


def test_a_groove_too_narrow_for_the_pitch_is_told() -> None:
    slight = plate(200.0, 50.0, fold(4, (90, 0), (90, 50)), fold(60, (20, 0), (20, 50)))
    (told,) = fold_findings(build_with(slight, 4.0, area_mode=False, pitch=0.3))["strip"]
    assert told.code == "groove-lines"
    assert "fold 4 from (90.0, 0.0)" in told.text
    assert "take away 153% more than its V" in told.text
    assert fold_findings(build_with(slight, 4.0, pitch=0.3)) == {}


def test_angles_of_patterns_are_told_to_two_digits() -> None:
    line = fold(9.02792, (198, 0), (198, 50))
    assert named(line) == "fold 9.03 from (198.0, 0.0) to (198.0, 50.0) mm"
