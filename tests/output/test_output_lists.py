"""shopping.csv and cutting.csv."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nestkit.build.model import Hardware
from nestkit.build.pattern_info import PatternInfo, SeamInfo
from nestkit.output.gluing import gluing_bytes
from nestkit.output.lists import cut_order, cutting_bytes, safe_cell, shopping_bytes, show_turn
from tests.output.sample_plan import lantern

CASE = lantern()


def rows(data: bytes) -> list[dict[str, str]]:
    assert data.startswith(b"\xef\xbb\xbf")
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline="")))


def test_shopping_names_what_to_buy_and_what_to_take() -> None:
    table = rows(shopping_bytes(CASE.build, CASE.plan))
    assert [(row["what"], row["sheet"], row["count"], row["price"]) for row in table] == [
        ("buy", "eva 6 mm 900 x 600", "1", "9.50"),
        ("buy", "eva 10 mm 1500 x 1000", "1", "24.00"),
        ("take from the shop", "eva 4 mm 900 x 600", "1", "0.00"),
        ("glue", "contact cement", "", ""),
        ("total", "", "", "33.50"),
        ("finished prop", "foam", "", ""),
    ]
    assert table[1]["thickness (mm)"] == "10"
    assert (table[1]["width (mm)"], table[1]["height (mm)"]) == ("1500", "1000")


def test_lengths_are_in_the_builds_unit() -> None:
    build = replace(CASE.build, unit="in")
    sheet = rows(shopping_bytes(build, CASE.plan))[1]
    assert float(sheet["width (in)"]) == pytest.approx(1500 / 25.4, abs=5e-4)
    first = rows(cutting_bytes(build, CASE.plan, CASE.jobs))[0]
    assert float(first["width (in)"]) == pytest.approx(560 / 25.4, abs=5e-4)


def test_every_copy_has_one_row_in_cut_order() -> None:
    table = rows(cutting_bytes(CASE.build, CASE.plan, CASE.jobs))
    wanted = sorted((part.name, str(copy)) for part in CASE.build.parts for copy in range(1, part.copies + 1))
    assert sorted((row["part"], row["copy"]) for row in table) == wanted
    for job in CASE.jobs:
        mine = [row for row in table if row["job"] == f"jobs/{job.name}.dxf"]
        assert [row["position"] for row in mine] == [str(k + 1) for k in range(len(mine))]
        freed = [(s.part, str(s.copy)) for s in job.strokes if s.layer == "CUT_OUTSIDE"]
        assert [(row["part"], row["copy"]) for row in mine] == freed


def test_cut_order_follows_the_job_and_not_the_sheet() -> None:
    job = CASE.jobs[1]
    turned = replace(job, strokes=job.strokes[::-1])
    assert cut_order(turned) == cut_order(job)[::-1]


def test_spares_mirrored_copies_and_those_left_out_are_told() -> None:
    table = rows(cutting_bytes(CASE.build, CASE.plan, CASE.jobs))
    brackets = {row["copy"]: row for row in table if row["part"] == "corner bracket"}
    assert [brackets[str(k)]["mirrored"] for k in range(1, 9)] == ["no", "yes"] * 4
    assert [k for k, row in brackets.items() if row["note"] == "spare"] == ["7", "8"]
    last = table[-1]
    assert (last["part"], last["job"], last["position"]) == ("pennant", "", "")
    assert last["note"].startswith("left out: it is 1600 mm long")


@pytest.mark.parametrize(
    "text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1+1", "\r=1", "\n@x", "  =1", "＝1+1", "\u00a0=1"]
)
def test_no_cell_is_a_formula(text: str) -> None:
    assert safe_cell(text).startswith("'")


@given(st.text())
def test_cells_never_break_a_row(text: str) -> None:
    cell = safe_cell(text)
    assert not any(c in cell for c in "\r\n\t\0")
    assert not cell.lstrip().startswith(("=", "+", "-", "@"))
    assert cell.removeprefix("'").strip() or not text.strip().strip("'") or not text.isprintable()


@pytest.mark.parametrize(
    ("turn", "shown"),
    [(0.0, "0"), (math.pi / 2, "90"), (-math.pi / 2, "270"), (-1e-9, "0"), (2 * math.pi, "0"), (0.5, "28.6")],
)
def test_turns_are_degrees_from_0_to_360(turn: float, shown: str) -> None:
    assert show_turn(turn) == shown


def test_shopping_names_hardware_with_its_length_and_how_much_there_is_to_glue() -> None:
    build = replace(CASE.build, hardware=(Hardware("=mast", 40.0, 36.0, 1200.0), Hardware("float", 76.0)))
    table = rows(shopping_bytes(build, CASE.plan))
    mast, float_, glue = (row for row in table if row["what"] in ("hardware", "glue"))
    keys = ("sheet", "diameter (mm)", "inner diameter (mm)", "length (mm)", "note")
    assert [mast[key] for key in keys] == ["'=mast", "40", "36", "1200", "cut to length"]
    assert [float_[key] for key in keys] == ["float", "76", "", "", ""]
    # Four window frames with a fold of 180 mm.
    assert glue["length (mm)"] == "720"


def test_shopping_says_what_the_prop_weighs() -> None:
    """Finished area times thickness times density, spares left out: 100 kg/m^3 where none is given."""
    placed = [(part, p.copy) for sheet in CASE.plan.sheets for p in sheet.placed if (part := p.part)]
    mm3 = sum(p.shape.outline.area * p.thickness for p, copy in placed if copy <= p.copies - p.spares)
    weight = rows(shopping_bytes(CASE.build, CASE.plan))[-1]
    assert float(weight["weight (kg)"]) == pytest.approx(mm3 * 1e-9 * 100.0, abs=6e-4)
    assert weight["note"] == "without glue and hardware, taking 100 kg/m3 for eva"
    heavy = replace(CASE.build, unit="in", sheets=tuple(replace(s, density=250.0) for s in CASE.build.sheets))
    weight = rows(shopping_bytes(heavy, CASE.plan))[-1]
    # 1 lb = 0.45359237 kg
    assert float(weight["weight (lb)"]) == pytest.approx(mm3 * 1e-9 * 250.0 / 0.45359237, abs=6e-4)
    assert weight["note"] == "without glue and hardware"


def test_gluing_follows_the_assemblies_and_numbers_seams() -> None:
    seams = (SeamInfo("trim strip", "trim strip", 5, 14.0, math.pi / 6), SeamInfo("trim strip", "", 5, 560.0))
    info = PatternInfo("edge_strip", "trim strip", (), 0.0, seams=seams)
    parts = tuple(replace(p, pattern=info) if p.name == "trim strip" else p for p in CASE.build.parts)
    table = rows(gluing_bytes(replace(CASE.build, parts=parts), CASE.plan, CASE.jobs))
    assert [(row["order"], row["assembly"], row["can be glued"], row["seam number"]) for row in table] == [
        ("1", "base", "after sheet 3", ""),
        ("2", "lamp house", "after sheet 2", ""),
        ("3", "roof", "after sheet 1", "1"),
        ("3", "roof", "after sheet 1", "2"),
        ("4", "no assembly", "not complete: 1 copy left out", ""),
    ]
    assert (table[2]["count"], table[2]["length of each (mm)"], table[2]["angle (deg)"]) == ("5", "14", "30")
