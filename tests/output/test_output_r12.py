"""DXF R12 for old controllers: as ezdxf audits it, as GDAL reads it, and as the check judges it.

Outside source: DXF reference (Autodesk), R12: POLYLINE with VERTEX entities, bulges in group 42, closed by
bit 1 of group 70; no LWPOLYLINE, no true colour (420), no $INSUNITS, no subclass markers (100).
"""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path as FilePath
from typing import Any

import ezdxf
import numpy as np
import pytest

from nestkit.checking.folder import check_folder
from nestkit.checking.job_file import read_job
from nestkit.output import write_plan
from nestkit.output.dxf import APP_ID, dxf_bytes
from tests.output.sample_plan import lantern

CASE = lantern()


def written(folder: FilePath, version: str = "R12") -> FilePath:
    build = replace(CASE.build, cutter=replace(CASE.build.cutter, dxf=version))
    write_plan(build, CASE.plan, CASE.jobs, folder)
    return folder


def test_only_what_r12_knows_is_in_the_file() -> None:
    for job in CASE.jobs:
        text = dxf_bytes(job, "R12").decode("cp1252")
        pairs = list(zip(*[iter(text.splitlines())] * 2, strict=False))
        codes = {code.strip() for code, _ in pairs}
        values = {value for _, value in pairs}
        assert pairs[0] == ("999", "All lengths are millimetres")
        assert not codes & {"100", "420", "330", "390", "370"}
        assert not values & {"LWPOLYLINE", "$INSUNITS", "$MEASUREMENT"}
        assert "AC1009" in values


def test_entities_are_the_strokes_in_cut_order() -> None:
    for job in CASE.jobs:
        document = ezdxf.read(io.StringIO(dxf_bytes(job, "R12").decode("cp1252")))
        audit = document.audit()
        assert not audit.errors
        assert not audit.fixes
        entities = list(document.modelspace())[len(list(job.sheet.outline.rings())) :]
        for entity, stroke in zip(entities, job.strokes, strict=True):
            assert (entity.dxftype(), entity.dxf.layer) == ("POLYLINE", stroke.layer)
            assert entity.is_closed == stroke.path.closed
            assert [tuple(tag) for tag in entity.get_xdata(APP_ID)] == [
                (1000, stroke.part),
                (1071, stroke.copy),
            ]
            rows = np.array([(*v.dxf.location.vec2, v.dxf.get("bulge", 0.0)) for v in entity.vertices])
            assert np.abs(rows - stroke.path.vertices).max() <= 5e-7


def test_other_letters_are_written_as_codes_and_read_again(tmp_path: FilePath) -> None:
    job = CASE.jobs[0]
    named = replace(job, strokes=(replace(job.strokes[0], part="Möwe Ω"),))
    (tmp_path / "job.dxf").write_bytes(dxf_bytes(named, "R12"))
    assert [stroke.part for stroke in read_job(tmp_path, "job.dxf").strokes][-1] == "Möwe Ω"


def test_the_check_judges_it_as_it_judges_the_other(tmp_path: FilePath) -> None:
    new, old = check_folder(written(tmp_path / "new", "R2010")), check_folder(written(tmp_path / "old"))
    assert (old.codes, old.copies, old.cuts) == (new.codes, new.copies, new.cuts)
    assert "version" not in old.codes


def _unit(document: Any) -> None:
    document.layers.get("SHEET").discard_xdata(APP_ID)


def _wide(document: Any) -> None:
    next(iter(document.modelspace().query("POLYLINE"))).vertices[0].dxf.start_width = 0.5


def _smooth(document: Any) -> None:
    next(iter(document.modelspace().query("POLYLINE"))).dxf.flags |= 4


def _lines(document: Any) -> None:
    document.modelspace().add_line((10, 10), (20, 10), dxfattribs={"layer": "MARK"})


def _renamed(document: Any) -> None:
    document.layers.remove("CUT_OUTSIDE")


@pytest.mark.parametrize(
    ("version", "change", "code"),
    [
        ("R12", _unit, "unit"),
        ("R12", _wide, "width"),
        ("R12", _smooth, "type"),
        ("R12", _lines, "type"),
        ("R12", _renamed, "layer"),
        ("R2010", _renamed, "layer"),
    ],
)
def test_what_is_wrong_is_found(
    tmp_path: FilePath, version: str, change: Callable[[Any], None], code: str
) -> None:
    folder = written(tmp_path / "out", version)
    file = min((folder / "jobs").glob("*.dxf"))
    document = ezdxf.readfile(file)
    change(document)
    document.saveas(file)
    assert code in check_folder(folder).codes


def test_a_file_of_the_other_version_is_found(tmp_path: FilePath) -> None:
    folder = written(tmp_path / "out")
    plan = json.loads((folder / "plan.json").read_text("utf-8"))
    assert plan["cutter"]["dxf"] == "R12"
    file = min((folder / "jobs").glob("*.dxf"))
    job = next(job for job in CASE.jobs if job.name == file.stem)
    file.write_bytes(dxf_bytes(job))
    assert "version" in check_folder(folder).codes
