"""Whatever bytes are fed in: a drawing or a `DrawingError`, never anything else."""

from __future__ import annotations

import io

import ezdxf
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from nestkit.drawings import assemble
from nestkit.drawings.dxf import read_dxf
from nestkit.errors import DrawingError


def full_document(version: str):
    """One of everything that is read, and some that is not."""
    document = ezdxf.new(version)
    space, block = document.modelspace(), document.blocks.new("lantern")
    block.add_polyline2d([(0, 0, 0.5), (10, 0, 0), (10, 10, -1)], format="xyb", close=True)
    block.add_text("harbour")
    space.add_blockref(
        "lantern", (5, 5), dxfattribs={"rotation": 30, "xscale": 2, "column_count": 2, "column_spacing": 40}
    )
    space.add_line((0, 0), (9, 9))
    space.add_arc((1, 2), 3, 20, 300)
    space.add_circle((1, 2), 3)
    space.add_polyline2d([(0, 0, 1), (5, 0, 1)], format="xyb", close=True)
    if version != "R12":
        block.add_lwpolyline([(0, 0, 0.5), (10, 0, 0), (10, 10, -1)], format="xyb")
        space.add_ellipse((3, 3), (2, 1), 0.5)
        space.add_open_spline([(0, 0), (1, 5), (5, 5), (9, 0)])
        space.add_spline([(0, 0), (1, 5), (5, 5)])
        space.add_hatch()
    return document


def as_bytes(version: str, binary: bool) -> bytes:
    stream = io.BytesIO() if binary else io.StringIO()
    full_document(version).write(stream, fmt="bin" if binary else "asc")
    data = stream.getvalue()
    return data if isinstance(data, bytes) else data.encode()


BASES = {(name, binary): as_bytes(name, binary) for name in ("R12", "R2000") for binary in (False, True)}
ODD_VALUES = [b"", b"-1", b"1e308", b"nan", b"inf", b"99999999999", b"0", b"\xff\xfe", b"LINE", b"SECTION"]


@st.composite
def damaged(draw) -> bytes:
    """A DXF file with bytes changed, cut out or doubled, or with odd values in place of lines."""
    data = bytearray(draw(st.sampled_from(sorted(BASES.items())))[1])
    # Damage is put where entities are as often as anywhere: that is in the file's second half.
    place = st.integers(0, len(data) - 2) | st.integers(len(data) // 2, len(data) - 2)
    for _ in range(draw(st.integers(1, 8))):
        at = min(draw(place), len(data) - 2)
        match draw(st.integers(0, 3)):
            case 0:
                data[at] = draw(st.integers(0, 255))
            case 1:
                del data[at : min(at + draw(st.integers(1, 400)), len(data) - 8)]
            case 2:
                data[at:at] = data[at : at + draw(st.integers(1, 400))]
            case _:
                end = data.find(b"\n", at) + 1
                after = data.find(b"\n", end)
                if 0 < end < after:
                    data[end:after] = draw(st.sampled_from(ODD_VALUES))
    return bytes(data)


@pytest.mark.filterwarnings("ignore")
@settings(max_examples=80, deadline=None, suppress_health_check=list(HealthCheck))
@given(damaged() | st.binary(max_size=200))
def test_any_bytes_give_a_drawing_or_a_drawing_error(tmp_path, data):
    file = tmp_path / "drawing.dxf"
    file.write_bytes(data)
    try:
        drawing = read_dxf(file)
    except DrawingError:
        return
    assert all(np.isfinite(drawn.path.vertices).all() for drawn in drawing.paths)
    assemble(drawing.paths)


@pytest.mark.parametrize("base", sorted(BASES))
def test_whole_the_same_files_are_read_without_damage(tmp_path, base):
    file = tmp_path / "drawing.dxf"
    file.write_bytes(BASES[base])
    drawing = read_dxf(file)
    assert len(drawing.paths) >= 6
    assert not {finding.code for finding in drawing.findings} & {"file-damaged", "damaged-entity"}
