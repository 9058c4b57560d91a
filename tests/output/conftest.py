"""What several tests of written files need."""

from __future__ import annotations

from collections.abc import Iterator

import pytest


@pytest.fixture
def gdal() -> Iterator[None]:
    """GDAL reads closed lines as polygons, arcs as chords of half a degree."""
    import pyogrio

    options = {"DXF_CLOSED_LINE_AS_POLYGON": "YES", "OGR_ARC_STEPSIZE": "0.5"}
    pyogrio.set_gdal_config_options(options)
    yield
    pyogrio.set_gdal_config_options(dict.fromkeys(options))
