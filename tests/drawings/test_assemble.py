"""Drawn paths sorted into shapes."""

from __future__ import annotations

import math

import pytest

from nestkit.drawings import DrawnPath, LineRules, assemble
from nestkit.drawings.assemble import MOST_OF_A_SORT
from nestkit.geometry import LineKind, Path
from tests.drawings.dxf_made import box, codes, drawn, lines

PLATE = lines(box(0, 0, 100, 60))
HOLE = DrawnPath(Path.circle(20, 20, 5), "cut", names=("cut",))


def test_lines_go_with_the_part_they_lie_on():
    other = lines(box(200, 0, 50))
    assembled = assemble(
        [
            *PLATE,
            *other,
            HOLE,
            drawn([(50, 0), (50, 60)], layer="fold 60"),
            drawn([(205, 5), (240, 5)], layer="mark"),
            drawn([(0, 0), (100, 0)], layer="rim bevel 45"),
            drawn([(0, 0), (500, 0)], layer="guide"),
        ]
    )
    assert not assembled.findings
    plate, square = assembled.shapes
    assert plate.outline.area == pytest.approx(6000 - 25 * math.pi)
    assert [(line.kind, math.degrees(line.angle)) for line in plate.lines] == [
        (LineKind.FOLD, pytest.approx(60)),
        (LineKind.BEVEL, pytest.approx(45)),
    ]
    assert [line.kind for line in square.lines] == [LineKind.MARK]


@pytest.mark.parametrize(
    ("points", "held"),
    [
        ([(10, 50), (40, 50)], True),
        ([(-5, 30), (105, 30)], True),  # drawn past both edges
        ([(0, 60.02), (100, 60.02)], True),  # a hair outside an edge
        ([(-40, 30), (-5, 30)], False),
        ([(-5, 60.5), (105, 60.5)], False),
        ([(17, 20), (23, 20)], False),  # in the hole
    ],
)
def test_a_line_off_its_part_is_told(points, held):
    assembled = assemble([*PLATE, HOLE, drawn(points, layer="fold 90")])
    assert len(assembled.shapes[0].lines) == held
    assert codes(assembled.findings) == ([] if held else ["stray-line"])


def test_colours_and_layers_of_the_build_files_table():
    rules = LineRules.parse({"#ff0000": "mark", "Layer 2": "fold 30", "cut": "guide"})
    red = [
        drawn([(5, 5), (9, 9)], layer="Layer 1", colour="#ff0000"),
        drawn([(9, 5), (5, 9)], layer="Layer 2"),
    ]
    plate = lines(box(0, 0, 100, 60), layer="Layer 1")
    assembled = assemble([*plate, *red, HOLE], rules)
    (shape,) = assembled.shapes
    assert [line.kind for line in shape.lines] == [LineKind.MARK, LineKind.FOLD]
    assert not shape.outline.holes


def test_a_fold_without_its_angle_is_a_mark_and_told():
    assembled = assemble(
        [*PLATE, drawn([(5, 5), (9, 9)], layer="fold"), drawn([(5, 6), (9, 9)], layer="bevel 120")]
    )
    assert [line.kind for line in assembled.shapes[0].lines] == [LineKind.MARK, LineKind.MARK]
    assert sorted(codes(assembled.findings)) == ["fold-angle-missing", "fold-angle-wrong"]
    assert all("fold 90" in finding.todo for finding in assembled.findings)


def test_marks_drawn_twice_are_drawn_once():
    mark = drawn([(5, 5), (9, 9)], layer="mark")
    assembled = assemble([*PLATE, mark, drawn([(9, 9), (5, 5)], layer="mark")])
    assert len(assembled.shapes[0].lines) == 1
    assert codes(assembled.findings) == ["doubled-line"]


def test_findings_name_the_file_and_are_counted_rather_than_repeated():
    strays = [drawn([(1000 + k, 0), (1000 + k, 9)], layer="mark") for k in range(300)]
    findings = assemble([*PLATE, *strays], file="crane.dxf").findings
    assert len(findings) == MOST_OF_A_SORT
    assert {finding.file for finding in findings} == {"crane.dxf"}
    assert findings[-1].text.endswith(f"and {300 - MOST_OF_A_SORT} more like this")


def test_nothing_gives_nothing():
    assembled = assemble([drawn([(0, 0), (5, 5)], layer="mark")])
    assert not assembled.shapes
    assert codes(assembled.findings) == ["stray-line"]
    assert assemble([]).shapes == ()
