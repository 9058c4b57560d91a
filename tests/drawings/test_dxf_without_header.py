"""A DXF without a header names no unit, whatever the library makes up for it."""

from __future__ import annotations

import pytest

from nestkit.drawings.dxf import read_dxf

BARE = "0\nSECTION\n2\nENTITIES\n0\nCIRCLE\n8\n0\n10\n0.0\n20\n0.0\n40\n50.0\n0\nENDSEC\n0\nEOF\n"


def test_millimetres_are_assumed_and_that_is_told(tmp_path):
    file = tmp_path / "bare.dxf"
    file.write_text(BARE)
    drawing = read_dxf(file)
    assert not drawing.unit_known
    assert [finding.code for finding in drawing.findings] == ["unit-missing"]
    assert drawing.paths[0].path.bounds == pytest.approx((-50, -50, 50, 50))
