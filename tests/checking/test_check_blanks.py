"""blanks.csv: what plan writes leads to the blanks; what was changed is found. The sketch shows the same."""

from __future__ import annotations

import csv
import io
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import ezdxf
import pytest
from defusedxml import ElementTree

from nestkit.build.model import Cutter, Part, Sheet, Turns
from nestkit.checking import check_folder
from nestkit.geometry import Shape
from nestkit.output.write import write_plan
from nestkit.planning import Effort, make_plan
from tests.output.sample_plan import build_of
from tests.zoo import rectangle

SVG = "{http://www.w3.org/2000/svg}"
Rows = list[dict[str, str]]


def plan_in(out: Path, unit: str = "mm") -> Path:
    """Plates on two sheets of 500 x 800, which the bed of 420 x 300 takes as four blanks each."""
    parts = [
        Part("plate", Shape(rectangle(250, 180)), "eva", 6.0, copies=8),
        Part("long", Shape(rectangle(700, 60)), "eva", 6.0),
        Part("small", Shape(rectangle(90, 60)), "eva", 6.0, by_hand=True),
    ]
    sheets = (Sheet("eva 6", "eva", 6.0, (500.0, 800.0), 7.0, in_shop=1),)
    build = build_of(parts, cutter=Cutter("laser", (420.0, 300.0), 0.2), sheets=sheets, unit=unit)
    planned = make_plan(build, Effort(rounds=2))
    write_plan(build, planned.plan, planned.jobs, out)
    return out


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    return plan_in(tmp_path_factory.mktemp("blanks") / "out")


def rows_of(folder: Path, name: str = "blanks.csv") -> Rows:
    return list(csv.DictReader(io.StringIO((folder / name).read_text("utf-8-sig"), newline="")))


def spoilt(folder: Path, tmp_path: Path, change: Callable[[Rows], Rows | None]) -> set[str]:
    copy = tmp_path / "copy"
    shutil.copytree(folder, copy)
    rows = rows_of(copy)
    changed = change(rows) or rows
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, list(rows[0]))
    writer.writeheader()
    writer.writerows(changed)
    (copy / "blanks.csv").write_text(text.getvalue(), "utf-8-sig")
    return set(check_folder(copy).codes)


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_what_is_written_is_right(tmp_path, unit):
    assert check_folder(plan_in(tmp_path / "out", unit)).ok


def test_every_blank_is_listed_with_its_job_and_each_job_starts_at_its_blanks_corner(folder):
    blanks = [row for row in rows_of(folder) if row["what"] == "blank"]
    assert len(blanks) >= 2
    for row in blanks:
        document = ezdxf.readfile(folder / row["job"])
        (edge,) = [one for one in document.modelspace() if one.dxf.layer == "SHEET"]
        points = list(edge.get_points("xy"))
        assert (min(x for x, _ in points), min(y for _, y in points)) == (0.0, 0.0)
        size = max(x for x, _ in points), max(y for _, y in points)
        assert size == pytest.approx((float(row["width (mm)"]), float(row["height (mm)"])), abs=0.01)
        assert size[0] <= 420.0
        assert size[1] <= 300.0


def test_a_sheet_is_cut_upright_first(folder):
    for stock in {row["stock number"] for row in rows_of(folder)}:
        cuts = [r for r in rows_of(folder) if r["what"] == "cut" and r["stock number"] == stock]
        assert [row["order"] for row in cuts] == [str(k) for k in range(1, len(cuts) + 1)]
        kinds = [row["note"].split(",")[0] for row in cuts]
        assert kinds == sorted(kinds, reverse=True)


def test_the_sketch_has_every_blank_and_every_cut(folder):
    root = ElementTree.parse(folder / "blanks.svg").getroot()
    rows = rows_of(folder)
    drawn = [one for one in root.iter(f"{SVG}rect") if one.get("class") == "blank"]
    assert len(drawn) == sum(row["what"] == "blank" for row in rows)
    lines = [one for one in root.iter(f"{SVG}path") if one.get("class") == "cut"]
    assert len(lines) == sum(row["what"] == "cut" for row in rows)
    words = [one.text for one in root.iter(f"{SVG}text")]
    for row in rows:
        if row["what"] == "blank":
            assert f"sheet {row['sheet of the plan']}" in words
    x, y, width, height = map(float, root.get("viewBox").split())
    for one in drawn:
        left, top, wide, high = (float(one.get(key)) for key in ("x", "y", "width", "height"))
        assert x <= left <= left + wide <= width
        assert y <= top <= top + high <= height


def test_why_parts_are_cut_by_hand_stands_in_the_list(folder):
    notes = {row["part"]: row["note"] for row in rows_of(folder, "cutting.csv")}
    assert notes["long"] == "by hand: too large for the bed"
    assert notes["small"] == "by hand: as asked"
    assert notes["plate"] == ""


def cuts_in(rows: Rows) -> Rows:
    return [row for row in rows if row["what"] == "cut"]


def a_cut_is_missing(rows: Rows) -> Rows:
    first = cuts_in(rows)[0]
    return [row for row in rows if row is not first]


def a_cut_lies_elsewhere(rows: Rows) -> None:
    cuts_in(rows)[0]["x (mm)"] = "333"


def a_cut_stops_short(rows: Rows) -> None:
    cuts_in(rows)[0]["height (mm)"] = "200"


def a_blank_is_missing(rows: Rows) -> Rows:
    last = [row for row in rows if row["what"] == "blank"][-1]
    return [row for row in rows if row is not last]


def a_blank_has_another_size(rows: Rows) -> None:
    next(row for row in rows if row["what"] == "blank")["width (mm)"] = "77"


def the_sheet_is_missing(rows: Rows) -> Rows:
    return [row for row in rows if row["what"] != "sheet"]


def another_sheet(rows: Rows) -> Rows:
    return [*rows, {**rows[0], "stock sheet": "eva 8"}]


@pytest.mark.parametrize(
    "change",
    [
        a_cut_is_missing,
        a_cut_lies_elsewhere,
        a_cut_stops_short,
        a_blank_is_missing,
        a_blank_has_another_size,
        the_sheet_is_missing,
        another_sheet,
    ],
    ids=lambda change: change.__name__,
)
def test_what_was_changed_is_found(folder, tmp_path, change):
    assert spoilt(folder, tmp_path, change) == {"blanks"}


def test_a_list_that_is_none_can_not_be_read(folder, tmp_path):
    shutil.copytree(folder, tmp_path / "copy")
    (tmp_path / "copy" / "blanks.csv").write_bytes(b"\xff\xfe\x00what")
    assert check_folder(tmp_path / "copy").codes == {"unreadable"}


def test_without_the_list_a_file_is_missing(folder, tmp_path):
    shutil.copytree(folder, tmp_path / "copy")
    for name in ("blanks.csv", "blanks.svg"):
        (tmp_path / "copy" / name).unlink()
    assert [fault.file for fault in check_folder(tmp_path / "copy").faults] == ["blanks.csv", "blanks.svg"]


def test_halves_are_told_when_they_are_chosen(tmp_path):
    """Plates of 400 mm lie on halves of 800 mm, not on the bed's 420 and the 380 that it leaves."""
    plates = [Part("plate", Shape(rectangle(388, 280)), "eva", 6.0, copies=2, turns=Turns((0.0,)))]
    sheets = (Sheet("eva 6", "eva", 6.0, (800.0, 300.0), 7.0),)
    build = build_of(plates, cutter=Cutter("laser", (420.0, 300.0), 0.2), sheets=sheets)
    build = replace(build, gap=2.0, margin=5.0)
    planned = make_plan(build, Effort(rounds=10))
    write_plan(build, planned.plan, planned.jobs, tmp_path / "out")
    rows = rows_of(tmp_path / "out")
    assert [(row["x (mm)"], row["y (mm)"]) for row in rows if row["what"] == "cut"] == [("400", "0")]
    assert len([row for row in rows if row["what"] == "blank"]) == 2
    assert check_folder(tmp_path / "out").ok


def test_whole_sheets_need_no_list(tmp_path):
    build = build_of([Part("plate", Shape(rectangle(250, 180)), "eva", 6.0)])
    build = replace(build, cutter=Cutter("laser", (2000.0, 2000.0), 0.2))
    planned = make_plan(build, Effort(rounds=1))
    write_plan(build, planned.plan, planned.jobs, tmp_path / "out")
    assert not (tmp_path / "out" / "blanks.csv").exists()
    assert check_folder(tmp_path / "out").ok
