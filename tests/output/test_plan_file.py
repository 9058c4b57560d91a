"""plan.json against its schema, and against the plan that it was written from."""

from __future__ import annotations

import json
import math
from pathlib import Path as FilePath
from typing import Any

import jsonschema
import pytest
from shapely.geometry import Polygon

import nestkit.output
from nestkit.output.plan_json import plan_bytes, plan_data
from nestkit.output.template_book import template_book
from tests.output.sample_plan import lantern, named

CASE = lantern()
SCHEMA = json.loads((FilePath(nestkit.output.__file__).parent / "plan.schema.json").read_text("utf-8"))


@pytest.fixture(scope="module")
def data() -> dict[str, Any]:
    written: dict[str, Any] = json.loads(plan_bytes(CASE.build, CASE.plan, CASE.jobs))
    return written


def test_schema_is_sound_and_the_plan_fits_it(data: dict[str, Any]) -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    jsonschema.validate(data, SCHEMA, cls=jsonschema.Draft202012Validator)


def test_schema_takes_no_other_key(data: dict[str, Any]) -> None:
    validator = jsonschema.Draft202012Validator(SCHEMA)
    objects = [
        (),
        ("cutter",),
        ("layout",),
        ("assemblies", 0),
        ("parts", 0),
        ("groups", 1),
        ("groups", 1, "to_buy", 0),
        ("groups", 0, "from_shop", 0),
        ("sheets", 0),
        ("sheets", 0, "parts", 0),
        ("unplaced", 0),
    ]
    for where in objects:
        for change in ("add", "remove"):
            changed = json.loads(json.dumps(data))
            place = changed
            for step in where:
                place = place[step]
            if change == "add":
                place["surplus"] = 1
            else:
                place.pop(next(iter(place)))
            assert not validator.is_valid(changed), (where, change)


def test_templates_are_told(data: dict[str, Any]) -> None:
    assert data["templates"] is None
    book = template_book(CASE.build, CASE.plan)
    assert book is not None
    facts = book.facts(CASE.build.templates)
    assert (facts["which"], facts["paper"], facts["parts"]) == ("hand", "A4", ["mast step"])
    written = json.loads(plan_bytes(CASE.build, CASE.plan, CASE.jobs, facts))
    validator = jsonschema.Draft202012Validator(SCHEMA)
    assert validator.is_valid(written)
    for key in facts:
        assert not validator.is_valid({**written, "templates": {**facts, key: None}}), key
    assert not validator.is_valid({**written, "templates": {**facts, "surplus": 1}})


def test_layout_of_the_text_changes_nothing(data: dict[str, Any]) -> None:
    assert data == json.loads(json.dumps(plan_data(CASE.build, CASE.plan, CASE.jobs)))


def test_numbers_are_rounded(data: dict[str, Any]) -> None:
    def numbers(value: Any, key: str = "") -> None:
        if isinstance(value, dict):
            for name, each in value.items():
                numbers(each, name)
        elif isinstance(value, list):
            for each in value:
                numbers(each, key)
        elif isinstance(value, float):
            assert value == round(value, 6 if key == "turn_deg" else 4)
            assert math.copysign(1.0, value) == 1.0 or value < 0.0, "minus zero"

    numbers(data)


def test_outlines_are_finished_sizes_on_the_sheet(data: dict[str, Any]) -> None:
    for entry, sheet in zip(data["sheets"], CASE.plan.sheets, strict=True):
        edge = Polygon(entry["outline_mm"])
        for written, placed in zip(entry["parts"], sheet.placed, strict=True):
            flat = Polygon(written["outline_mm"], written["holes_mm"])
            outline = placed.part.shape.outline
            assert flat.is_valid
            assert edge.contains(flat)
            # Flattened within 0.05 mm: the area differs by less than that times the length of the arcs.
            assert flat.area == pytest.approx(outline.area, abs=0.05 * outline.cut_length)
            assert (written["part"], written["copy"]) == (placed.part.name, placed.copy)


def test_parts_and_jobs_are_named(data: dict[str, Any]) -> None:
    frame = next(part for part in data["parts"] if part["part"] == "window frame")
    assert (frame["copies"], frame["holes"], frame["lines"]) == (4, 1, 2)
    assert (frame["width_mm"], frame["height_mm"]) == (260.0, 180.0)
    # 260 x 180 with corners of 20, less 200 x 120 with corners of 8: (4 - pi) r^2 is lost at four corners.
    lost = 4.0 - math.pi
    assert frame["area_mm2"] == pytest.approx(260 * 180 - lost * 400 - (200 * 120 - lost * 64), abs=1e-3)
    assert [sheet["job"] for sheet in data["sheets"]] == [f"jobs/{job.name}.dxf" for job in CASE.jobs]
    assert data["sheets"][3]["blank_origin_mm"] == [0.0, 600.0]


def test_text_is_kept_as_it_is() -> None:
    name = 'no "quotes"\n [\n 1,\n 2\n ] é 漢'
    case = named(name)
    data = json.loads(plan_bytes(case.build, case.plan, case.jobs))
    assert data["build"] == data["parts"][0]["part"] == name
