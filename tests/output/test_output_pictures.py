"""Colours that can be told apart and read, and text that stays inside its part."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.affinity import rotate
from shapely.geometry import Polygon, box

from nestkit.cutting.model import Stroke
from nestkit.geometry import Outline, Path, Placement, Shape
from nestkit.nesting.model import PlacedPart
from nestkit.output.captions import LINE_HEIGHT, Caption, Room, caption_for, text_width
from nestkit.output.palette import (
    BLACK,
    BLUE,
    NO_ASSEMBLY,
    assembly_swatch,
    contrast,
    layer_colour,
)
from nestkit.output.pictures import SheetPictures, part_shapes
from tests.output.sample_plan import frame, lantern

INK = (0x17, 0x21, 0x2B)


def test_contrast_is_that_of_wcag() -> None:
    # WCAG 2: black on white is 21; #767676 on white is the well-known least grey that passes 4.5.
    assert contrast(BLACK, (255, 255, 255)) == pytest.approx(21.0)
    assert contrast((0x76, 0x76, 0x76), (255, 255, 255)) == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("swatch", [NO_ASSEMBLY, *(assembly_swatch(k) for k in range(7))])
def test_ink_can_be_read_on_every_fill(swatch: object) -> None:
    assert contrast(INK, swatch.fill) >= 4.5  # type: ignore[attr-defined]
    assert contrast(swatch.edge, swatch.fill) >= 1.5  # type: ignore[attr-defined]


def test_assemblies_differ_in_colour_and_in_motif() -> None:
    assert len({assembly_swatch(k).fill for k in range(7)}) == 7
    assert len({assembly_swatch(k).motif for k in range(8)}) == 8
    assert len({assembly_swatch(k) for k in range(56)}) == 56


def test_okabe_ito_values() -> None:
    # Okabe and Ito 2008, RGB of "blue" and "vermillion".
    assert BLUE == (0, 114, 178)
    assert layer_colour("CUT_OUTSIDE").rgb == (213, 94, 0)


def frame_of(caption: Caption) -> Polygon:
    """The text's box, its estimated width without the space at its ends."""
    width = max(map(text_width, caption.lines)) * caption.size
    height = len(caption.lines) * LINE_HEIGHT * caption.size
    level = box(caption.x - width / 2, caption.y - height / 2, caption.x + width / 2, caption.y + height / 2)
    return rotate(level, caption.angle, use_radians=True)


@given(
    width=st.floats(2, 800),
    height=st.floats(2, 400),
    turn=st.floats(0, math.tau),
    text=st.text(st.characters(codec="ascii", categories=["L", "Zs"]), min_size=1, max_size=30),
)
def test_text_lies_inside(width: float, height: float, turn: float, text: str) -> None:
    outer = box(0, 0, width, height)
    hole = box(width * 0.2, height * 0.3, width * 0.7, height * 0.8)
    polygon = rotate(outer.difference(hole), turn, use_radians=True)
    caption = caption_for(polygon, [text], 4.0, 20.0)
    if caption is not None:
        assert polygon.buffer(0.06).contains(frame_of(caption))
        assert 4.0 - 1e-9 <= caption.size <= 20.0 + 1e-9
        assert -math.pi / 2 < caption.angle <= math.pi / 2 + 1e-6
        assert " ".join(caption.lines).split() == text.split()


def test_text_finds_the_rim_of_a_frame_and_turns_with_a_strip() -> None:
    rim = Room(frame().outline.polygon()).caption("window frame 1", 9.0, 20.0)
    assert rim is not None
    assert rim.lines == ("window frame 1",)
    strip = rotate(box(0, 0, 400, 14), 60, origin=(0, 0))
    along = Room(strip).caption("trim strip 12", 8.0, 20.0)
    assert along is not None
    assert along.angle == pytest.approx(math.radians(60), abs=1e-6)
    assert Room(box(0, 0, 5, 5)).caption("trim strip 12", 8.0, 20.0) is None


def test_every_part_is_drawn_once_in_cut_order() -> None:
    case = lantern()
    job = case.jobs[1]
    picture = SheetPictures(part_shapes(case.build.parts)).picture(job)
    assert [part.number for part in picture.parts] == list(range(1, len(job.sheet.placed) + 1))
    assert {part.title for part in picture.parts} == {f"{p.part.name} {p.copy}" for p in job.sheet.placed}
    assert all(part.text is not None for part in picture.parts)
    assert picture.view_box == "0 0 900 600"


@given(turn=st.floats(0, math.tau), mirrored=st.booleans(), x=st.floats(-500, 500), y=st.floats(-500, 500))
def test_a_copy_refers_to_its_shape_with_the_right_matrix(
    turn: float, mirrored: bool, x: float, y: float
) -> None:
    job = lantern().jobs[1]
    corners = Path.polyline([(0, 0), (130, 0), (40, 70)], True)
    part = replace(job.sheet.placed[0].part, shape=Shape(Outline(corners)))
    placed = PlacedPart(part, 1, Placement(x, y, turn, mirrored))
    sheet = replace(job.sheet, placed=(placed,))
    picture = SheetPictures(part_shapes([part])).picture(replace(job, sheet=sheet))
    a, b, c, d, e, f = map(float, picture.parts[0].matrix[7:-1].split())
    drawn = corners.points * (1, -1) + (0, 70)
    found = drawn @ np.array([[a, b], [c, d]]) + (e, f)
    wanted = placed.shape.outline.exterior.points * (1, -1) + (0, picture.height)
    # A mirrored outline is walked the other way round, so each corner finds its own.
    apart = np.linalg.norm(found[:, None] - wanted[None], axis=2)
    assert apart.min(axis=1).max() < 0.02
    assert apart.min(axis=0).max() < 0.02


def test_equal_copies_get_equal_text() -> None:
    case = lantern()
    drawn = SheetPictures(part_shapes(case.build.parts)).picture(case.jobs[1]).parts
    frames = [part.text for part in drawn if part.title.startswith("window frame")]
    assert len({text.size for text in frames if text is not None}) == 1
    assert {text.lines[-1].text.split()[-1] for text in frames if text is not None} == {"frame"}
    numbers = {text.lines[0].text.split()[0] for text in frames if text is not None}
    assert numbers == {str(part.number) for part in drawn if part.title.startswith("window frame")}


def test_tabs_are_drawn_where_an_outline_stays_uncut() -> None:
    """50 x 40 at (10, 20) on a sheet 100 high, a tab of 1 mm in the middle of each long side."""
    job = lantern().jobs[1]
    ends = [[(35.5, 20), (60, 20), (60, 60), (35.5, 60)], [(34.5, 60), (10, 60), (10, 20), (34.5, 20)]]
    runs = [Stroke("CUT_OUTSIDE", Path.polyline(run, False), "plate", 1) for run in ends]
    edge = Outline(Path.polyline([(0, 0), (200, 0), (200, 100), (0, 100)], True))
    cut = replace(job, sheet=replace(job.sheet, placed=(), outline=edge), strokes=tuple(runs))
    picture = SheetPictures({}).picture(cut)
    assert picture.tabs == "M35.5,40L34.5,40M34.5,80L35.5,80"
    assert SheetPictures({}).picture(replace(cut, strokes=())).tabs == ""
