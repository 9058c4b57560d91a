"""Which sizes are compared, and what of a build changes with its size."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nestkit.errors import InputError
from nestkit.preparing import read_build
from nestkit.scales.sizes import by_length, evenly
from nestkit.scales.source import file_of, source_of
from tests.scales.scales_bench import JIGSAW, compared, sheet, write_build

STACK = """
[[part]]
name = "block"
pattern = "stack"
from = "puzzle.svg#p1"
height = 40
thickness = 6
"""
ROD = """
[hardware.rod]
diameter = 20

[[part]]
name = "collar"
pattern = "ring"
inner_diameter = "rod"
outer_diameter = 60
thickness = 6
"""


@given(st.floats(0.01, 5.0), st.floats(0.0, 5.0), st.integers(1, 60))
def test_scales_are_even_and_hold_both_ends(first, more, count):
    found = evenly(first, first + more, count)
    assert found[0] == pytest.approx(first, abs=1e-8)
    assert list(found) == sorted(set(found))
    assert len(found) <= count
    if count > 1 and more > 0.01:
        assert len(found) == count
        assert found[-1] == pytest.approx(first + more, abs=1e-8)
        gaps = [b - a for a, b in pairwise(found)]
        assert gaps == pytest.approx([more / (count - 1)] * (count - 1), abs=1e-8)


def test_one_is_met_exactly():
    assert 1.0 in evenly(0.7, 1.3, 13)


@pytest.mark.parametrize(
    "ask", [(2.0, 1.0, 3), (0.0, 1.0, 3), (1.0, math.nan, 3), (1.0, 2.0, 0), (1, 2, 5000)]
)
def test_unusable_scales_are_refused(ask):
    with pytest.raises(InputError):
        evenly(*ask)


def test_lengths_give_scales_in_the_builds_unit(tmp_path):
    file = write_build(tmp_path, JIGSAW, sheet(300, 200))
    build = read_build(file, 0.5)
    assert by_length(build, [240, 120, 120], "p1") == (1.0, 2.0)
    assert by_length(build, [230], "") == (1.0,), "the longest part is the measure"
    file.write_text(file.read_text().replace('name = "Harbour puzzle"', 'name = "p"\nunits = "in"'))
    assert by_length(read_build(file, None), [240 / 25.4], "p1") == pytest.approx((2.0,))


@pytest.mark.parametrize(
    ("of", "lengths", "words"),
    [
        ("nothing", [1.0], "there is no part 'nothing'"),
        ("block", [1.0], "'block' is a pattern"),
        ("p1", [0.0], "can't be made 0"),
        ("p1", [math.inf], "can't be made inf"),
        ("p1", [], "0 sizes are asked for"),
    ],
)
def test_lengths_that_can_not_be_had_are_refused(tmp_path, of, lengths, words):
    build = read_build(write_build(tmp_path, JIGSAW, sheet(300, 200), STACK), None)
    with pytest.raises(InputError, match=words):
        by_length(build, lengths, of)


def test_thickness_and_hardware_are_the_same_at_every_scale(tmp_path):
    file = write_build(tmp_path, JIGSAW, sheet(400, 300), ROD)
    for scale in (0.7, 1.0, 1.9):
        build = read_build(file, scale)
        assert {part.thickness for part in build.parts} == {6.0}
        assert build.hardware[0].diameter == 20.0
        (collar,) = [part for part in build.parts if part.name == "collar"]
        assert collar.shape.outline.size[0] == pytest.approx(60.0 * scale)
        (hole,) = collar.shape.outline.holes
        assert hole.bounds[2] - hole.bounds[0] == pytest.approx(20.0)
    found = compared(file, (0.8, 1.2), rounds=8)
    for size in found.sizes:
        assert {group.thickness for group in size.groups} == {6.0}
        assert size.length == pytest.approx(230.0 * size.scale)


def test_a_stacks_layers_are_counted_anew_at_every_scale(tmp_path):
    file = write_build(tmp_path, JIGSAW, sheet(400, 300), STACK)
    found = compared(file, (0.5, 0.77, 1.0, 1.3), rounds=1, cliffs=False)
    assert len(found.sizes) == 4
    for size in found.sizes:
        (block,) = size.layers
        # Whole layers that come nearest to the height: at most half a layer off.
        assert block.layers.asked == pytest.approx(40.0 * size.scale)
        assert abs(block.layers.error) <= 3.0 + 1e-9
        assert block.layers.count == round(40.0 * size.scale / 6.0)
        assert size.groups[0].copies == len(JIGSAW) + block.layers.count


def test_a_builds_files_can_be_unpacked_elsewhere(tmp_path):
    (tmp_path / "drawings").mkdir()
    (tmp_path / "work").mkdir()
    file = write_build(tmp_path / "work", JIGSAW, sheet(300, 200))
    (tmp_path / "work" / "puzzle.svg").rename(tmp_path / "drawings" / "puzzle.svg")
    file.write_text(file.read_text().replace("[build]\n", '[build]\ndrawings = "../drawings"\n'))
    build = read_build(file, None)
    source = source_of(build)
    assert [name for name, _ in source.files] == ["work/build.toml", "drawings/puzzle.svg"]
    before = source.digest
    again = read_build(file_of(source), None)
    assert [part.shape.outline.area for part in again.parts] == [
        part.shape.outline.area for part in build.parts
    ]
    (tmp_path / "drawings" / "puzzle.svg").write_bytes(source.files[1][1] + b"\n")
    assert source_of(build).digest != before
    (tmp_path / "drawings" / "puzzle.svg").unlink()
    with pytest.raises(InputError, match="can't be read"):
        source_of(build)
