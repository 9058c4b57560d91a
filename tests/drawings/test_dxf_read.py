"""What the DXF reader makes of units, layers, colours, blocks, and of what it can't use."""

from __future__ import annotations

import logging
import math

import ezdxf
import numpy as np
import pytest
from ezdxf.addons import r12writer

from nestkit.drawings import dxf, dxf_walk
from nestkit.drawings.dxf import read_dxf
from nestkit.errors import DrawingError
from tests.drawings.dxf_made import codes, only, reread, saved


# $INSUNITS codes and their lengths: Autodesk's DXF reference; the mm are derived.
@pytest.mark.parametrize(
    ("code", "mm"),
    [(1, 25.4), (2, 304.8), (4, 1), (5, 10), (6, 1000), (8, 2.54e-5), (9, 0.0254), (10, 914.4), (14, 100)],
)
def test_units_become_millimetres(tmp_path, code, mm):
    drawing = reread(tmp_path, lambda _, s: s.add_line((1, 2), (4, 6)), units=code)
    assert drawing.unit_known
    assert only(drawing).path.length == pytest.approx(5 * mm)


@pytest.mark.parametrize("code", [0, 18, 24])
def test_without_a_unit_millimetres_are_assumed_and_that_is_said(tmp_path, code):
    drawing = reread(tmp_path, lambda _, s: s.add_line((0, 0), (3, 4)), units=code)
    assert not drawing.unit_known
    assert drawing.paths[0].path.length == pytest.approx(5)
    (finding,) = drawing.findings
    assert finding.code == "unit-missing"
    assert not finding.mended


def test_a_file_without_any_header_is_read(tmp_path):
    file = tmp_path / "bare.dxf"
    with r12writer(file) as bare:
        bare.add_line((0, 0), (3, 4), layer="cut")
    drawing = read_dxf(file)
    assert codes(drawing.findings) == ["unit-missing"]
    assert drawing.paths[0].layer == "cut"


def test_binary_files_are_read(tmp_path):
    document = ezdxf.new()
    document.units = 4
    document.modelspace().add_circle((0, 0), 7)
    document.saveas(tmp_path / "binary.dxf", fmt="bin")
    assert only(read_dxf(tmp_path / "binary.dxf")).path.signed_area == pytest.approx(49 * math.pi)


def test_colours_come_from_the_entity_its_layer_or_the_insert(tmp_path):
    def draw(document, space):
        document.layers.add("red", color=1)
        document.layers.add("orange", true_color=0xFFA500)
        block = document.blocks.new("b")
        for colour in (0, 5, 256):
            block.add_line((0, 0), (1, colour + 1), dxfattribs={"color": colour})
        space.add_line((0, 0), (1, 0), dxfattribs={"layer": "red"})
        space.add_line((0, 0), (2, 0), dxfattribs={"layer": "red", "color": 3})
        space.add_line((0, 0), (3, 0), dxfattribs={"layer": "orange"})
        space.add_line((0, 0), (4, 0), dxfattribs={"true_color": 0x123456})
        space.add_line((0, 0), (5, 0), dxfattribs={"layer": "not in the table"})
        space.add_blockref("b", (0, 0), dxfattribs={"color": 2, "layer": "red"})

    # 1 red, 2 yellow, 3 green, 5 blue, 7 white or black (Autodesk, "Colors 1 to 7").
    assert [drawn.colour for drawn in reread(tmp_path, draw).paths] == [
        *("#ff0000", "#00ff00", "#ffa500", "#123456", "#000000"),
        *("#ffff00", "#0000ff", "#ff0000"),
    ]


def test_names_lead_outward_and_layer_0_takes_the_inserts_layer(tmp_path):
    def draw(document, space):
        inner, outer = document.blocks.new("hook"), document.blocks.new("arm")
        inner.add_line((0, 0), (1, 0))
        inner.add_line((0, 0), (1, 1), dxfattribs={"layer": "fold 60"})
        outer.add_blockref("hook", (0, 0))
        space.add_blockref("arm", (0, 0), dxfattribs={"layer": "crane"})

    plain, fold = reread(tmp_path, draw).paths
    assert plain.layer == "crane"
    assert plain.names == (plain.id, "crane", "hook", "crane", "arm")
    assert fold.names == (fold.id, "fold 60", "hook", "crane", "arm")


def test_inserts_turn_scale_mirror_and_repeat(tmp_path):
    def draw(document, space):
        block = document.blocks.new("b", base_point=(1, 1))
        block.add_line((1, 1), (3, 1))
        space.add_blockref(
            "b",
            (10, 20),
            dxfattribs={
                **{"rotation": 90, "xscale": -2, "yscale": 3},
                **{"row_count": 2, "row_spacing": 5, "column_count": 3, "column_spacing": 7},
            },
        )

    # The grid is turned with the insert (x to y, y to -x) but not scaled; the line is 2 long, scaled by -2.
    ends = sorted((*drawn.path.start, *drawn.path.end) for drawn in reread(tmp_path, draw).paths)
    assert np.array(ends) == pytest.approx(
        np.array([(x, y, x, y - 4) for x in (5, 10) for y in (20, 27, 34)])
    )


def test_hidden_things_are_skipped_and_told_once_a_layer(tmp_path):
    def draw(document, space):
        document.layers.add("off").off()
        document.layers.add("frozen").freeze()
        block = document.blocks.new("b")
        block.add_line((0, 0), (1, 0), dxfattribs={"layer": "seen"})
        block.add_line((0, 0), (2, 0))
        for layer in ("off", "off", "frozen"):
            space.add_circle((0, 0), 1, dxfattribs={"layer": layer})
        space.add_circle((0, 0), 1, dxfattribs={"invisible": 1})
        # A block on a layer that is off still shows what lies on other layers; frozen hides all of it.
        space.add_blockref("b", (0, 0), dxfattribs={"layer": "off"})
        space.add_blockref("b", (0, 0), dxfattribs={"layer": "frozen"})

    drawing = reread(tmp_path, draw)
    assert [drawn.layer for drawn in drawing.paths] == ["seen"]
    told = {(f.code, f.layer): f.text for f in drawing.findings}
    assert set(told) == {("hidden-layer", "off"), ("hidden-layer", "frozen"), ("hidden-entity", "0")}
    assert told["hidden-layer", "off"].startswith("2 CIRCLE, 1 LINE: ")


def test_what_is_no_flat_line_is_told_in_few_words(tmp_path):
    def draw(document, space):
        for k in range(500):
            space.add_hatch(dxfattribs={"layer": "fill"}).paths.add_polyline_path(
                [(k, 0), (k + 1, 0), (k, 1)]
            )
        space.add_text("Storm lantern", dxfattribs={"layer": "words"})
        space.add_mtext("Storm lantern", dxfattribs={"layer": "words"})
        space.add_line((0, 0, 0), (5, 0, 5))
        space.add_polyline3d([(0, 0, 0), (1, 0, 1), (2, 2, 2)])
        space.add_circle((0, 0), 4, dxfattribs={"extrusion": (0, 1, 0)})
        space.add_line((5, 5), (5, 5))
        document.blocks.new("tilted").add_line((0, 0), (1, 0))
        space.add_blockref("tilted", (0, 0), dxfattribs={"extrusion": (1, 0, 1)})
        space.add_blockref("gone", (0, 0))
        space.add_lwpolyline([(0, 0), (7, 0), (7, 7)], dxfattribs={"elevation": 3})

    drawing = reread(tmp_path, draw)
    assert [drawn.path.length for drawn in drawing.paths] == [14]
    told = {finding.code: finding for finding in drawing.findings}
    assert len(told) == len(drawing.findings) == 5
    assert told["not-a-line"].text.startswith("500 HATCH: ")
    assert told["text-not-paths"].text.startswith("1 MTEXT, 1 TEXT: ")
    assert told["not-flat"].text.startswith("1 CIRCLE, 1 INSERT, 1 LINE, 1 POLYLINE: ")
    assert told["zero-length"].mended
    assert told["zero-length"].id
    assert told["block-missing"].layer == "0"


def test_blocks_that_hold_themselves_end(tmp_path):
    def draw(document, space):
        first, second = document.blocks.new("first"), document.blocks.new("second")
        first.add_line((0, 0), (1, 0))
        first.add_blockref("second", (1, 1))
        second.add_blockref("FIRST", (1, 1))
        space.add_blockref("first", (0, 0))

    drawing = reread(tmp_path, draw)
    assert len(drawing.paths) == 1
    assert codes(drawing.findings) == ["block-cycle"]


def test_blocks_nested_too_deep_are_left_out(tmp_path):
    def draw(document, space):
        for k in range(dxf_walk.DEEPEST_INSERT + 1):
            document.blocks.new(f"b{k}").add_blockref(f"b{k + 1}", (1, 0))
        space.add_blockref("b0", (0, 0))

    assert codes(reread(tmp_path, draw).findings) == ["block-too-deep"]


def test_blocks_within_blocks_that_multiply_beyond_measure_are_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(dxf_walk, "MOST_PATHS", 5_000)

    def draw(document, space):
        for k in range(12):
            block = document.blocks.new(f"b{k}")
            for _ in range(10):
                block.add_blockref(f"b{k + 1}", (1, 0))
        document.blocks.new("b12").add_line((0, 0), (1, 0))
        space.add_blockref("b0", (0, 0))

    with pytest.raises(DrawingError, match="too large"):
        reread(tmp_path, draw)


@pytest.mark.parametrize("rows", [700, 32767])
def test_an_array_beyond_measure_is_refused(tmp_path, rows):
    def draw(document, space):
        document.blocks.new("b").add_line((0, 0), (1, 0))
        grid = {"row_count": rows, "column_count": rows, "row_spacing": 1, "column_spacing": 1}
        space.add_blockref("b", (0, 0), dxfattribs=grid)

    with pytest.raises(DrawingError, match=r"too large.*inserted"):
        reread(tmp_path, draw)


def test_too_many_pieces_are_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(dxf_walk, "MOST_PIECES", 50)
    with pytest.raises(DrawingError, match="more than 50 lines and arcs"):
        reread(tmp_path, lambda _, s: s.add_lwpolyline([(k, k * k) for k in range(60)]))


def test_too_large_a_file_is_refused_before_it_is_read(tmp_path, monkeypatch):
    file = saved(tmp_path, lambda _, s: s.add_line((0, 0), (1, 0)))
    monkeypatch.setattr(dxf, "LARGEST_FILE", 1000)
    with pytest.raises(DrawingError, match="MB"):
        read_dxf(file)


@pytest.mark.parametrize(
    ("data", "told"),
    [(b"", "no DXF"), (b"hello", "no DXF"), (b"AC1032\0\0\0", "DWG"), (b"AutoCAD Binary DXF\r\n", "damaged")],
)
def test_what_is_no_dxf_is_refused_with_a_reason(tmp_path, data, told):
    file = tmp_path / "drawing.dxf"
    file.write_bytes(data)
    with pytest.raises(DrawingError, match=told):
        read_dxf(file)


def test_a_damaged_file_is_mended_and_nothing_is_printed(tmp_path, capfd):
    file = saved(tmp_path, lambda _, s: s.add_line((0, 0), (3, 4)))
    text = file.read_text().replace("ENDSEC", "ENDSECT", 1)
    file.write_text(text[: text.rindex("EOF") - 5])
    drawing = read_dxf(file)
    assert "file-damaged" in codes(drawing.findings)
    assert [drawn.path.length for drawn in drawing.paths] == [5]
    assert capfd.readouterr() == ("", "")
    assert logging.getLogger("ezdxf").handlers


def test_a_missing_file_is_refused(tmp_path):
    with pytest.raises(DrawingError, match="can't be read"):
        read_dxf(tmp_path / "none.dxf")
