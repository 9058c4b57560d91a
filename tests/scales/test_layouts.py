"""A plan begins with what a comparison found, and refuses what is no such thing."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from nestkit.errors import InputError
from nestkit.nesting.carried import LaidSheet
from nestkit.planning import Effort, make_plan
from nestkit.preparing import read_build
from nestkit.scales import layouts
from nestkit.scales.layouts import GroupLayout, nearest, read_layouts
from tests.scales.scales_bench import JIGSAW, compared, sheet, write_build


def test_what_was_found_below_a_cliff_is_there_at_every_size_below_it(tmp_path):
    file = write_build(tmp_path, JIGSAW, sheet(300, 200, 7.0))
    found = compared(file, (0.8, 0.93, 1.06), rounds=8)
    (tmp_path / layouts.FILE).write_bytes(layouts.layouts_bytes(found))
    read = read_layouts(tmp_path, found.build)
    edge, group = found.cliffs[0].below
    assert group.sheets == 1
    # The jigsaw fills its sheet at scale 1: just below, hardly any other layout does with one.
    for scale in (edge, edge * 0.999, 0.97):
        start = nearest(read, scale)
        planned = make_plan(read_build(file, scale), Effort(rounds=1), start=start)
        assert len(planned.plan.sheets) == 1
        assert not planned.plan.unplaced


def laid(thickness: float, name: str) -> LaidSheet:
    return LaidSheet("eva", thickness, name, 1, None, ())


def test_of_each_group_the_next_larger_size_is_taken_or_else_the_largest():
    rows = tuple(
        GroupLayout(scale, (laid(thickness, f"{thickness:g} at {scale:g}"),))
        for thickness, scales in ((4.0, (0.8, 1.0, 1.2)), (6.0, (0.8, 0.9)))
        for scale in scales
    )
    for scale, four, six in ((0.7, 0.8, 0.8), (0.8, 0.8, 0.8), (0.85, 1.0, 0.9), (1.3, 1.2, 0.9)):
        assert [sheet.stock for sheet in nearest(rows, scale)] == [f"4 at {four:g}", f"6 at {six:g}"]
    assert nearest((), 1.0) == ()


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda data: data | {"format": "nestkit-plan"}, "holds no layouts"),
        (lambda data: data | {"version": 2}, "is of version 2"),
        (lambda data: data | {"build": "storm lantern"}, "is of another build: 'storm lantern'"),
        (lambda data: data | {"layouts": [{"scale": "wide", "sheets": []}]}, "is damaged"),
        (lambda data: data | {"layouts": [{"scale": 1.0, "sheets": [{"material": "eva"}]}]}, "is damaged"),
        (lambda data: [data], "holds no layouts"),
    ],
)
def test_what_is_no_comparison_of_this_build_is_refused(tmp_path, change, said):
    file = write_build(tmp_path, JIGSAW, sheet(300, 200, 7.0))
    found = compared(file, (0.5,), rounds=1)
    data = json.loads(layouts.layouts_bytes(found))
    (tmp_path / layouts.FILE).write_text(json.dumps(change(data)))
    with pytest.raises(InputError, match=said):
        read_layouts(tmp_path, found.build)


def test_a_folder_without_layouts_is_told(tmp_path):
    with pytest.raises(InputError, match=r"layouts\.json: can't be read.*Name the folder"):
        read_layouts(tmp_path, "puzzle")
    (tmp_path / layouts.FILE).write_text("{")
    with pytest.raises(InputError, match="holds no layouts"):
        read_layouts(tmp_path, "puzzle")


def test_the_same_comparison_gives_the_same_layouts_again(tmp_path):
    file = write_build(tmp_path, JIGSAW, sheet(300, 200, 7.0))
    found = compared(file, (0.5, 0.6), rounds=1)
    (tmp_path / layouts.FILE).write_bytes(layouts.layouts_bytes(found))
    read = read_layouts(tmp_path / layouts.FILE, found.build)
    assert [(row.scale, row.sheets) for row in read] == [
        (size.scale, group.laid) for size in found.sizes for group in size.groups
    ]
    nothing = replace(found, sizes=(), cliffs=())
    assert json.loads(layouts.layouts_bytes(nothing))["layouts"] == []
