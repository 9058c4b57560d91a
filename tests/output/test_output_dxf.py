"""The DXF files: as ezdxf audits them, as GDAL reads them, and byte for byte."""

from __future__ import annotations

import hashlib
import io
import math
import os
import subprocess
import sys
from pathlib import Path as FilePath

import ezdxf
import numpy as np
import pyogrio
import pytest
from ezdxf.document import Drawing
from ezdxf.entities import Layer
from shapely import from_wkb
from shapely.geometry import Polygon

from nestkit.build.model import DxfVersion
from nestkit.cutting.model import CUT_OUTSIDE_LAYER, MARK_LAYER, Job, Stroke, Times
from nestkit.geometry import Outline, Path
from nestkit.output import plan_files
from nestkit.output.dxf import APP_ID, dxf_bytes
from nestkit.output.palette import layer_colour
from tests.output.sample_plan import lantern, sheet_of

RUNNING_ORDER = ["LABEL", "MARK", "POCKET_01", "CUT_INSIDE", "CUT_OUTSIDE", "SHEET"]
REPO = FilePath(__file__).parents[2]


def read(data: bytes) -> Drawing:
    return ezdxf.read(io.StringIO(data.decode("utf-8")))


def layers_of(drawing: Drawing) -> list[Layer]:
    # ezdxf adds Defpoints to what it reads.
    return [layer for layer in drawing.layers if layer.dxf.name not in ("0", "Defpoints")]


@pytest.fixture(scope="module")
def job() -> Job:
    """The job that has marks, folds, holes and arcs."""
    return lantern().jobs[1]


@pytest.fixture(scope="module")
def drawing(job: Job) -> Drawing:
    return read(dxf_bytes(job))


def test_audit_is_clean() -> None:
    for job in lantern().jobs:
        audit = read(dxf_bytes(job)).audit()
        assert not audit.errors
        assert not audit.fixes


def test_header_says_millimetres_and_extents(job: Job, drawing: Drawing) -> None:
    # Codes of the DXF reference: $INSUNITS 4 = millimetres, AC1024 = R2010.
    assert drawing.header["$ACADVER"] == "AC1024"
    assert drawing.header["$INSUNITS"] == 4
    assert drawing.header["$MEASUREMENT"] == 1
    assert tuple(drawing.header["$EXTMIN"])[:2] == (0.0, 0.0)
    assert tuple(drawing.header["$EXTMAX"])[:2] == (900.0, 600.0)


def test_layers_stand_in_running_order(drawing: Drawing) -> None:
    layers = layers_of(drawing)
    assert [layer.dxf.name for layer in layers] == RUNNING_ORDER
    assert [layer.dxf.plot for layer in layers] == [1, 1, 1, 1, 1, 0]
    assert [layer.rgb for layer in layers] == [layer_colour(name).rgb for name in RUNNING_ORDER]
    assert len({layer.color for layer in layers}) == len(layers)


def test_entities_are_the_strokes_in_cut_order(job: Job, drawing: Drawing) -> None:
    edge, *entities = drawing.modelspace()
    assert edge.dxf.layer == "SHEET"
    assert not edge.has_xdata(APP_ID)
    assert len(entities) == len(job.strokes)
    for entity, stroke in zip(entities, job.strokes, strict=True):
        assert (entity.dxftype(), entity.dxf.layer) == ("LWPOLYLINE", stroke.layer)
        assert entity.closed == stroke.path.closed
        assert [tuple(tag) for tag in entity.get_xdata(APP_ID)] == [(1000, stroke.part), (1071, stroke.copy)]
        written = np.array(entity.get_points("xyb"))
        assert written[:, 2].tolist() == stroke.path.vertices[:, 2].tolist()
        assert np.abs(written - stroke.path.vertices).max() <= 5e-7


@pytest.mark.parametrize("version", ["R2010", "R12"])
def test_gdal_reads_the_same_polygons(tmp_path: FilePath, gdal: None, version: DxfVersion) -> None:
    for job in lantern().jobs:
        file = tmp_path / f"{job.name}.dxf"
        file.write_bytes(dxf_bytes(job, version))
        meta, _, shapes, fields = pyogrio.raw.read(file)
        layers = fields[list(meta["fields"]).index("Layer")]
        wanted = [("SHEET", ring) for ring in job.sheet.outline.rings()]
        wanted += [(stroke.layer, stroke.path) for stroke in job.strokes]
        assert list(layers) == [layer for layer, _ in wanted]
        for shape, (_, path) in zip(from_wkb(shapes), wanted, strict=True):
            assert isinstance(shape, Polygon) == path.closed
            # 0.5 degrees a chord: the area of a circle is short of pi r^2 by 1.3e-5 of it.
            assert shape.area == pytest.approx(abs(path.signed_area), rel=1e-4)
            assert shape.bounds == pytest.approx(path.bounds, abs=2e-3)


def test_bulge_turns_the_way_the_dxf_reference_says(tmp_path: FilePath, gdal: None) -> None:
    # DXF reference: a positive bulge is counter-clockwise. From (0,0) to (10,0), 1 runs through (5,-5).
    stroke = Stroke(MARK_LAYER, Path(np.array([[0.0, 0, 1], [10, 0, 0]]), False), "arc", 1)
    base = lantern().jobs[0]
    file = tmp_path / "arc.dxf"
    file.write_bytes(dxf_bytes(Job("arc", base.sheet, (stroke,), 0.0, Times())))
    shapes = from_wkb(pyogrio.raw.read(file)[2])
    assert shapes[1].bounds == pytest.approx((0, -5, 10, 0), abs=1e-3)
    assert read(file.read_bytes()).header["$EXTMIN"][1] == pytest.approx(-5.0)


def test_holes_of_an_offcut_are_on_the_sheet_layer() -> None:
    build = lantern().build
    edge = Outline(Path.polyline([(0, 0), (300, 0), (0, 300)], True), (Path.circle(80, 80, 20),))
    sheet = sheet_of(1, build.sheets[0], (), outline=edge)
    entities = list(read(dxf_bytes(Job("offcut", sheet, (), 0.0, Times()))).modelspace())
    assert [entity.dxf.layer for entity in entities] == ["SHEET", "SHEET"]
    assert all(entity.closed for entity in entities)


def test_no_stroke_on_a_strange_layer() -> None:
    base = lantern().jobs[0]
    stroke = Stroke("ENGRAVE", Path.polyline([(0, 0), (1, 1)], False), "part", 1)
    with pytest.raises(ValueError, match="no job has a layer 'ENGRAVE'"):
        dxf_bytes(Job("job", base.sheet, (stroke,), 0.0, Times()))


def test_many_passes_keep_their_order_and_colours() -> None:
    base = lantern().jobs[0]
    path = Path.polyline([(0, 0), (9, 0)], False)
    strokes = tuple(Stroke(f"POCKET_{k:02d}", path, "fold", 1) for k in (11, 2, 1, 7, 3, 12, 4))
    layers = layers_of(read(dxf_bytes(Job("job", base.sheet, strokes, 0.0, Times()))))
    pockets = [layer for layer in layers if layer.dxf.name.startswith("POCKET")]
    numbers = [int(layer.dxf.name[-2:]) for layer in pockets]
    assert numbers == [1, 2, 3, 4, 7, 11, 12]
    assert len({layer.color for layer in layers}) == len(layers)
    assert len({layer.rgb for layer in pockets}) == len(pockets)


def test_option_of_ezdxf_is_put_back() -> None:
    before = ezdxf.options.write_fixed_meta_data_for_testing
    dxf_bytes(lantern().jobs[0])
    assert ezdxf.options.write_fixed_meta_data_for_testing == before


def test_all_files_are_the_same_bytes_in_another_process() -> None:
    code = (
        "import hashlib\n"
        "from tests.output.sample_plan import lantern\n"
        "from nestkit.output import plan_files\n"
        "case = lantern()\n"
        "for name, data in plan_files(case.build, case.plan, case.jobs).items():\n"
        "    print(name, hashlib.sha256(data).hexdigest())\n"
    )
    case = lantern()
    here = [
        f"{name} {hashlib.sha256(data).hexdigest()}"
        for name, data in plan_files(case.build, case.plan, case.jobs).items()
    ]
    # This process has a hash seed of its own.
    environment = {**os.environ, "PYTHONHASHSEED": "4242", "PYTHONPATH": str(REPO), "TZ": "Asia/Tokyo"}
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, env=environment, cwd=REPO
    )
    assert run.stdout.splitlines() == here


def test_outside_layer_is_closed_and_counter_clockwise_circle_is_exact() -> None:
    # Two vertices with bulge 1 are a full disc: area pi r^2 (shoelace plus circular segments).
    base = lantern().jobs[0]
    stroke = Stroke(CUT_OUTSIDE_LAYER, Path.circle(50, 50, 5), "disc", 1)
    entity = list(read(dxf_bytes(Job("job", base.sheet, (stroke,), 0.0, Times()))).modelspace())[1]
    assert entity.get_points("xyb") == [(55.0, 50.0, 1.0), (45.0, 50.0, 1.0)]
    assert Path(np.array(entity.get_points("xyb")), entity.closed).signed_area == pytest.approx(25 * math.pi)
