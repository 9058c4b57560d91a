"""DXF files made for a test, and paths made by hand."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path as FilePath
from typing import Any

import ezdxf
import numpy as np

from nestkit.drawings import Drawing, DrawnPath
from nestkit.drawings.dxf import read_dxf
from nestkit.geometry import Path

MM = 4


def saved(
    folder: FilePath, draw: Callable[[Any, Any], None], units: int = MM, version: str = "R2010"
) -> FilePath:
    """A DXF file: ``draw`` gets the document and its modelspace."""
    document = ezdxf.new(version)
    document.units = units
    draw(document, document.modelspace())
    file = folder / "drawing.dxf"
    document.saveas(file)
    return file


def reread(folder: FilePath, draw: Callable[[Any, Any], None], **how: Any) -> Drawing:
    """What our reader makes of such a file."""
    return read_dxf(saved(folder, draw, **how))


def only(drawing: Drawing) -> DrawnPath:
    """The one path of a drawing that has nothing else to say."""
    assert not drawing.findings
    (drawn,) = drawing.paths
    return drawn


def codes(findings: Any) -> list[str]:
    """Their codes, in order."""
    return [finding.code for finding in findings]


def drawn(points: Any, closed: bool = False, layer: str = "cut", **rest: Any) -> DrawnPath:
    """A drawn path of straight lines, or of rows x, y, bulge."""
    rows = np.asarray(points, dtype=float)
    path = Path(rows, closed) if rows.shape[1] == 3 else Path.polyline(rows, closed)
    return DrawnPath(path, layer, names=(layer,), **rest)


def lines(points: Any, layer: str = "cut") -> list[DrawnPath]:
    """Each side of a closed polygon as a line of its own."""
    points = np.asarray(points, dtype=float)
    return [drawn([a, b], layer=layer) for a, b in zip(points, np.roll(points, -1, axis=0), strict=True)]


def box(x: float, y: float, width: float, height: float | None = None) -> list[tuple[float, float]]:
    """Corners of a rectangle, counter-clockwise."""
    height = width if height is None else height
    return [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]
