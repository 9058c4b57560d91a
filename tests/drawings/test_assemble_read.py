"""Drawings by file and part by name."""

from __future__ import annotations

import gzip
import math

import pytest

from nestkit.drawings import Drawing, LineRules, part_shape, read_drawing, select
from nestkit.errors import DrawingError, InputError
from nestkit.geometry import LineKind
from tests.drawings.dxf_made import box, codes, drawn, lines, saved

SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="50mm" viewBox="0 0 100 50">'
    '<rect id="plate" width="40" height="20" stroke="#000"/></svg>'
)


def square(_document, space):
    space.add_lwpolyline(box(0, 0, 40, 20), close=True, dxfattribs={"layer": "plate"})


@pytest.mark.parametrize("name", ["a.svg", "a.svgz", "a.dxf", "a.txt", "a"])
@pytest.mark.parametrize("kind", ["svg", "svgz", "dxf"])
def test_what_a_file_holds_decides_not_its_name(tmp_path, kind, name):
    file = tmp_path / name
    dxf = saved(tmp_path, square).read_bytes()
    file.write_bytes({"svg": SVG.encode(), "svgz": gzip.compress(SVG.encode()), "dxf": dxf}[kind])
    shape, findings = part_shape(read_drawing(file), "plate")
    assert shape.outline.size == pytest.approx((40, 20))
    assert not findings


def test_a_dxf_that_begins_with_a_comment_needs_no_suffix(tmp_path):
    file = tmp_path / "lantern"
    file.write_bytes(b"999\nmade in the harbour\n" + saved(tmp_path, square).read_bytes())
    assert len(read_drawing(file).paths) == 1


def test_a_missing_file_is_told_with_the_nearest_names(tmp_path):
    for name in ("lantern.svg", "halberd.dxf", "notes.txt"):
        (tmp_path / name).touch()
    with pytest.raises(DrawingError, match=r"Did you mean 'lantern.svg'\?"):
        read_drawing(tmp_path / "lanterns.svg")
    with pytest.raises(DrawingError, match=r"There is 'halberd.dxf', 'lantern.svg'"):
        read_drawing(tmp_path / "q")
    with pytest.raises(DrawingError, match="no such folder"):
        read_drawing(tmp_path / "none" / "q.svg")


@pytest.mark.parametrize("name", ["a\0b.svg", "x" * 5000 + ".svg", "."])
def test_names_that_no_file_can_have(tmp_path, name):
    with pytest.raises(DrawingError):
        read_drawing(tmp_path / name)


def test_neither_svg_nor_dxf(tmp_path):
    file = tmp_path / "a.png"
    file.write_bytes(b"\x89PNG\r\n")
    with pytest.raises(DrawingError, match="neither SVG nor DXF"):
        read_drawing(file, "drawings/a.png")


BRACKET = Drawing(
    "crane.dxf",
    (
        *lines(box(0, 0, 30, 20), layer="bracket"),
        drawn([(5, 5), (9, 9)], layer="bracket-mark"),
        drawn([(10, 0), (10, 20)], layer="Bracket fold 60"),
        drawn(box(100, 0, 10), closed=True, layer="hook"),
        drawn(box(200, 0, 10), closed=True, layer="hook", id="2F"),
    ),
)


def test_layers_that_begin_alike_make_one_part():
    shape, findings = part_shape(BRACKET, "bracket")
    assert shape.outline.area == pytest.approx(600)
    assert [line.kind for line in shape.lines] == [LineKind.MARK]
    assert not findings
    assert [path.layer for path in select(BRACKET, "BRACKET")] == ["bracket"] * 4 + [
        "bracket-mark",
        "Bracket fold 60",
    ]
    assert select(BRACKET, None) == select(BRACKET, "") == BRACKET.paths


def test_an_unknown_name_is_told_with_near_ones_or_what_there_is():
    with pytest.raises(DrawingError, match=r"called 'braket'\. Did you mean 'bracket'"):
        select(BRACKET, "braket")
    with pytest.raises(DrawingError, match=r"There is 'bracket', 'bracket-mark', .*'hook'"):
        select(BRACKET, "zz")


def test_an_empty_drawing_says_why():
    with pytest.raises(DrawingError, match="no line"):
        select(Drawing("a.svg", ()), "x")


def test_a_group_counts_before_an_id_of_the_same_name():
    named = Drawing(
        "a.svg", (drawn(box(0, 0, 9), True, layer="x", id="hook"), drawn(box(20, 0, 9), True, layer="hook"))
    )
    assert select(named, "hook") == named.paths[1:]


def test_several_outlines_are_told_with_their_places():
    with pytest.raises(DrawingError) as caught:
        part_shape(BRACKET, "hook")
    (problem,) = caught.value.problems
    assert problem.where == "crane.dxf#hook"
    assert "there are 2: 10 x 10 mm at (100.0, 0.0) mm; 10 x 10 mm at (200.0, 0.0) mm" in problem.what


def test_open_and_crossing_outlines_are_all_told_with_size_and_place():
    bad = Drawing(
        "roof.svg",
        (
            drawn([(0, 0), (50, 0), (50, 30), (0, 30), (0, 0.84)], layer="a"),
            drawn([(100, 0), (120, 20), (120, 0), (100, 20)], closed=True, layer="b"),
        ),
    )
    with pytest.raises(InputError) as caught:
        part_shape(bad)
    first, second = caught.value.problems
    assert "0.84 mm are missing" in first.what
    assert first.where == "roof.svg, layer 'a' at (0.0, 0.0) mm"
    assert second.where == "roof.svg, layer 'b' at (110.0, 10.0) mm"
    assert "crosses itself" in second.what


def test_no_outline_at_all_is_told():
    with pytest.raises(DrawingError, match="no closed outline") as caught:
        part_shape(Drawing("a.svg", (drawn([(0, 0), (5, 5)], layer="mark"),)))
    assert len(caught.value.problems) == 2


def test_rules_and_tolerance_reach_the_part():
    drawing = Drawing(
        "a.svg", (drawn([(0, 0), (50, 0), (50, 30), (0, 30), (0, 0.8)]), drawn([(9, 9), (20, 9)], layer="s"))
    )
    shape, findings = part_shape(drawing, None, LineRules.parse({"s": "fold 45"}), join=1.0)
    assert shape.lines[0].angle == pytest.approx(math.pi / 4)
    assert codes(findings) == ["gap-closed"]
