"""A model of a cutter carves the written DXF: folds close at the asked angle and leave the asked skin."""

from __future__ import annotations

import math

import pytest
from shapely import affinity
from shapely.geometry import LineString

from nestkit.folds import FoldSettings
from nestkit.geometry import Line, LineKind, Path, Placement
from nestkit.geometry.arcs import bulge_of
from nestkit.output.dxf import dxf_bytes
from tests.folds_bench import bevel, build_with, carve, fold, job_with, plate

FOAM = FoldSettings(pass_depth=0.8, falloff=0.012, spot=0.1)


def carved(shape, thickness, skin, across, foam=FOAM, placement=Placement(10.0, 10.0)):  # noqa: B008
    build = build_with(
        shape, thickness, pass_depth=foam.pass_depth, falloff=foam.falloff, spot=foam.spot, skin=skin
    )
    job = job_with(build, placement)
    share = job.etching.steps.share
    return carve(dxf_bytes(job), across, foam.spot, lambda passes: share * foam.depth(passes))


@pytest.mark.parametrize("thickness", [2.0, 4.0, 6.0, 10.0])
@pytest.mark.parametrize("skin", [0.3, 0.6, 1.0, 1.5])
@pytest.mark.parametrize("degrees", [30, 60, 90, 120, 150])
def test_closes_at_the_asked_angle(thickness: float, skin: float, degrees: float) -> None:
    shape = plate(200.0, 20.0, fold(degrees, (100, 0), (100, 20)))
    section = carved(shape, thickness, skin, LineString([(12, 20), (208, 20)]))
    assert section.closing_angle() == pytest.approx(degrees, abs=0.5)
    assert section.deepest == pytest.approx(thickness - skin, abs=0.05)


@pytest.mark.parametrize("degrees", [45, 90])
def test_a_curved_fold_on_a_turned_mirrored_part(degrees: float) -> None:
    # A quarter circle of radius 60 about the lower left corner.
    arc = Line(
        LineKind.FOLD, Path([[60, 0, bulge_of(math.pi / 2)], [0, 60, 0]], False), math.radians(degrees)
    )
    where = Placement(300.0, 200.0, 0.7, True)
    across = affinity.affine_transform(
        LineString([(30, 30), (60, 60)]), [*where.matrix[0, :2], *where.matrix[1, :2], *where.matrix[:, 2]]
    )
    section = carved(plate(120.0, 120.0, arc), 6.0, 0.6, across, placement=where)
    assert section.closing_angle() == pytest.approx(degrees, abs=0.5)


def test_a_bevel_has_half_the_groove_of_the_corner_that_it_makes() -> None:
    shape = plate(100.0, 40.0, bevel(45, (0, 0), (0, 40)))
    section = carved(shape, 6.0, 0.6, LineString([(10, 30), (60, 30)]))
    assert section.area == pytest.approx(5.4**2 / 2.0, rel=0.005)
    # Thinnest at the edge, so that no lip is left there.
    assert section.depths[0] == section.deepest


def test_without_a_model_that_falls_short_the_test_would_see_it() -> None:
    shape = plate(200.0, 20.0, fold(90, (100, 0), (100, 20)))
    job = job_with(build_with(shape, 6.0))
    wrong = carve(dxf_bytes(job), LineString([(12, 20), (208, 20)]), 0.4, lambda n: 0.7 * n)
    assert abs(wrong.closing_angle() - 90.0) > 2.0
