"""layers.csv, folds.csv and the report's cross-sections."""

from __future__ import annotations

import csv
import io
import math
import re
from dataclasses import replace

import pytest

from nestkit.output.grooves import groove_notes, groove_rows, grooves_in
from nestkit.output.lists import folds_bytes, layers_bytes
from nestkit.stock.materials import cautions_for
from tests.folds_bench import bevel, build_with, fold, job_with, plate

SHAPE = plate(
    200.0, 50.0, fold(90, (60, 0), (60, 50)), fold(90, (100, 0), (100, 50)), bevel(45, (0, 0), (0, 50))
)


def rows(data: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline="")))


def test_layers_in_running_order_with_their_depths() -> None:
    build = build_with(SHAPE, 6.0)
    job = job_with(build)
    table = rows(layers_bytes(build, [job]))
    assert [row["layer"] for row in table] == [*(f"POCKET_{n:02d}" for n in range(1, 8)), "CUT_OUTSIDE"]
    assert [row["order"] for row in table] == [str(n) for n in range(1, 9)]
    assert float(table[6]["depth after it (mm)"]) == pytest.approx(5.4)
    assert sum(float(row["this pass (mm)"]) for row in table[:7]) == pytest.approx(5.4, abs=0.01)
    # Seven passes of 0.8 mm go 5.6 mm deep.
    assert float(table[0]["share of a full pass (%)"]) == pytest.approx(100 * 5.4 / 5.6, abs=0.05)
    areas = [float(row["area (mm2)"]) for row in table[:7]]
    assert areas == pytest.approx(job.etching.areas, abs=0.1)


def test_each_groove_once_with_the_v_groove_table() -> None:
    build = build_with(SHAPE, 6.0, kind="knife")
    table = rows(folds_bytes(build, [job_with(build, how="knife")]))
    assert [(row["kind"], row["angle (deg)"], row["made by"]) for row in table] == [
        ("bevel", "45", "blade"),
        ("fold", "90", "blade"),
    ]
    groove = table[1]
    assert float(groove["depth stop (mm)"]) == pytest.approx(5.4)
    assert float(groove["mouth (mm)"]) == pytest.approx(2 * 5.4 * math.tan(math.radians(45)))
    assert float(groove["blade out (mm)"]) == pytest.approx(5.4 / math.cos(math.radians(45)), abs=1e-3)
    assert groove["on each copy of"] == "strip (2)"
    assert groove["passes"] == ""


def test_a_blade_gets_a_caution_about_its_depth() -> None:
    knife, laser = build_with(SHAPE, 6.0, kind="knife"), build_with(SHAPE, 6.0)
    assert any("depth stop" in caution.text for caution in cautions_for(knife))
    assert not any("depth stop" in caution.text for caution in cautions_for(laser))
    assert any("depth stop" in note for note in groove_notes(knife, [job_with(knife, how="knife")]))


@pytest.mark.parametrize("how", ["laser", "hand"])
def test_cross_sections_are_to_scale(how: str) -> None:
    build = build_with(SHAPE, 6.0)
    jobs = [job_with(build, how=how)]
    for use, row in zip(grooves_in(build, jobs), groove_rows(build, jobs), strict=True):
        points = [tuple(map(float, xy)) for xy in re.findall(r"([\d.]+),([\d.]+)", row.section.foam)]
        ys = [y for _, y in points]
        scale = (max(ys) - min(ys)) / 6.0
        # Shoelace, against foam less the V: the steps take away what the V does.
        twice = sum(
            x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in zip(points, points[1:] + points[:1], strict=True)
        )
        xs = [x for x, _ in points]
        foam = (max(xs) - min(xs)) * (max(ys) - min(ys))
        v = use.groove.mouth * 5.4 / 2.0 * scale**2
        assert abs(twice) / 2.0 == pytest.approx(foam - v, rel=5e-3)


def test_in_inches() -> None:
    build = build_with(SHAPE, 6.0)
    inches = replace(build, unit="in")
    row = rows(folds_bytes(inches, [job_with(build)]))[1]
    assert float(row["mouth (in)"]) == pytest.approx(10.8 / 25.4, abs=1e-4)
