"""How much is read: the guide's table is true, and what exceeds it is refused and named."""

from __future__ import annotations

import math
import re
from typing import Any

import annotated_types
import pytest

from nestkit.build import base_tables, parts, read, readings, tables
from nestkit.build.readings import read_readings
from nestkit.drawings import dxf, dxf_walk, loops, read_drawing, svg_notes, svg_source, svg_trace, svg_walk
from nestkit.errors import InputError
from nestkit.folds import steps
from nestkit.guide import page
from nestkit.output import template_layout
from nestkit.patterns import stack
from tests.build_bench import BUILD, Bench


def most(kind) -> float:
    """The upper bound in an annotation of pydantic's."""
    bounds: list[Any] = []
    for each in kind.__metadata__:
        for one in getattr(each, "metadata", [each]):
            bounds += [one.le] if isinstance(one, annotated_types.Le) else []
            bounds += [one.max_length] if isinstance(one, annotated_types.MaxLen) else []
    (bound,) = bounds
    return float(bound)


def field_most(table, name: str) -> float:
    """The upper bound of a table's field."""
    bounds: list[Any] = []
    for one in table.model_fields[name].metadata:
        bounds += [one.le] if isinstance(one, annotated_types.Le) else []
        bounds += [one.max_length] if isinstance(one, annotated_types.MaxLen) else []
    (bound,) = bounds
    return float(bound)


MB = 1_000_000

#: Rows of the guide's table, and the values that the program goes by.
LIMITS = {
    "a build file": (read.LARGEST_FILE / MB, "MB"),
    "a drawing, SVG or DXF": (svg_source.MOST_BYTES / MB, "MB"),
    "a table of readings": (readings.LARGEST_FILE / MB, "MB"),
    "kinds of parts in a build": (field_most(tables.BuildFile, "part"), ""),
    "kinds of sheets": (field_most(tables.BuildFile, "sheet"), ""),
    "copies of one part": (field_most(base_tables.PartBase, "quantity"), ""),
    "copies in all": (parts.MOST_COPIES, ""),
    "corners in all copies": (parts.MOST_CORNERS, ""),
    "letters in a name": (base_tables.NAME_LENGTH, ""),
    "a length in the build file": (most(base_tables.Length), ""),
    "a part's side; above 10 m it is doubted aloud": (parts.REFUSED_SIDE, "mm"),
    "scale": (parts.SCALES[1], ""),
    "elements in an SVG": (svg_notes.MOST_ELEMENTS, ""),
    "paths in an SVG": (svg_notes.MOST_PATHS, ""),
    "paths in a DXF": (dxf_walk.MOST_PATHS, ""),
    "points in a drawing": (svg_notes.MOST_POINTS, ""),
    "groups within groups in an SVG": (svg_source.MOST_DEPTH, ""),
    "clones of clones in an SVG": (svg_walk.MOST_USES, ""),
    "blocks within blocks in a DXF": (dxf_walk.DEEPEST_INSERT, ""),
    "cloned elements in an SVG": (svg_notes.MOST_COPIES, ""),
    "how far from the drawing's origin an SVG may lie": (svg_trace.FARTHEST, "mm"),
    "etched passes of a groove": (steps.MOST_PASSES, ""),
    "layers of a stack": (stack.MOST_LAYERS, ""),
    "pages of templates for one part": (template_layout.MOST_PAGES, ""),
}


def test_the_guides_table_is_what_the_program_goes_by():
    rows = dict(re.findall(r"^\| ([^|]+) \| ([\d,]+(?: \w+)?) \|$", page("limits"), re.M))
    assert rows == {what: f"{value:,.0f} {unit}".strip() for what, (value, unit) in LIMITS.items()}


def test_limits_that_stand_in_the_table_once_are_the_same_everywhere():
    assert dxf.LARGEST_FILE == svg_source.MOST_BYTES
    assert loops.MOST_POINTS == dxf_walk.MOST_PIECES == svg_notes.MOST_POINTS
    assert parts.LARGEST_SIDE == 10_000.0


# More than is read


@pytest.fixture
def bench(tmp_path) -> Bench:
    return Bench(tmp_path)


def refusal(bench, *changes: tuple[str, str], scale: float | None = None) -> str:
    with pytest.raises(InputError) as refused:
        bench.load(*changes, scale=scale)
    return str(refused.value)


PLATE, SHEET = BUILD[BUILD.index("[[part]]") :], BUILD[BUILD.index("[[sheet]]") : BUILD.index("[[assembly]]")]


MANY_PARTS = "\n".join(f'[[part]]\nname="{k}"\nfrom="flag.svg#sail"\nthickness=6' for k in range(5001))
MANY_SHEETS = "[[sheet]]\nthickness=6\nsize=[600,400]\n" * 1001

#: What is changed in a build file, and two things that the message says.
TOO_MUCH = [
    ("[build]", "#" * 2_000_000 + "\n[build]", "build.toml", "larger than 2,000,000"),
    (PLATE, MANY_PARTS, "part", "more than 5000"),
    (SHEET, MANY_SHEETS, "sheet", "more than 1000"),
    ("quantity = 2", "quantity = 10001", "'plate': quantity", "10000"),
    ("quantity = 2", "quantity = 2\nspares = 10001", "'plate': spares", "10000"),
    ("quantity = 2", "quantity = 6000\nspares = 6000", "12,001 copies", "'plate' has 12,000"),
    ('"sail"\nfrom', f'"{"x" * 61}"\nfrom', "part[2]: name", "60"),
    ("thickness = 6\nsize", "thickness = 100001\nsize", "sheet[1]: thickness", "100000"),
    ("size = [600, 400]", "size = [600, 1e308]", "sheet[1]: size", "100000"),
    ("size = [600, 400]", "size = [600, nan]", "sheet[1]: size", "not a finite number"),
    ("[build]", "[build]\nscale = 1001", "build: scale", "1000"),
    ("[build]", "[build]\nscale = 1e308", "build: scale", "1000"),
]


@pytest.mark.parametrize(("old", "new", "place", "told"), TOO_MUCH, ids=[case[1][:30] for case in TOO_MUCH])
def test_more_than_a_build_may_hold_is_refused_and_named(bench, old, new, place, told):
    text = refusal(bench, (old, new))
    assert place in text
    assert told in text


def test_parts_of_kilometres_are_refused_and_those_of_ten_metres_doubted(bench):
    head = '<svg xmlns="http://www.w3.org/2000/svg" width="{0}mm" height="9mm" viewBox="0 0 {0} 9">'
    svg = head + '<path id="plate" d="M0 0H{0}V9H0Z"/><path id="sail" d="M0 0H9V8Z"/></svg>'
    (bench.folder / "flag.svg").write_text(svg.format(1_200_000))
    text = refusal(bench)
    assert "'plate'" in text
    assert "1200000" in text.replace(",", "").replace(" ", "")
    (bench.folder / "flag.svg").write_text(svg.format(12_000))
    (plate,) = [part for part in bench.load().parts if part.name == "plate"]
    assert "size-doubtful" in {finding.code for finding in plate.findings}


def test_more_corners_than_can_be_written_are_refused_and_the_part_named(bench):
    ring = " ".join(f"L{50 + 40 * math.cos(k / 70)} {50 + 40 * math.sin(k / 70)}" for k in range(1, 439))
    body = f'<path id="plate" d="M90 50{ring}Z"/><path id="sail" d="M0 0H9V8Z"/>'
    head = '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="100mm" viewBox="0 0 100 100">'
    (bench.folder / "flag.svg").write_text(f"{head}{body}</svg>")
    assert "of which 'plate' has 1,317,000" in refusal(bench, ("quantity = 2", "quantity = 3000"))
    assert len(bench.load(("quantity = 2", "quantity = 2000")).parts) == 2


@pytest.mark.parametrize(("name", "head"), [("a.svg", b"<svg>"), ("a.dxf", b"0\nSECTION\n")])
def test_files_of_more_than_fifty_megabytes_are_not_read(tmp_path, name, head):
    file = tmp_path / name
    with file.open("wb") as stream:
        stream.write(head)
        stream.truncate(svg_source.MOST_BYTES + 1)
    with pytest.raises(InputError, match="50 MB"):
        read_drawing(file)


def test_a_table_of_readings_of_more_than_a_megabyte_is_not_read(tmp_path):
    file = tmp_path / "readings.csv"
    file.write_bytes(b" " * (readings.LARGEST_FILE + 1))
    with pytest.raises(InputError, match="too large"):
        read_readings(file)


@pytest.mark.parametrize("value", ["nan", "inf", "1e308", "-1e400", "2e7"])
def test_numbers_that_are_no_place_are_left_out_and_named(tmp_path, value):
    file = tmp_path / "a.svg"
    square = '<rect width="9" height="9"/>'
    head = '<svg xmlns="http://www.w3.org/2000/svg" width="80mm" height="60mm" viewBox="0 0 80 60">'
    file.write_text(f'{head}{square}<path id="odd" d="M0 0L{value} 5L5 9Z"/></svg>')
    drawing = read_drawing(file)
    assert [found.id for found in drawing.findings] == ["odd"]
    assert max(abs(drawn.path.vertices).max() for drawn in drawing.paths) <= svg_trace.FARTHEST
