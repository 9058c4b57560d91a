"""Labels as other software reads them: GDAL the file, and the digits by their likeness to a printed font."""

from __future__ import annotations

import math
from pathlib import Path as FilePath

import pyogrio
import pytest
import shapely

from nestkit.build.model import Build, Cutter, Part
from nestkit.cutting.jobs import make_jobs
from nestkit.cutting.lettering import text_strokes
from nestkit.geometry import Placement, Shape
from nestkit.nesting.model import PlacedPart, PlannedSheet
from nestkit.output.dxf import dxf_bytes
from tests.cutting.reading import read_digit, read_number
from tests.zoo import rectangle

NUMBERS = (1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 16, 35, 47, 52, 68, 89, 92, 103)


@pytest.mark.parametrize("digit", "0123456789")
def test_the_reader_can_read(digit):
    strokes = [stroke for stroke in text_strokes(digit) if stroke[:, 1].min() >= 0.0]
    upright = shapely.MultiLineString(strokes)
    assert read_digit(upright) == digit
    if digit in "23569":
        assert read_digit(shapely.affinity.scale(upright, -1.0, 1.0)) != digit


def test_gdal_reads_every_copys_number_in_its_outline(tmp_path: FilePath):
    every = tuple(
        Part(f"plate {k}", Shape(rectangle(70, 45)), "eva", 6.0, copies=2, mirrored_pairs=True)
        for k in range(1, max(NUMBERS) + 1)
    )
    made = Build("b", FilePath("b.toml"), "mm", 1.0, 2.0, 5.0, Cutter(kerf=0.2), (), (), every)
    placed, turns = [], {}
    for place, number in enumerate(NUMBERS):
        for copy in (1, 2):
            x, y = 100.0 + 160.0 * place, 150.0 * copy
            turn = math.radians(37.0 * place + 12.0)
            placed.append(PlacedPart(every[number - 1], copy, Placement(x, y, turn, copy == 2)))
            # Level on the part; on the sheet, never upside down.
            turns[number, copy] = (turn + math.pi / 2.0) % math.pi - math.pi / 2.0
    sheet = PlannedSheet(1, "eva", 1, True, None, "eva", 6.0, rectangle(3200, 500), "laser", tuple(placed))
    (job,) = make_jobs(made, [sheet])
    file = tmp_path / "job.dxf"
    file.write_bytes(dxf_bytes(job))
    meta, _, shapes, fields = pyogrio.raw.read(file)
    layers = fields[list(meta["fields"]).index("Layer")]
    found = shapely.from_wkb(shapes)
    labels = found[layers == "LABEL"]
    outlines = [shapely.Polygon(line.coords) for line in found[layers == "CUT_OUTSIDE"]]
    assert len(outlines) == 2 * len(NUMBERS)
    seen = 0
    for one in placed:
        number = int(one.part.name.split()[1])
        middle = shapely.Point(*one.shape.outline.polygon().centroid.coords)
        (outline,) = [each for each in outlines if each.contains(middle)]
        strokes = [line for line in labels if outline.contains(line)]
        seen += len(strokes)
        assert read_number(shapely.MultiLineString(strokes), turns[number, one.copy]) == str(number)
    assert seen == len(labels)
